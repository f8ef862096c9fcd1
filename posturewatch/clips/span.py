"""Which stretches of a session become clips. Pure: events and the time in, spans out."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from posturewatch.model.observation import Side
from posturewatch.model.verdict import Excursion, HoldWarning, Verdict

__all__ = ["ClipMoment", "ClipPlanner", "ClipRules", "MomentKind", "Span", "join_moments"]

MomentKind = Literal["warning", "extreme", "mark"]
#: Hand, quantity and direction; all None for a mark.
_Key = tuple[Side | None, str | None, str | None]
_KINDS: tuple[MomentKind, ...] = ("warning", "extreme", "mark")


@dataclass(frozen=True)
class ClipRules:
    """Times of a clip in seconds; the values are the product's own choice.

    Attributes
    ----------
    before_s, after_s
        What a clip shows before a moment begins and after it has ended.
    longest_s
        No clip is longer.
    settle_s
        A span is handed out this much after its end, since a warning names its excursion only when the hold (3 s by
        default) is over: one that began within the span can still be joined to it.
    all_extreme
        Clips of all extreme excursions, not only of those that were warned of.
    """

    before_s: float = 4.0
    after_s: float = 3.0
    longest_s: float = 30.0
    settle_s: float = 4.0
    all_extreme: bool = False

    def __post_init__(self) -> None:
        for name in ("before_s", "after_s", "settle_s"):
            if not 0.0 <= getattr(self, name) < math.inf:
                raise ValueError(f"{name} is not negative, got {getattr(self, name)}")
        if not self.before_s + self.after_s < self.longest_s < math.inf:
            raise ValueError(f"longest_s is above before_s + after_s, got {self.longest_s}")

    @property
    def reach_s(self) -> float:
        """How long after a moment's beginning something may happen and still be shown with its after_s."""
        return self.longest_s - self.before_s - self.after_s


@dataclass(frozen=True)
class ClipMoment:
    """What a clip is made for, in seconds of the session.

    Attributes
    ----------
    key_s
        What the clip must show at least, with after_s behind it: the (last) time of the warning, the mark, or else
        the beginning. end_s is None while an excursion lasts. side, quantity and direction are None for a mark.
    """

    kind: MomentKind
    start_s: float
    key_s: float
    end_s: float | None
    side: Side | None = None
    quantity: str | None = None
    direction: str | None = None

    def __post_init__(self) -> None:
        if not self.start_s <= self.key_s or (self.end_s is not None and self.end_s < self.start_s):
            raise ValueError(f"a moment's times are in order, got {self}")

    @classmethod
    def mark(cls, time_s: float) -> ClipMoment:
        """The player's mark at this time of the session."""
        return cls("mark", time_s, time_s, time_s)


@dataclass(frozen=True)
class Span:
    """A stretch of the session that becomes one clip, with what it was made for (in order of beginning)."""

    start_s: float
    end_s: float
    moments: tuple[ClipMoment, ...]

    @property
    def duration_s(self) -> float:
        """Length in seconds."""
        return self.end_s - self.start_s

    @property
    def reason(self) -> str:
        """The kinds of its moments in words: "warning", "extreme", "mark" or joined, as "warning and mark"."""
        return " and ".join(kind for kind in _KINDS if any(kind == one.kind for one in self.moments))


def join_moments(
    moments: Iterable[ClipMoment], rules: ClipRules, *, floor_s: float = 0.0
) -> tuple[Span, ...]:
    """The spans that show these moments, in order, none overlapping another, none before floor_s.

    Each moment asks for [start - before, end + after]. Overlapping ones are joined as long as each moment's
    key time with after_s fits into longest_s; what does not fit begins the next span, where possible between
    the two moments. A moment that lasts longer than fits is cut: the first longest_s of the span are kept,
    with the lead-in, and the rest of it is not shown. A moment that lasts is taken to last for ever, so that
    its span is the longest that it can become.
    """
    spans: list[Span] = []
    core_end_s = 0.0
    for moment in sorted(moments, key=lambda one: one.start_s):
        end_s = math.inf if moment.end_s is None else moment.end_s
        lead_s = max(floor_s, moment.start_s - rules.before_s)
        tail_s = max(end_s, moment.key_s) + rules.after_s
        if tail_s <= floor_s:
            continue
        if spans and lead_s < spans[-1].end_s:
            last = spans[-1]
            cap_s = last.start_s + rules.longest_s
            if moment.key_s + rules.after_s <= cap_s:
                joined_s = min(cap_s, max(last.end_s, tail_s))
                spans[-1] = Span(last.start_s, joined_s, (*last.moments, moment))
                core_end_s = max(core_end_s, end_s)
                continue
            lead_s = min(last.end_s, max(lead_s, core_end_s))
            spans[-1] = replace(last, end_s=lead_s)
        spans.append(Span(lead_s, min(tail_s, lead_s + rules.longest_s), (moment,)))
        core_end_s = end_s
    return tuple(spans)


class ClipPlanner:
    """Takes events in order of time and says which spans are due.

    An excursion that was warned of late (more than `reach_s` after it began) is shown from the beginning of
    the hold instead of its own. A further warning within one excursion asks for a clip of its own unless the
    one already planned shows it. A span that has been handed out is never handed out again nor overlapped:
    what comes to be known later begins where that one ended.
    """

    def __init__(self, rules: ClipRules | None = None) -> None:
        self.rules = ClipRules() if rules is None else rules
        self._open: dict[_Key, Excursion] = {}
        self._moments: list[ClipMoment] = []
        self._floor_s = 0.0

    def verdict(self, verdict: Verdict) -> None:
        """All events of one frame."""
        for excursion in verdict.closed:
            self.closed(excursion)
        for excursion in verdict.opened:
            self.opened(excursion)
        for warning in verdict.fired:
            self.warned(warning)
        for warning in verdict.cleared:
            self._end(_key(warning), verdict.time_s, alone=True)

    def opened(self, excursion: Excursion) -> None:
        """An excursion has begun; of interest are those beyond an extreme limit."""
        if excursion.level != "extreme":
            return
        key = _key(excursion)
        self._end(key, excursion.start_s)
        self._open[key] = excursion
        if self.rules.all_extreme:
            start_s = excursion.start_s
            self._moments.append(ClipMoment("extreme", start_s, start_s, None, *key))

    def closed(self, excursion: Excursion) -> None:
        if excursion.level == "extreme" and excursion.end_s is not None:
            self._end(_key(excursion), excursion.end_s)
            self._open.pop(_key(excursion), None)

    def warned(self, warning: HoldWarning) -> None:
        """A hold was warned of."""
        key, fired_s, reach_s = _key(warning), warning.fired_s, self.rules.reach_s
        for place, moment in enumerate(self._moments):
            if _key(moment) == key and moment.end_s is None and fired_s - moment.start_s <= reach_s:
                self._moments[place] = replace(moment, kind="warning", key_s=max(moment.key_s, fired_s))
                return
        excursion = self._open.get(key)
        start_s = warning.since_s if excursion is None else min(excursion.start_s, warning.since_s)
        if fired_s - start_s > reach_s:
            start_s = max(warning.since_s, fired_s - reach_s)
        self._moments.append(ClipMoment("warning", start_s, fired_s, None, *key))

    def mark(self, time_s: float) -> None:
        """The player marked a moment."""
        self._moments.append(ClipMoment.mark(time_s))

    def advance(self, now_s: float) -> tuple[Span, ...]:
        """The spans that are due now, in order."""
        if not self._moments:
            return ()
        self._moments = [one for one in self._moments if not self._shown(one)]
        due: list[Span] = []
        for span in join_moments(self._moments, self.rules, floor_s=self._floor_s):
            if now_s < span.end_s + self.rules.settle_s:
                break
            due.append(span)
        self._hand_out(due)
        return tuple(due)

    def finish(self, end_s: float, closed: Sequence[Excursion] = ()) -> tuple[Span, ...]:
        """The session has ended: whatever remains, nothing beyond its end."""
        for excursion in closed:
            self.closed(excursion)
        self._moments = [
            replace(one, end_s=max(one.start_s, end_s)) if one.end_s is None else one for one in self._moments
        ]
        spans = join_moments(self._moments, self.rules, floor_s=self._floor_s)
        self._moments, self._open = [], {}
        cut = [replace(span, end_s=min(span.end_s, end_s)) for span in spans]
        return tuple(span for span in cut if span.duration_s > 0.0)

    def _end(self, key: _Key, end_s: float, *, alone: bool = False) -> None:
        """Ends what lasts of this key. alone: only where no excursion is open that says itself when it ends."""
        if alone and key in self._open:
            return
        self._moments = [
            replace(one, end_s=max(one.start_s, end_s)) if one.end_s is None and _key(one) == key else one
            for one in self._moments
        ]

    def _shown(self, moment: ClipMoment) -> bool:
        """Nothing of it lies beyond the spans handed out."""
        if moment.end_s is None:
            return False
        return max(moment.end_s, moment.key_s) + self.rules.after_s <= self._floor_s

    def _hand_out(self, due: Sequence[Span]) -> None:
        """Forgets the moments of the spans handed out: what of them lies beyond was cut."""
        if due:
            self._floor_s = due[-1].end_s
            done = [moment for span in due for moment in span.moments]
            self._moments = [moment for moment in self._moments if moment not in done]


def _key(event: Excursion | HoldWarning | ClipMoment) -> _Key:
    return (event.side, event.quantity, event.direction)
