"""The state of a hand in one moment: what the evidence carries, and no more.

Every watched angle (each quantity of the watched groups that has a limit) has a state of its own, from its value, its
90 % interval (`INTERVAL_SD` standard deviations to either side) and its limits:

======================  ====================================================================================
extreme                 the value lies beyond an extreme limit
may be extreme          it does not, but its interval reaches past one
past comfort            the value lies beyond a comfort limit, its interval inside the extreme ones
not measured            there is no number
may be past comfort     the value lies inside the comfort limits, its interval reaches past one
in comfort              value and interval lie inside all comfort limits
======================  ====================================================================================

The first of these that any watched angle is in decides for the hand: the two that "may be" are *unsure*, and one that
is not measured makes the hand *partly seen*, with its reason. So comfort is said only where every watched angle has a
number whose whole interval lies inside its comfort limits; and a strain that is seen in one angle is said although
another cannot be seen, because it reassures nobody. A hand is *not seen* where that is the reason of every watched
angle. Where nothing is watched, no limit says what comfort is: *unsure*.

A direction without a comfort limit is within comfort up to its extreme limit; without any limit it is never beyond one.
An angle without a limit in either direction is not watched, and by itself unsure.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from posturewatch.comfort.exceedance import INTERVAL_SD
from posturewatch.comfort.limits import LimitProfile
from posturewatch.comfort.zones import bounds
from posturewatch.model.arrays import Array
from posturewatch.model.measurement import HandMeasurement, Measurement, Refusal
from posturewatch.model.quantities import QUANTITIES, Group, Quantity
from posturewatch.model.verdict import HandState, HandVerdict

__all__ = ["AngleState", "angle_states", "hand_state", "state_of", "watched_quantities"]


class AngleState(IntEnum):
    """State of one watched angle; the lowest among those of a hand decides."""

    EXTREME = 0
    MAY_BE_EXTREME = 1
    PAST_COMFORT = 2
    NOT_MEASURED = 3
    MAY_BE_PAST_COMFORT = 4
    IN_COMFORT = 5


_HAND_STATE = {
    AngleState.EXTREME: HandState.EXTREME,
    AngleState.MAY_BE_EXTREME: HandState.UNSURE,
    AngleState.PAST_COMFORT: HandState.PAST_COMFORT,
    AngleState.NOT_MEASURED: HandState.PARTLY_SEEN,
    AngleState.MAY_BE_PAST_COMFORT: HandState.UNSURE,
    AngleState.IN_COMFORT: HandState.IN_COMFORT,
}


def state_of(angle: AngleState) -> HandState:
    """The hand's state where this is the lowest of its angles' states."""
    return _HAND_STATE[angle]


def watched_quantities(limits: LimitProfile, groups: Sequence[Group] = ("wrist",)) -> tuple[Quantity, ...]:
    """The quantities of these groups that have a limit in some direction, in the table's order."""
    return tuple(
        entry
        for entry in QUANTITIES
        if entry.group in groups
        and any(math.isfinite(bounds(limits.bands[entry.name, one])[0]) for one in entry.directions)
    )


def angle_states(value: Array, sd: Array, entry: Quantity, limits: LimitProfile) -> NDArray[np.int64]:
    """States of one angle at many moments, as `AngleState` has them.

    Parameters
    ----------
    value, sd : (n,) arrays
        Signed value and its standard deviation in the quantity's unit; NaN where nothing was measured.

    Returns
    -------
    (n,) array of int
    """
    if not any(math.isfinite(bounds(limits.bands[entry.name, one])[0]) for one in entry.directions):
        return np.where(np.isfinite(value), AngleState.MAY_BE_PAST_COMFORT, AngleState.NOT_MEASURED)
    beyond = np.zeros((2, value.size), bool)
    reaches = np.zeros((2, value.size), bool)
    for direction in entry.directions:
        magnitude = value * entry.sign(direction)
        band = np.array(bounds(limits.bands[entry.name, direction]))[:, None]
        beyond |= magnitude > band
        reaches |= magnitude + INTERVAL_SD * sd > band
    conditions = [beyond[1], reaches[1], beyond[0], ~np.isfinite(value), reaches[0]]
    states: NDArray[np.int64] = np.select(conditions, list(AngleState)[:-1], AngleState.IN_COMFORT)
    return states


def hand_state(
    hand: HandMeasurement, limits: LimitProfile, groups: Sequence[Group] = ("wrist",)
) -> HandVerdict:
    """The state of a hand in one moment, with the angle that decides.

    Parameters
    ----------
    hand : HandMeasurement
        Its measurements; a watched quantity that is not among them counts as not seen.
    groups : sequence of str
        Groups of quantities that are watched.

    Returns
    -------
    HandVerdict
        `refusal` is that of the angle that decides, where the hand is partly or not seen.
    """
    missing = Measurement.refused(Refusal.HAND_NOT_SEEN)
    watched = [
        (_angle_state(one, entry, limits), entry, one)
        for entry in watched_quantities(limits, groups)
        for one in [hand.values.get(entry.name, missing)]
    ]
    if not watched:
        return HandVerdict(HandState.UNSURE)
    if all(one.refusal is Refusal.HAND_NOT_SEEN for _, _, one in watched):
        return HandVerdict(HandState.NOT_SEEN, refusal=Refusal.HAND_NOT_SEEN)
    angle, entry, one = min(watched, key=lambda item: item[0])
    return HandVerdict(state_of(angle), None if angle is AngleState.IN_COMFORT else entry.name, one.refusal)


def _angle_state(one: Measurement, entry: Quantity, limits: LimitProfile) -> AngleState:
    if one.value is None or one.sd is None:
        return AngleState.NOT_MEASURED
    (state,) = angle_states(np.array([one.value]), np.array([one.sd]), entry, limits)
    return AngleState(state)
