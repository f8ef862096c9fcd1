"""Percentiles weighted by time."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from posturewatch.model.arrays import Array

__all__ = ["PERCENTILES", "weighted_percentiles"]


#: Jonsson 1982, J Hum Ergol 11:73: the amplitude distribution is read at these percentiles (from memory).
PERCENTILES = (10, 50, 90)


def weighted_percentiles(values: Array, weights: Array, percentiles: Sequence[float]) -> tuple[float, ...]:
    """Percentiles of values, each standing in the middle of its weight (Hazen's rule).

    Parameters
    ----------
    values, weights : (n,) arrays
        With equal weights the result is numpy's of the method "hazen".
    percentiles : sequence of float
        From 0 to 100.

    Raises
    ------
    ValueError
        Where no value has a weight.
    """
    used = weights > 0
    values, weights = values[used], weights[used]
    if values.size == 0:
        raise ValueError("percentiles need at least one value with a weight")
    order = np.argsort(values, kind="stable")
    values, weights = values[order], weights[order]
    middles = (np.cumsum(weights) - weights / 2.0) / np.sum(weights)
    return tuple(float(v) for v in np.interp(np.asarray(percentiles) / 100.0, middles, values))
