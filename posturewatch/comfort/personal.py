"""A player's own limits from their own range: never wider than the published ones."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from posturewatch.comfort.limits import LEVELS, Limit, LimitProfile, PersonalLimits
from posturewatch.comfort.own_range import End
from posturewatch.model.verdict import Level

__all__ = ["DEFAULT_SHARE", "Compared", "compared", "limits_from_range", "range_by_direction"]

#: Of the own range, up to which a wrist may be bent before it counts as extreme (this program's own choice).
DEFAULT_SHARE = 0.7

_Key = tuple[str, str]


def range_by_direction(ends: Iterable[End]) -> dict[_Key, End]:
    """The narrower hand's end by quantity and direction: the limits hold for both hands."""
    found: dict[_Key, End] = {}
    for one in ends:
        key = (one.quantity, one.direction)
        if key not in found or one.value_deg < found[key].value_deg:
            found[key] = one
    return found


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
        Of either hand.
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
    """The candidates for one limit side by side, in the quantity's unit; None where there is none.

    Attributes
    ----------
    published
        The profile's, with its source.
    own
        What follows from the own range.
    by_hand
        What the player has set.
    used
        The one in force: the narrowest of them.
    """

    quantity: str
    direction: str
    level: Level
    published: Limit | None
    range_deg: float | None
    own: float | None
    by_hand: float | None
    used: Limit | None


def compared(
    profile: LimitProfile,
    used: LimitProfile,
    ends: Iterable[End],
    own: PersonalLimits,
    by_hand: PersonalLimits,
    names: Iterable[str],
) -> list[Compared]:
    """Every limit of these quantities that there is, published first.

    Parameters
    ----------
    profile, used
        As published, and as in force.
    ends, own
        The own range, and what follows from it.
    by_hand
        What the player has set.
    names
        Of quantities.
    """
    ranges: Mapping[_Key, End] = range_by_direction(ends)
    wanted = set(names)
    out = []
    for name, direction in profile.bands:
        if name not in wanted:
            continue
        for level in LEVELS:
            key = (name, direction, level)
            found = Compared(
                name,
                direction,
                level,
                profile.limit(*key),
                ranges[name, direction].value_deg if (name, direction) in ranges else None,
                own.get(key),
                by_hand.get(key),
                used.limit(*key),
            )
            if found.used is not None:
                out.append(found)
    return out
