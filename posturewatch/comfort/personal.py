"""A player's own limits, from their own range and by hand: never wider than the published ones."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Literal

from posturewatch.comfort.limits import LEVELS, Limit, LimitProfile, PersonalLimits
from posturewatch.comfort.own_range import PUBLISHED_DEG, End
from posturewatch.model.observation import Side
from posturewatch.model.verdict import Level

__all__ = [
    "DEFAULT_SHARE",
    "LEAST_UNASKED_DEG",
    "LIMIT_BY_HAND_DEG",
    "Compared",
    "Origin",
    "compared",
    "ends_of",
    "limits_from_range",
    "range_by_direction",
]

#: A limit below this is asked about before it is kept: a view that measures well is off by as much
#: (`posturewatch.comfort.looks.WELL_ERROR`), so much of what is played would seem to be past it.
LEAST_UNASKED_DEG = 6.0

#: Between what a limit of one's own can be at all, by quantity and direction, degrees: no wrist of the published tables
#: bends farther.
LIMIT_BY_HAND_DEG: Mapping[tuple[str, str], tuple[float, float]] = {
    key: (1.0, high) for key, (_, high) in PUBLISHED_DEG.items()
}

#: Where the limit in force comes from: as published, from the own range, set for this hand, set for both hands in the
#: settings, or a comfort limit that would lie beyond the extreme one.
Origin = Literal["published", "range", "hand", "settings", "extreme"]

#: Of the own range, up to which a wrist may be bent before it counts as extreme (this program's own choice).
DEFAULT_SHARE = 0.7

_Key = tuple[str, str]


def range_by_direction(ends: Iterable[End]) -> dict[_Key, End]:
    """By quantity and direction the narrower of the ends given."""
    found: dict[_Key, End] = {}
    for one in ends:
        key = (one.quantity, one.direction)
        if key not in found or one.value_deg < found[key].value_deg:
            found[key] = one
    return found


def ends_of(ends: Iterable[End], side: Side) -> tuple[End, ...]:
    """A hand's own ends, and the other hand's where its own was not measured."""
    several = tuple(ends)
    own = {(one.quantity, one.direction) for one in several if one.side == side}
    return tuple(one for one in several if one.side == side or (one.quantity, one.direction) not in own)


def limits_from_range(
    profile: LimitProfile, ends: Iterable[End], share: float = DEFAULT_SHARE
) -> PersonalLimits:
    """Limits by quantity, direction and level that follow from a player's ends.

    The extreme limit is the share of the own range; the comfort limit keeps the profile's proportion between the two,
    and where the profile has a comfort limit alone, that is the share of the range.

    Parameters
    ----------
    profile
        As published; what it does not limit at all is not limited by the range either.
    ends
        Of the hand that is limited, see `ends_of`.
    share
        Above 0, at most 1.
    """
    found: dict[tuple[str, str, Level], float] = {}
    for (name, direction), end in range_by_direction(ends).items():
        band = profile.bands[name, direction]
        own = share * end.value_deg
        if band.extreme is not None:
            found[name, direction, "extreme"] = own
            if band.comfort is not None:
                found[name, direction, "comfort"] = own * band.comfort.value / band.extreme.value
        elif band.comfort is not None:
            found[name, direction, "comfort"] = own
    return found


@dataclass(frozen=True)
class Compared:
    """The candidates for one limit of one hand side by side, in the quantity's unit; None where there is none.

    Attributes
    ----------
    published
        The profile's, with its source.
    end
        What the own range is reckoned from; of the other hand where this one's was not measured.
    own
        What follows from it.
    by_hand, in_settings
        What the player has set for this hand, and for both in the settings.
    used
        The one in force: the narrowest of them.
    origin
        Which of them that is.
    """

    side: Side
    quantity: str
    direction: str
    level: Level
    published: Limit | None
    end: End | None
    own: float | None
    by_hand: float | None
    in_settings: float | None
    used: Limit
    origin: Origin


def compared(
    side: Side,
    profile: LimitProfile,
    used: LimitProfile,
    ends: Iterable[End],
    share: float,
    by_hand: PersonalLimits,
    in_settings: PersonalLimits,
) -> list[Compared]:
    """Every limit of that hand's wrist that there is, published first.

    Parameters
    ----------
    profile, used
        As published, and as in force.
    ends, share
        Of both hands, and the share of the range that counts as extreme.
    by_hand, in_settings
        What the player has set for this hand, and for both.
    """
    mine = ends_of(ends, side)
    own, ranges, force = limits_from_range(profile, mine, share), range_by_direction(mine), used.of(side)
    out = []
    for name, direction in PUBLISHED_DEG:
        for level in LEVELS:
            key = (name, direction, level)
            found = force.limit(*key)
            if found is None:
                continue
            published = profile.limit(*key)
            candidates: dict[Origin, float | None] = {
                "hand": by_hand.get(key),
                "settings": in_settings.get(key),
                "range": own.get(key),
                "published": None if published is None else published.value,
            }
            origin: Origin = next(
                (what for what, value in candidates.items() if value == found.value), "extreme"
            )
            out.append(
                Compared(
                    side,
                    name,
                    direction,
                    level,
                    published,
                    ranges.get((name, direction)),
                    candidates["range"],
                    candidates["hand"],
                    candidates["settings"],
                    found,
                    origin,
                )
            )
    return out
