"""Samples of one quantity of one hand, for how long each speaks, and windows of time."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from posturewatch.model.arrays import Array
from posturewatch.model.measurement import Refusal
from posturewatch.model.observation import Side

__all__ = [
    "NO_PICTURE",
    "SampleSeries",
    "Series",
    "Window",
    "check_windows",
    "minutes",
    "sample_seconds",
    "time_inside",
]


#: The word for time in which there was no sample at all (dropped frames, a camera that went away).
NO_PICTURE = "no picture"

#: A half-open stretch of session time in seconds: from the first, up to but not including the second.
Window = tuple[float, float]


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


def sample_seconds(time_s: Array, end_s: float, max_gap_s: float) -> Array:
    """For how long each sample speaks: until the next one, the last until end_s, at most max_gap_s.

    An end before the last sample leaves that one no time (stored times are rounded to the millisecond).

    Parameters
    ----------
    time_s : (n,) array
        In order.

    Raises
    ------
    ValueError
        Where time runs backwards.
    """
    if time_s.size == 0:
        return np.zeros(0)
    spans = np.append(np.diff(time_s), max(0.0, end_s - float(time_s[-1])))
    if np.any(spans < 0):
        raise ValueError("the times of samples must not run backwards")
    seconds: Array = np.minimum(spans, max_gap_s)
    return seconds


def minutes(end_s: float, start_s: float = 0.0) -> tuple[Window, ...]:
    """Half-open windows of a minute each from start_s on; the last one ends at end_s."""
    count = math.ceil(max(0.0, end_s - start_s) / 60.0)
    return tuple((start_s + 60.0 * k, min(start_s + 60.0 * (k + 1), end_s)) for k in range(count))


def check_windows(windows: Sequence[Window]) -> None:
    """Checks that windows follow one another.

    Raises
    ------
    ValueError
        Unless there is a window, each ends after it starts, and none begins before the one before it has ended.
    """
    if not windows:
        raise ValueError("exposure needs at least one window")
    last_s = -math.inf
    for start_s, end_s in windows:
        if not (math.isfinite(start_s) and math.isfinite(end_s) and last_s <= start_s < end_s):
            raise ValueError(f"windows follow one another and end after they start, got {tuple(windows)}")
        last_s = end_s


def time_inside(
    time_s: Array, seconds: Array, windows: Sequence[Window], max_gap_s: float
) -> tuple[NDArray[np.int64], Array]:
    """The samples that speak inside the windows, and for how long there.

    Parameters
    ----------
    time_s, seconds : (n,) arrays
        When each sample was taken, and for how long it speaks, at most max_gap_s.

    Returns
    -------
    places, seconds : (m,) arrays
    """
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
