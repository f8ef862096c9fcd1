"""Instruments: which hand does what, what its players call it, and where a camera sees it. One file for each.

An instrument is a file `calibration/instruments/NAME.toml` (spaces of its name as hyphens); a new one needs no code.
Everything is said of a right-handed player, and mirrored for a left-handed one. What a file may hold:

    name, order                      as in the settings; its place in lists
    label, note                      { en, de }: words for a player; note, where given, says what is not known of it
    neck_deg                         where the neck points, seen from above: degrees from straight ahead towards the
                                     player's left; left out where it points up, or where there is none
    keyboard                         true where keys lie before the player
    [hands.left], [hands.right]      role (see `ROLES`); matters: the quantities, or families of them, that matter most
    [[cameras]]                      place { en, de }; towards_left_deg, as neck_deg; height (lap, chest, shoulder);
                                     distance_m; sees: the hands it is good for. The first one is the usual one.

All of it is common practice, and the files say so where the measurement itself was not tried at an instrument.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Annotated, Any, Literal

from pydantic import Field, ValidationError

from posturewatch.config.resources import calibration_dir
from posturewatch.config.section import Section
from posturewatch.config.settings_file import tables
from posturewatch.errors import SettingsError, UnavailableError
from posturewatch.model.observation import SIDES, Side, other_side
from posturewatch.model.quantities import QUANTITIES

__all__ = [
    "FRETTING_ROLES",
    "ROLES",
    "CameraPlace",
    "Handedness",
    "Instrument",
    "InstrumentName",
    "Role",
    "RoleName",
    "Words",
    "hand_roles",
    "instrument",
    "instrument_names",
    "parse_instrument",
    "role_label",
]

Handedness = Literal["right", "left"]

RoleName = Literal["fretting", "plucking", "fingerboard", "bowing", "keys"]


@dataclass(frozen=True)
class Role:
    """What a hand does.

    Attributes
    ----------
    name
        As in settings, messages and files.
    label
        What players call the hand; None where they name it by its side.
    fingerboard
        Whether its fingers press strings to a fingerboard.
    """

    name: RoleName
    label: str | None
    fingerboard: bool


#: Players of bowed instruments speak of the left hand and the bow hand, those of keys of left and right.
ROLES: dict[str, Role] = {
    role.name: role
    for role in (
        Role("fretting", "fretting hand", fingerboard=True),
        Role("plucking", "plucking hand", fingerboard=False),
        Role("fingerboard", None, fingerboard=True),
        Role("bowing", "bow hand", fingerboard=False),
        Role("keys", None, fingerboard=False),
    )
}

#: The roles of a hand that presses strings to a fingerboard.
FRETTING_ROLES: tuple[RoleName, ...] = tuple(role.name for role in ROLES.values() if role.fingerboard)

if TYPE_CHECKING:
    Matter = str
else:
    Matter = Literal[tuple(dict.fromkeys(name for one in QUANTITIES for name in (one.name, one.family)))]


class Words(Section):
    """The same in each language of the page."""

    en: str = Field(min_length=1, description="English")
    de: str = Field(min_length=1, description="German")


class InstrumentHand(Section):
    """What a right-handed player's hand of one side does."""

    role: RoleName = Field(description="What the hand does")
    matters: tuple[Matter, ...] = Field(description="What matters most of it", strict=False)


class InstrumentHands(Section):
    """Both."""

    left: InstrumentHand
    right: InstrumentHand


class CameraPlace(Section):
    """Where a camera may stand."""

    place: Words
    towards_left_deg: Annotated[float, Field(strict=True, ge=-180, le=180)]
    height: Literal["lap", "chest", "shoulder"]
    distance_m: Annotated[float, Field(strict=True, ge=0.2, le=5)]
    sees: tuple[Side, ...] = Field(min_length=1, strict=False)


class Instrument(Section):
    """An instrument, as said above."""

    name: str = Field(pattern="^[a-z][a-z -]*$")
    order: int
    label: Words
    note: Words | None = None
    neck_deg: Annotated[float, Field(strict=True, ge=-180, le=180)] | None = None
    keyboard: bool = False
    hands: InstrumentHands
    cameras: tuple[CameraPlace, ...] = Field(min_length=1, strict=False)

    def roles(self, handedness: Handedness) -> dict[Side, str]:
        """The name of either hand's role; ValueError for an unknown handedness."""
        return {side: self._hand(side, handedness).role for side in SIDES}

    def matters(self, handedness: Handedness) -> dict[Side, tuple[str, ...]]:
        """The names of the quantities that matter most of either hand, in the table's order."""
        found: dict[Side, tuple[str, ...]] = {}
        for side in SIDES:
            named = self._hand(side, handedness).matters
            found[side] = tuple(one.name for one in QUANTITIES if one.name in named or one.family in named)
        return found

    def _hand(self, side: Side, handedness: Handedness) -> InstrumentHand:
        if handedness not in ("right", "left"):
            raise ValueError(f"a player is 'right' or 'left' handed, got {handedness!r}")
        at = side if handedness == "right" else other_side(side)
        return self.hands.left if at == "left" else self.hands.right

    def to_json(self) -> dict[str, Any]:
        """All of it in JSON's types, of a right-handed player."""
        return self.model_dump(mode="json")


def parse_instrument(text: str, file: str) -> Instrument:
    """An instrument from the TOML text of its file.

    Raises
    ------
    SettingsError
        In one sentence that names `file` and the key, for whatever is wrong.
    """
    data = tables(text, file)
    try:
        return Instrument.model_validate(data)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        where = ".".join(map(str, first["loc"]))
        raise SettingsError(f"{file}, {where}: {first['msg'][0].lower()}{first['msg'][1:]}.") from error


@cache
def _instruments() -> dict[str, Instrument]:
    found = []
    for path in sorted((calibration_dir() / "instruments").glob("*.toml")):
        one = parse_instrument(path.read_text(encoding="utf-8"), f"The instrument file {path.name}")
        if path.stem != one.name.replace(" ", "-"):
            raise UnavailableError(f"The instrument file {path.name} names another instrument, {one.name}.")
        found.append(one)
    return {one.name: one for one in sorted(found, key=lambda one: (one.order, one.name))}


def instrument_names() -> tuple[str, ...]:
    """The names of the instruments there are, as lists show them."""
    return tuple(_instruments())


def instrument(name: str) -> Instrument:
    """The instrument of that name; KeyError for an unknown one."""
    return _instruments()[name]


if TYPE_CHECKING:
    InstrumentName = str
else:
    InstrumentName = Literal[instrument_names()]


def hand_roles(name: str, handedness: Handedness) -> dict[Side, str]:
    """The name of either hand's role.

    Raises
    ------
    KeyError
        For an unknown instrument.
    ValueError
        For an unknown handedness.
    """
    return instrument(name).roles(handedness)


def role_label(role: str, side: Side) -> str:
    """What players call the hand of that role: "fretting hand", "left hand". KeyError for an unknown role."""
    return ROLES[role].label or f"{side} hand"
