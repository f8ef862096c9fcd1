"""Fingers in a kept session: samples, the plane of the lift, summary, cues, exposures and export."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from session_factories import LIMITS, Ended, make_reading

from posturewatch.cli.words import summary_text
from posturewatch.comfort.phrases import NO_FORCE
from posturewatch.comfort.rules import WatchRules
from posturewatch.comfort.watch import Watch
from posturewatch.model.measurement import LiftPlane
from posturewatch.model.reading import Reading
from posturewatch.review.cue_shares import fretting_sides
from posturewatch.review.derived import open_store
from posturewatch.review.export import csv_blocks
from posturewatch.review.practice_log import PracticeLog
from posturewatch.review.summaries import summarise_record
from posturewatch.review.trends import local_day
from posturewatch.storage.in_memory import InMemorySession
from posturewatch.storage.records import PlaneBegin, SessionInfo, SessionStart
from posturewatch.storage.store import Store

RATE_HZ = 30.0
GUITAR = {"instrument": {"name": "guitar", "handedness": "right"}}
START = SessionStart("camera 0", "camera", "0.1.0", LIMITS, WatchRules(), GUITAR, "guitar")


def is_held(time_s: float) -> bool:
    """Six times for 2.5 s, from 20 s on: the passage of the second piece."""
    return 20.0 <= time_s < 44.0 and (time_s - 20.0) % 4.0 < 2.5


def hand(time_s: float) -> dict[tuple[str, str], tuple[float, float]]:
    """The left hand: index and middle finger play by turns; at times the little finger is held 30 mm up and straight,
    and the wrist is bent. Its end joint is bent backwards throughout."""
    up, held = math.sin(2 * math.pi * time_s / 1.3) > 0, is_held(time_s)
    values = {"wrist_flexion": 60.0 if held else 5.0, "wrist_ulnar_deviation": 2.0}
    values |= {"index_lift": 10.0 * up, "middle_lift": 10.0 * (not up), "ring_lift": 0.0}
    values |= {f"{finger}_pip": 50.0 for finger in ("index", "middle", "ring")}
    values |= {f"{finger}_dip": 25.0 for finger in ("index", "middle", "ring")}
    values |= {"little_lift": 30.0 if held else 0.0, "little_pip": 5.0 if held else 50.0, "little_dip": -20.0}
    return {("left", name): (value, 1.0) for name, value in values.items()}


def plane(time_s: float) -> LiftPlane:
    return "resting fingertips" if 30.0 <= time_s < 45.0 else "picture"


def readings(seconds: float = 60.0) -> list[Reading]:
    watch, found = Watch(LIMITS, WatchRules()), []
    for index in range(round(seconds * RATE_HZ)):
        time_s = index / RATE_HZ
        one = make_reading(index, time_s, hand(time_s), lift_plane=plane(time_s))  # type: ignore[arg-type]
        found.append(Reading(**{**vars(one), "verdict": watch.update(one.measurement)}))
    return found


@pytest.fixture(scope="module")
def played() -> Sequence[Reading]:
    return readings()


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with open_store(tmp_path) as one:
        yield one


def keep(store: Store, played: Sequence[Reading]) -> str:
    recorder = store.begin(START)
    waiting = [(0.0, "One", ""), (20.0, "Two", "bars 1-4"), (44.0, "One", "")]
    for reading in played:
        while waiting and waiting[0][0] <= reading.measurement.time_s:
            recorder.passage(*waiting.pop(0))
        recorder.put(reading)
    return recorder.finish(Ended(60.0))


def test_ten_samples_a_second_of_fingers_are_kept_in_quarters(
    store: Store, played: Sequence[Reading]
) -> None:
    record = store.session(keep(store, played))
    series = {(one.side, one.quantity): one for one in record.series}
    assert len(series["left", "wrist_flexion"].time_s) == len(played)
    lift = series["left", "little_lift"]
    assert len(lift.time_s) == 600
    assert lift.value.tolist() == [30.0 if is_held(round(t, 3)) else 0.0 for t in lift.time_s]
    assert set(lift.sd.tolist()) == {1.0}
    # What the weights in use never give leaves no trace.
    assert ("left", "thumb_place") not in series
    recorder = store.begin(START)
    recorder.put(make_reading(0, 0.0, {("left", "index_pip"): (47.13, 0.01)}))
    (joint,) = [
        one for one in store.session(recorder.finish(Ended(1.0))).series if one.quantity == "index_pip"
    ]
    assert (joint.value.tolist(), joint.sd.tolist()) == ([47.25], [0.25])


def test_the_plane_of_the_lift_is_kept_as_it_changes(store: Store, played: Sequence[Reading]) -> None:
    record = store.session(keep(store, played))
    assert record.planes == (
        PlaneBegin("left", 0.0, "picture"),
        PlaneBegin("left", 30.0, "resting fingertips"),
        PlaneBegin("left", 45.0, "picture"),
    )
    assert record.plane_at("left", np.array([-1.0, 0.0, 29.9, 30.0, 50.0])).tolist() == [-1, 0, 0, 1, 2]
    assert record.plane_at("right", np.array([5.0])).tolist() == [-1]
    told = store.cached_summary(record.info.id)
    assert told is not None
    assert told["lift_planes"] == {
        "left": {
            "picture": pytest.approx(45.0, abs=0.2),
            "resting fingertips": pytest.approx(15.0, abs=0.2),
        }
    }


def test_a_session_in_memory_has_the_same_fingers(store: Store, played: Sequence[Reading]) -> None:
    kept = store.session(keep(store, played))
    session = InMemorySession()
    for reading in played:
        session.put(reading)
    info = SessionInfo("", START.started_at, None, None, 60.0, "demo", "film", None, "0.1.0", 0, 0)
    record = session.record(info, limits=LIMITS, rules=WatchRules(), settings=GUITAR)
    assert record.planes == kept.planes
    for one, other in zip(record.series, kept.series, strict=True):
        assert (one.side, one.quantity) == (other.side, other.quantity)
        np.testing.assert_array_equal(one.value, other.value)
    ours, theirs = summarise_record(record), summarise_record(kept)
    assert ours["cues"] == theirs["cues"]
    assert ours["lift_planes"] == theirs["lift_planes"]


def test_excursions_of_fingers_are_kept_without_a_warning(store: Store, played: Sequence[Reading]) -> None:
    told = store.cached_summary(keep(store, played))
    assert told is not None
    of_little = [one for one in told["excursions"] if one["quantity"] == "little_lift"]
    for level in ("comfort", "extreme"):
        spans = [(one["start_s"], one["end_s"]) for one in of_little if one["level"] == level]
        assert spans == [(20.0 + 4.0 * k, 22.5 + 4.0 * k) for k in range(6)]
    assert told["warned"] == []
    (little,) = [
        one for one in told["quantities"] if one["quantity"] == "little_lift" and one["side"] == "left"
    ]
    assert (little["group"], little["finger"], little["unit"]) == ("finger", "little", "mm")


def test_the_summary_tells_fingers_after_the_wrist_and_that_force_is_not_seen(
    store: Store, played: Sequence[Reading]
) -> None:
    identity = keep(store, played)
    told = store.cached_summary(identity)
    assert told is not None
    lines = summary_text(told).splitlines()
    start = next(i for i, line in enumerate(lines) if "left fingers" in line)
    assert next(i for i, line in enumerate(lines) if "wrist flexion" in line) < start
    assert lines[start] == (
        "  left fingers: measured 100 % to 100 % of the time; lift from the strings in the picture for 0:45 and from "
        "fingertips that rested for 0:15"
    )
    assert lines[start + 1 : start + 5] == [
        "    little finger lifted: 25 % beyond 15 mm, 25 % beyond 25 mm (25 % certain)",
        "    little finger's end joint bent backwards: 100 % beyond 5 deg, 100 % beyond 15 deg (100 % certain)",
        "    little finger's end joint bent backwards while the finger is down: 73 % of the playing time certain",
        "    little finger held straight and high while another is down: 27 % of the playing time certain",
    ]
    assert lines.count(NO_FORCE) == 1


@pytest.mark.parametrize(
    ("seen_s", "sd", "said"), [(60.0, 1.0, True), (2.0, 1.0, False), (60.0, 12.0, False)]
)
def test_fingers_are_called_clear_of_the_limits_only_where_they_were_mostly_in_comfort(
    store: Store, seen_s: float, sd: float, said: bool
) -> None:
    """Straight under the strings for a minute: one finger hardly measured or hardly sure says nothing good."""
    lifts = {f"{finger}_lift" for finger in ("index", "middle", "ring", "little")}
    joints = {
        f"{finger}_{joint}": 30.0
        for finger in ("index", "middle", "ring", "little")
        for joint in ("pip", "dip")
    }

    def values(time_s: float) -> dict[tuple[str, str], tuple[float, float]]:
        told = {("left", name): (2.0, 1.0) for name in lifts} | {
            ("left", n): (v, 1.0) for n, v in joints.items()
        }
        told["left", "wrist_flexion"] = (5.0, 1.0)
        told["left", "ring_lift"] = (2.0, sd)
        if time_s >= seen_s:
            del told["left", "ring_lift"]
        return told

    shown = [make_reading(i, i / 10.0, values(i / 10.0), lift_plane="picture") for i in range(600)]  # type: ignore[arg-type]
    told = store.cached_summary(keep(store, shown))
    assert told is not None
    text = summary_text(told)
    assert "left fingers: measured" in text
    assert ("nothing that was measured lay beyond a comfort limit" in text) == said


def test_a_summary_from_before_fingers_reads_as_it_did(store: Store, played: Sequence[Reading]) -> None:
    told = store.cached_summary(keep(store, played))
    assert told is not None
    old = {key: value for key, value in told.items() if key not in ("cues", "lift_planes")}
    old["quantities"] = [one for one in told["quantities"] if one["quantity"].startswith("wrist")]
    assert "finger" not in summary_text(old)


def test_cues_by_passage_and_the_finding_names_the_finger(store: Store, played: Sequence[Reading]) -> None:
    page = PracticeLog(store).session(keep(store, played))
    exposure = page["exposure"]
    by_bars = {part["bars"]: {cue["cue"]: cue for cue in part["cues"]} for part in exposure["parts"]}
    assert by_bars["bars 1-4"]["little_straight_and_high"]["certain_share"] == pytest.approx(
        15 / 24, abs=0.02
    )
    assert by_bars[""]["little_straight_and_high"]["certain_share"] == pytest.approx(0.0, abs=0.02)
    assert [len(passage["cues"]) > 0 for passage in exposure["passages"]] == [True, True, True]
    assert {cue["cue"] for cue in exposure["cues"]} >= {"still", "little_end_joint_back"}
    lift = [one for one in exposure["session"] if (one["side"], one["quantity"]) == ("left", "little_lift")]
    assert lift[0]["directions"][0]["levels"][1]["limit_mm"] == 25.0
    assert page["finding"]["quantity"] == "wrist_flexion"
    assert "mostly with the fourth finger held straight and high" in page["finding"]["sentence"]


@pytest.mark.calendar
def test_trends_have_lines_for_fingers_with_their_group(store: Store, played: Sequence[Reading]) -> None:
    keep(store, played)
    told = PracticeLog(store).trends(weeks=4, today=local_day(START.started_at))
    groups = {(line["quantity"], line["group"]) for line in told["lines"]}
    assert {("wrist_flexion", "wrist"), ("little_lift", "finger"), ("ring_dip", "finger")} <= groups


def test_a_short_trace_has_no_bins_between_the_samples_of_fingers(
    store: Store, played: Sequence[Reading]
) -> None:
    """A minute in 500 bins has 8 of them a second; fingers are kept ten times a second and not in step with them."""
    trace = PracticeLog(store).trace(keep(store, played), 500)
    (little,) = (one for one in trace["series"] if (one["side"], one["quantity"]) == ("left", "little_lift"))
    assert trace["bin_s"] >= 0.2
    assert None not in little["measured"]


def test_an_export_has_the_columns_of_fingers(store: Store, played: Sequence[Reading]) -> None:
    rows = list(csv.DictReader(io.StringIO("".join(csv_blocks(store, keep(store, played))))))
    left = [row for row in rows if row["side"] == "left"]
    assert len(left) == len(played)
    told = [row for row in left if row["little_lift_mm"]]
    assert len(told) == 600
    assert {row["lift_plane"] for row in told} == {"picture", "resting fingertips"}
    assert {row["lift_plane"] for row in left if not row["little_lift_mm"]} == {""}
    assert {row["lift_plane"] for row in told if 31 < float(row["time_s"]) < 44} == {"resting fingertips"}
    assert {row["status"] for row in left} == {"measured"}


@pytest.mark.parametrize(
    ("settings", "sides"),
    [
        (GUITAR, {"left"}),
        ({"instrument": {"name": "violin", "handedness": "left"}}, {"right"}),
        ({}, {"left", "right"}),
        ({"instrument": {"name": "kazoo", "handedness": "right"}}, {"left", "right"}),
    ],
)
def test_who_frets(settings: dict[str, Any], sides: set[str]) -> None:
    assert fretting_sides(settings) == sides
