"""Zero-phase low-pass for measured angles, with irregular times respected and gaps left open.

Hansson 1996: 99.5 % of the power of wrist movement lies below 5 Hz. Statistics use the measured angle after
this fixed filter, never the display's.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

__all__ = ["CUTOFF_HZ", "butterworth", "low_pass"]

Array = NDArray[np.float64]

CUTOFF_HZ = 5.0

#: Odd extension at either end of a run, in grid points: three times the count of coefficients, as scipy's
#: filtfilt has it. A run needs more points than this.
_PADDING = 9

#: Two passes lower the cutoff of each by this factor, so each is designed for a higher one (Winter,
#: Biomechanics and Motor Control of Human Movement, from memory; follows from |H|^4 = 1/2).
_TWO_PASSES = (math.sqrt(2.0) - 1.0) ** 0.25

#: A cutoff above this share of the rate is left out: there is next to nothing above it, and it would ring.
_NEAR_NYQUIST = 0.45

#: No finer grid than this, whatever a source's clock does.
_FINEST_STEP_S = 1.0 / 240.0


def butterworth(cutoff_hz: float, rate_hz: float) -> tuple[Array, Array]:
    """Coefficients b, a (3,) of one pass of a second-order Butterworth low-pass of which two passes, forward
    and backward, are at half their power at cutoff_hz. Raises ValueError unless 0 < cutoff_hz < rate_hz / 2."""
    if not 0.0 < cutoff_hz < rate_hz / 2.0:
        raise ValueError(f"the cutoff lies between 0 and half the rate of {rate_hz} Hz, got {cutoff_hz} Hz")
    warped = math.tan(math.pi * cutoff_hz / rate_hz) / _TWO_PASSES
    scale = 1.0 / (1.0 + math.sqrt(2.0) * warped + warped**2)
    gain = warped**2 * scale
    b = np.array([gain, 2.0 * gain, gain])
    a = np.array([1.0, 2.0 * (warped**2 - 1.0) * scale, (1.0 - math.sqrt(2.0) * warped + warped**2) * scale])
    return b, a


def low_pass(time_s: Array, value: Array, *, cutoff_hz: float = CUTOFF_HZ, max_gap_s: float = 0.25) -> Array:
    """The values (n,) after the low-pass, at their own times (n,); NaN stays NaN and gaps are never filled in.

    Measured samples no more than max_gap_s apart form a run. Each run is put on a uniform grid by linear
    interpolation (one step for the whole series, that of its quickest tenth of samples, adjusted so that a
    run's ends lie on the grid), filtered forward and backward, and read at the samples' times again. Linear
    interpolation costs at most an eighth of the step squared times the signal's second derivative, each way.

    Left as they are: runs of less than ten grid points (a third of a second at 30 samples a second), and
    everything where the rate is below 2.2 times the cutoff (11 samples a second). Raises ValueError where time
    runs backwards.
    """
    if time_s.shape != value.shape or time_s.ndim != 1:
        raise ValueError(f"times and values have one shape (n,), got {time_s.shape} and {value.shape}")
    if np.any(np.diff(time_s) < 0):
        raise ValueError("the times of samples must not run backwards")
    filtered = value.astype(np.float64, copy=True)
    seen = np.flatnonzero(np.isfinite(value))
    if seen.size < 2:
        return filtered
    times, values = time_s[seen], filtered[seen]
    steps = np.diff(times)
    inner = steps[(steps > 0) & (steps <= max_gap_s)]
    if inner.size == 0:
        return filtered
    step_s = max(float(np.percentile(inner, 10)), _FINEST_STEP_S)
    if step_s * cutoff_hz > _NEAR_NYQUIST:
        return filtered
    first = np.flatnonzero(np.append(True, steps > max_gap_s))
    last = np.append(first[1:], times.size) - 1
    counts = np.rint((times[last] - times[first]) / step_s).astype(np.int64) + 1
    long = counts > _PADDING
    if not long.any():
        return filtered
    first, last, counts = first[long], last[long], counts[long]
    grid_s = _grid(times[first], times[last], counts)
    smooth = _both_ways(np.interp(grid_s, times, values), counts, *butterworth(cutoff_hz, 1.0 / step_s))
    inside = _ranges(first, last - first + 1)
    filtered[seen[inside]] = np.interp(times[inside], grid_s, smooth)
    return filtered


def _ranges(starts: NDArray[np.int64], lengths: NDArray[np.int64]) -> NDArray[np.int64]:
    """starts[0], starts[0] + 1, ... for lengths[0] numbers, then the same from starts[1], and so on."""
    ends = np.cumsum(lengths)
    found: NDArray[np.int64] = np.arange(ends[-1]) + np.repeat(starts - (ends - lengths), lengths)
    return found


def _grid(start_s: Array, end_s: Array, counts: NDArray[np.int64]) -> Array:
    """The grids of all runs one after another, from each run's start to its end in counts points."""
    places = _ranges(np.zeros_like(counts), counts)
    share = places / np.repeat(counts - 1, counts)
    grid: Array = np.repeat(start_s, counts) * (1.0 - share) + np.repeat(end_s, counts) * share
    return grid


def _both_ways(values: Array, counts: NDArray[np.int64], b: Array, a: Array) -> Array:
    """Forward and backward over every run, each with odd extension and settled start, as scipy's filtfilt.

    A filter that is settled on a run's first value x0 answers x0 + h * (x - x0), h its impulse response. So
    all runs are convolved at once, with so many zeros between them that none reaches the next.
    """
    response = _impulse_response(b, a)
    starts = np.cumsum(counts) - counts
    ends = starts + counts - 1
    padded = counts + 2 * _PADDING
    places = np.cumsum(padded + response.size) - (padded + response.size)
    every = _ranges(places, padded)
    middle = _ranges(places + _PADDING, counts)
    buffer = np.zeros(int(places[-1] + padded[-1] + response.size))
    buffer[middle] = values
    reach = np.arange(1, _PADDING + 1)
    before = 2.0 * values[starts][:, None] - values[starts[:, None] + reach]
    after = 2.0 * values[ends][:, None] - values[ends[:, None] - reach]
    buffer[(places + _PADDING)[:, None] - reach] = before
    buffer[(places + _PADDING + counts - 1)[:, None] + reach] = after

    for at_rest in (places, places + padded - 1):
        level = np.repeat(buffer[at_rest], padded)
        moved = np.zeros_like(buffer)
        moved[every] = buffer[every] - level
        if at_rest is places:
            moved = np.convolve(moved, response)[: buffer.size]
        else:
            moved = np.convolve(moved[::-1], response)[: buffer.size][::-1]
        buffer[every] = moved[every] + level
    smooth: Array = buffer[middle]
    return smooth


def _impulse_response(b: Array, a: Array) -> Array:
    """The filter's answer to 1, 0, 0, ..., to where it has died away to rounding."""
    radius = math.sqrt(float(a[2]))
    length = 4 if radius < 1e-4 else 4 + math.ceil(math.log(1e-17) / math.log(radius))
    response = np.zeros(length)
    for place in range(length):
        response[place] = b[place] if place < 3 else 0.0
        if place >= 1:
            response[place] -= a[1] * response[place - 1]
        if place >= 2:
            response[place] -= a[2] * response[place - 2]
    return response
