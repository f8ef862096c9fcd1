"""The first summary of a session: time per zone, percentiles, excursions, and what was not seen and why.

Everything is weighted by time, from the unsmoothed signal. A sample speaks for the time until the next one,
but for no longer than `max_gap_s`; the rest is time without a picture. Unseen time counts as unseen: shares
of zones are shares of the measured time, and the measured share stands beside them.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from statistics import NormalDist
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from posturewatch.comfort.limits import LEVELS, LimitProfile
from posturewatch.comfort.rules import WatchRules
from posturewatch.model.measurement import Refusal
from posturewatch.model.observation import Side
from posturewatch.model.quantities import Quantity, quantity
from posturewatch.model.verdict import Excursion, HoldWarning, Level, Zone

__all__ = [
    "NO_PICTURE",
    "PERCENTILES",
    "ExcursionSummary",
    "QuantitySummary",
    "SampleSeries",
    "Series",
    "Summary",
    "ZoneTime",
    "sample_seconds",
    "summarise",
    "weighted_percentiles",
]

Array = NDArray[np.float64]

#: The word for time in which there was no sample at all (dropped pictures, a camera that went away).
NO_PICTURE = "no picture"

#: Jonsson 1982, J Hum Ergol 11:73: the amplitude distribution is read at these percentiles (from memory).
PERCENTILES = (10, 50, 90)

#: A moment counts as surely beyond a limit from this chance on. More than a warning asks for: that has been held for
#: seconds, which single moments have not.
SURE_PROBABILITY = 0.8

_ZONES = (Zone.WITHIN, Zone.BEYOND, Zone.EXTREME)


class Series(Protocol):
    """Samples of one quantity of one hand, in time order.

    time_s: (n,). value, sd: (n,) in the quantity's unit, NaN where refused. refusal: (n,) whole numbers, 0
    where measured, otherwise 1 + the place in `refusals`.
    """

    @property
    def side(self) -> Side: ...
    @property
    def quantity(self) -> str: ...
    @property
    def time_s(self) -> Array: ...
    @property
    def value(self) -> Array: ...
    @property
    def sd(self) -> Array: ...
    @property
    def refusal(self) -> NDArray[np.uint8]: ...
    @property
    def refusals(self) -> tuple[Refusal, ...]: ...


@dataclass(frozen=True)
class SampleSeries:
    """A `Series` from plain arrays, checked."""

    side: Side
    quantity: str
    time_s: Array
    value: Array
    sd: Array
    refusal: NDArray[np.uint8]
    refusals: tuple[Refusal, ...] = tuple(Refusal)

    def __post_init__(self) -> None:
        shapes = {array.shape for array in (self.time_s, self.value, self.sd, self.refusal)}
        if len(shapes) != 1 or len(self.time_s.shape) != 1:
            raise ValueError(f"a series needs arrays of one shape (n,), got {sorted(shapes)}")
        if not np.array_equal(np.isnan(self.value), self.refusal != 0):
            raise ValueError("a value is NaN exactly where it was refused")


@dataclass(frozen=True)
class ZoneTime:
    """seconds in a zone while leaning in a direction; share of the measured time (None if there is none).

    sure_s: of the seconds beyond a limit, those in which the chance of really being beyond it, given the standard
    deviation, was at least `SURE_PROBABILITY`; None within comfort. Errors of neighbouring pictures are alike, so
    much time that may be beyond a limit is not added up to some that surely is."""

    zone: Zone
    direction: str
    seconds: float
    share: float | None
    sure_s: float | None = None


@dataclass(frozen=True)
class ExcursionSummary:
    """All excursions of one level and direction; the longest and the farthest, None where there is none."""

    level: Level
    direction: str
    limit: float
    count: int
    total_s: float
    longest_s: float | None
    longest_start_s: float | None
    peak: float | None


@dataclass(frozen=True)
class QuantitySummary:
    """One quantity of one hand. unseen_s: seconds by reason. percentiles: of the signed value over measured
    time, in the order of `PERCENTILES`, or None if nothing was measured. warnings: how many fired."""

    side: Side
    quantity: str
    unit: str
    total_s: float
    measured_s: float
    unseen_s: dict[str, float]
    zones: tuple[ZoneTime, ...]
    percentiles: tuple[float, ...] | None
    excursions: tuple[ExcursionSummary, ...]
    warnings: int

    @property
    def measured_share(self) -> float | None:
        return self.measured_s / self.total_s if self.total_s > 0 else None

    def to_json(self) -> dict[str, Any]:
        return {
            "side": self.side,
            "quantity": self.quantity,
            "unit": self.unit,
            "group": quantity(self.quantity).group,
            "finger": quantity(self.quantity).finger,
            "total_s": _round(self.total_s),
            "measured_s": _round(self.measured_s),
            "measured_share": _round(self.measured_share, 4),
            "unseen_s": {reason: _round(seconds) for reason, seconds in self.unseen_s.items()},
            "zones": [
                {
                    "zone": entry.zone.value,
                    "direction": entry.direction,
                    "seconds": _round(entry.seconds),
                    "share": _round(entry.share, 4),
                    "sure_seconds": _round(entry.sure_s),
                }
                for entry in self.zones
            ],
            "percentiles": None
            if self.percentiles is None
            else {f"p{p}": _round(v, 2) for p, v in zip(PERCENTILES, self.percentiles, strict=True)},
            "excursions": [
                {
                    "level": entry.level,
                    "direction": entry.direction,
                    "limit": _round(entry.limit, 2),
                    "count": entry.count,
                    "total_s": _round(entry.total_s),
                    "longest_s": _round(entry.longest_s),
                    "longest_start_s": _round(entry.longest_start_s),
                    "peak": _round(entry.peak, 2),
                }
                for entry in self.excursions
            ],
            "warnings": self.warnings,
        }


@dataclass(frozen=True)
class Summary:
    """limits: name of the profile the session was judged by."""

    start_s: float
    end_s: float
    limits: str
    quantities: tuple[QuantitySummary, ...]

    @property
    def warnings(self) -> int:
        return sum(entry.warnings for entry in self.quantities)

    def to_json(self) -> dict[str, Any]:
        """JSON's types; what is missing is null, seconds to the millisecond."""
        return {
            "start_s": _round(self.start_s),
            "end_s": _round(self.end_s),
            "duration_s": _round(self.end_s - self.start_s),
            "limits": self.limits,
            "warnings": self.warnings,
            "quantities": [entry.to_json() for entry in self.quantities],
        }


def _round(number: float | None, digits: int = 3) -> float | None:
    return None if number is None else round(float(number), digits)


def sample_seconds(time_s: Array, end_s: float, max_gap_s: float) -> Array:
    """For how long each sample speaks (n,): until the next one, the last until end_s, at most max_gap_s.

    An end before the last sample leaves that one no time (stored times are rounded to the millisecond).
    Raises ValueError where time runs backwards.
    """
    if time_s.size == 0:
        return np.zeros(0)
    spans = np.append(np.diff(time_s), max(0.0, end_s - float(time_s[-1])))
    if np.any(spans < 0):
        raise ValueError("the times of samples must not run backwards")
    seconds: Array = np.minimum(spans, max_gap_s)
    return seconds


def weighted_percentiles(values: Array, weights: Array, percentiles: Sequence[float]) -> tuple[float, ...]:
    """Percentiles of values (n,) with weights (n,), each value standing in the middle of its weight
    (Hazen's rule; with equal weights the same as numpy's method "hazen"). Raises ValueError without weight."""
    used = weights > 0
    values, weights = values[used], weights[used]
    if values.size == 0:
        raise ValueError("percentiles need at least one value with a weight")
    order = np.argsort(values, kind="stable")
    values, weights = values[order], weights[order]
    total = np.sum(weights)
    middles = (np.cumsum(weights) - weights / 2.0) / total
    return tuple(float(v) for v in np.interp(np.asarray(percentiles) / 100.0, middles, values))


def summarise(
    series: Iterable[Series],
    excursions: Sequence[Excursion],
    warnings: Sequence[HoldWarning],
    limits: LimitProfile,
    *,
    end_s: float,
    start_s: float = 0.0,
    max_gap_s: float = WatchRules.max_gap_s,
) -> Summary:
    """The summary of what was recorded from start_s to end_s. An excursion without an end lasts until end_s.

    Raises ValueError for times out of order, KeyError for an unknown quantity.
    """
    found = tuple(_quantity(one, excursions, warnings, limits, start_s, end_s, max_gap_s) for one in series)
    return Summary(start_s, end_s, limits.name, found)


def _quantity(
    series: Series,
    excursions: Sequence[Excursion],
    warnings: Sequence[HoldWarning],
    limits: LimitProfile,
    start_s: float,
    end_s: float,
    max_gap_s: float,
) -> QuantitySummary:
    entry = quantity(series.quantity)
    if series.time_s.size and series.time_s[0] < start_s:
        raise ValueError(f"the first sample, at {series.time_s[0]} s, lies before the start at {start_s} s")
    seconds = sample_seconds(series.time_s, end_s, max_gap_s)
    total_s = end_s - start_s
    measured = series.refusal == 0
    measured_s = float(np.sum(seconds[measured]))
    own = [e for e in excursions if e.side == series.side and e.quantity == entry.name]
    return QuantitySummary(
        side=series.side,
        quantity=entry.name,
        unit=entry.unit,
        total_s=total_s,
        measured_s=measured_s,
        unseen_s=_unseen(series, seconds, total_s),
        zones=_zones(
            series.value[measured], series.sd[measured], seconds[measured], measured_s, entry, limits
        ),
        percentiles=weighted_percentiles(series.value[measured], seconds[measured], PERCENTILES)
        if measured_s > 0
        else None,
        excursions=_excursions(own, entry, limits, end_s),
        warnings=sum(w.side == series.side and w.quantity == entry.name for w in warnings),
    )


def _unseen(series: Series, seconds: Array, total_s: float) -> dict[str, float]:
    """Seconds by reason, longest first, reasons without any left out."""
    found = {
        refusal.value: float(np.sum(seconds[series.refusal == place]))
        for place, refusal in enumerate(series.refusals, start=1)
    }
    found[NO_PICTURE] = total_s - float(np.sum(seconds))
    kept = [(reason, lost_s) for reason, lost_s in found.items() if lost_s > 1e-9]
    return dict(sorted(kept, key=lambda item: -item[1]))


def _zones(
    values: Array,
    sds: Array,
    seconds: Array,
    measured_s: float,
    entry: Quantity,
    limits: LimitProfile,
) -> tuple[ZoneTime, ...]:
    found = []
    surely = NormalDist().inv_cdf(SURE_PROBABILITY) * sds
    for direction in entry.directions:
        leaning = values < 0 if direction == entry.negative else values >= 0
        if entry.negative is None:
            leaning = np.ones_like(values, dtype=bool)
        magnitude = values * entry.sign(direction)
        band = limits.bands[entry.name, direction]
        outer = math.inf if band.extreme is None else band.extreme.value
        inner = outer if band.comfort is None else band.comfort.value
        extreme = magnitude > outer
        beyond = (magnitude > inner) & ~extreme
        for zone, inside, limit in zip(
            _ZONES, (~beyond & ~extreme, beyond, extreme), (None, inner, outer), strict=True
        ):
            spent = leaning & inside
            spent_s = float(np.sum(seconds[spent]))
            share = spent_s / measured_s if measured_s > 0 else None
            sure_s = None if limit is None else float(np.sum(seconds[spent & (magnitude - limit >= surely)]))
            found.append(ZoneTime(zone, direction, spent_s, share, sure_s))
    return tuple(found)


def _excursions(
    excursions: Sequence[Excursion], entry: Quantity, limits: LimitProfile, end_s: float
) -> tuple[ExcursionSummary, ...]:
    found = []
    for direction in entry.directions:
        for level in LEVELS:
            limit = limits.limit(entry.name, direction, level)
            if limit is None:
                continue
            stays = [
                ((end_s if e.end_s is None else e.end_s) - e.start_s, e)
                for e in excursions
                if e.direction == direction and e.level == level
            ]
            longest = max(stays, key=lambda stay: stay[0], default=None)
            found.append(
                ExcursionSummary(
                    level=level,
                    direction=direction,
                    limit=limit.value,
                    count=len(stays),
                    total_s=sum(lasted_s for lasted_s, _ in stays),
                    longest_s=None if longest is None else longest[0],
                    longest_start_s=None if longest is None else longest[1].start_s,
                    peak=max((e.peak for _, e in stays), key=abs, default=None),
                )
            )
    return tuple(found)
