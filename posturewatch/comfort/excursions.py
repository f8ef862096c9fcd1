"""Excursions beyond a limit, with hysteresis: one definition, frame by frame and for a whole series at once.

An excursion begins with the first value beyond the limit and ends with the first one below the limit less the
hysteresis (`WatchRules.leave`), so that a hand which trembles about a limit makes one excursion, not twenty. It counts
once it has been seen to last `min_excursion_s`, or once the player was warned of it. Time in which the hand is not
measurable is bridged up to `unseen_grace_s`; longer, and the excursion ends at the last seen time. So its length in
time is no time beyond the limit: that is counted without hysteresis (`posturewatch.exposure`).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from posturewatch.comfort.rules import WatchRules
from posturewatch.model.arrays import Array
from posturewatch.model.observation import Side
from posturewatch.model.quantities import quantity
from posturewatch.model.verdict import Excursion, ExcursionEnd, Level

__all__ = ["ExcursionTimes", "ExcursionTracker", "excursion_times"]


class ExcursionTracker:
    """Follows the excursions of one quantity of one hand beyond one limit, frame by frame.

    Parameters
    ----------
    limit : float
        Magnitude in its direction, as in the profile.
    """

    def __init__(
        self, side: Side, quantity_name: str, direction: str, level: Level, limit: float, rules: WatchRules
    ) -> None:
        entry = quantity(quantity_name)
        self._side, self._quantity, self._direction, self._level = side, quantity_name, direction, level
        self._limit = limit
        self._sign = entry.sign(direction)
        self._leave = rules.leave(limit, entry.unit)
        self._rules = rules
        self._present: Excursion | None = None
        self._announced = False
        self._last_seen_s = 0.0

    def update(self, time_s: float, value: float | None) -> tuple[Excursion | None, Excursion | None]:
        """Takes one frame.

        Parameters
        ----------
        time_s : float
            Session time, not before that of the last call.
        value : float or None
            Signed as the quantity is; None when not measurable.

        Returns
        -------
        closed, opened : Excursion or None
            What ended and what was announced in this frame.
        """
        closed = None
        if self._present is not None and time_s - self._last_seen_s > self._rules.unseen_grace_s:
            closed = self._close(self._last_seen_s, "unseen")
        if value is None:
            return closed, None
        beyond = value * self._sign
        if self._present is not None and beyond < self._leave:
            closed = self._close(self._seen_until(time_s), "returned")
        elif self._present is not None:
            self._last_seen_s = time_s
            if beyond > self._present.peak * self._sign:
                self._present = replace(self._present, peak=value, peak_s=time_s)
        elif beyond > self._limit:
            self._last_seen_s = time_s
            self._present = Excursion(
                self._side, self._quantity, self._direction, self._level, self._limit, time_s, value, time_s
            )
        return closed, self._announce()

    def warned(self, time_s: float) -> Excursion | None:
        """Notes that the player was warned of the present excursion; the first time counts. Returns the excursion
        if this announces it."""
        if self._present is not None and self._present.warned_s is None:
            self._present = replace(self._present, warned_s=time_s)
        return self._announce()

    def finish(self, time_s: float) -> Excursion | None:
        """Ends what is open; returns it if it had been announced."""
        if self._present is None:
            return None
        return self._close(self._seen_until(time_s), "stopped")

    def _seen_until(self, time_s: float) -> float:
        """A sample speaks until the next one; across a longer gap nobody knows, so until the last sample."""
        return time_s if time_s - self._last_seen_s <= self._rules.max_gap_s else self._last_seen_s

    def _announce(self) -> Excursion | None:
        present = self._present
        if present is None or self._announced:
            return None
        lasted_s = self._last_seen_s - present.start_s
        if present.warned_s is None and lasted_s < self._rules.min_excursion_s:
            return None
        self._announced = True
        return present

    def _close(self, end_s: float, end: ExcursionEnd) -> Excursion | None:
        present, announced = self._present, self._announced
        self._present, self._announced = None, False
        return replace(present, end_s=end_s, end=end) if present is not None and announced else None


@dataclass(frozen=True)
class ExcursionTimes:
    """start_s, end_s: (k,) of excursions in their order."""

    start_s: Array
    end_s: Array


def excursion_times(
    time_s: Array, magnitude: Array, limit: float, leave: float, rules: WatchRules
) -> ExcursionTimes:
    """What `ExcursionTracker` finds one by one, for a whole series at once and without warnings.

    Parameters
    ----------
    time_s : (n,) array
        Times of the measured samples, in order.
    magnitude : (n,) array
        Values in the limit's direction.
    limit, leave : float
        An excursion begins above `limit` and ends below `leave`. One that lasts at the last sample ends there.
    """
    if time_s.size == 0:
        return ExcursionTimes(np.zeros(0), np.zeros(0))
    torn = np.append(True, np.diff(time_s) > rules.unseen_grace_s)
    enters = magnitude > limit
    decides = enters | (magnitude < leave) | torn
    # Between deciding samples the state is as the last of them left it.
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
    return ExcursionTimes(time_s[first][kept], end_s[kept])
