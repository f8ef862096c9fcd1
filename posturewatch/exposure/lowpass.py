"""Zero-phase low-pass for measured angles, with irregular times respected and gaps left open.

Hansson 1996: 99.5 % of the power of wrist movement lies below 5 Hz. Statistics use the measured angle after
this fixed filter, never the display's.
"""

from __future__ import annotations

import math

import numpy as np

from posturewatch.model.arrays import Array

__all__ = ["CUTOFF_HZ", "butterworth", "low_pass"]


CUTOFF_HZ = 5.0

#: `scipy.signal.filtfilt` extends either end of a run by three times the count of coefficients, so a run needs more
#: grid points than this.
_PADDING = 9

#: Two passes lower the cutoff of each by this factor, so each is designed for a higher one (Winter,
#: Biomechanics and Motor Control of Human Movement, from memory; follows from |H|^4 = 1/2).
_TWO_PASSES = (math.sqrt(2.0) - 1.0) ** 0.25

#: A cutoff above this share of the rate is left out: there is next to nothing above it, and it would ring.
_NEAR_NYQUIST = 0.45

#: No finer grid than this, whatever a source's clock does.
_FINEST_STEP_S = 1.0 / 240.0


def butterworth(cutoff_hz: float, rate_hz: float) -> tuple[Array, Array]:
    """One pass of a second-order Butterworth low-pass of which two, forward and backward, halve the power at the
    cutoff.

    Returns
    -------
    b, a : (3,) arrays
        Coefficients as scipy has them.

    Raises
    ------
    ValueError
        Unless 0 < cutoff_hz < rate_hz / 2.
    """
    if not 0.0 < cutoff_hz < rate_hz / 2.0:
        raise ValueError(f"the cutoff lies between 0 and half the rate of {rate_hz} Hz, got {cutoff_hz} Hz")
    from scipy import signal  # 50 MB, which no practice needs while it goes on

    # The factor holds for the analogue filter, so it is applied in the bilinear transform's warped frequency.
    warped = math.tan(math.pi * cutoff_hz / rate_hz) / _TWO_PASSES
    b, a = signal.butter(2, 2.0 / math.pi * math.atan(warped))
    return b, a


def low_pass(time_s: Array, value: Array, *, cutoff_hz: float = CUTOFF_HZ, max_gap_s: float = 0.25) -> Array:
    """The values after the low-pass, at their own times; NaN stays NaN and gaps are never filled in.

    Measured samples no more than max_gap_s apart form a run. Each run is put on a uniform grid by linear
    interpolation (one step for the whole series, that of its quickest tenth of samples, adjusted so that a
    run's ends lie on the grid), filtered forward and backward, and read at the samples' times again. Linear
    interpolation costs at most an eighth of the step squared times the signal's second derivative, each way.

    Left as they are: runs of less than ten grid points (a third of a second at 30 samples a second), and
    everything where the rate is below 2.2 times the cutoff (11 samples a second).

    Parameters
    ----------
    time_s, value : (n,) arrays
        In order of time; NaN where nothing was measured.

    Returns
    -------
    (n,) array

    Raises
    ------
    ValueError
        Where shapes differ or time runs backwards.
    """
    if time_s.shape != value.shape or time_s.ndim != 1:
        raise ValueError(f"times and values have one shape (n,), got {time_s.shape} and {value.shape}")
    if np.any(np.diff(time_s) < 0):
        raise ValueError("the times of samples must not run backwards")
    from scipy import signal

    filtered = value.astype(np.float64, copy=True)
    seen = np.flatnonzero(np.isfinite(value))
    steps = np.diff(time_s[seen])
    inner = steps[(steps > 0) & (steps <= max_gap_s)]
    if inner.size == 0:
        return filtered
    step_s = max(float(np.percentile(inner, 10)), _FINEST_STEP_S)
    if step_s * cutoff_hz > _NEAR_NYQUIST:
        return filtered
    b, a = butterworth(cutoff_hz, 1.0 / step_s)
    for run in np.split(seen, np.flatnonzero(steps > max_gap_s) + 1):
        start_s, end_s = time_s[run[0]], time_s[run[-1]]
        count = round((end_s - start_s) / step_s) + 1
        if count > _PADDING:
            grid_s = np.linspace(start_s, end_s, count)
            smooth = signal.filtfilt(b, a, np.interp(grid_s, time_s[run], value[run]))
            filtered[run] = np.interp(time_s[run], grid_s, smooth)
    return filtered
