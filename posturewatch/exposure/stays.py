"""Uninterrupted stays in a signal, found for a whole series at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from posturewatch.comfort.rules import WatchRules

__all__ = ["Spans", "Stays", "excursion_spans", "stays_of"]

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Spans:
    """Stretches of time in order: start_s, end_s (k,). An end may be infinite (not over yet)."""

    start_s: Array
    end_s: Array


@dataclass(frozen=True)
class Stays:
    """Uninterrupted stays in one class. of: (n,) the stay each sample belongs to. start_s, measured_s,
    label: (k,) when each stay begins, how long it was seen to last, and its class."""

    of: NDArray[np.int64]
    start_s: Array
    measured_s: Array
    label: NDArray[np.int64]


def stays_of(time_s: Array, seconds: Array, label: NDArray[np.int64], unseen_grace_s: float) -> Stays:
    """Stays of measured samples (n,) in their classes `label` (n,).

    A stay ends where the class changes, and where the hand was not measurable for longer than
    unseen_grace_s. Shorter unseen time does not end it, but adds nothing to its duration either.
    """
    if time_s.size == 0:
        none = np.zeros(0, np.int64)
        return Stays(none, np.zeros(0), np.zeros(0), none)
    begins = np.append(True, (np.diff(label) != 0) | (np.diff(time_s) > unseen_grace_s))
    of = np.cumsum(begins) - 1
    first = np.flatnonzero(begins)
    return Stays(of, time_s[first], np.bincount(of, seconds).astype(np.float64), label[first])


def excursion_spans(time_s: Array, beyond: Array, limit: float, leave: float, rules: WatchRules) -> Spans:
    """Stays beyond one limit: what `posturewatch.comfort.excursions.ExcursionTracker` finds one by one.

    time_s: (n,) of measured samples. beyond: (n,) magnitudes in the limit's direction. An excursion begins
    with the first value above limit and ends with the first one below leave, or where the hand was not
    measurable for longer than the grace; excursions seen for less than `min_excursion_s` are left out. One
    that lasts at the last sample ends there.
    """
    if time_s.size == 0:
        return Spans(np.zeros(0), np.zeros(0))
    torn = np.append(True, np.diff(time_s) > rules.unseen_grace_s)
    enters = beyond > limit
    decides = enters | (beyond < leave) | torn
    # Between deciding samples the state stays as the last of them left it.
    latest = np.maximum.accumulate(np.where(decides, np.arange(time_s.size), 0))
    inside = enters[latest]
    begins = inside & (torn | ~np.append(False, inside[:-1]))
    ends = inside & (np.append(torn[1:], True) | ~np.append(inside[1:], False))
    first, last = np.flatnonzero(begins), np.flatnonzero(ends)
    seen_s = time_s[last] - time_s[first]
    following = np.minimum(last + 1, time_s.size - 1)
    returned = ~torn[following] & (following > last)
    near = time_s[following] - time_s[last] <= rules.max_gap_s
    end_s = np.where(returned & near, time_s[following], time_s[last])
    kept = seen_s >= rules.min_excursion_s
    return Spans(time_s[first][kept], end_s[kept])
