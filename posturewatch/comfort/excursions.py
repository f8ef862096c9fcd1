"""One kind of excursion of one hand: from entry beyond a limit to return, with hysteresis."""

from __future__ import annotations

from dataclasses import replace

from posturewatch.comfort.rules import WatchRules
from posturewatch.model.observation import Side
from posturewatch.model.quantities import quantity
from posturewatch.model.verdict import Excursion, ExcursionEnd, Level

__all__ = ["ExcursionTracker"]


class ExcursionTracker:
    """Follows stays beyond one limit. `limit` is a magnitude in its direction, as in the profile.

    A stay begins with the first value beyond the limit and ends with the first one below the limit less the
    hysteresis (but never less than half the limit). It is announced once it has been seen to last
    `min_excursion_s`, with its true start; shorter ones are dropped without a word. Time in which the hand
    is not measurable is bridged up to `unseen_grace_s`; longer, and the stay ends at the last seen time.
    """

    def __init__(
        self, side: Side, quantity_name: str, direction: str, level: Level, limit: float, rules: WatchRules
    ) -> None:
        entry = quantity(quantity_name)
        self._side, self._quantity, self._direction, self._level = side, quantity_name, direction, level
        self._limit = limit
        self._sign = entry.sign(direction)
        self._leave = max(limit - rules.hysteresis(entry.unit), limit / 2.0)
        self._rules = rules
        self._stay: Excursion | None = None
        self._announced = False
        self._last_seen_s = 0.0

    @property
    def open(self) -> Excursion | None:
        """The announced excursion as it stands, with its peak so far, or None."""
        return self._stay if self._announced else None

    def update(self, time_s: float, value: float | None) -> tuple[Excursion | None, Excursion | None]:
        """(closed, opened) of this frame. value is signed as the quantity is; None when not measurable."""
        closed = None
        if self._stay is not None and time_s - self._last_seen_s > self._rules.unseen_grace_s:
            closed = self._close(self._last_seen_s, "unseen")
        if value is None:
            return closed, None
        beyond = value * self._sign
        if self._stay is not None and beyond < self._leave:
            closed = self._close(self._seen_until(time_s), "returned")
        elif self._stay is not None:
            self._last_seen_s = time_s
            if beyond > self._stay.peak * self._sign:
                self._stay = replace(self._stay, peak=value, peak_s=time_s)
        elif beyond > self._limit:
            self._last_seen_s = time_s
            self._stay = Excursion(
                self._side, self._quantity, self._direction, self._level, self._limit, time_s, value, time_s
            )
        return closed, self._announce()

    def warned(self, time_s: float) -> Excursion | None:
        """Notes that the player was warned of the present stay; the first time counts. Returns the excursion
        if this announces it."""
        if self._stay is not None and self._stay.warned_s is None:
            self._stay = replace(self._stay, warned_s=time_s)
        return self._announce()

    def finish(self, time_s: float) -> Excursion | None:
        """Ends what is open; returns it if it had been announced."""
        if self._stay is None:
            return None
        return self._close(self._seen_until(time_s), "stopped")

    def _seen_until(self, time_s: float) -> float:
        """A sample speaks until the next one; across a longer gap nobody knows, so until the last sample."""
        return time_s if time_s - self._last_seen_s <= self._rules.max_gap_s else self._last_seen_s

    def _announce(self) -> Excursion | None:
        stay = self._stay
        if stay is None or self._announced:
            return None
        lasted_s = self._last_seen_s - stay.start_s
        if stay.warned_s is None and lasted_s < self._rules.min_excursion_s:
            return None
        self._announced = True
        return stay

    def _close(self, end_s: float, end: ExcursionEnd) -> Excursion | None:
        stay, announced = self._stay, self._announced
        self._stay, self._announced = None, False
        return replace(stay, end_s=end_s, end=end) if stay is not None and announced else None
