"""Weeks and pieces from records of many sessions: sums worked by hand, holes that stay holes, scipy's slope."""

from __future__ import annotations

import datetime as dt
import json

import pytest
from exposure_series import FLEX
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import theilslopes

from posturewatch.exposure.trends import (
    ExposureRecord,
    Total,
    TrendKey,
    by_piece,
    by_week,
    change,
    slope,
    worst_pieces,
)

MONDAY = dt.date(2025, 3, 3)
WEEK = dt.timedelta(days=7)
KEY: TrendKey = ("left", FLEX, "flexion", "extreme")


def record(
    day: dt.date,
    beyond_s: float,
    measured_s: float = 1000.0,
    *,
    session_id: str = "s",
    piece: str | None = None,
    limit: float = 40.0,
    longest_s: float | None = None,
) -> ExposureRecord:
    return ExposureRecord(
        session_id=session_id,
        day=day,
        piece=piece,
        side="left",
        quantity=FLEX,
        direction="flexion",
        level="extreme",
        limit=limit,
        total_s=1.25 * measured_s,
        measured_s=measured_s,
        beyond_s=beyond_s,
        excess=10.0 * beyond_s,
        excursions=3,
        longest_s=longest_s,
    )


def test_weeks_add_up_and_missing_ones_are_holes() -> None:
    """Week 1: 100 + 300 s of 1000 + 3000 s beyond, a tenth. Week 2: nothing. Week 3: a minute, too little."""
    records = [
        record(MONDAY, 100.0, session_id="a", longest_s=4.0),
        record(MONDAY + dt.timedelta(days=6), 300.0, 3000.0, session_id="b", longest_s=9.0),
        record(MONDAY + 2 * WEEK, 30.0, 60.0, session_id="c"),
        record(MONDAY, 999.0, session_id="a", piece="Scale study"),
    ]
    weeks = by_week(records)[KEY]
    assert list(weeks) == [MONDAY, MONDAY + WEEK, MONDAY + 2 * WEEK]
    first, second, third = weeks.values()
    assert (first.sessions, first.measured_s, first.beyond_s, first.excursions) == (2, 4000.0, 400.0, 6)
    assert first.share == pytest.approx(0.1)
    # 4000 degree-seconds in 4000 s measured are 3600 in an hour.
    assert first.excess_per_hour == pytest.approx(3600.0)
    assert (first.longest_s, first.last_day) == (9.0, MONDAY + dt.timedelta(days=6))
    assert (second.sessions, second.measured_s, second.share, second.last_day) == (0, 0, None, None)
    assert (third.sessions, third.measured_s, third.share) == (1, 60.0, None)
    assert by_week(records, least_measured_s=60.0)[KEY][MONDAY + 2 * WEEK].share == pytest.approx(0.5)
    json.dumps([total.to_json() for total in weeks.values()], allow_nan=False)


def test_every_line_runs_over_the_same_weeks() -> None:
    right = ExposureRecord(**{**vars(record(MONDAY + 3 * WEEK, 5.0)), "side": "right"})
    found = by_week([record(MONDAY, 10.0), right])
    assert [list(weeks) for weeks in found.values()] == [[MONDAY + k * WEEK for k in range(4)]] * 2
    assert by_week([]) == {}


def test_limits_that_changed_are_told() -> None:
    weeks = by_week([record(MONDAY, 1.0, limit=40.0), record(MONDAY, 1.0, limit=32.7)])[KEY]
    assert weeks[MONDAY].limits == (32.7, 40.0)


def test_the_piece_not_played_for_the_longest_comes_first() -> None:
    records = [
        record(MONDAY, 10.0, 100.0, session_id="a", piece="Scale study"),
        record(MONDAY + 3 * WEEK, 50.0, 100.0, session_id="b", piece="Scale study"),
        record(MONDAY + WEEK, 5.0, 30.0, session_id="c", piece="Nocturne sketch"),
        record(MONDAY, 10.0, session_id="a"),
    ]
    pieces = by_piece(records)
    assert list(pieces) == ["Nocturne sketch", "Scale study"]
    assert pieces["Scale study"][KEY].share == pytest.approx(60 / 200)
    assert pieces["Scale study"][KEY].last_day == MONDAY + 3 * WEEK
    assert pieces["Nocturne sketch"][KEY].share is None


def totals(shares: list[float | None]) -> dict[dt.date, Total]:
    return {
        MONDAY + k * WEEK: by_week([record(MONDAY, 0.0 if share is None else 1000.0 * share)])[KEY][MONDAY]
        if share is not None
        else by_week([record(MONDAY, 0.0, 1.0)])[KEY][MONDAY]
        for k, share in enumerate(shares)
    }


def test_change_is_from_the_last_week_that_was_measured() -> None:
    found = change(totals([0.5, 0.3, None, 0.2, None]))
    assert found is not None
    assert (found.earlier, found.later) == (MONDAY + WEEK, MONDAY + 3 * WEEK)
    assert found.share == pytest.approx(-0.1)
    assert change(totals([None, 0.3, None])) is None
    assert change({}) is None


@given(shares=st.lists(st.one_of(st.none(), st.floats(0.0, 1.0)), min_size=0, max_size=20))
def test_slope_against_scipy(shares: list[float | None]) -> None:
    known = [(k, share) for k, share in enumerate(shares) if share is not None]
    found = slope(totals(shares))
    if len(known) < 4:
        assert found is None
        return
    theirs = theilslopes([share for _, share in known], [k for k, _ in known])
    assert found == pytest.approx(theirs.slope, abs=1e-12)


def test_one_odd_week_bends_no_slope() -> None:
    assert slope(totals([0.1, 0.12, 0.9, 0.16, 0.18, 0.2])) == pytest.approx(0.02, abs=0.005)


def test_the_worst_piece_is_that_of_the_last_week_measured() -> None:
    """In the first week it was the waltz, in the second the air; the third was measured for a minute."""
    whole = [
        record(MONDAY, 100.0), record(MONDAY + WEEK, 50.0), record(MONDAY + 2 * WEEK, 60.0, measured_s=60.0),
    ]  # fmt: skip
    played = [
        record(MONDAY, 100.0, piece="waltz"),
        record(MONDAY + WEEK, 10.0, measured_s=400.0, piece="waltz"),
        record(MONDAY + WEEK, 40.0, measured_s=400.0, piece="air"),
        # Too short to say.
        record(MONDAY + WEEK, 30.0, measured_s=30.0, piece="study"),
        record(MONDAY + 2 * WEEK, 60.0, measured_s=60.0, piece="waltz"),
    ]
    assert worst_pieces(played, by_week(whole)) == {KEY: ("air", 0.1)}
    assert worst_pieces([record(MONDAY, 0.0, piece="waltz")], by_week([record(MONDAY, 0.0)])) == {}
