"""How long a hand was in which state over a practice, by the rule of `posturewatch.comfort.hand_state`."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from posturewatch.comfort.hand_state import AngleState, state_of, watched_quantities
from posturewatch.exposure.exposure_series import ExposureSeries
from posturewatch.exposure.series import Window, check_windows, sample_seconds, time_inside
from posturewatch.model.arrays import Array
from posturewatch.model.measurement import Refusal
from posturewatch.model.observation import Side
from posturewatch.model.verdict import HandState

__all__ = ["HandSeries", "HandStates", "HandTime", "hand_series"]


_STATES = tuple(HandState)


@dataclass(frozen=True)
class HandTime:
    """seconds in each state; together they are the whole time of the windows."""

    side: Side
    total_s: float
    states_s: dict[HandState, float]

    def to_json(self) -> dict[str, Any]:
        return {
            "side": self.side,
            "total_s": round(self.total_s, 3),
            "states_s": {state.value: round(seconds, 3) for state, seconds in self.states_s.items()},
        }


@dataclass(frozen=True)
class HandSeries:
    """The state of one hand at each of its samples.

    time_s, seconds, state: (n,) arrays; state holds places in `HandState`.
    """

    side: Side
    time_s: Array
    seconds: Array
    state: NDArray[np.int8]
    max_gap_s: float

    def over(self, *windows: Window) -> HandTime:
        """Over half-open windows of session time, taken together. Time without a picture is time in which the hand was
        not seen.

        Raises
        ------
        ValueError
            Where there is no window, one is empty, or they overlap.
        """
        check_windows(windows)
        places, seconds = time_inside(self.time_s, self.seconds, windows, self.max_gap_s)
        total_s = sum(end_s - start_s for start_s, end_s in windows)
        spent = np.bincount(self.state[places], seconds, len(_STATES))
        states_s = dict(zip(_STATES, spent.tolist(), strict=True))
        states_s[HandState.NOT_SEEN] += max(0.0, total_s - float(spent.sum()))
        return HandTime(self.side, total_s, states_s)


def hand_series(series: Iterable[ExposureSeries]) -> tuple[HandSeries, ...]:
    """The states of each hand from its watched angles; a hand of which none of these was recorded is left out.

    Parameters
    ----------
    series : iterable of ExposureSeries
        Of both hands and of any quantities; all of one session.
    """
    found = HandStates()
    for one in series:
        found.add(one)
    return found.series()


class HandStates:
    """The states of both hands, gathered from one series after another: none of them is held."""

    def __init__(self) -> None:
        self._hands: dict[Side, _Hand] = {}

    def add(self, one: ExposureSeries) -> None:
        """Takes a series of the session, of any quantity."""
        watched = frozenset(entry.name for entry in watched_quantities(one.limits))
        hand = self._hands.setdefault(one.side, _Hand(watched, one.rules.watch.max_gap_s))
        if one.entry.name in watched:
            hand.add(one)

    def series(self) -> tuple[HandSeries, ...]:
        """Of the hands of which some watched angle was recorded, in the order in which they came."""
        return tuple(hand.series(side) for side, hand in self._hands.items() if hand.known)


class _Hand:
    """Of one hand: the lowest state of its angles so far, and whether it was not seen, at the times of either."""

    def __init__(self, watched: frozenset[str], max_gap_s: float) -> None:
        self._watched = watched
        self._max_gap_s = max_gap_s
        self.known: set[str] = set()
        self._times = np.zeros(0)
        self._lowest = np.zeros(0, np.int8)
        self._unseen = np.zeros(0, bool)

    def add(self, one: ExposureSeries) -> None:
        times = np.union1d(self._times, one.every_s)
        # An angle that has no sample at a time is not measured then.
        before = AngleState.NOT_MEASURED if self.known else AngleState.IN_COMFORT
        lowest, unseen = np.full(times.size, before, np.int8), np.ones(times.size, bool)
        earlier = np.searchsorted(times, self._times)
        lowest[earlier], unseen[earlier] = self._lowest, self._unseen
        state = np.full(times.size, AngleState.NOT_MEASURED, np.int8)
        state[np.searchsorted(times, one.time_s)] = one.state
        hidden = np.ones(times.size, bool)
        hidden[np.searchsorted(times, one.every_s)] = one.refused_for(Refusal.HAND_NOT_SEEN)
        self._times, self._lowest, self._unseen = times, np.minimum(lowest, state), unseen & hidden
        self.known.add(one.entry.name)

    def series(self, side: Side) -> HandSeries:
        # An angle that is watched and was not recorded is not measured at any time.
        rest = AngleState.IN_COMFORT if self.known == self._watched else AngleState.NOT_MEASURED
        lowest = np.minimum(self._lowest, np.int8(rest))
        named = np.array([_STATES.index(state_of(angle)) for angle in AngleState], np.int8)
        states = np.where(self._unseen, np.int8(_STATES.index(HandState.NOT_SEEN)), named[lowest])
        seconds = sample_seconds(self._times, np.inf, self._max_gap_s)
        return HandSeries(side, self._times, seconds, states, self._max_gap_s)
