"""The probability that a true value lies beyond a limit, and what counts as certain."""

from __future__ import annotations

from typing import TypeVar

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

__all__ = ["CERTAIN", "INTERVAL_SD", "Numbers", "exceedance_probability"]

#: One number, or an array of them.
Numbers = TypeVar("Numbers", float, NDArray[np.float64])

#: What the program calls certain is at least as probable as this, everywhere. A warning asks for less in one moment,
#: because it asks for seconds of it.
CERTAIN = 0.9

#: So many standard deviations to either side of a value hold the truth in nine cases of ten.
INTERVAL_SD = float(ndtri(0.95))


def exceedance_probability(limit: float, magnitude: Numbers, sd: Numbers) -> Numbers:
    """Probability that the true value lies beyond the limit, given a measurement with a normal error.

    Parameters
    ----------
    limit : float
        In the quantity's unit.
    magnitude : float or (n,) array
        Measured value in the limit's direction; NaN where nothing was measured.
    sd : float or (n,) array
        Standard deviation of the single measurement, above 0. Errors of neighbouring frames are alike (same view,
        same hand), so holding does not average them out, and no such averaging is claimed.

    Returns
    -------
    float or (n,) array
        From 0 to 1; NaN where the measurement is NaN.
    """
    probability: Numbers = ndtr((magnitude - limit) / sd)
    return probability
