"""Whether an extreme angle is being held: evidence over time, and the warning that follows from it."""

from __future__ import annotations

from posturewatch.comfort.rules import WatchRules
from posturewatch.model.observation import Side
from posturewatch.model.quantities import quantity
from posturewatch.model.verdict import HoldWarning

__all__ = ["Hold"]

#: Sums of frame times miss a round number of seconds by rounding; a microsecond is far below a frame.
_ROUNDING_S = 1e-6


class Hold:
    """Evidence that one quantity of one hand is held beyond its extreme limit, and the warning.

    Evidence grows by each seen interval whose first frame is at or above the rules' `evidence`, and shrinks by
    each seen interval whose first frame is below it, so that glimpses between comfortable moments never add
    up; a dip longer than `dip_s` starts afresh. Frames without a measurement neither add nor take away;
    unseen for longer than `unseen_grace_s` starts afresh and clears the warning. A warning fires only in a
    frame that is itself measured and above the level.
    """

    def __init__(
        self, side: Side, quantity_name: str, direction: str, limit: float, rules: WatchRules
    ) -> None:
        self._side, self._quantity, self._direction, self._limit = side, quantity_name, direction, limit
        self._rules = rules
        group = quantity(quantity_name).group
        self._hold_s = rules.hold(group)
        self._evidence, self._clear_below = rules.evidence(group), rules.clear(group)
        self._active: HoldWarning | None = None
        self._cleared_s: float | None = None
        self._last_seen_s: float | None = None
        self._since_s: float | None = None
        self._held_s = 0.0
        self._dip_s = 0.0
        self._previous_high: bool | None = None
        self._below_since_s: float | None = None

    @property
    def active(self) -> HoldWarning | None:
        return self._active

    def update(
        self, time_s: float, probability: float | None, *, waits: bool = False
    ) -> tuple[HoldWarning | None, HoldWarning | None]:
        """Takes one frame.

        Parameters
        ----------
        time_s : float
            Session time, not before that of the last call.
        probability : float or None
            Of being beyond the limit; None when not measurable.
        waits : bool
            That no warning may begin in this frame, whatever the evidence.

        Returns
        -------
        cleared, fired : HoldWarning or None
            The warning that ended and the one that began in this frame.
        """
        cleared = None
        if self._last_seen_s is not None and time_s - self._last_seen_s > self._rules.unseen_grace_s:
            cleared = self._clear(time_s)
        if probability is None:
            self._previous_high = None
            return cleared, None
        self._gather(time_s, probability >= self._evidence)
        self._last_seen_s = time_s
        if self._active is not None:
            return self._watch_for_end(time_s, probability), None
        return cleared, None if waits else self._fire(time_s)

    def drop(self, time_s: float) -> HoldWarning | None:
        """Forgets all evidence; the warning that ends with it, at this session time."""
        self._last_seen_s = None
        return self._clear(time_s)

    def _forget(self) -> None:
        self._since_s = self._previous_high = self._below_since_s = None
        self._held_s = self._dip_s = 0.0

    def _gather(self, time_s: float, high: bool) -> None:
        if self._since_s is not None and self._previous_high is not None and self._last_seen_s is not None:
            interval_s = min(time_s - self._last_seen_s, self._rules.max_gap_s)
            if self._previous_high:
                self._held_s += interval_s
                self._dip_s = 0.0
            else:
                self._held_s -= interval_s
                self._dip_s += interval_s
            if self._dip_s > self._rules.dip_s + _ROUNDING_S or self._held_s < 0:
                self._since_s = None
        if high and self._since_s is None:
            self._since_s, self._held_s, self._dip_s = time_s, 0.0, 0.0
        self._previous_high = high

    def _fire(self, time_s: float) -> HoldWarning | None:
        if self._since_s is None or not self._previous_high:
            return None
        if self._held_s < self._hold_s - _ROUNDING_S:
            return None
        if self._cleared_s is not None and time_s - self._cleared_s < self._rules.rearm_s - _ROUNDING_S:
            return None
        self._below_since_s = None
        self._active = HoldWarning(
            self._side, self._quantity, self._direction, self._limit, self._since_s, time_s
        )
        return self._active

    def _watch_for_end(self, time_s: float, probability: float) -> HoldWarning | None:
        if probability >= self._clear_below:
            self._below_since_s = None
            return None
        if self._below_since_s is None:
            self._below_since_s = time_s
        if time_s - self._below_since_s < self._rules.dip_s - _ROUNDING_S:
            return None
        return self._clear(time_s)

    def _clear(self, time_s: float) -> HoldWarning | None:
        cleared = self._active
        if cleared is not None:
            self._cleared_s = time_s
        self._active = None
        self._forget()
        return cleared
