"""The rules that turn a source's timestamps into increasing seconds."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from posturewatch.capture.timeline import StreamTimeline, VideoTimeline

INTERVAL_S = 1 / 25


@pytest.mark.parametrize(
    ("stamps", "times"),
    [
        pytest.param([5.0, 5.04, 5.2], [0.0, 0.04, 0.2], id="starts anywhere, uneven"),
        pytest.param([0.0, None, 0.08], [0.0, 0.04, 0.08], id="one missing"),
        pytest.param([0.0, math.nan, 0.08], [0.0, 0.04, 0.08], id="one not a number"),
        pytest.param([None, None, None], [0.0, 0.04, 0.08], id="all missing"),
        pytest.param([None, None, 7.0, 7.1], [0.0, 0.04, 0.08, 0.18], id="first ones missing"),
        pytest.param([0.0, 0.04, 0.04, 0.08], [0.0, 0.04, 0.041, 0.08], id="twice the same"),
        pytest.param([0.0, 0.08, 0.04, 0.12], [0.0, 0.08, 0.081, 0.12], id="out of order"),
        pytest.param([0.0, 9.0, 9.04], [0.0, 9.0, 9.04], id="a real gap stays"),
        pytest.param([3.0, 13.0, 0.0, 0.1], [0.0, 10.0, 10.04, 10.14], id="joined films"),
        pytest.param([0.0, -1e9, -1e9 + 1], [0.0, 0.04, 1.04], id="absurd fall"),
    ],
)
def test_film_times(stamps: list[float | None], times: list[float]) -> None:
    timeline = VideoTimeline(INTERVAL_S)
    assert [timeline.place(stamp) for stamp in stamps] == pytest.approx(times, abs=1e-6)


@given(st.lists(st.one_of(st.none(), st.floats(-1e6, 1e6), st.just(math.nan)), min_size=2, max_size=60))
def test_film_times_always_increase(stamps: list[float | None]) -> None:
    timeline = VideoTimeline(INTERVAL_S)
    times = [timeline.place(stamp) for stamp in stamps]
    assert times[0] == 0.0
    assert all(later > earlier for earlier, later in pairwise(times))


def test_stream_times_follow_the_stamps_where_arrival_is_uneven() -> None:
    timeline = StreamTimeline()
    arrivals = [100.0, 100.2, 100.21, 100.22, 100.3]
    moments = [timeline.place(7.0 + 0.04 * i, now) for i, now in enumerate(arrivals)]
    assert moments == pytest.approx([100.0, 100.04, 100.08, 100.12, 100.16])


def test_pictures_that_come_in_a_burst_are_not_from_the_future() -> None:
    timeline = StreamTimeline()
    burst = [timeline.place(0.04 * i, 10.0) for i in range(25)]
    assert burst == pytest.approx([10.0 + 0.001 * i for i in range(25)])
    assert timeline.place(0.04 * 25, 10.05) == pytest.approx(10.04)


def test_stream_times_go_on_by_the_clock_after_a_restart() -> None:
    timeline = StreamTimeline()
    assert timeline.place(500.0, 10.0) == 10.0
    timeline.restart()
    assert timeline.place(0.0, 17.5) == 17.5
    assert timeline.place(0.04, 17.9) == pytest.approx(17.54)


def test_stream_times_leave_stamps_that_stray_from_the_clock() -> None:
    timeline = StreamTimeline()
    timeline.place(0.0, 10.0)
    assert timeline.place(3600.0, 10.04) == pytest.approx(10.04)
    assert timeline.place(3600.04, 10.09) == pytest.approx(10.08)
    assert timeline.place(None, 10.5) == 10.5


@given(
    st.lists(
        st.tuples(st.one_of(st.none(), st.floats(-1e5, 1e5)), st.floats(0.0, 2.0)), min_size=2, max_size=60
    )
)
def test_stream_times_always_increase_and_stay_near_the_clock(
    arrivals: list[tuple[float | None, float]],
) -> None:
    timeline = StreamTimeline()
    now_s, moments = 50.0, []
    for stamp_s, pause_s in arrivals:
        now_s += pause_s
        moments.append(timeline.place(stamp_s, now_s))
        # Within the second that stamps may stray, and a millisecond for each picture that shares a moment.
        assert abs(moments[-1] - now_s) <= 1.0 + 0.001 * len(arrivals) + 1e-6
    assert all(later > earlier for earlier, later in pairwise(moments))
