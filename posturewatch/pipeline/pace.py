"""Keeping pace with a live source: what is done less often where the loop falls behind, in a stated order. Pure."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

from posturewatch.model.savings import SAVINGS

__all__ = ["PaceControl", "PaceRules"]


@dataclass(frozen=True)
class PaceRules:
    """When a saving is made, and when the last one is taken back.

    Attributes
    ----------
    start_s
        The first seconds are not looked at: hands are searched for in them, and models and encoders are made ready.
    window_s
        Over how long the loop is looked at; after each change it is looked at anew.
    behind
        Share of the source's frames that went by unseen above which the next saving is made.
    room
        Share of the time that the loop is busy below which there is room, while nothing goes by unseen.
    calm_s
        How long there must be room before the last saving is taken back.
    relapse_s
        Where the loop falls behind within this time after that, the next try waits twice as long, at most
        `longest_calm_s`.
    """

    start_s: float = 3.0
    window_s: float = 2.0
    behind: float = 0.03
    room: float = 0.7
    calm_s: float = 8.0
    relapse_s: float = 10.0
    longest_calm_s: float = 120.0


class PaceControl:
    """Decides from frame to frame how many of `SAVINGS` are made.

    Attributes
    ----------
    level
        So many of them, from the first on.
    """

    def __init__(self, rules: PaceRules | None = None) -> None:
        self._rules = PaceRules() if rules is None else rules
        self.level = 0
        self._seen: deque[tuple[float, int, float]] = deque()
        self._begun_s: float | None = None
        self._changed_s: float | None = None
        self._room_since_s: float | None = None
        self._taken_back_s: float | None = None
        self._calm_s = self._rules.calm_s

    @property
    def savings(self) -> frozenset[str]:
        """The names of those that are made."""
        return frozenset(one.name for one in SAVINGS[: self.level])

    def frame(self, now_s: float, dropped: int, busy_s: float) -> frozenset[str]:
        """Takes a frame's time; the savings from the next one on.

        Parameters
        ----------
        now_s
            When it was done, on a clock that only grows.
        dropped
            Frames that went by unseen so far.
        busy_s
            How long it took, without the wait for it.
        """
        rules = self._rules
        if self._begun_s is None:
            self._begun_s = now_s
        if now_s - self._begun_s < rules.start_s:
            return self.savings
        if self._changed_s is None:
            self._changed_s = now_s
        self._seen.append((now_s, dropped, busy_s))
        while now_s - self._seen[0][0] > rules.window_s:
            self._seen.popleft()
        if now_s - self._changed_s < rules.window_s or len(self._seen) < 2:
            return self.savings
        first = self._seen[0]
        unseen, steps = dropped - first[1], len(self._seen) - 1
        share = unseen / (unseen + steps)
        busy = sum(one[2] for one in list(self._seen)[1:]) / (now_s - first[0]) if now_s > first[0] else 1.0
        if unseen or busy >= rules.room:
            self._room_since_s = None
        elif self._room_since_s is None:
            self._room_since_s = now_s
        if share > rules.behind and self.level < len(SAVINGS):
            self._save(now_s)
        elif self.level and self._room_since_s is not None and now_s - self._room_since_s >= self._calm_s:
            self.level -= 1
            self._taken_back_s = now_s
            self._look_anew(now_s)
        return self.savings

    def _save(self, now_s: float) -> None:
        rules = self._rules
        back_s, self._taken_back_s = self._taken_back_s, None
        if back_s is not None and now_s - back_s < rules.relapse_s:
            self._calm_s = min(2 * self._calm_s, rules.longest_calm_s)
        else:
            self._calm_s = rules.calm_s
        self.level += 1
        self._look_anew(now_s)

    def _look_anew(self, now_s: float) -> None:
        self._changed_s, self._room_since_s = now_s, None
        self._seen.clear()
