"""Summaries of kept sessions: the same numbers as computed directly, kept at the end, answered for the page."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any, get_args

import numpy as np
import pytest
from numpy.typing import NDArray
from session_factories import LIMITS, Ended, Values, make_reading

from posturewatch.comfort.rules import WatchRules
from posturewatch.comfort.watch import Watch
from posturewatch.errors import InputError
from posturewatch.exposure.exposure_series import ExposureSeries
from posturewatch.exposure.rules import ExposureRules
from posturewatch.exposure.series import SampleSeries
from posturewatch.exposure.summary import summarise
from posturewatch.model.measurement import Refusal
from posturewatch.model.observation import Side
from posturewatch.model.reading import Reading
from posturewatch.review.derived import open_store
from posturewatch.review.practice_log import PracticeLog
from posturewatch.review.summaries import session_summary
from posturewatch.storage.in_memory import InMemorySession
from posturewatch.storage.limits_json import limits_from_json, limits_to_json
from posturewatch.storage.reader import SessionReader
from posturewatch.storage.records import SessionInfo, SessionStart

RULES = WatchRules(hold_s=2.0, max_gap_s=0.2)
START = SessionStart("demo", "film", "0.1.0", LIMITS, RULES)
KEYS = [(side, name) for side in get_args(Side) for name in ("wrist_flexion", "wrist_ulnar_deviation")]


def practice(end_s: float = 60.0) -> tuple[list[Reading], tuple[Any, ...], dict[str, NDArray[Any]]]:
    """Readings through the real watch, of values that are exact in the store's steps; the left hand bends far
    for a while, the right hand is never seen."""
    times = np.arange(0, round(end_s * 25)) * 0.04
    values = np.round(20 + 45 * np.sin(times / 6), 2)
    seen = (times < 30) | (times > 34)
    watch = Watch(LIMITS, RULES)
    readings = []
    for index, time_s in enumerate(times):
        hand: Values = {
            ("left", "wrist_flexion"): (values[index], 4.0),
            ("left", "wrist_ulnar_deviation"): (5.0, 4.0),
        }
        reading = make_reading(
            index, float(time_s), hand if seen[index] else {}, refusal=Refusal.HAND_CUT_OFF
        )
        verdict = watch.update(reading.measurement)
        readings.append(Reading(**{**vars(reading), "verdict": verdict}))
    closed = watch.finish(end_s)
    return readings, closed, {"times": times, "values": values, "seen": seen}


def expected(readings: list[Reading], truth: dict[str, NDArray[Any]], end_s: float) -> dict[str, Any]:
    """The summary computed from the very numbers, without any session in between."""
    cut_off = 1 + list(Refusal).index(Refusal.HAND_CUT_OFF)
    series = []
    for side, name in KEYS:
        seen = truth["seen"] if side == "left" else np.zeros(len(truth["times"]), bool)
        value = truth["values"] if name == "wrist_flexion" else np.full(len(seen), 5.0)
        series.append(
            SampleSeries(
                side,
                name,
                np.round(truth["times"], 3),
                np.where(seen, value, np.nan),
                np.where(seen, 4.0, np.nan),
                np.where(seen, 0, cut_off).astype(np.uint8),
            )
        )
    fired = [warning for reading in readings for warning in reading.verdict.fired]
    assert fired, "the practice is meant to be warned of"
    made = [ExposureSeries(one, LIMITS, rules=ExposureRules(watch=RULES)) for one in series]
    return summarise(made, fired, LIMITS.name, end_s).to_json()


def test_the_summary_of_a_kept_session_is_the_one_computed_directly(tmp_path: Path) -> None:
    readings, closed, truth = practice()
    with open_store(tmp_path) as store:
        recorder = store.begin(START)
        for reading in readings:
            recorder.put(reading)
        recorder.mark(12.0, "bar 9")
        identity = recorder.finish(Ended(60.0, closed=closed))
    kept = SessionReader(tmp_path).cached_summary(identity)
    assert kept is not None
    wanted = expected(readings, truth, 60.0)
    assert {key: kept[key] for key in wanted} == wanted
    assert kept["marks"] == [{"time_s": 12.0, "note": "bar 9"}]
    assert len(kept["warned"]) == kept["warnings"]
    json.dumps(kept, allow_nan=False)


def test_a_session_in_memory_gives_the_same(tmp_path: Path) -> None:
    readings, closed, _ = practice()
    session = InMemorySession()
    for reading in readings:
        session.put(reading)
    info = SessionInfo("", START.started_at, None, None, 60.0, "demo", "film", None, "0.1.0", 0, 0)
    record = session.record(info, limits=LIMITS, rules=RULES, settings={}, closed=closed)
    with open_store(tmp_path) as store:
        recorder = store.begin(START)
        for reading in readings:
            recorder.put(reading)
        kept = store.session(recorder.finish(Ended(60.0, closed=closed)))
    assert record.excursions == kept.excursions
    assert record.warnings == kept.warnings
    for one, other in zip(record.series, kept.series, strict=True):
        assert (one.side, one.quantity) == (other.side, other.quantity)
        for name in ("time_s", "value", "sd", "refusal"):
            np.testing.assert_array_equal(getattr(one, name), getattr(other, name))


def test_a_session_that_nobody_summarised_is_summarised_when_asked(tmp_path: Path) -> None:
    readings, closed, truth = practice()
    with open_store(tmp_path) as store:
        recorder = store.begin(START)
        for reading in readings:
            recorder.put(reading)
        info = store.find(recorder.session_id)
        assert info.open
        assert session_summary(store, info)["session"]["ended_at"] is None
        recorder.finish(Ended(60.0, closed=closed))
        summary = session_summary(store, store.find("last"))
    assert summary["session"]["end_reason"] == "stopped"
    assert summary["quantities"] == expected(readings, truth, 60.0)["quantities"]


def test_a_summary_of_an_older_computation_is_made_anew_and_kept(tmp_path: Path) -> None:
    readings, closed, truth = practice()
    with open_store(tmp_path) as store:
        recorder = store.begin(START)
        for reading in readings:
            recorder.put(reading)
        identity = recorder.finish(Ended(60.0, closed=closed))
        with store.writing() as connection:
            # As an earlier program left it: another shape, and no version in it.
            connection.execute("UPDATE session SET summary_json = ?", ('{"quantities": [{"zones": []}]}',))
            connection.execute("UPDATE review SET version = 2")
        wanted = expected(readings, truth, 60.0)["quantities"]
        assert session_summary(store, store.find(identity))["quantities"] == wanted
        PracticeLog(store).session(identity)
        kept = store.cached_summary(identity)
    assert kept is not None
    assert kept["quantities"] == wanted


def test_the_log_answers_for_the_page(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        identity = store.begin(START).finish(Ended(1.0))
        log = PracticeLog(store)
        assert [one["id"] for one in log.sessions()] == [identity]
        assert log.summary(identity)["session"]["id"] == identity
        with pytest.raises(InputError):
            log.summary("nothing")


def test_limits_come_back_from_json() -> None:
    assert limits_from_json(json.loads(json.dumps(limits_to_json(LIMITS)))) == LIMITS


def test_a_quantity_that_came_after_the_session_has_no_limits_in_it() -> None:
    data = limits_to_json(LIMITS)
    data["bands"] = [one for one in data["bands"] if one["quantity"] != "wrist_ulnar_deviation"]
    old = limits_from_json(data)
    assert old.limit("wrist_ulnar_deviation", "radial", "extreme") is None
    assert old.limit("wrist_flexion", "flexion", "extreme") == LIMITS.limit(
        "wrist_flexion", "flexion", "extreme"
    )
