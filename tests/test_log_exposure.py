"""Exposures, the finding and trends of kept sessions."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from exposure_series import exposure
from log_factories import TakenMoment, noon, record, take

from posturewatch.errors import InputError
from posturewatch.review.derived import open_store
from posturewatch.review.entries import (
    CheckEntry,
    PieceChange,
)
from posturewatch.review.practice_log import PracticeLog
from posturewatch.review.trends import local_today
from posturewatch.storage.store import Store

SWITCHES = ((0.0, "One", "bars 1-4"), (40.0, "Two", ""), (80.0, "One", "bars 1-4"))


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with open_store(tmp_path) as one:
        yield one


@pytest.fixture
def log(store: Store) -> PracticeLog:
    return PracticeLog(store)


# ---- exposures ----


def test_exposures_are_those_computed_directly(store: Store, log: PracticeLog) -> None:
    identity = record(store, 120.0, switches=SWITCHES, bent=(45.0, 75.0))
    kept = log.session(identity)["exposure"]
    session = store.session(identity)
    series = {(one.side, one.quantity): one for one in session.series}

    def direct(*windows: tuple[float, float]) -> list[dict[str, Any]]:
        return [exposure(one, session.limits, *windows).to_json() for one in series.values()]

    assert kept["session"] == direct((0.0, 120.0))
    assert [one["exposure"] for one in kept["passages"]] == [
        direct((0.0, 40.0)),
        direct((40.0, 80.0)),
        direct((80.0, 120.0)),
    ]
    assert [(one["piece"], one["bars"]) for one in kept["parts"]] == [("One", "bars 1-4"), ("Two", "")]
    assert kept["parts"][0]["exposure"] == direct((0.0, 40.0), (80.0, 120.0))
    assert [one["start_s"] for one in kept["minutes"]] == [0.0, 60.0]
    beyond = [
        level["seconds"]
        for minute in kept["minutes"]
        for one in minute["exposure"]
        if (one["side"], one["quantity"]) == ("left", "wrist_flexion")
        for level in one["levels"]
        if (level["direction"], level["level"]) == ("flexion", "extreme")
    ]
    assert beyond == pytest.approx([15.0, 15.0], abs=0.2)


def test_the_finding_names_the_piece_of_today_and_the_clips_of_today(store: Store, log: PracticeLog) -> None:
    identity = record(
        store,
        300.0,
        switches=((0.0, "One", ""), (100.0, "Two", "bars 5-8"), (200.0, "One", "")),
        bent=(110.0, 190.0),
    )
    finding = log.session(identity)["finding"]
    assert finding is not None
    assert "“Two”, bars 5-8" in finding["sentence"]
    assert finding["moments"] == []
    moment = TakenMoment("warning", 110.0, 113.0, None, "left", "wrist_flexion", "flexion")
    take(store, identity, start_s=108.0, moments=(moment,))
    two = next(piece for piece in log.pieces() if piece["name"] == "Two")
    log.rename_piece(two["id"], PieceChange.read({"name": "Nocturne sketch"}))
    finding = log.session(identity)["finding"]
    assert "“Nocturne sketch”, bars 5-8" in finding["sentence"]
    assert finding["moments"] == [str(log.clips()[0]["id"])]


def test_a_session_without_samples_has_no_exposure_and_no_fault(store: Store, log: PracticeLog) -> None:
    page = log.session(record(store, 0.0))
    assert page["exposure"] == {
        "session": [],
        "hands": [],
        "cues": [],
        "passages": [],
        "parts": [],
        "minutes": [],
    }
    assert page["finding"] is None


def test_samples_and_traces(store: Store, log: PracticeLog) -> None:
    identity = record(store, 120.0, bent=(30.0, 60.0))
    told = log.samples(identity, 29.0, 31.0)["series"]
    left = next(one for one in told if (one["side"], one["quantity"]) == ("left", "wrist_flexion"))
    assert left["time_s"] == [round(29 + place / 10, 1) for place in range(20)]
    assert left["value"] == [10.0] * 10 + [60.0] * 10
    right = next(one for one in told if one["side"] == "right")
    assert set(right["value"]) == {None}
    trace = log.trace(identity, 4)
    left = next(one for one in trace["series"] if (one["side"], one["quantity"]) == ("left", "wrist_flexion"))
    assert trace["bin_s"] == 30.0
    assert (left["low"], left["high"]) == ([10.0, 60.0, 10.0, 10.0], [10.0, 60.0, 10.0, 10.0])
    assert left["measured"] == [1.0] * 4
    for start_s, end_s in ((5.0, 5.0), (-1.0, 2.0), (0.0, 301.0), (0.0, float("nan"))):
        with pytest.raises(InputError):
            log.samples(identity, start_s, end_s)
    for bins in (0, 2001):
        with pytest.raises(InputError):
            log.trace(identity, bins)


def test_a_trace_has_the_extremes_that_numpy_finds(store: Store, log: PracticeLog) -> None:
    identity = record(store, 50.0, bent=(13.0, 21.0))
    (series,) = [
        one for one in store.session(identity).series if (one.side, one.quantity) == ("left", "wrist_flexion")
    ]
    trace = log.trace(identity, 7)
    (left,) = [one for one in trace["series"] if (one["side"], one["quantity"]) == ("left", "wrist_flexion")]
    for place in range(7):
        inside = series.value[(series.time_s / trace["bin_s"]).astype(int) == place]
        assert left["low"][place] == inside.min()
        assert left["high"][place] == inside.max()
        assert left["median"][place] in (np.median(inside), np.sort(inside)[len(inside) // 2])


# ---- trends ----


@pytest.mark.calendar
def test_trends_add_up_weeks_and_pieces(store: Store, log: PracticeLog) -> None:
    for day, bent in ((3, (0.0, 60.0)), (5, (0.0, 0.0)), (17, (0.0, 150.0))):
        record(
            store,
            600.0,
            switches=((0.0, "One", ""), (300.0, "Two", "")),
            bent=bent,
            rate_hz=5.0,
            started_at=noon(dt.date(2025, 3, day)),
        )
    told = log.trends(weeks=4, today=dt.date(2025, 3, 20))
    assert told["waiting"] == 0
    assert [(week["monday"], week["minutes"]) for week in told["load"]] == [
        ("2025-03-03", 20.0),
        ("2025-03-10", 0.0),
        ("2025-03-17", 10.0),
    ]
    key = {"side": "left", "quantity": "wrist_flexion", "direction": "flexion", "level": "extreme"}

    def line(lines: list[dict[str, Any]]) -> dict[str, Any]:
        return next(one for one in lines if {name: one[name] for name in key} == key)

    weeks = line(told["lines"])["weeks"]
    assert [week["share"] for week in weeks] == [
        pytest.approx(60 / 1200, abs=0.002),
        None,
        pytest.approx(150 / 600, abs=0.002),
    ]
    assert line(told["lines"])["change"]["share"] == pytest.approx(0.2, abs=0.004)
    totals = {piece["piece"]: line(piece["lines"])["total"] for piece in told["pieces"]}
    assert totals["One"]["share"] == pytest.approx(210 / 900, abs=0.002)
    assert totals["Two"]["share"] == 0.0
    assert totals["One"]["sessions"] == 3
    assert log.trends(weeks=1, today=dt.date(2025, 3, 20))["from"] == "2025-03-17"


@pytest.mark.calendar
def test_a_piece_has_its_exposure_over_time(store: Store, log: PracticeLog) -> None:
    identity = record(store, 120.0, switches=SWITCHES, bent=(45.0, 75.0))
    two = next(piece for piece in log.pieces() if piece["name"] == "Two")
    (session,) = log.piece(two["id"])["played"]
    assert (session["session_id"], session["minutes"]) == (identity, 0.67)
    page = log.session(identity)["exposure"]["passages"][1]["exposure"]
    kept = {(one["side"], one["quantity"]): one for one in session["exposure"]}
    for one in page:
        mine = kept[one["side"], one["quantity"]]
        assert mine["measured_s"] == one["measured_s"]
        levels = {
            (direction["direction"], level["level"]): level["seconds"]
            for direction in one["directions"]
            for level in direction["levels"]
        }
        assert {(level["direction"], level["level"]): level["seconds"] for level in mine["levels"]} == levels


@pytest.mark.calendar
def test_trends_of_an_empty_folder_are_empty(log: PracticeLog) -> None:
    told = log.trends(weeks=52, today=dt.date(2025, 3, 20))
    assert (told["from"], told["load"], told["lines"], told["pieces"]) == (None, [], [], [])


def test_the_demo_and_time_without_a_picture_are_no_practice(store: Store, log: PracticeLog) -> None:
    day = dt.date(2025, 3, 18)
    air = ((0.0, "Air", ""),)
    record(store, 600.0, started_at=noon(day), away=(120.0, 480.0), rate_hz=2.0, switches=air)
    record(
        store,
        600.0,
        started_at=noon(day),
        source_name="demo film",
        bent=(0.0, 600.0),
        rate_hz=2.0,
        switches=air,
    )
    (piece,) = log.pieces()
    assert (piece["sessions"], piece["minutes"], piece["passages"]) == (1, 10.0, 2)
    assert len(log.piece(piece["id"])["played"]) == 1
    told = log.trends(weeks=1, today=dt.date(2025, 3, 20))
    (week,) = told["load"]
    # Four minutes with pictures, and two seconds of the gap.
    assert (week["sessions"], week["minutes"]) == (1, pytest.approx(4.0, abs=0.05))
    assert all(one["share"] in (None, 0.0) for line in told["lines"] for one in line["weeks"])
    assert [one["demo"] for one in log.sessions()] == [True, False]


@pytest.mark.calendar
def test_pain_is_told_by_day_and_the_demo_left_out(store: Store, log: PracticeLog) -> None:
    own = record(store, 12.0)
    demo = record(store, 12.0, source_name="demo film")
    for moment, rating, session in (
        ("before", 3, own), ("before", 1, own), ("after", 0, own), ("after", 9, demo),
    ):  # fmt: skip
        log.add_check(CheckEntry.read({"moment": moment, "rating": rating, "session_id": session}))
    (day,) = log.trends(weeks=1)["pain"]
    assert day == {"day": local_today().isoformat(), "before": 3, "after": 0}


def test_the_list_of_sessions_tells_what_each_adds_up_to(store: Store, log: PracticeLog) -> None:
    """Of 60 s, 12 s are far past the extreme limit of flexion, and 15 s are without a picture."""
    switches = ((0.0, "Scales", ""), (20.0, "Airs", "bars 1-8"), (30.0, "Scales", ""))
    identity = record(store, 60.0, bent=(10.0, 22.0), away=(40.0, 55.0), switches=switches)
    take(store, identity)
    log.add_check(CheckEntry.read({"moment": "after", "rating": 4, "session_id": identity}))
    (one,) = log.sessions()
    assert one["extreme_share"] == pytest.approx(12 / 45, abs=0.02)
    # Nothing tells which hand is on the fingerboard, so that both count, and the right one was never measured.
    assert one["measured_share"] == 0.0
    assert (one["warnings"], one["clips"], one["pain"]) == (0, 1, 4)
    assert one["pieces"] == ["Scales", "Airs"]
