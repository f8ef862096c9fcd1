"""Whether what a process holds grows: a straight line through many moments, and how sure its slope is. Pure."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

__all__ = ["SLOPE_FROM_S", "Trend", "trend"]

#: Moments are joined into so many means of equal length before a line is laid through them: neighbouring moments are
#: alike, and would make the slope look surer than it is.
_MEANS = 30

#: A shorter time says nothing of a slope per hour.
SLOPE_FROM_S = 300.0


@dataclass(frozen=True)
class Trend:
    """A number that was looked at again and again.

    Attributes
    ----------
    start, end, most
        In the first and last moment, and at most.
    per_hour, per_hour_se
        Slope of the line through it, and that slope's standard error; None where the time was too short.
    """

    start: float
    end: float
    most: float
    per_hour: float | None = None
    per_hour_se: float | None = None


def trend(seen: Sequence[tuple[float, float | None]]) -> Trend | None:
    """What became of a number.

    Parameters
    ----------
    seen
        Seconds and the number, in order of time; None where nothing was known.

    Returns
    -------
    None where nothing was ever known.
    """
    known = np.array([(at_s, value) for at_s, value in seen if value is not None])
    if not len(known):
        return None
    at_s, values = known.T
    found = Trend(float(values[0]), float(values[-1]), float(values.max()))
    if at_s[-1] - at_s[0] < SLOPE_FROM_S or len(known) < _MEANS:
        return found
    means = [part.mean(axis=0) for part in np.array_split(known, _MEANS)]
    hours, level = (np.array(means) / [3600.0, 1.0]).T
    off = hours - hours.mean()
    slope = float((off * level).sum() / (off**2).sum())
    rest = level - level.mean() - slope * off
    error = math.sqrt(float((rest**2).sum()) / (_MEANS - 2) / float((off**2).sum()))
    return Trend(found.start, found.end, found.most, slope, error)
