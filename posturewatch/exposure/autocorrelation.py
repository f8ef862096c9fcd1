"""For how many seconds a signal remembers itself."""

from __future__ import annotations

from posturewatch.model.arrays import Array

__all__ = ["autocorrelation_time"]


def autocorrelation_time(residual: Array, longest: int = 120) -> float:
    """Integrated autocorrelation time of a residual by whole seconds.

    Parameters
    ----------
    residual : (n,) array
        Residuals of successive seconds.
    longest : int
        The largest lag looked at, in seconds.

    Returns
    -------
    float
        1 + 2 (sum of the autocorrelations), in seconds, up to the first lag that is at least five times as long
        as the sum so far (Sokal's window, from memory). 1 for unrelated seconds, and where nothing varies.
    """
    power = float(residual @ residual)
    if power <= 0:
        return 1.0
    total = 1.0
    for lag in range(1, min(longest, residual.size - 1) + 1):
        total += 2.0 * float(residual[:-lag] @ residual[lag:]) / power
        if lag >= 5.0 * total:
            break
    return max(1.0, total)
