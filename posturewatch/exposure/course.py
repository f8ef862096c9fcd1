"""One series made ready once, and its exposure over any windows of time.

Everything is weighted by time: a sample speaks until the next one, but for no longer than the rules'
`max_gap_s`, and a window takes the part of that time which lies inside it. So seconds, doses and counts of
neighbouring windows add up to those of both together. Zones, doses, percentiles and durations are those of
the low-passed value.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

from posturewatch.comfort.limits import LEVELS, LimitProfile
from posturewatch.exposure.lowpass import low_pass
from posturewatch.exposure.percentiles import quick_percentiles
from posturewatch.exposure.profile import (
    DirectionExposure,
    Exposure,
    LevelExposure,
    Rests,
    Speed,
    Variation,
    Window,
)
from posturewatch.exposure.rules import DURATION_EDGES_S, ExposureRules
from posturewatch.exposure.stays import Spans, Stays, excursion_spans, stays_of
from posturewatch.exposure.summary import (
    NO_PICTURE,
    PERCENTILES,
    Series,
    sample_seconds,
)
from posturewatch.model.observation import Side
from posturewatch.model.quantities import Quantity, quantity
from posturewatch.model.verdict import Excursion, Level

__all__ = ["Course", "check_windows", "exposure", "minutes"]

Array = NDArray[np.float64]

#: Sums of frame times miss a round number of seconds by rounding; a microsecond is far below a frame.
_ROUNDING_S = 1e-6


def minutes(end_s: float, start_s: float = 0.0) -> tuple[Window, ...]:
    """Half-open windows of a minute each from start_s on; the last one ends at end_s."""
    count = math.ceil(max(0.0, end_s - start_s) / 60.0)
    return tuple((start_s + 60.0 * k, min(start_s + 60.0 * (k + 1), end_s)) for k in range(count))


def check_windows(windows: Sequence[Window]) -> None:
    """Raises ValueError unless there is a window, each ends after it starts, and none begins before the one
    before it has ended."""
    if not windows:
        raise ValueError("exposure needs at least one window")
    last_s = -math.inf
    for start_s, end_s in windows:
        if not (math.isfinite(start_s) and math.isfinite(end_s) and last_s <= start_s < end_s):
            raise ValueError(f"windows follow one another and end after they start, got {tuple(windows)}")
        last_s = end_s


def exposure(
    series: Series,
    limits: LimitProfile,
    *windows: Window,
    excursions: Iterable[Excursion] | None = None,
    rules: ExposureRules | None = None,
) -> Exposure:
    """Exposure of one quantity of one hand over the windows taken together; see `Course`."""
    return Course(series, limits, excursions=excursions, rules=rules).over(*windows)


class Course:
    """A series, low-passed and cut into stays once; `over` then costs little for each set of windows.

    excursions: those the session recorded, so that counts equal its list; without them they are found in
    the low-passed series by the same rules.

    Attributes, of the measured samples only: time_s, value (low-passed), sd, seconds (n,). sd is that of the
    single measurement: errors of neighbouring samples are alike, so smoothing is not taken to lower it.

    Raises ValueError for times out of order, KeyError for an unknown quantity.
    """

    def __init__(
        self,
        series: Series,
        limits: LimitProfile,
        *,
        excursions: Iterable[Excursion] | None = None,
        rules: ExposureRules | None = None,
    ) -> None:
        self.rules = ExposureRules() if rules is None else rules
        self.limits = limits
        self.entry: Quantity = quantity(series.quantity)
        self.side: Side = series.side
        gap_s = self.rules.watch.max_gap_s
        self._every_s = series.time_s
        self._every_seconds = sample_seconds(series.time_s, math.inf, gap_s)
        self._refusal, self._refusals = series.refusal, series.refusals
        seen = series.refusal == 0
        smooth = series.value
        if self.rules.cutoff_hz is not None:
            smooth = low_pass(series.time_s, smooth, cutoff_hz=self.rules.cutoff_hz, max_gap_s=gap_s)
        self.time_s: Array = series.time_s[seen]
        self.value: Array = smooth[seen]
        self.sd: Array = series.sd[seen]
        self.seconds: Array = self._every_seconds[seen]
        self._speed = _speed(series.time_s, smooth, gap_s)[seen]
        self._neutral = self._neutral_bounds()
        self._edges, self._row = self._rows()
        self._stays = self._cut(self._row)
        self._near = self._cut(self._is_near())
        self._spans = self._excursions(None if excursions is None else tuple(excursions))

    def parts(self, windows: Sequence[Window]) -> tuple[NDArray[np.int64], Array]:
        """(places, seconds) of the measured samples that speak inside the windows, and for how long there."""
        return _parts(self.time_s, self.seconds, windows, self.rules.watch.max_gap_s)

    def spans(self, direction: str, level: Level) -> Spans:
        """The excursions beyond one limit; KeyError where there is no such limit."""
        return self._spans[direction, level]

    def over(self, *windows: Window) -> Exposure:
        """The exposure over the windows taken together, for instance each time a passage was played.

        Windows are half-open, in order, and do not overlap; ValueError otherwise.
        """
        check_windows(windows)
        places, seconds = self.parts(windows)
        measured_s = float(seconds.sum())
        total_s = sum(end_s - start_s for start_s, end_s in windows)
        values = self.value[places]
        return Exposure(
            side=self.side,
            quantity=self.entry.name,
            unit=self.entry.unit,
            windows=windows,
            total_s=total_s,
            measured_s=measured_s,
            unseen_s=self._unseen(windows, total_s),
            percentiles=quick_percentiles(values, seconds, PERCENTILES) if measured_s > 0 else None,
            directions=tuple(
                self._direction(direction, values, seconds, windows) for direction in self.entry.directions
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

    def _rows(self) -> tuple[tuple[float, ...], NDArray[np.int64]]:
        """Bounds of the amplitude classes, and the class of each measured sample: the neutral band and every
        limit of either direction bound one. A value on a bound belongs to the class nearer to 0."""
        edges: list[float] = []
        row = np.zeros(self.value.size, np.int64)
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

    def _is_near(self) -> NDArray[np.int64]:
        low, high = self._band() or (math.inf, -math.inf)
        return ((self.value >= low) & (self.value <= high)).astype(np.int64)

    def _cut(self, label: NDArray[np.int64]) -> Stays:
        return stays_of(self.time_s, self.seconds, label, self.rules.watch.unseen_grace_s)

    def _excursions(self, recorded: tuple[Excursion, ...] | None) -> dict[tuple[str, Level], Spans]:
        found: dict[tuple[str, Level], Spans] = {}
        watch = self.rules.watch
        for direction in self.entry.directions:
            for level in LEVELS:
                limit = self._limit(direction, level)
                if limit is None:
                    continue
                if recorded is not None:
                    key = (self.side, self.entry.name, direction, level)
                    found[direction, level] = _recorded([one for one in recorded if one.key == key])
                    continue
                leave = max(limit - watch.hysteresis(self.entry.unit), limit / 2.0)
                beyond = self.value * self.entry.sign(direction)
                found[direction, level] = excursion_spans(self.time_s, beyond, limit, leave, watch)
        return found

    def _unseen(self, windows: Sequence[Window], total_s: float) -> dict[str, float]:
        places, seconds = _parts(self._every_s, self._every_seconds, windows, self.rules.watch.max_gap_s)
        by_code = np.bincount(self._refusal[places], seconds, len(self._refusals) + 1)
        found = {
            refusal.value: float(lost_s) for refusal, lost_s in zip(self._refusals, by_code[1:], strict=True)
        }
        found[NO_PICTURE] = total_s - float(by_code.sum())
        kept = [(reason, lost_s) for reason, lost_s in found.items() if lost_s > _ROUNDING_S]
        return dict(sorted(kept, key=lambda item: -item[1]))

    def _direction(
        self, direction: str, values: Array, seconds: Array, windows: Sequence[Window]
    ) -> DirectionExposure:
        sign = self.entry.sign(direction)
        magnitude = values * sign
        beyond_s: dict[Level, float] = {}
        levels = []
        for level in LEVELS:
            limit = self._limit(direction, level)
            if limit is None:
                continue
            over = np.maximum(magnitude - limit, 0.0)
            beyond_s[level] = float(seconds @ (over > 0))
            count, longest_s = _spans_in(self._spans[direction, level], windows)
            levels.append(
                LevelExposure(level, limit, beyond_s[level], float(seconds @ over), count, longest_s)
            )
        extreme_s = beyond_s.get("extreme", 0.0)
        outside_s = max(extreme_s, beyond_s.get("comfort", 0.0))
        leaning = magnitude >= 0 if sign > 0 else magnitude > 0
        leaning_s = float(seconds.sum() if self.entry.negative is None else seconds @ leaning)
        return DirectionExposure(
            direction, leaning_s - outside_s, outside_s - extreme_s, extreme_s, tuple(levels)
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
        count = sum(int(np.diff(np.searchsorted(begins_s, window))[0]) for window in windows)
        rested_s = float(seconds @ resting[near.of[places]])
        return Rests(band, count, rested_s, count / (measured_s / 60.0))

    def _variation(self, places: NDArray[np.int64], seconds: Array) -> Variation:
        column = np.searchsorted(DURATION_EDGES_S, self._stays.measured_s + _ROUNDING_S, side="right")
        rows, columns = len(self._edges) + 1, len(DURATION_EDGES_S) + 1
        cell = self._row[places] * columns + column[self._stays.of[places]]
        table = np.bincount(cell, seconds, rows * columns).reshape(rows, columns)
        return Variation(self._edges, DURATION_EDGES_S, tuple(tuple(row) for row in table.tolist()))


def _parts(
    time_s: Array, seconds: Array, windows: Sequence[Window], max_gap_s: float
) -> tuple[NDArray[np.int64], Array]:
    found, spent = [], []
    for start_s, end_s in windows:
        first = int(np.searchsorted(time_s, start_s - max_gap_s))
        after = int(np.searchsorted(time_s, end_s))
        times = time_s[first:after]
        inside = np.minimum(times + seconds[first:after], end_s) - np.maximum(times, start_s)
        kept = np.flatnonzero(inside > 0)
        found.append(kept + first)
        spent.append(inside[kept])
    return np.concatenate(found), np.concatenate(spent)


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
    return Speed(mean, quick_percentiles(speed[known], known_s, (50,))[0])


def _recorded(excursions: Sequence[Excursion]) -> Spans:
    ordered = sorted(excursions, key=lambda one: one.start_s)
    ends = (math.inf if one.end_s is None else one.end_s for one in ordered)
    return Spans(np.array([one.start_s for one in ordered], float), np.array(list(ends), float))


def _spans_in(spans: Spans, windows: Sequence[Window]) -> tuple[int, float | None]:
    """(how many begin inside the windows, the longest part inside one of them or None)."""
    count, longest_s = 0, 0.0
    for start_s, end_s in windows:
        count += int(np.diff(np.searchsorted(spans.start_s, (start_s, end_s)))[0])
        inside = np.minimum(spans.end_s, end_s) - np.maximum(spans.start_s, start_s)
        longest_s = max(longest_s, float(inside.max(initial=0.0)))
    return count, longest_s if longest_s > 0 else None
