"""What is known of a player's own hands: one file for each player beside the settings file, in TOML.

    name = "Ada"
    [hand]                  length_mm, method ("ruler", "card"), date
    [[ends]]                side, quantity, direction, value_deg, sd_deg, method ("camera"), date
    [[limits]]              side, quantity, direction, level ("comfort", "extreme"), value_deg, date
    [sound]                 microphone (what it is called, "" for none)

An end is the comfortable end of a direction, measured on the page before a practice; a limit is one that the player has
set for one hand. Lengths and angles carry their unit in the key; what is unknown is refused with file, line and key,
and nothing is overwritten then.
"""

from __future__ import annotations

import datetime as dt
import re
import unicodedata
from pathlib import Path
from typing import Annotated, Literal

import tomlkit
from pydantic import Field

from posturewatch.comfort.limits import PersonalLimits
from posturewatch.comfort.own_range import PUBLISHED_DEG, End
from posturewatch.comfort.personal import LIMIT_BY_HAND_DEG
from posturewatch.config.player_faults import parsed
from posturewatch.config.section import Section
from posturewatch.config.settings_edit import write_whole
from posturewatch.errors import InputError, SettingsError
from posturewatch.model.observation import SIDES, Side
from posturewatch.model.verdict import Level

__all__ = [
    "HAND_LENGTH_MM",
    "LONGEST_NAME",
    "HandLength",
    "KeptEnd",
    "KeptLimit",
    "Player",
    "PlayerFiles",
    "PlayerSound",
    "parse_player",
    "today",
]

LONGEST_NAME = 60

#: Between the smallest and the largest of adults' hands, with room.
HAND_LENGTH_MM = (100.0, 260.0)

_Date = Annotated[str, Field(pattern=r"^\d{4}-\d{2}-\d{2}$")]


def today() -> str:
    """The player's own calendar day, ISO 8601."""
    return dt.datetime.now().astimezone().date().isoformat()


class HandLength(Section):
    """How long the hand is, wrist crease to middle fingertip."""

    length_mm: float = Field(ge=HAND_LENGTH_MM[0], le=HAND_LENGTH_MM[1])
    method: Literal["ruler", "card"] = "ruler"
    date: _Date


class KeptEnd(Section):
    """The comfortable end of one direction of one hand."""

    side: Side
    quantity: str
    direction: str
    value_deg: float = Field(gt=0, le=150)
    sd_deg: float = Field(gt=0, le=60)
    method: Literal["camera"] = "camera"
    date: _Date

    def end(self) -> End:
        """As it is reckoned with."""
        return End(self.side, self.quantity, self.direction, self.value_deg, self.sd_deg, self.date)


class KeptLimit(Section):
    """A limit that the player has set for one hand."""

    side: Side
    quantity: str
    direction: str
    level: Level
    value_deg: float = Field(ge=1, le=180)
    date: _Date


class PlayerSound(Section):
    """What listens while this player practises: what the system calls the microphone, "" for none."""

    microphone: str = Field(max_length=200)


class Player(Section):
    """One player."""

    name: str = Field(min_length=1, max_length=LONGEST_NAME)
    hand: HandLength | None = None
    sound: PlayerSound | None = None
    ends: tuple[KeptEnd, ...] = Field(default=(), strict=False)
    limits: tuple[KeptLimit, ...] = Field(default=(), strict=False)

    def own_ends(self) -> tuple[End, ...]:
        """All ends."""
        return tuple(one.end() for one in self.ends)

    def own_limits(self) -> dict[Side, PersonalLimits]:
        """The limits set by hand, by the hand that they are of."""
        return {
            side: {
                (one.quantity, one.direction, one.level): one.value_deg
                for one in self.limits
                if one.side == side
            }
            for side in SIDES
        }

    def with_end(self, new: KeptEnd) -> Player:
        """The same with this end instead of an earlier one of its direction and hand."""
        key = (new.side, new.quantity, new.direction)
        others = tuple(one for one in self.ends if (one.side, one.quantity, one.direction) != key)
        return self.model_copy(update={"ends": (*others, new)})

    def with_limit(
        self, side: Side, quantity: str, direction: str, level: Level, value_deg: float | None
    ) -> Player:
        """The same with this limit of that hand, None for none."""
        key = (side, quantity, direction, level)
        kept = [one for one in self.limits if (one.side, one.quantity, one.direction, one.level) != key]
        if value_deg is not None:
            kept.append(
                KeptLimit(
                    side=side,
                    quantity=quantity,
                    direction=direction,
                    level=level,
                    value_deg=value_deg,
                    date=today(),
                )
            )
        return self.model_copy(update={"limits": tuple(kept)})


def parse_player(text: str, file: str) -> Player:
    """A player from the file's text.

    Raises
    ------
    SettingsError
        In one sentence that names `file`, the line and the key, for whatever is wrong.
    """
    player = parsed(text, Player, file)
    named = [("ends", one.quantity, one.direction, place) for place, one in enumerate(player.ends, start=1)]
    named += [
        ("limits", one.quantity, one.direction, place) for place, one in enumerate(player.limits, start=1)
    ]
    for kind, quantity, direction, place in named:
        if (quantity, direction) not in PUBLISHED_DEG:
            known = ", ".join(f"{name} {one}" for name, one in PUBLISHED_DEG)
            raise SettingsError(
                f"{file}, number {place} of [[{kind}]]: there is no {quantity} {direction}, only {known}; mend it, or "
                "move the file away."
            )
    for place, limit in enumerate(player.limits, start=1):
        low, high = LIMIT_BY_HAND_DEG[limit.quantity, limit.direction]
        if not low <= limit.value_deg <= high:
            raise SettingsError(
                f"{file}, number {place} of [[limits]]: a limit of {limit.direction} is {low:g} to {high:g} degrees, "
                f"since no wrist of the published tables bends farther, not {limit.value_deg:g}; mend it, or move the "
                "file away."
            )
    return player


class PlayerFiles:
    """The players of a folder.

    Parameters
    ----------
    folder
        Beside the settings file; need not be there.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def names(self) -> tuple[str, ...]:
        """All players, whose files can be read; sorted."""
        found = []
        for path in self._folder.glob("*.toml") if self._folder.is_dir() else ():
            try:
                found.append(self._read(path).name)
            except SettingsError:
                continue  # told of when it is chosen
        return tuple(sorted(found, key=str.casefold))

    def player(self, name: str) -> Player:
        """That player, a new one where there is no file yet.

        Raises
        ------
        InputError
            For an unusable name.
        SettingsError
            The file is broken.
        """
        path = self._path(name)
        return self._read(path) if path.is_file() else Player(name=name.strip())

    def keep(self, player: Player) -> None:
        """Writes a player's file; comments in it survive.

        Raises
        ------
        SettingsError
            The file that is there is broken; it is left as it is.
        StoreError
            It cannot be written.
        """
        path = self._path(player.name)
        text = ""
        if path.is_file():
            self._read(path)
            text = path.read_text(encoding="utf-8-sig")
        document = tomlkit.parse(text) if text else tomlkit.document()
        for key, value in player.model_dump(mode="json").items():
            if value is None or value == []:
                document.pop(key, None)
            elif key in ("ends", "limits"):
                tables = tomlkit.aot()
                for one in value:
                    tables.append(tomlkit.item(one))
                document[key] = tables
            else:
                document[key] = value
        write_whole(path, tomlkit.dumps(document))

    def _read(self, path: Path) -> Player:
        try:
            text = path.read_text(encoding="utf-8-sig")
        except (OSError, UnicodeDecodeError) as error:
            raise SettingsError(f"The player's file {path} cannot be read ({error}).") from error
        return parse_player(text, f"The player's file {path}")

    def _path(self, name: str) -> Path:
        plain = name.strip()
        if not plain or len(plain) > LONGEST_NAME or not plain.isprintable():
            raise InputError(f"A player's name has 1 to {LONGEST_NAME} letters; choose another one.")
        # Letters of every language, but nothing that means something to a file system.
        stem = re.sub(r"[^\w-]+", "-", unicodedata.normalize("NFC", plain.casefold())).strip("-")
        if not stem:
            raise InputError("A player's name needs a letter or a number; choose another one.")
        return self._folder / f"{stem}.toml"
