"""Episodes: uninterrupted time in one class, without hysteresis, found for a whole series at once."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from posturewatch.model.arrays import Array

__all__ = ["Episodes", "episodes_of"]


@dataclass(frozen=True)
class Episodes:
    """of: (n,) the episode each sample belongs to. start_s, measured_s, label: (k,) when each episode begins, how
    long it was seen to last, and its class."""

    of: NDArray[np.int32]
    start_s: Array
    measured_s: Array
    label: NDArray[np.int64]


def episodes_of(
    time_s: Array, seconds: Array, label: NDArray[np.integer[Any]], unseen_grace_s: float
) -> Episodes:
    """Episodes of measured samples in their classes.

    An episode ends where the class changes, and where the hand was not measurable for longer than unseen_grace_s.
    Shorter unseen time does not end it, but adds nothing to its duration either.

    Parameters
    ----------
    time_s, seconds, label : (n,) arrays
        When each sample was taken, for how long it speaks, and its class.
    """
    if time_s.size == 0:
        none = np.zeros(0, np.int64)
        return Episodes(none.astype(np.int32), np.zeros(0), np.zeros(0), none)
    begins = np.append(True, (np.diff(label) != 0) | (np.diff(time_s) > unseen_grace_s))
    of = np.cumsum(begins, dtype=np.int32) - np.int32(1)
    first = np.flatnonzero(begins)
    measured_s = np.bincount(of, seconds).astype(np.float64)
    return Episodes(of, time_s[first], measured_s, label[first].astype(np.int64))
