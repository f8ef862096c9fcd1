"""Clips, exposures, trends, export and deletion; and data folders of earlier versions."""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from exposure_series import exposure
from log_factories import START, Taken, TakenMoment, film, noon, record
from session_factories import Ended

from posturewatch.errors import InputError, StoreError, UnknownError
from posturewatch.review.derived import open_store
from posturewatch.review.entries import (
    CheckEntry,
    ClipChange,
    MarkEntry,
    PassageEntry,
    PieceChange,
    PracticeItems,
)
from posturewatch.review.export import write_session
from posturewatch.review.practice_log import PracticeLog
from posturewatch.review.session_document import full_document
from posturewatch.storage import schema
from posturewatch.storage.clip_repository import ClipRepository
from posturewatch.storage.database import FILE_NAME
from posturewatch.storage.reader import SessionReader
from posturewatch.storage.store import Store, open_reader
from posturewatch.storage.tables.clips import insert_clip

SWITCHES = ((0.0, "One", "bars 1-4"), (40.0, "Two", ""), (80.0, "One", "bars 1-4"))


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with open_store(tmp_path) as one:
        yield one


@pytest.fixture
def log(store: Store) -> PracticeLog:
    return PracticeLog(store)


# ---- clips ----


def take(store: Store, identity: str, name: str = "clip-1", start_s: float = 10.0, **more: Any) -> Path:
    path = film(store, identity, name)
    ClipRepository(store).written(identity, Taken(name, start_s, start_s + 7.0, path, 4, **more))
    return path


def test_a_clip_is_told_with_what_it_shows(store: Store, log: PracticeLog) -> None:
    identity = record(store, 120.0, switches=SWITCHES)
    with store.writing() as connection:
        connection.execute(
            "INSERT INTO excursion (session, side, quantity, direction, level, limit_value, start_s, peak, "
            "peak_s, end_s) VALUES (1, 'left', 'wrist_flexion', 'flexion', 'extreme', 48.6, 44.0, 60, 45, 47)"
        )
    mark = log.add_mark(identity, MarkEntry.read({"time_s": 46.0}))
    take(
        store,
        identity,
        start_s=41.0,
        reason="warning and mark",
        moments=(
            TakenMoment("warning", 44.01, 47.0, 47.0, "left", "wrist_flexion", "flexion"),
            TakenMoment("mark", 46.0, 46.0, 46.0),
        ),
    )
    (clip,) = log.session(identity)["clips"]
    assert clip["state"] == "there"
    assert clip["passage"]["piece"] == "Two"
    excursion = log.session(identity)["excursions"][0]
    assert [(one["excursion_id"], one["mark_id"]) for one in clip["moments"]] == [
        (excursion["id"], None),
        (None, mark["id"]),
    ]
    assert log.clips(piece=clip["passage"]["piece_id"]) == [clip]
    other = next(piece for piece in log.pieces() if piece["name"] == "One")
    assert log.clips(piece=other["id"]) == []
    assert log.piece(clip["passage"]["piece_id"])["clip_list"] == [clip]
    changed = log.change_clip(clip["id"], ClipChange.read({"kept": True, "note": " look at the thumb "}))
    assert (changed["kept"], changed["note"]) == (True, "look at the thumb")
    for values in ({"kept": 1}, {"note": 3}, {"note": "x" * 501}):
        with pytest.raises(InputError):
            log.change_clip(clip["id"], ClipChange.read(values))


def test_a_film_that_has_gone_is_told_as_missing(store: Store, log: PracticeLog) -> None:
    identity = record(store, 20.0)
    path = take(store, identity)
    (clip,) = log.clips(session_id=identity)
    assert log.video_path(clip["id"]) == path
    path.unlink()
    (clip,) = log.clips(session_id=identity)
    assert clip["state"] == "missing"
    with pytest.raises(UnknownError, match="missing"):
        log.video_path(clip["id"])
    assert log.delete_clip(clip["id"]) == 0
    assert log.clips() == []


def test_the_desk_answers_the_writer_of_clips(store: Store, log: PracticeLog) -> None:
    identity = record(store, 20.0)
    path = take(store, identity)
    repository = ClipRepository(store)
    assert not repository.is_kept(path)
    (clip,) = log.clips()
    log.change_clip(clip["id"], ClipChange.read({"kept": True}))
    assert repository.is_kept(path)
    path.unlink()
    repository.removed(path)
    assert log.clips()[0]["state"] == "removed"
    # What it cannot place is kept, and nothing is raised.
    assert repository.is_kept(store.data_dir.parent / "elsewhere.mp4")
    repository.removed(store.data_dir.parent / "elsewhere.mp4")
    repository.written("zzz", Taken("clip-9", 0.0, 7.0, path, 4))
    repository.written(identity, Taken("clip-9", 0.0, 7.0, store.data_dir.parent / "elsewhere.mp4", 4))
    assert [one["name"] for one in log.clips()] == ["clip-1"]


def test_a_clip_written_again_replaces_the_first_and_stays_kept(store: Store, log: PracticeLog) -> None:
    identity = record(store, 20.0)
    path = take(store, identity)
    log.change_clip(log.clips()[0]["id"], ClipChange.read({"kept": True}))
    with store.writing() as connection:
        insert_clip(connection, store.data_dir, identity, Taken("clip-1", 9.0, 18.0, path, 5))
    (clip,) = log.clips()
    assert (clip["start_s"], clip["bytes"], clip["kept"]) == (9.0, 5, True)


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


# ---- own data ----


def secret_folder(folder: Path) -> tuple[str, str]:
    """Two sessions; the first has a note that must not be found once it is deleted."""
    with open_store(folder) as store:
        log = PracticeLog(store)
        first, second = (
            record(store, 30.0, switches=((0.0, name, ""),)) for name in ("Secret sonata", "Two")
        )
        log.add_mark(first, MarkEntry.read({"time_s": 1.0, "note": "a confidential remark"}))
        for identity in (first, second):
            take(store, identity)
        log.set_practice_list(PracticeItems.read({"items": [{"piece": "Two"}]}))
        log.add_check(
            CheckEntry.read({"moment": "after", "rating": 2, "session_id": first, "note": "a private ache"})
        )
    return first, second


def all_bytes(folder: Path) -> bytes:
    return b"".join(path.read_bytes() for path in folder.rglob("*") if path.is_file())


def test_a_deleted_session_leaves_nothing_behind(tmp_path: Path) -> None:
    first, second = secret_folder(tmp_path)
    assert b"confidential" in all_bytes(tmp_path)
    with open_store(tmp_path) as store:
        log = PracticeLog(store)
        assert log.forget_session(first) > 0
        assert [one.id for one in store.sessions()] == [second]
        assert [one["session_id"] for one in log.clips()] == [second]
        assert not (tmp_path / "clips" / first).exists()
        assert len(store.session(second).series[0].time_s) == 300
        with pytest.raises(UnknownError):
            log.forget_session(first)
    assert b"confidential" not in all_bytes(tmp_path)
    with closing(sqlite3.connect(tmp_path / FILE_NAME)) as connection:
        assert connection.execute("PRAGMA foreign_key_check").fetchall() == []
        assert connection.execute("SELECT count(*) FROM series").fetchone() == (4,)


def test_a_session_deleted_while_another_is_recorded_leaves_nothing_after_it(tmp_path: Path) -> None:
    first, _ = secret_folder(tmp_path)
    with open_store(tmp_path) as store:
        recorder = store.begin(START)
        PracticeLog(store).forget_session(first)
        recorder.finish(Ended(5.0))
        assert len(store.sessions()) == 2
    assert b"confidential" not in all_bytes(tmp_path)


def test_everything_is_deleted(tmp_path: Path) -> None:
    secret_folder(tmp_path)
    (tmp_path / "practice-damaged-20250301-120000-abcd.sqlite3").write_bytes(b"a confidential page")
    with open_store(tmp_path) as store:
        log = PracticeLog(store)
        assert log.forget_everything() > 0
        assert (store.sessions(), log.pieces(), log.clips(), log.checks()) == ([], [], [], [])
        assert log.practice_list() == {"items": [], "position": None}
        told = log.data()
        assert (told["clips_bytes"], told["set_aside_bytes"], told["sessions"]) == (0, 0, [])
        record(store, 5.0)
    assert b"confidential" not in all_bytes(tmp_path)
    assert b"Secret sonata" not in all_bytes(tmp_path)


def test_a_running_session_cannot_be_deleted(store: Store, log: PracticeLog) -> None:
    recorder = store.begin(START)
    with pytest.raises(InputError, match="being recorded"):
        log.forget_session(recorder.session_id)
    with pytest.raises(InputError, match="being recorded"):
        log.forget_everything()


def test_where_the_data_lie_and_how_large_they_are(store: Store, log: PracticeLog) -> None:
    identity = record(store, 20.0)
    take(store, identity)
    (store.data_dir / "practice-damaged-x.sqlite3").write_bytes(b"12345")
    (store.data_dir / "notes.txt").write_bytes(b"123")
    told = log.data()
    assert told["folder"] == str(store.data_dir)
    assert (told["clips_bytes"], told["set_aside_bytes"], told["other_bytes"]) == (4, 5, 3)
    assert told["database_bytes"] >= (store.data_dir / FILE_NAME).stat().st_size
    assert told["total_bytes"] == told["database_bytes"] + 12
    (session,) = told["sessions"]
    assert (session["id"], session["clips"], session["clips_bytes"]) == (identity, 1, 4)
    assert 0 < session["samples_bytes"] < told["database_bytes"]


def test_a_film_that_cannot_be_deleted_keeps_its_session(
    store: Store, log: PracticeLog, monkeypatch: pytest.MonkeyPatch
) -> None:
    identity = record(store, 20.0)
    take(store, identity)

    def refuse(*arguments: object, **more: object) -> None:
        raise PermissionError(13, "Permission denied", "clip-1.mp4")

    monkeypatch.setattr("posturewatch.storage.own_data.shutil.rmtree", refuse)
    with pytest.raises(StoreError, match=r"clip-1\.mp4 cannot be deleted"):
        log.forget_session(identity)
    monkeypatch.setattr(Path, "unlink", refuse)
    with pytest.raises(StoreError, match="cannot be deleted"):
        log.delete_clip(log.clips()[0]["id"])
    assert [one.id for one in store.sessions()] == [identity]
    assert len(log.clips()) == 1


def test_an_export_has_every_sample(store: Store, log: PracticeLog, tmp_path: Path) -> None:
    identity = record(store, 20.0, switches=((0.0, "One", ""),), bent=(5.0, 6.0))
    session = store.session(identity)
    paths = write_session(session, full_document(store, session), tmp_path / "out")
    assert [path.name for path in paths] == [f"{identity}.csv", f"{identity}.json"]
    text = paths[0].read_text(encoding="utf-8")
    assert text == "".join(log.export_csv(identity)).replace("\r\n", "\n")
    rows = list(csv.DictReader(io.StringIO(text)))
    assert list(rows[0]) == [
        "time_s",
        "side",
        "wrist_flexion_deg",
        "wrist_flexion_sd_deg",
        "wrist_ulnar_deviation_deg",
        "wrist_ulnar_deviation_sd_deg",
        "status",
        "reason",
        "lift_plane",
        "finger_reason",
    ]
    assert len(rows) == 400
    left = [row for row in rows if row["side"] == "left"]
    (flexion, _) = [one for one in session.series if one.side == "left"]
    assert [float(row["time_s"]) for row in left] == flexion.time_s.tolist()
    assert [float(row["wrist_flexion_deg"]) for row in left] == flexion.value.tolist()
    assert {row["status"] for row in left} == {"measured"}
    right = [row for row in rows if row["side"] == "right"]
    assert {(row["status"], row["reason"], row["wrist_flexion_deg"]) for row in right} == {
        ("not measurable", "hand not seen", "")
    }
    told = json.loads(paths[1].read_text(encoding="utf-8"))
    assert told["passages"][0]["piece"] == "One"
    assert told["samples"][0]["value"] == flexion.value.tolist()
    assert told["exposure"]["session"] == log.session(identity)["exposure"]["session"]
    with pytest.raises(InputError, match="is there already"):
        write_session(session, full_document(store, session), tmp_path / "out")


# ---- earlier versions ----

DATA = Path(__file__).parent / "data"
FIRST_VERSION = DATA / "practice_first_version.sql"


def folder_of_first_version(folder: Path) -> None:
    """As the first version left it: a session that ended, and one that a crash left open."""
    with closing(sqlite3.connect(folder / FILE_NAME)) as connection:
        connection.executescript(FIRST_VERSION.read_text(encoding="utf-8"))
        connection.execute("PRAGMA journal_mode = WAL")


def test_a_folder_of_the_first_version_opens_and_loses_nothing(tmp_path: Path) -> None:
    folder_of_first_version(tmp_path)
    with closing(sqlite3.connect(tmp_path / FILE_NAME)) as connection:
        assert schema.applied(connection) == (schema.MIGRATIONS[0].name,)
    with open_store(tmp_path) as store:
        assert store.notice is None
        log = PracticeLog(store)
        crashed, ended = store.sessions()
        assert (ended.id, ended.end_reason, ended.end_s) == ("84332594", "stopped", 6.0)
        assert (crashed.id, crashed.end_reason, crashed.end_s) == ("e187cb3e", "crashed", 1.9)
        session = store.session(ended.id)
        flexion = next(one for one in session.series if one.measured.any())
        seen = np.arange(60) % 5 != 0
        np.testing.assert_array_equal(flexion.time_s, np.arange(60) / 10)
        np.testing.assert_array_equal(flexion.measured, seen)
        np.testing.assert_array_equal(flexion.value[seen], (20.0 + np.arange(60) % 7)[seen])
        assert [(one.peak, one.end_s, one.warned_s) for one in session.excursions] == [(52.0, 5.5, 4.0)]
        assert [(one.warning.fired_s, one.cleared_s) for one in session.warnings] == [(4.0, 5.5)]
        assert [(mark.time_s, mark.note) for mark in session.marks] == [(2.5, "bar 12")]
        assert store.session(crashed.id).marks[0].note == "then the power went"
        summary = store.cached_summary(ended.id)
        assert summary is not None
        assert summary["excursions"][0]["peak"] == 52.0
        # What came later is computed for what was kept before.
        assert len(log.session(ended.id)["exposure"]["session"]) == 4
        assert log.trends(weeks=4, today=dt.date(2025, 3, 5))["waiting"] == 0
        log.add_passage(ended.id, PassageEntry.read({"piece": "One", "start_s": 0.0, "end_s": 6.0}))
    with closing(sqlite3.connect(tmp_path / FILE_NAME)) as connection:
        assert schema.applied(connection) == tuple(one.name for one in schema.MIGRATIONS)


def test_a_folder_of_version_0_1_0_shows_what_was_played(tmp_path: Path) -> None:
    """A cellist's 20 s, written by that version: 10 degrees of flexion, 60 from 6 s to 10 s and warned of at 9 s; two
    passages, a mark, a check before and one after, settings with that version's word for the hand."""
    with closing(sqlite3.connect(tmp_path / FILE_NAME)) as connection:
        connection.executescript((DATA / "practice_0_1_0.sql").read_text(encoding="utf-8"))
    with open_store(tmp_path) as store:
        log = PracticeLog(store)
        (info,) = store.sessions()
        assert (info.end_s, info.end_reason, info.instrument) == (20.0, "stopped", "cello")
        record_of = store.session(info.id)
        flexion = next(
            one for one in record_of.series if one.quantity == "wrist_flexion" and one.measured.any()
        )
        time_s = np.arange(200) / 10
        np.testing.assert_array_equal(flexion.time_s, time_s)
        np.testing.assert_array_equal(flexion.value, np.where((time_s >= 6) & (time_s < 10), 60.0, 10.0))
        assert [(one.side, one.plane) for one in record_of.planes] == [("left", "resting fingertips")]
        page = log.session(info.id)
        assert [(one["piece"], one["bars"], one["start_s"], one["end_s"]) for one in page["passages"]] == [
            ("Scales", "thirds", 0.0, 12.0),
            ("Étude", "bars 1-8", 12.0, 20.0),
        ]
        assert [(one["time_s"], one["note"]) for one in page["marks"]] == [(3.0, "here")]
        assert [(one["moment"], one["rating"], one["note"]) for one in log.checks()] == [
            ("after", 2, "warm"),
            ("before", 1, ""),
        ]
        summary = log.summary(info.id)
        assert [(one["since_s"], one["fired_s"], one["cleared_s"]) for one in summary["warned"]] == [
            (6.0, 9.0, 10.1)
        ]
        (excursion,) = summary["excursions"]
        assert (excursion["start_s"], excursion["end_s"], excursion["peak"]) == (6.0, 10.0, 60.0)
        assert log.practice_list()["items"] == [{"piece": "Scales", "bars": "thirds", "tempo_bpm": 80.0}]


def test_reading_brings_an_earlier_folder_up_to_date(tmp_path: Path) -> None:
    folder_of_first_version(tmp_path)
    assert [one.id for one in open_reader(tmp_path).sessions()] == ["e187cb3e", "84332594"]


def test_every_later_version_opens(tmp_path: Path) -> None:
    """A folder that stopped at any step of the schema is brought up to the last."""
    for count in range(1, len(schema.MIGRATIONS)):
        folder = tmp_path / str(count)
        folder.mkdir()
        folder_of_first_version(folder)
        with closing(sqlite3.connect(folder / FILE_NAME, isolation_level=None)) as connection:
            schema.migrate(connection, schema.MIGRATIONS[:count])
        with open_store(folder) as store:
            assert len(store.sessions()) == 2
            assert len(PracticeLog(store).session("84332594")["exposure"]["session"]) == 4


def test_the_same_tables_come_from_nothing_and_from_the_first_version(tmp_path: Path) -> None:
    for name in ("old", "new"):
        (tmp_path / name).mkdir()
    folder_of_first_version(tmp_path / "old")
    found = []
    for name in ("old", "new"):
        open_store(tmp_path / name).close()
        with closing(sqlite3.connect(tmp_path / name / FILE_NAME)) as connection:
            rows = connection.execute("SELECT type, name, sql FROM sqlite_master ORDER BY type, name")
            found.append([(kind, name, " ".join((sql or "").split())) for kind, name, sql in rows])
    assert found[0] == found[1]


def test_a_reader_never_writes(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        identity = record(store, 5.0)
    before = {path: path.read_bytes() for path in tmp_path.iterdir()}
    reader = SessionReader(tmp_path)
    full_document(reader, reader.session(identity))
    assert {path: path.read_bytes() for path in tmp_path.iterdir() if path in before} == before
