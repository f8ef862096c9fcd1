"""Passages of a session, and how exceeding a limit is spread over them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from posturewatch.comfort.exceedance import CERTAIN, exceedance_probability
from posturewatch.comfort.limits import LEVELS
from posturewatch.exposure.exposure_series import ExposureSeries
from posturewatch.exposure.series import Window, check_windows
from posturewatch.model.arrays import Array
from posturewatch.model.observation import Side
from posturewatch.model.quantities import Quantity
from posturewatch.model.verdict import Level

__all__ = ["Cells", "Passage", "Spread", "outside", "probability_beyond", "spreads"]


@dataclass(frozen=True)
class Passage:
    """A passage of a piece and when it was played; part is free text such as "bars 12-16", or empty."""

    id: str
    piece: str
    part: str
    windows: tuple[Window, ...]

    def __post_init__(self) -> None:
        check_windows(self.windows)

    @property
    def name(self) -> str:
        return f"“{self.piece}”, {self.part}" if self.part else f"“{self.piece}”"


def outside(passages: Iterable[Passage], end_s: float) -> tuple[Window, ...]:
    """The stretches of a session from 0 to end_s that belong to no passage.

    Raises
    ------
    ValueError
        Where passages overlap: a player plays one at a time.
    """
    found, last_s = [], 0.0
    for start_s, stop_s in sorted(window for passage in passages for window in passage.windows):
        if start_s < last_s:
            raise ValueError(f"passages overlap at {start_s} s")
        found.append((last_s, min(start_s, end_s)))
        last_s = stop_s
    found.append((last_s, end_s))
    return tuple(window for window in found if window[1] > window[0])


@dataclass(frozen=True)
class _Time:
    """A series' measured time by place: the passages in their order, then the time in none of them.

    samples, place, second, seconds: (m,) sample in the series, place, whole second of the session, time spent.
    length_s: (p,) length of the places' windows. spans: count of whole seconds.
    """

    samples: NDArray[np.int64]
    place: NDArray[np.int64]
    second: NDArray[np.int64]
    seconds: Array
    length_s: Array
    spans: int

    @classmethod
    def of(cls, series: ExposureSeries, passages: Sequence[Passage], end_s: float) -> _Time:
        windows = [*(passage.windows for passage in passages), outside(passages, end_s)]
        parts = [series.parts(one) if one else (np.zeros(0, np.int64), np.zeros(0)) for one in windows]
        samples = np.concatenate([part[0] for part in parts])
        second = np.maximum(np.floor(series.time_s[samples]), 0.0).astype(np.int64)
        return cls(
            samples,
            np.repeat(np.arange(len(parts)), [part[0].size for part in parts]),
            second,
            np.concatenate([part[1] for part in parts]),
            np.array([sum(stop_s - start_s for start_s, stop_s in one) for one in windows]),
            int(second.max(initial=0)) + 1,
        )

    def by_second(self, weight: Array | None = None) -> Array:
        """Time spent, times weight (m,), by place and whole second (p, spans)."""
        cells = self.place * self.spans + self.second
        spent = self.seconds if weight is None else self.seconds * weight
        places = self.length_s.size
        return np.bincount(cells, spent, places * self.spans).astype(np.float64).reshape(places, self.spans)


@dataclass(frozen=True)
class Cells:
    """The places and whole seconds of a session that have measured time: place, second, measured (c,), in the order of
    places and then of seconds; spans: count of whole seconds."""

    place: NDArray[np.int64]
    second: NDArray[np.int64]
    measured: Array
    spans: int


@dataclass(frozen=True)
class Spread:
    """How being beyond one limit is spread over the places of a session: the passages in their order, then the
    time in none of them. Without the samples: of a long session those of one series alone are in memory.

    side, entry: of the series. cells: where there is measured time. beyond: (c,) of these, the expected seconds beyond
    the limit, from each sample's probability. measured_s, beyond_s: (p,) the same by place. certain_s: (p,) of that,
    what is certain (`CERTAIN`). length_s: (p,) of the places. excursion_s: (k,) how long each excursion lasted.
    """

    side: Side
    entry: Quantity
    direction: str
    level: Level
    limit: float
    cells: Cells
    beyond: Array
    measured_s: Array
    beyond_s: Array
    certain_s: Array
    length_s: Array
    excursion_s: Array


def spreads(series: ExposureSeries, passages: Sequence[Passage], end_s: float) -> Iterator[Spread]:
    """The spread for every limit of the series' quantity."""
    time = _Time.of(series, passages, end_s)
    dense = time.by_second()
    place, second = np.nonzero(dense)
    cells, measured_s = Cells(place, second, dense[place, second], dense.shape[1]), dense.sum(axis=1)
    del dense
    for direction in series.entry.directions:
        for level in LEVELS:
            limit = series.limits.limit(series.entry.name, direction, level)
            if limit is None:
                continue
            inside = probability_beyond(series, direction, limit.value)[time.samples]
            certain_s = np.bincount(time.place, time.seconds * (inside >= CERTAIN), time.length_s.size)
            beyond = time.by_second(inside)
            found = series.excursions(direction, level)
            yield Spread(
                series.side,
                series.entry,
                direction,
                level,
                limit.value,
                cells,
                beyond[place, second],
                measured_s,
                beyond.sum(axis=1),
                certain_s.astype(np.float64),
                time.length_s,
                found.end_s - found.start_s,
            )


def probability_beyond(series: ExposureSeries, direction: str, limit: float) -> Array:
    """Of each of the series' samples (n,), that it lies beyond the limit."""
    return exceedance_probability(limit, series.magnitude(direction), series.sd)
