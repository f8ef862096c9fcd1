"""Weekly minutes, sudden rises, and the nudge to rest: examples on the calendar and on the clock."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Any, cast

import pytest
from hypothesis import given
from hypothesis import strategies as st

from posturewatch.exposure.breaks import BreakRules, BreakState, Nudge, advance
from posturewatch.exposure.load import (
    LoadRules,
    PlayedSession,
    WeekLoad,
    load_notice,
    week_of,
    weekly_load,
)

MONDAY = dt.date(2024, 12, 30)
WEEK = dt.timedelta(days=7)


@pytest.mark.parametrize("day", [MONDAY, dt.date(2025, 1, 1), dt.date(2025, 1, 5)])
def test_a_week_across_the_new_year(day: dt.date) -> None:
    assert week_of(day) == MONDAY
    assert day.isocalendar()[:2] == (2025, 1)


def test_weeks_without_a_session_are_there() -> None:
    sessions = [
        PlayedSession(dt.date(2025, 1, 20), 10.0),
        PlayedSession(dt.date(2025, 1, 1), 30.0),
        PlayedSession(dt.date(2025, 1, 5), 15.5),
    ]
    assert weekly_load(sessions) == (
        WeekLoad(MONDAY, 45.5, 2),
        WeekLoad(MONDAY + WEEK, 0.0, 0),
        WeekLoad(MONDAY + 2 * WEEK, 0.0, 0),
        WeekLoad(MONDAY + 3 * WEEK, 10.0, 1),
    )
    assert [week.minutes for week in weekly_load(sessions, dt.date(2025, 1, 27))] == [45.5, 0, 0, 10, 0]
    assert [week.minutes for week in weekly_load(sessions, dt.date(2025, 1, 12))] == [45.5, 0]
    assert weekly_load(sessions, dt.date(2024, 12, 1)) == ()
    assert weekly_load([]) == ()


def weeks(*minutes: float) -> tuple[WeekLoad, ...]:
    return tuple(WeekLoad(MONDAY + k * WEEK, many, 1) for k, many in enumerate(minutes))


@pytest.mark.parametrize(
    ("minutes", "usual"),
    [
        # 150 is 1.5 times the mean of 80, 120, 100, 100; what came before them does not count.
        ((500, 80, 120, 100, 100, 150), 100.0),
        ((500, 80, 120, 100, 100, 149), None),
        # Four times as much, and still less than an hour.
        ((10, 10, 10, 10, 40), None),
        ((10, 10, 10, 10, 60), 10.0),
        # Nothing for four weeks, then an hour.
        ((200, 0, 0, 0, 0, 60), 0.0),
        # What was played before the first session is not known.
        ((10, 10, 10, 600), None),
        ((), None),
    ],
)
def test_a_sudden_rise(minutes: Sequence[float], usual: float | None) -> None:
    notice = load_notice(weeks(*minutes))
    assert (None if notice is None else notice.usual_minutes) == usual


def test_the_notice_says_that_it_is_a_convention() -> None:
    notice = load_notice(weeks(100, 100, 100, 100, 250))
    assert notice is not None
    assert (notice.monday, notice.minutes) == (MONDAY + 4 * WEEK, 250)
    assert notice.sentence == (
        "250 minutes this week, 2.5 times the mean of the 4 weeks before (100); a sudden rise is worth taking "
        "slowly. The threshold is a convention, not science."
    )
    after_nothing = load_notice(weeks(100, 0, 90), LoadRules(weeks=1))
    assert after_nothing is not None
    assert "after nothing recorded in the week before" in after_nothing.sentence


def test_loads_that_are_none_are_refused() -> None:
    with pytest.raises(ValueError, match="not negative"):
        PlayedSession(MONDAY, -1.0)
    with pytest.raises(ValueError, match="hole"):
        load_notice([WeekLoad(MONDAY, 1.0, 1), WeekLoad(MONDAY + 2 * WEEK, 1.0, 1)])
    bad: dict[str, Any]
    for bad in ({"ratio": 1.0}, {"least_minutes": -1.0}, {"weeks": 0}):
        with pytest.raises(ValueError, match="ratio is above 1"):
            LoadRules(**bad)


def run(rules: BreakRules, *stretches: tuple[bool | None, float], step_s: float = 0.5) -> list[Nudge]:
    """Nudges while each stretch (playing, seconds) is reported every step_s."""
    state, time_s, nudges = BreakState(), 0.0, []
    for playing, seconds in stretches:
        for _ in range(round(seconds / step_s)):
            state, nudge = advance(state, time_s, playing, rules)
            nudges += [] if nudge is None else [nudge]
            time_s += step_s
    return nudges


MINUTE = 60.0


@pytest.mark.parametrize(
    ("why", "stretches", "times_s"),
    [
        ("twenty minutes of playing", [(True, 30 * MINUTE)], [1200.0]),
        ("just less", [(True, 20 * MINUTE), (False, MINUTE), (True, 20 * MINUTE)], []),
        ("short pauses take nothing back", [(True, 600), (False, 20), (True, 601)], [1220.0]),
        ("nor add up to a rest", [(True, 600), (False, 20), (True, 1), (False, 20), (True, 600)], [1240.0]),
        ("half a minute is a rest", [(True, 600), (False, 30.5), (True, 1190)], []),
        ("a rest, then twenty minutes more", [(True, 600), (False, 60), (True, 1201)], [1860.0]),
        ("not during a pause", [(True, 1200), (False, 20), (True, 10)], [1220.0]),
        ("a hand lost for a minute is no rest", [(True, 600), (None, 60), (True, 601)], [1260.0]),
        ("gone for two minutes is one", [(True, 600), (None, 120.5), (True, 1190)], []),
        ("never played", [(False, 3000), (None, 3000)], []),
    ],
)
def test_the_nudge(why: str, stretches: list[tuple[bool | None, float]], times_s: list[float]) -> None:
    assert [nudge.time_s for nudge in run(BreakRules(), *stretches)] == times_s, why


def test_once_a_rest_or_repeated_or_off() -> None:
    hour = [(True, 3600.0)]
    assert len(run(BreakRules(), *hour)) == 1
    repeated = run(BreakRules(repeat_s=600.0), *hour)
    assert [nudge.time_s for nudge in repeated] == [1200.0, 1800.0, 2400.0, 3000.0]
    assert run(BreakRules(nudge_after_s=None, repeat_s=600.0), *hour) == []
    again = run(BreakRules(), (True, 1300), (False, 60), (True, 1300))
    assert [nudge.time_s for nudge in again] == [1200.0, 2560.0]
    assert again[0].sentence.startswith("20 minutes of playing without a rest")


def test_a_time_nobody_watched_is_not_played() -> None:
    rules = BreakRules(max_gap_s=1.0)
    state, _ = advance(BreakState(), 0.0, True, rules)
    state, _ = advance(state, 100.0, True, rules)
    assert state.played_s == 1.0
    # The machine slept: longer than a rest, so the playing before it is over.
    state, _ = advance(state, 4000.0, True, rules)
    assert state.played_s == 0.0


def test_breaks_that_cannot_be_are_refused() -> None:
    state, _ = advance(BreakState(), 5.0, True, BreakRules())
    with pytest.raises(ValueError, match="backwards"):
        advance(state, 4.0, True, BreakRules())
    for name in ("nudge_after_s", "rest_s", "unseen_rest_s", "repeat_s", "max_gap_s"):
        with pytest.raises(ValueError, match=name):
            BreakRules(**{name: 0.0})
    with pytest.raises(ValueError, match="rest_s"):
        BreakRules(rest_s=cast(Any, None))


@given(
    steps=st.lists(
        st.tuples(st.sampled_from([0.0, 0.1, 0.9, 5.0, 200.0]), st.sampled_from([True, False, None])),
        max_size=60,
    )
)
def test_playing_time_never_exceeds_the_time_and_nudges_are_due(
    steps: list[tuple[float, bool | None]],
) -> None:
    rules = BreakRules(nudge_after_s=2.0, rest_s=4.0, unseen_rest_s=8.0)
    state, time_s = BreakState(), 0.0
    for step_s, playing in steps:
        time_s += step_s
        before = state
        state, nudge = advance(state, time_s, playing, rules)
        assert 0.0 <= state.played_s <= time_s + 1e-9
        assert state.played_s <= before.played_s + min(step_s, rules.max_gap_s) + 1e-9
        if nudge is not None:
            assert playing
            assert before.nudged_s is None or state.played_s < before.played_s
            assert nudge.played_s >= 2.0
