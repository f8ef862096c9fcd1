"""Which spans become clips: worked examples and properties."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

import pytest
from clip_factories import excursion, warning
from hypothesis import given
from hypothesis import strategies as st

from posturewatch.clips.span import ClipMoment, ClipPlanner, ClipRules, Span, join_moments
from posturewatch.model.verdict import Excursion

RULES = ClipRules()


def stay(start_s: float, end_s: float | None, key_s: float | None = None) -> ClipMoment:
    return ClipMoment("warning", start_s, start_s if key_s is None else key_s, end_s)


def bounds(spans: tuple[Span, ...]) -> list[tuple[float, float]]:
    return [(span.start_s, span.end_s) for span in spans]


@pytest.mark.parametrize(
    ("moments", "expected"),
    [
        pytest.param([stay(10, 12)], [(6, 15)], id="4 s before to 3 s after"),
        pytest.param([ClipMoment.mark(10)], [(6, 13)], id="mark"),
        pytest.param([stay(1, 2)], [(0, 5)], id="nothing before the session"),
        pytest.param([stay(10, 12), stay(18, 19)], [(6, 22)], id="overlapping ones joined"),
        pytest.param([stay(10, 12), stay(19, 20)], [(6, 15), (15, 23)], id="touching ones not"),
        pytest.param([stay(10, 90)], [(6, 36)], id="long one: the first 30 s"),
        pytest.param([stay(10, None)], [(6, 36)], id="lasting one"),
        pytest.param([stay(10, 90), ClipMoment.mark(30)], [(6, 36)], id="mark in the shown part"),
        pytest.param([stay(10, 90), ClipMoment.mark(60)], [(6, 36), (56, 63)], id="mark in the part cut off"),
        pytest.param(
            [stay(10, 90), stay(34, 40)], [(6, 36), (36, 43)], id="too late to join: the rest follows at once"
        ),
        pytest.param(
            [stay(10, 11), stay(17, 18), stay(24, 26), stay(31, 32), stay(34.5, 36)],
            [(6, 32), (32, 39)],
            id="a chain is parted where no moment is",
        ),
    ],
)
def test_join(moments: list[ClipMoment], expected: list[tuple[float, float]]) -> None:
    assert bounds(join_moments(moments, RULES)) == expected
    assert bounds(join_moments(moments[::-1], RULES)) == expected


@st.composite
def some_moments(draw: st.DrawFn) -> list[ClipMoment]:
    found = []
    for _ in range(draw(st.integers(1, 12))):
        start_s = draw(st.floats(0, 200))
        lasts_s = draw(st.one_of(st.none(), st.floats(0, 80)))
        key_s = start_s + draw(
            st.floats(0, RULES.reach_s if lasts_s is None else min(RULES.reach_s, lasts_s))
        )
        found.append(stay(start_s, None if lasts_s is None else max(key_s, start_s + lasts_s), key_s))
    return found


def shown(spans: tuple[Span, ...], from_s: float, to_s: float) -> bool:
    """Whether the spans together show all of [from_s, to_s] without a hole."""
    for span in spans:
        if span.start_s <= from_s + 1e-9:
            from_s = max(from_s, span.end_s)
    return from_s >= to_s - 1e-9


@given(some_moments())
def test_spans_are_apart_short_and_show_what_they_are_for(moments: list[ClipMoment]) -> None:
    spans = join_moments(moments, RULES)
    for one, following in pairwise(spans):
        assert one.end_s <= following.start_s
    for span in spans:
        assert 0 < span.duration_s <= RULES.longest_s + 1e-9
        assert span.start_s >= 0
    assert sorted(m.start_s for s in spans for m in s.moments) == sorted(m.start_s for m in moments)
    for moment in moments:
        until_s = moment.key_s + RULES.after_s
        end_s = math.inf if moment.end_s is None else moment.end_s + RULES.after_s
        # Whole, or its beginning and what it was warned of, the rest cut off.
        assert shown(spans, moment.start_s, min(end_s, until_s))


@given(some_moments(), st.floats(0, 200))
def test_a_floor_is_respected(moments: list[ClipMoment], floor_s: float) -> None:
    spans = join_moments(moments, RULES, floor_s=floor_s)
    assert all(span.start_s >= floor_s and span.duration_s > 0 for span in spans)


@given(
    st.lists(
        st.tuples(st.floats(0.1, 40), st.floats(0.4, 60), st.booleans(), st.floats(0, 1)),
        min_size=1,
        max_size=8,
    )
)
def test_planner_keeps_to_the_rules_whatever_comes(stays: list[tuple[float, float, bool, float]]) -> None:
    """Excursions one after the other, each announced 0.3 s late, some warned of, some of these late."""
    planner, now_s = ClipPlanner(RULES), 0.0
    spans: list[Span] = []
    fires: list[float] = []
    for rest_s, lasts_s, is_warned, part in stays:
        start_s, end_s = now_s + rest_s, now_s + rest_s + lasts_s
        one = excursion(start_s)
        planner.opened(one)
        spans += planner.advance(start_s + 0.3)
        if is_warned and lasts_s > 3.5:
            fired_s = start_s + 3.0 + part * (lasts_s - 3.0)
            fires.append(fired_s)
            planner.warned(warning(fired_s - 3.0, fired_s))
            spans += planner.advance(fired_s)
        planner.closed(excursion(start_s, end_s))
        spans += planner.advance(end_s)
        now_s = end_s
    spans += planner.finish(now_s)
    assert all(0 < span.duration_s <= RULES.longest_s + 1e-9 for span in spans)
    assert all(a.end_s <= b.start_s for a, b in pairwise(spans))
    assert all(any(s.start_s <= fired_s <= s.end_s for s in spans) for fired_s in fires)
    assert sum(len(span.moments) for span in spans) == len(fires)


def run(planner: ClipPlanner, until_s: float, events: dict[float, object], step_s: float = 0.5) -> list[Span]:
    """Events by time; an excursion without end opens."""
    spans: list[Span] = []
    for tick in range(round(until_s / step_s) + 1):
        now_s = tick * step_s
        event = events.get(now_s)
        if isinstance(event, Excursion):
            (planner.opened if event.end_s is None else planner.closed)(event)
        elif event == "mark":
            planner.mark(now_s)
        elif event is not None:
            planner.warned(event)  # type: ignore[arg-type]
        for span in planner.advance(now_s):
            assert now_s >= span.end_s + planner.rules.settle_s
            spans.append(span)
    return spans


def test_only_what_was_warned_of_becomes_a_clip() -> None:
    events: dict[float, object] = {
        10.5: excursion(10.0),
        12.0: excursion(10.0, 12.0),
        40.5: excursion(40.0),
        43.0: warning(40.0, 43.0),
        50.0: excursion(40.0, 50.0),
    }
    (span,) = run(ClipPlanner(), 70.0, events)
    assert (span.start_s, span.end_s, span.reason) == (36.0, 53.0, "warning")
    both = run(ClipPlanner(ClipRules(all_extreme=True)), 70.0, events)
    assert [(one.start_s, one.end_s, one.reason) for one in both] == [
        (6.0, 15.0, "extreme"),
        (36.0, 53.0, "warning"),
    ]


def test_comfort_level_is_no_reason() -> None:
    planner = ClipPlanner(ClipRules(all_extreme=True))
    assert run(planner, 40.0, {10.0: replace(excursion(9.5), level="comfort")}) == []
    assert planner.finish(40.0) == ()


def test_mark_and_warning_share_a_clip() -> None:
    events: dict[float, object] = {
        10.5: excursion(10.0),
        13.0: warning(10.0, 13.0),
        15.0: excursion(10.0, 15.0),
        20.0: "mark",
    }
    (span,) = run(ClipPlanner(), 40.0, events)
    assert (span.start_s, span.end_s, span.reason) == (6.0, 23.0, "warning and mark")


def test_late_warning_shows_the_hold_and_not_the_long_past_beginning() -> None:
    events: dict[float, object] = {
        10.5: excursion(10.0),
        60.0: warning(57.0, 60.0),
        64.0: excursion(10.0, 64.0),
    }
    (span,) = run(ClipPlanner(), 80.0, events)
    assert (span.start_s, span.end_s) == (53.0, 67.0)


def test_second_warning_within_a_long_excursion_gets_its_own_clip() -> None:
    events: dict[float, object] = {
        10.5: excursion(10.0),
        13.0: warning(10.0, 13.0),
        25.0: warning(22.0, 25.0),  # still shown by the first clip
        60.0: warning(57.0, 60.0),
        64.0: excursion(10.0, 64.0),
    }
    assert bounds(tuple(run(ClipPlanner(), 80.0, events))) == [(6.0, 36.0), (53.0, 67.0)]


def test_what_is_handed_out_is_not_overlapped_by_what_is_heard_of_later() -> None:
    planner = ClipPlanner()
    planner.mark(10.0)
    assert bounds(planner.advance(17.0)) == [(6.0, 13.0)]
    planner.mark(12.0)
    planner.mark(9.0)
    assert bounds(planner.advance(30.0)) == [(13.0, 15.0)]
    assert planner.advance(60.0) == ()


def test_the_session_s_end_ends_all() -> None:
    planner = ClipPlanner()
    planner.opened(excursion(10.0))
    planner.warned(warning(10.0, 13.0))
    planner.mark(14.5)
    assert bounds(planner.finish(15.0, [excursion(10.0, 14.0)])) == [(6.0, 15.0)]
    assert planner.finish(20.0) == ()


@pytest.mark.parametrize("wrong", [{"before_s": -1}, {"longest_s": 7}, {"settle_s": math.inf}])
def test_nonsense_rules_are_refused(wrong: dict[str, float]) -> None:
    with pytest.raises(ValueError, match=next(iter(wrong))):
        ClipRules(**wrong)  # type: ignore[arg-type]
