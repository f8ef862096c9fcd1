"""Limit profiles: comfort and extreme limits per quantity and direction, each with its source.

A limit is a magnitude in its direction (32.7 degrees of extension is value 32.7, direction "extension"). A
comfort limit separates "within comfort" from "beyond comfort"; an extreme limit is what warnings are about. A
source that names a single acceptable bound gives the extreme limit only, since beyond it the source calls the
posture awkward; a direction without a value in its source has no limit, and is never warned of.

No wrist limit is validated for players of instruments; all of these come from work and physiology.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Literal, get_args

from posturewatch.errors import InputError
from posturewatch.model.observation import Side
from posturewatch.model.quantities import QUANTITIES, QUANTITY_NAMES, Quantity
from posturewatch.model.verdict import Level

if sys.version_info >= (3, 11):
    import tomllib
else:
    import tomli as tomllib

__all__ = [
    "Band",
    "Evidence",
    "Limit",
    "LimitProfile",
    "PersonalLimits",
    "narrowed",
    "of_hands",
    "parse_profile",
    "wider",
]

#: How the value is known: F seen in an abstract, table or secondary copy of the source; M from memory, not
#: seen; D derived here; common practice without a source; personal, set by the player.
Evidence = Literal["F", "M", "D", "common practice", "personal"]

LEVELS: tuple[Level, ...] = ("comfort", "extreme")

#: A player's own limits, by (quantity, direction, level).
PersonalLimits = Mapping[tuple[str, str, Level], float]


@dataclass(frozen=True)
class Limit:
    """value: magnitude in the quantity's unit, above 0."""

    value: float
    source: str
    mark: Evidence


@dataclass(frozen=True)
class Band:
    """Both limits of one direction; None where the source gives none."""

    comfort: Limit | None = None
    extreme: Limit | None = None

    def limit(self, level: Level) -> Limit | None:
        if level == "comfort":
            return self.comfort
        if level == "extreme":
            return self.extreme
        raise ValueError(f"a level is one of {LEVELS}, got {level!r}")


@dataclass(frozen=True)
class LimitProfile:
    """name: what the user types; label: words for the page; description: one or two sentences;
    bands by (quantity, direction), complete for every known quantity (an empty band where nothing is given), the
    narrower ones where the hands have different ones; sided: those that are one hand's alone. Whoever judges a hand
    asks `of` it.
    """

    name: str
    label: str
    description: str
    bands: Mapping[tuple[str, str], Band]
    sided: Mapping[Side, Mapping[tuple[str, str], Band]] = field(default_factory=dict)

    def of(self, side: Side) -> LimitProfile:
        """As it holds for that hand."""
        if not self.sided:
            return self
        return replace(self, bands={**self.bands, **self.sided.get(side, {})}, sided={})

    def limit(self, quantity: str, direction: str, level: Level) -> Limit | None:
        """The limit, or None where the profile has none.

        Raises
        ------
        KeyError
            For an unknown quantity or direction.
        ValueError
            For an unknown level.
        """
        return self.bands[quantity, direction].limit(level)


def parse_profile(text: str, included: Mapping[str, str] | None = None) -> LimitProfile:
    """A profile from its TOML text.

    Top level: name, label, description; then `[QUANTITY.DIRECTION.LEVEL]` tables with `value_UNIT`, `source`
    and `mark`. Instead of a quantity, a family of them may be named, such as finger_lift: then it holds for each
    that is not named itself. `include` lists files of further tables; what the profile says itself goes before.
    Everything unknown is refused, so that a misspelt direction cannot silently lose its limit.

    Parameters
    ----------
    text : str
        The profile's TOML.
    included : mapping, optional
        Texts of the files that it may include, by name.

    Raises
    ------
    InputError
        With one sentence that names what is wrong.
    """
    data = _toml(text)
    words = {key: data.pop(key, None) for key in ("name", "label", "description")}
    for key, word in words.items():
        if not isinstance(word, str) or not word.strip():
            raise InputError(f"The limit profile needs a {key}, in quotes.")
    name = str(words["name"])
    bands = {(entry.name, direction): Band() for entry in QUANTITIES for direction in entry.directions}
    for other in data.pop("include", []):
        if included is None or other not in included:
            raise InputError(f"The limit profile {name} includes {other}, which there is not.")
        bands.update(_bands(f"{name}, {other}", _toml(included[other])))
    bands.update(_bands(name, data))
    return LimitProfile(name, str(words["label"]), str(words["description"]), bands)


def _toml(text: str) -> dict[str, Any]:
    try:
        data: dict[str, Any] = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"The limit profile is not valid TOML: {error}.") from error
    return data


def _bands(profile: str, data: Mapping[str, Any]) -> dict[tuple[str, str], Band]:
    """The bands that these tables give, a family's before a quantity's own."""
    families = {entry.family for entry in QUANTITIES} - set(QUANTITY_NAMES)
    bands: dict[tuple[str, str], Band] = {}
    for key in sorted(data, key=lambda key: key not in families):
        directions = data[key]
        named = [entry for entry in QUANTITIES if key == entry.name]
        entries = named or [entry for entry in QUANTITIES if key == entry.family]
        if not entries or not isinstance(directions, dict):
            raise InputError(
                f"The limit profile {profile} has an unknown entry {key}; known are "
                f"{', '.join(sorted({*QUANTITY_NAMES, *families}))}."
            )
        for direction, levels in directions.items():
            if direction not in entries[0].directions or not isinstance(levels, dict):
                raise InputError(
                    f"The limit profile {profile} has an unknown direction {key}.{direction}; "
                    f"known are {', '.join(entries[0].directions)}."
                )
            for entry in entries:
                bands[entry.name, direction] = _band(profile, entry, direction, levels)
    return bands


def _band(profile: str, entry: Quantity, direction: str, levels: dict[str, Any]) -> Band:
    where = f"The limit profile {profile}, {entry.name}.{direction}"
    unknown = set(levels) - set(LEVELS)
    if unknown:
        raise InputError(f"{where}: unknown level {min(unknown)}; known are {', '.join(LEVELS)}.")
    found = {level: _limit(f"{where}.{level}", entry.unit, table) for level, table in levels.items()}
    band = Band(found.get("comfort"), found.get("extreme"))
    if band.comfort and band.extreme and band.comfort.value > band.extreme.value:
        raise InputError(f"{where}: the comfort limit lies beyond the extreme limit.")
    return band


def _limit(where: str, unit: str, table: object) -> Limit:
    key = f"value_{unit}"
    if not isinstance(table, dict) or set(table) != {key, "source", "mark"}:
        raise InputError(f"{where}: needs exactly {key}, source and mark.")
    value, source, mark = table[key], table["source"], table["mark"]
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not 0 < value <= 180:
        raise InputError(f"{where}: {key} must be a number above 0 and at most 180.")
    if not isinstance(source, str) or not source.strip():
        raise InputError(f"{where}: needs a source, in quotes.")
    if mark not in get_args(Evidence):
        raise InputError(f"{where}: the mark is one of {', '.join(get_args(Evidence))}.")
    return Limit(float(value), source, mark)


def narrowed(
    profile: LimitProfile,
    personal: PersonalLimits,
    sources: Mapping[tuple[str, str, Level], str] | None = None,
) -> LimitProfile:
    """The profile with a player's own limits where these are narrower; a personal limit never widens one.

    Where the profile has no limit, a personal one adds it. A comfort limit never lies beyond the extreme limit
    that results.

    Parameters
    ----------
    personal : mapping
        Magnitudes in the quantity's unit by (quantity, direction, level).
    sources : mapping, optional
        Where each comes from, where the player did not set it by hand.

    Raises
    ------
    KeyError
        For an unknown quantity or direction.
    ValueError
        For a value that is not above 0.
    """
    bands = dict(profile.bands)
    for (quantity, direction, level), value in personal.items():
        if not (math.isfinite(value) and value > 0):
            raise ValueError(f"a personal limit is above 0, got {value} for {quantity} {direction} {level}")
        band = bands[quantity, direction]
        old = band.limit(level)
        if old is None or value < old.value:
            source = (sources or {}).get((quantity, direction, level), "the player's own limit")
            own = Limit(float(value), source, "personal")
            bands[quantity, direction] = (
                replace(band, comfort=own) if level == "comfort" else replace(band, extreme=own)
            )
    for key, band in bands.items():
        if band.comfort and band.extreme and band.comfort.value > band.extreme.value:
            bands[key] = replace(band, comfort=band.extreme)
    return replace(profile, bands=bands)


def of_hands(hands: Mapping[Side, LimitProfile]) -> LimitProfile:
    """One profile that holds both hands'.

    Parameters
    ----------
    hands
        The same profile, narrowed for the left hand and for the right one.
    """
    left, right = hands["left"], hands["right"]
    differ = [key for key, band in left.bands.items() if band != right.bands[key]]
    if not differ:
        return left
    bands = {**left.bands, **{key: _narrower(left.bands[key], right.bands[key]) for key in differ}}
    return replace(
        left,
        bands=bands,
        sided={side: {key: one.bands[key] for key in differ} for side, one in hands.items()},
    )


def _narrower(one: Band, other: Band) -> Band:
    def least(level: Level) -> Limit | None:
        found = [limit for band in (one, other) if (limit := band.limit(level)) is not None]
        return min(found, key=lambda limit: limit.value, default=None)

    return Band(least("comfort"), least("extreme"))


def wider(profile: LimitProfile, personal: PersonalLimits) -> tuple[tuple[str, str, Level], ...]:
    """The personal limits that `narrowed` leaves aside because the profile's own are narrower."""
    found = []
    for (quantity, direction, level), value in personal.items():
        old = profile.limit(quantity, direction, level)
        if old is not None and value > old.value:
            found.append((quantity, direction, level))
    return tuple(found)
