"""Series and limits for the tests of exposure: plain numbers in."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from posturewatch.comfort.limits import Band, Limit, LimitProfile
from posturewatch.exposure.exposure_series import ExposureSeries
from posturewatch.exposure.rules import ExposureRules
from posturewatch.exposure.series import SampleSeries, Series, Window
from posturewatch.exposure.values import Exposure
from posturewatch.model.measurement import Refusal
from posturewatch.model.observation import Side
from posturewatch.model.quantities import QUANTITIES

FLEX = "wrist_flexion"
NOT_SEEN = tuple(Refusal).index(Refusal.HAND_NOT_SEEN) + 1


def profile(comfort: float | None = 20.0, extreme: float | None = 40.0) -> LimitProfile:
    """The same made-up limits in every direction."""

    def limit(value: float | None) -> Limit | None:
        return None if value is None else Limit(value, "a made-up profile", "D")

    band = Band(limit(comfort), limit(extreme))
    return LimitProfile("t", "t", "t", {(q.name, d): band for q in QUANTITIES for d in q.directions})


def make_series(
    time_s: Sequence[float] | NDArray[np.float64],
    value: Sequence[float] | NDArray[np.float64],
    *,
    sd: float = 1.0,
    side: Side = "left",
    name: str = FLEX,
) -> SampleSeries:
    """NaN in `value` is refused: the hand was not seen."""
    values = np.asarray(value, float)
    refused = np.isnan(values)
    return SampleSeries(
        side,
        name,
        np.asarray(time_s, float),
        values,
        np.where(refused, np.nan, sd),
        np.where(refused, NOT_SEEN, 0).astype(np.uint8),
    )


def exposure(
    series: Series, limits: LimitProfile, *windows: Window, rules: ExposureRules | None = None
) -> Exposure:
    """Exposure of one series over the windows taken together."""
    return ExposureSeries(series, limits, rules=rules).over(*windows)
