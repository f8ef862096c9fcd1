"""The one table of measured quantities: a new quantity is an entry here, not a new branch elsewhere."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

__all__ = ["GROUPS", "QUANTITIES", "QUANTITY_NAMES", "Group", "Quantity", "in_group", "place", "quantity"]

Group = Literal["wrist", "finger"]

#: What a player is shown first comes first.
GROUPS: tuple[Group, ...] = ("wrist", "finger")


@dataclass(frozen=True)
class Quantity:
    """One measured quantity.

    Attributes
    ----------
    name
        Key in code, the store and the page.
    label
        Words for a player.
    unit
        Of values and deviations.
    positive, negative
        The direction of either sign (anatomical, ISB, for the wrist); negative is None where only one exists: then
        values below 0 mean nothing but error.
    words
        What the hand does in the positive and the negative direction, for a player who knows no anatomy.
    advice
        What eases it.
    group
        What a player is shown and warned of together.
    finger
        The digit it belongs to, None for the wrist.
    family
        Quantities of one family share limits in files and settings (the lift of all fingers, for instance).
    output
        The learned estimator's output it is read from. Weights that lack it leave it not measurable.
    kept_hz
        At most so many samples a second are kept; None keeps every frame's.
    value_step, sd_step
        Values and deviations are kept in whole multiples of these, in the unit (1 over a whole number).
    """

    name: str
    label: str
    unit: Literal["deg", "mm"]
    positive: str
    negative: str | None
    words: tuple[str, str]
    advice: str
    group: Group
    finger: str | None
    family: str
    output: str
    kept_hz: float | None = None
    value_step: float = 0.01
    sd_step: float = 0.05

    @property
    def column(self) -> str:
        """Heading of its values in files."""
        return f"{self.name}_{self.unit}"

    @property
    def sd_column(self) -> str:
        """Heading of its standard deviations in files."""
        return f"{self.name}_sd_{self.unit}"

    @property
    def directions(self) -> tuple[str, ...]:
        """The positive one first."""
        return (self.positive,) if self.negative is None else (self.positive, self.negative)

    def sign(self, direction: str) -> int:
        """+1 or -1 for a direction of this quantity; unknown directions raise ValueError."""
        if direction == self.positive:
            return 1
        if self.negative is not None and direction == self.negative:
            return -1
        raise ValueError(f"{self.name} has the directions {self.directions}, not {direction!r}")

    def leaning(self, direction: str) -> str:
        """The plain words for a direction; unknown directions raise ValueError."""
        return self.words[0] if self.sign(direction) > 0 else self.words[1]

    def towards(self, value: float) -> tuple[str, float]:
        """The direction a signed value leans to and its size in it; never below 0."""
        if value < 0 and self.negative is not None:
            return self.negative, -value
        return self.positive, max(0.0, value)


def _wrist(
    name: str, label: str, positive: str, negative: str, words: tuple[str, str], advice: str
) -> Quantity:
    return Quantity(name, label, "deg", positive, negative, words, advice, "wrist", None, name, name)


def _of_finger(
    name: str,
    label: str,
    unit: Literal["deg", "mm"],
    directions: tuple[str, str | None],
    words: tuple[str, str],
    advice: str,
    finger: str,
    family: str,
) -> Quantity:
    # Ten a second hold a finger's movement well enough for shares of time and episodes of seconds, and keep an
    # hour of all fingers in a few megabytes; a quarter is far below any stated deviation.
    return Quantity(
        name, label, unit, *directions, words, advice, "finger", finger, family, name, 10.0, 0.25, 0.25
    )


def _long_finger(finger: str) -> tuple[Quantity, ...]:
    whose = f"{finger} finger"
    return (
        _of_finger(
            f"{finger}_lift",
            f"{whose} lift",
            "mm",
            ("lift", None),
            (f"{whose} lifted", ""),
            "Let it come down towards the string.",
            finger,
            "finger_lift",
        ),
        _of_finger(
            f"{finger}_pip",
            f"{whose} middle joint",
            "deg",
            ("bend", "collapse"),
            (f"{whose} bent at the middle joint", f"{whose}'s middle joint bent backwards"),
            "Ease it.",
            finger,
            "middle_joint",
        ),
        _of_finger(
            f"{finger}_dip",
            f"{whose} end joint",
            "deg",
            ("bend", "collapse"),
            (f"{whose} bent at the end joint", f"{whose}'s end joint bent backwards"),
            "Round the finger a little.",
            finger,
            "end_joint",
        ),
    )


QUANTITIES: tuple[Quantity, ...] = (
    _wrist(
        "wrist_flexion",
        "wrist flexion",
        "flexion",
        "extension",
        ("wrist bent in (flexion)", "wrist bent back (extension)"),
        "Ease it towards straight.",
    ),
    _wrist(
        "wrist_ulnar_deviation",
        "wrist deviation",
        "ulnar",
        "radial",
        (
            "wrist tilted to the little finger (ulnar deviation)",
            "wrist tilted to the thumb (radial deviation)",
        ),
        "Ease it towards straight.",
    ),
    *(entry for finger in ("index", "middle", "ring", "little") for entry in _long_finger(finger)),
    _of_finger(
        "little_spread",
        "little finger spread",
        "deg",
        ("spread", None),
        ("little finger spread away from the ring finger", ""),
        "Let it come back to the others.",
        "little",
        "little_spread",
    ),
    _of_finger(
        "thumb_ip",
        "thumb end joint",
        "deg",
        ("hook", "collapse"),
        ("thumb bent at its end joint", "thumb's end joint bent backwards"),
        "Ease the thumb.",
        "thumb",
        "thumb_joint",
    ),
    _of_finger(
        "thumb_place",
        "thumb place",
        "mm",
        ("radial", "ulnar"),
        (
            "thumb placed towards the index finger's side (radial)",
            "thumb placed towards the little finger's side (ulnar)",
        ),
        "Let the thumb come back across from the middle finger.",
        "thumb",
        "thumb_place",
    ),
)

QUANTITY_NAMES: tuple[str, ...] = tuple(entry.name for entry in QUANTITIES)

_PLACES = {name: at for at, name in enumerate(QUANTITY_NAMES)}

_BY_NAME = {entry.name: entry for entry in QUANTITIES}


def quantity(name: str) -> Quantity:
    """The entry of that name; raises KeyError for an unknown one."""
    return _BY_NAME[name]


def place(name: str) -> int:
    """The name's place in the table, which is the order of everything shown; unknown ones come after all others."""
    return _PLACES.get(name, len(_PLACES))


def in_group(group: Group) -> tuple[Quantity, ...]:
    """The entries of one group in the table's order; raises ValueError for an unknown one."""
    if group not in GROUPS:
        raise ValueError(f"a group is one of {GROUPS}, got {group!r}")
    return tuple(entry for entry in QUANTITIES if entry.group == group)
