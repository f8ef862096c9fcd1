"""One Euro filter for display: smooth at rest, quick in movement. Statistics never use it.

Source: Casiez, Roussel, Vogel, CHI 2012, doi 10.1145/2207676.2208639: alpha = 1 / (1 + tau / Te),
tau = 1 / (2 pi fc), fc = fc_min + beta |dx|.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from posturewatch.model.arrays import Array

__all__ = ["OneEuro"]


class OneEuro:
    """Filters a scalar or an array of any fixed shape, each element on its own.

    The defaults suit degrees: at rest 1 Hz, at 50 degrees a second 3.5 Hz (common practice, by eye).

    Parameters
    ----------
    min_cutoff_hz
        Cutoff at rest; lower is smoother.
    beta
        How much the cutoff rises with speed, in Hz per unit per second; higher lags less.
    derivative_cutoff_hz
        Cutoff of the speed itself.

    Raises
    ------
    ValueError
        A cutoff that is not above 0, or a negative beta.
    """

    def __init__(
        self, min_cutoff_hz: float = 1.0, beta: float = 0.05, derivative_cutoff_hz: float = 1.0
    ) -> None:
        if not (min_cutoff_hz > 0 and derivative_cutoff_hz > 0 and beta >= 0):
            raise ValueError(
                "cutoffs are above 0 and beta is not negative, got "
                f"{min_cutoff_hz}, {derivative_cutoff_hz} and {beta}"
            )
        self._min_cutoff_hz, self._beta = min_cutoff_hz, beta
        self._derivative_cutoff_hz = derivative_cutoff_hz
        self._time_s: float | None = None
        self._value: Array | float | None = None
        self._speed: Array | float | None = None

    def reset(self) -> None:
        """Forgets everything, the speed included; the next value passes unchanged."""
        self._time_s = self._value = self._speed = None

    def __call__(self, value: ArrayLike, time_s: float) -> Array:
        """Takes one value in.

        Parameters
        ----------
        value
            Of the filter's shape, finite: what is missing is not filtered, it resets.
        time_s
            May be irregular. One that does not advance leaves the filter as it is.

        Returns
        -------
        The filtered value, of the same shape, 0-dimensional for a scalar.

        Raises
        ------
        ValueError
            Time that runs backwards, a changed shape, or a value that is not finite.
        """
        # A plain number stays one: many are filtered in every frame, and arrays of one element are slow.
        new = value if isinstance(value, float) else np.asarray(value, dtype=np.float64)
        if not (math.isfinite(new) if isinstance(new, float) else np.isfinite(new).all()):
            raise ValueError("a value that is not finite cannot be filtered; reset instead")
        if self._value is None or self._speed is None or self._time_s is None:
            self._time_s, self._value, self._speed = time_s, new, 0.0 * new
            return np.array(new)
        if np.shape(new) != np.shape(self._value):
            raise ValueError(f"the filter holds shape {np.shape(self._value)}, got {np.shape(new)}")
        step_s = time_s - self._time_s
        if step_s < 0:
            raise ValueError(f"time runs backwards, from {self._time_s} s to {time_s} s")
        if step_s == 0:
            return np.array(self._value)
        share = _alpha(self._derivative_cutoff_hz, step_s)
        self._speed = self._speed + share * ((new - self._value) / step_s - self._speed)
        share = _alpha(self._min_cutoff_hz + self._beta * abs(self._speed), step_s)
        self._value = self._value + share * (new - self._value)
        self._time_s = time_s
        return np.array(self._value)


def _alpha(cutoff_hz: Any, step_s: float) -> Any:
    tau_s = 1.0 / (2.0 * math.pi * cutoff_hz)
    return 1.0 / (1.0 + tau_s / step_s)
