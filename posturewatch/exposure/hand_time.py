"""How long a hand was in which state over a practice, by the rule of `posturewatch.comfort.hand_state`."""

from __future__ import annotations

from collections.abc import Sequence
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

__all__ = ["HandSeries", "HandTime", "hand_series"]


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
    state: NDArray[np.int64]
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


def hand_series(series: Sequence[ExposureSeries]) -> tuple[HandSeries, ...]:
    """The states of each hand from its watched angles; a hand of which none of these was recorded is left out.

    Parameters
    ----------
    series : sequence of ExposureSeries
        Of both hands and of any quantities; all of one session.
    """
    found = (
        _of_hand([one for one in series if one.side == side])
        for side in dict.fromkeys(one.side for one in series)
    )
    return tuple(one for one in found if one is not None)


def _of_hand(series: Sequence[ExposureSeries]) -> HandSeries | None:
    own = {one.entry.name: one for one in series}
    first = series[0]
    watched = [entry.name for entry in watched_quantities(first.limits)]
    known = [own[name] for name in watched if name in own]
    if not known:
        return None
    times = np.unique(np.concatenate([one.every_s for one in known]))
    # An angle that is watched and was not recorded is not measured at any time.
    lowest = np.full(
        times.size, AngleState.IN_COMFORT if len(known) == len(watched) else AngleState.NOT_MEASURED
    )
    unseen = np.ones(times.size, bool)
    for one in known:
        state = np.full(times.size, AngleState.NOT_MEASURED)
        state[np.searchsorted(times, one.time_s)] = one.state
        hidden = np.ones(times.size, bool)
        hidden[np.searchsorted(times, one.every_s)] = one.refused_for(Refusal.HAND_NOT_SEEN)
        lowest = np.minimum(lowest, state)
        unseen &= hidden
    named = np.array([_STATES.index(state_of(angle)) for angle in AngleState])
    states = np.where(unseen, _STATES.index(HandState.NOT_SEEN), named[lowest])
    gap_s = first.rules.watch.max_gap_s
    return HandSeries(first.side, times, sample_seconds(times, np.inf, gap_s), states, gap_s)
