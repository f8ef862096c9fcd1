"""The chance of being beyond a limit, for a whole series at once, and how many seconds tell something new."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["chances_beyond", "correlation_time"]

Array = NDArray[np.float64]

#: Abramowitz & Stegun 1964, 26.2.17: normal distribution function, absolute error below 7.5e-8 (from memory,
#: checked against scipy).
_SLOPE = 0.2316419
_TERMS = (0.319381530, -0.356563782, 1.781477937, -1.821255978, 1.330274429)


def chances_beyond(limit: float, magnitude: Array, sd: Array) -> Array:
    """The chance (n,) that the true angle is beyond the limit, as `comfort.holds.probability_beyond` has it
    for one sample, to 1e-7. magnitude: (n,) in the limit's direction. sd: (n,) above 0."""
    z = (magnitude - limit) / sd
    t = 1.0 / (1.0 + _SLOPE * np.abs(z))
    tail = np.zeros_like(t)
    for term in reversed(_TERMS):
        tail = (tail + term) * t
    tail *= np.exp(-0.5 * z * z) / np.sqrt(2.0 * np.pi)
    chance: Array = np.where(z > 0, 1.0 - tail, tail)
    return chance


def correlation_time(residual: Array, longest: int = 120) -> float:
    """For how many seconds the residuals of successive seconds (n,) tell the same story: 1 + 2 (sum of their
    autocorrelations), up to the first lag that is at least five times as long as the sum so far (Sokal's
    window, from memory), at most `longest`. 1 for unrelated seconds, and where nothing varies."""
    power = float(residual @ residual)
    if power <= 0:
        return 1.0
    total = 1.0
    for lag in range(1, min(longest, residual.size - 1) + 1):
        total += 2.0 * float(residual[:-lag] @ residual[lag:]) / power
        if lag >= 5.0 * total:
            break
    return max(1.0, total)
