"""One series made ready once, and its exposure over any windows of time: the one place where the zones, episodes,
excursions and percentiles of a practice are computed. Summary, review, trends and findings read from it.

Everything is weighted by time: a sample speaks until the next one, but for no longer than the rules' `max_gap_s`, and
a window takes the part of that time which lies inside it; the rest is time without a picture. So seconds, excesses and
counts of neighbouring windows add up to those of both together. Unseen time counts as unseen: shares of zones are
shares of the measured time, and the measured share stands beside them.

All of it is of the low-passed value. Excursions are found in that value too, by the rules of the live watch, which
sees it without the low-pass and as it comes: what the watch announced is kept as a list of events, and the two lists
may differ by what is shorter than the filter's reach.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from posturewatch.comfort.exceedance import CERTAIN, exceedance_probability
from posturewatch.comfort.excursions import ExcursionTimes, excursion_times
from posturewatch.comfort.hand_state import AngleState, angle_states, state_of
from posturewatch.comfort.limits import LEVELS, LimitProfile
from posturewatch.exposure.episodes import Episodes, episodes_of
from posturewatch.exposure.lowpass import low_pass
from posturewatch.exposure.percentiles import PERCENTILES, weighted_percentiles
from posturewatch.exposure.rules import DURATION_EDGES_S, ExposureRules
from posturewatch.exposure.series import (
    NO_PICTURE,
    Series,
    Window,
    check_windows,
    sample_seconds,
    time_inside,
)
from posturewatch.exposure.values import (
    MEASURED_STATES,
    DirectionExposure,
    Exposure,
    LimitExposure,
    Rests,
    Speed,
    Variation,
)
from posturewatch.model.arrays import Array
from posturewatch.model.measurement import Refusal
from posturewatch.model.observation import Side
from posturewatch.model.quantities import Quantity, quantity
from posturewatch.model.verdict import Level

__all__ = ["ExposureSeries"]


#: Sums of frame times miss a round number of seconds by rounding; a microsecond is far below a frame.
_ROUNDING_S = 1e-6


class ExposureSeries:
    """A series, low-passed and cut into episodes once; `over` then costs little for each set of windows.

    Parameters
    ----------
    series : Series
        Samples of one quantity of one hand.
    limits : LimitProfile
        The limits that the session was judged by.
    rules : ExposureRules, optional
        The watch's rules in them are those under which the session was watched.

    Attributes
    ----------
    time_s, value, sd, seconds, state : (n,) arrays
        Of the measured samples that speak for some time. state is the `AngleState` of each. value is low-passed; sd is
        that of the single measurement: errors of
        neighbouring samples are alike, so smoothing is not taken to lower it.

    every_s : (m,) array
        The times of all samples, measured or refused.

    Raises
    ------
    ValueError
        For times out of order.
    KeyError
        For an unknown quantity.
    """

    def __init__(self, series: Series, limits: LimitProfile, *, rules: ExposureRules | None = None) -> None:
        self.rules = ExposureRules() if rules is None else rules
        self.limits = limits
        self.entry: Quantity = quantity(series.quantity)
        self.side: Side = series.side
        gap_s = self.rules.watch.max_gap_s
        self.every_s: Array = series.time_s
        self._every_seconds = sample_seconds(series.time_s, math.inf, gap_s)
        self._refusal, self._refusals = series.refusal, series.refusals
        # A sample that the next one follows at the same time speaks for no time, and so can be no part of anything.
        seen = (series.refusal == 0) & (self._every_seconds > 0)
        smooth = series.value
        if self.rules.cutoff_hz is not None:
            smooth = low_pass(series.time_s, smooth, cutoff_hz=self.rules.cutoff_hz, max_gap_s=gap_s)
        self.time_s: Array = series.time_s[seen]
        self.value: Array = smooth[seen]
        self.sd: Array = series.sd[seen]
        self.seconds: Array = self._every_seconds[seen]
        # In few bytes each, since a long session has a million samples of a wrist.
        self.state = angle_states(self.value, self.sd, self.entry, limits).astype(np.int8)
        self._speed = _speed(series.time_s, smooth, gap_s)[seen]
        self._neutral = self._neutral_bounds()
        self._edges, self._row = self._rows()
        self._episodes = self._cut(self._row)
        self._near = self._cut(self._is_near())
        self._beyond: dict[tuple[str, Level], Episodes] = {}
        self._excursions: dict[tuple[str, Level], ExcursionTimes] = {}
        for direction in self.entry.directions:
            for level in LEVELS:
                self._pass_limit(direction, level)

    def _pass_limit(self, direction: str, level: Level) -> None:
        """Finds the episodes and the excursions beyond one limit, if there is that limit."""
        limit = self._limit(direction, level)
        if limit is None:
            return
        watch = self.rules.watch
        magnitude = self.magnitude(direction)
        self._beyond[direction, level] = self._cut((magnitude > limit).astype(np.int8))
        leave = watch.leave(limit, self.entry.unit)
        self._excursions[direction, level] = excursion_times(self.time_s, magnitude, limit, leave, watch)

    @property
    def measured(self) -> NDArray[np.bool_]:
        """Of every sample (those of `every_s`), whether it has a number."""
        return np.equal(self._refusal, 0)

    def refused_for(self, refusal: Refusal) -> NDArray[np.bool_]:
        """Of every sample (those of `every_s`), whether it was refused for this reason."""
        return np.equal(self._refusal, 1 + self._refusals.index(refusal))

    def magnitude(self, direction: str) -> Array:
        """The values (n,) in a direction: above 0 where they lean to it."""
        return self.value * self.entry.sign(direction)

    def parts(self, windows: Sequence[Window]) -> tuple[NDArray[np.int64], Array]:
        """The measured samples that speak inside the windows.

        Returns
        -------
        places : (m,) array of int
            Of the samples, as in `time_s`.
        seconds : (m,) array
            For how long each speaks there.
        """
        return time_inside(self.time_s, self.seconds, windows, self.rules.watch.max_gap_s)

    def excursions(self, direction: str, level: Level) -> ExcursionTimes:
        """The excursions beyond one limit.

        Raises
        ------
        KeyError
            Where there is no such limit.
        """
        return self._excursions[direction, level]

    def past_s(self, direction: str, level: Level, start_s: float, end_s: float) -> float | None:
        """The measured time past one limit in the episodes that touch a stretch of time, in seconds; None where
        nothing was measured in it or there is no such limit. Whole episodes, so that no part of a practice tells a
        longer time than the whole."""
        first, last = np.searchsorted(self.time_s, [start_s, end_s])
        found = self._beyond.get((direction, level))
        if found is None or not (first < self.time_s.size and self.time_s[first] <= end_s):
            return None
        touched = np.unique(found.of[first : max(last, first + 1)])
        return float(found.measured_s[touched] @ found.label[touched])

    def over(self, *windows: Window) -> Exposure:
        """The exposure over the windows taken together, for instance each time a passage was played.

        Parameters
        ----------
        *windows : tuple of float
            (start, end) in seconds of the session, half-open, in order.

        Raises
        ------
        ValueError
            Where there is no window, one is empty, or they overlap.
        """
        check_windows(windows)
        places, seconds = self.parts(windows)
        measured_s = float(seconds.sum())
        total_s = sum(end_s - start_s for start_s, end_s in windows)
        return Exposure(
            side=self.side,
            quantity=self.entry.name,
            unit=self.entry.unit,
            windows=windows,
            total_s=total_s,
            measured_s=measured_s,
            unseen_s=self._unseen(windows, total_s),
            percentiles=weighted_percentiles(self.value[places], seconds, PERCENTILES)
            if measured_s > 0
            else None,
            directions=tuple(
                self._direction(direction, places, seconds, windows) for direction in self.entry.directions
            ),
            rests=self._rests(places, seconds, measured_s, windows),
            speed=_speed_in(self._speed[places], seconds),
            variation=self._variation(places, seconds),
        )

    def _limit(self, direction: str, level: Level) -> float | None:
        limit = self.limits.limit(self.entry.name, direction, level)
        return None if limit is None else limit.value

    def _neutral_bounds(self) -> dict[str, float]:
        """How far the neutral band reaches in each direction; empty where neutral means nothing."""
        neutral = self.rules.neutral(self.entry.unit)
        if neutral is None:
            return {}
        return {
            direction: min(
                [neutral, *(v for level in LEVELS if (v := self._limit(direction, level)) is not None)]
            )
            for direction in self.entry.directions
        }

    def _rows(self) -> tuple[tuple[float, ...], NDArray[np.int32]]:
        """Bounds of the amplitude classes, and the class of each measured sample: the neutral band and every
        limit of either direction bound one. A value on a bound belongs to the class nearer to 0."""
        edges: list[float] = []
        row = np.zeros(self.value.size, np.int32)
        for direction in self.entry.directions:
            sign = self.entry.sign(direction)
            bounds = {v for level in LEVELS if (v := self._limit(direction, level)) is not None}
            if direction in self._neutral:
                bounds.add(self._neutral[direction])
            for bound in bounds:
                edges.append(sign * bound)
                row += self.value > bound if sign > 0 else self.value >= -bound
        return tuple(sorted(edges)), row

    def _band(self) -> tuple[float, float] | None:
        bounds = list(self._neutral.values())
        return (-bounds[-1], bounds[0]) if bounds else None

    def _is_near(self) -> NDArray[np.int8]:
        low, high = self._band() or (math.inf, -math.inf)
        return ((self.value >= low) & (self.value <= high)).astype(np.int8)

    def _cut(self, label: NDArray[np.integer[Any]]) -> Episodes:
        return episodes_of(self.time_s, self.seconds, label, self.rules.watch.unseen_grace_s)

    def _unseen(self, windows: Sequence[Window], total_s: float) -> dict[str, float]:
        places, seconds = time_inside(self.every_s, self._every_seconds, windows, self.rules.watch.max_gap_s)
        by_code = np.bincount(self._refusal[places], seconds, len(self._refusals) + 1)
        found = {
            refusal.value: float(lost_s) for refusal, lost_s in zip(self._refusals, by_code[1:], strict=True)
        }
        found[NO_PICTURE] = total_s - float(by_code.sum())
        kept = [(reason, lost_s) for reason, lost_s in found.items() if lost_s > _ROUNDING_S]
        return dict(sorted(kept, key=lambda item: -item[1]))

    def _direction(
        self, direction: str, places: NDArray[np.int64], seconds: Array, windows: Sequence[Window]
    ) -> DirectionExposure:
        magnitude = self.magnitude(direction)[places]
        leaning = magnitude >= 0 if self.entry.sign(direction) > 0 else magnitude > 0
        if self.entry.negative is None:
            leaning = np.ones_like(leaning)
        by_angle = np.bincount(self.state[places][leaning], seconds[leaning], len(AngleState))
        states = dict.fromkeys(MEASURED_STATES, 0.0)
        for angle, spent_s in zip(AngleState, by_angle.tolist(), strict=True):
            if angle is not AngleState.NOT_MEASURED:
                states[state_of(angle)] += spent_s
        levels = (self._level(direction, level, places, seconds, windows) for level in LEVELS)
        found = tuple(one for one in levels if one is not None)
        return DirectionExposure(direction, states, found)

    def _level(
        self,
        direction: str,
        level: Level,
        places: NDArray[np.int64],
        seconds: Array,
        windows: Sequence[Window],
    ) -> LimitExposure | None:
        limit = self._limit(direction, level)
        if limit is None:
            return None
        over = self.magnitude(direction)[places] - limit
        beyond = np.flatnonzero(over > 0)
        places, seconds, over = places[beyond], seconds[beyond], over[beyond]
        certain = exceedance_probability(0.0, over, self.sd[places]) >= CERTAIN
        of = self._beyond[direction, level].of[places]
        # The time is the sum over episodes, so that none of them can be longer, not even by rounding.
        lasted_s = np.bincount(of, seconds)
        longest_s = longest_start_s = peak = None
        if beyond.size:
            longest_s = float(lasted_s.max())
            first_s = float(self.time_s[places[np.argmax(of == np.argmax(lasted_s))]])
            longest_start_s = max(first_s, next(start_s for start_s, end_s in windows if first_s < end_s))
            peak = float(self.value[places[np.argmax(over)]])
        began_s = self._excursions[direction, level].start_s
        return LimitExposure(
            level=level,
            limit=limit,
            seconds=float(lasted_s.sum()),
            # Summed alike, so that it cannot exceed the time either.
            certain_s=float(np.bincount(of, seconds * certain).sum()),
            excess=float(seconds @ over),
            longest_s=longest_s,
            longest_start_s=longest_start_s,
            peak=peak,
            excursions=_count_in(began_s, windows),
        )

    def _rests(
        self, places: NDArray[np.int64], seconds: Array, measured_s: float, windows: Sequence[Window]
    ) -> Rests | None:
        band = self._band()
        if band is None or measured_s <= 0:
            return None
        near = self._near
        resting = (near.label == 1) & (near.measured_s >= self.rules.rest_s - _ROUNDING_S)
        begins_s = near.start_s[resting]
        count = _count_in(begins_s, windows)
        rested_s = float(seconds @ resting[near.of[places]])
        return Rests(band, count, rested_s, count / (measured_s / 60.0))

    def _variation(self, places: NDArray[np.int64], seconds: Array) -> Variation:
        column = np.searchsorted(DURATION_EDGES_S, self._episodes.measured_s + _ROUNDING_S, side="right")
        rows, columns = len(self._edges) + 1, len(DURATION_EDGES_S) + 1
        cell = self._row[places] * columns + column[self._episodes.of[places]]
        table = np.bincount(cell, seconds, rows * columns).reshape(rows, columns)
        return Variation(self._edges, DURATION_EDGES_S, tuple(tuple(row) for row in table.tolist()))


def _speed(time_s: Array, value: Array, max_gap_s: float) -> Array:
    """Speed of change from each sample to the next (n,); NaN where either is missing or they lie too far
    apart."""
    speed = np.full(time_s.size, np.nan)
    steps = np.diff(time_s)
    near = (steps > 0) & (steps <= max_gap_s)
    speed[:-1][near] = np.abs(np.diff(value)[near]) / steps[near]
    return speed


def _speed_in(speed: Array, seconds: Array) -> Speed | None:
    known = np.isfinite(speed)
    known_s = seconds[known]
    if known_s.size == 0:
        return None
    mean = float(known_s @ speed[known]) / float(known_s.sum())
    return Speed(mean, weighted_percentiles(speed[known], known_s, (50,))[0])


def _count_in(times_s: Array, windows: Sequence[Window]) -> int:
    """How many of the times, in order, lie inside the windows."""
    return sum(int(np.diff(np.searchsorted(times_s, window))[0]) for window in windows)
