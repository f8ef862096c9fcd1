"""The practice log: passages, marks and checks, while playing and afterwards."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
import textwrap
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from log_factories import START, record
from session_factories import Ended, make_reading

from posturewatch.errors import InputError, UnknownError
from posturewatch.review.derived import open_store
from posturewatch.review.entries import (
    CheckEntry,
    MarkChange,
    MarkEntry,
    PassageChange,
    PassageEntry,
    PieceChange,
)
from posturewatch.review.practice_log import PracticeLog
from posturewatch.storage import recorder as recorder_module
from posturewatch.storage.folder.database import FILE_NAME
from posturewatch.storage.reader import SessionReader
from posturewatch.storage.store import Store


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with open_store(tmp_path) as one:
        yield one


@pytest.fixture
def log(store: Store) -> PracticeLog:
    return PracticeLog(store)


def labels(page: dict[str, Any]) -> list[tuple[Any, ...]]:
    return [(one["piece"], one["bars"], one["start_s"], one["end_s"]) for one in page["passages"]]


# ---- passages while playing ----


def test_switching_ends_one_passage_and_begins_the_next(store: Store, log: PracticeLog) -> None:
    switches = ((0.0, "Nocturne sketch", "bars 1-8"), (20.0, "Scales", ""), (40.0, None, ""))
    page = log.session(record(store, switches=switches))
    assert labels(page) == [("Nocturne sketch", "bars 1-8", 0.0, 20.0), ("Scales", "", 20.0, 40.0)]


def test_the_last_passage_ends_with_the_session(store: Store, log: PracticeLog) -> None:
    page = log.session(record(store, 30.0, switches=((10.0, "Scales", ""),)))
    assert labels(page) == [("Scales", "", 10.0, 30.0)]


def test_going_quickly_through_the_list_leaves_nothing_behind(store: Store, log: PracticeLog) -> None:
    switches = ((5.0, "One", ""), (5.1, "Two", ""), (5.2, "Three", ""))
    assert labels(log.session(record(store, 30.0, switches=switches))) == [("Three", "", 5.2, 30.0)]


def test_time_that_runs_backwards_overlaps_nothing(store: Store, log: PracticeLog) -> None:
    recorder = store.begin(START)
    for time_s, piece in ((0.0, "One"), (10.0, "Two"), (5.0, "Three")):
        recorder.passage(time_s, piece)
    page = log.session(recorder.finish(Ended(30.0)))
    assert labels(page) == [("One", "", 0.0, 10.0), ("Three", "", 10.0, 30.0)]


@pytest.mark.parametrize("name", ["", "   ", "\x00\n"])
def test_a_name_without_a_sign_is_no_piece(store: Store, log: PracticeLog, name: str) -> None:
    assert log.session(record(store, 5.0, switches=((0.0, name, ""),)))["passages"] == []
    assert log.pieces() == []


def test_a_piece_is_one_whatever_its_case_and_spaces(store: Store, log: PracticeLog) -> None:
    names = ("Étude  in E", " étude in e", "E\u0301tude in E")  # the last with a combining accent
    switches = tuple((10.0 * place, name, "") for place, name in enumerate(names))
    record(store, 30.0, switches=switches)
    (piece,) = log.pieces()
    assert (piece["name"], piece["passages"], piece["minutes"]) == ("Étude in E", 3, 0.5)


_KILLED = textwrap.dedent(
    """
    import os, sys, time
    from pathlib import Path
    sys.path.insert(0, sys.argv[2])
    from log_factories import START
    from session_factories import make_reading
    from posturewatch.review.derived import open_store
    from posturewatch.storage.store import Store
    recorder = open_store(Path(sys.argv[1])).begin(START)
    recorder.passage(0.0, "One")
    recorder.passage(2.0, "Two", "bars 3-4", 66.0)
    for index in range(50):
        recorder.put(make_reading(index, index / 10, {("left", "wrist_flexion"): (5.0, 3.0)}))
    while recorder._unsaved or recorder._batch.sample_count:
        time.sleep(0.01)
    os._exit(9)
    """
)


def test_a_crash_closes_the_open_passage(tmp_path: Path) -> None:
    subprocess.run([sys.executable, "-c", _KILLED, str(tmp_path), str(Path(__file__).parent)], check=False)
    with open_store(tmp_path) as store:
        info = store.find("last")
        assert info.end_reason == "crashed"
        page = PracticeLog(store).session(info.id)
    assert labels(page) == [("One", "", 0.0, 2.0), ("Two", "bars 3-4", 2.0, 4.9)]
    assert page["passages"][1]["tempo_bpm"] == 66.0
    assert len(page["exposure"]["passages"]) == 2


def test_a_passage_is_seen_while_it_is_played(
    store: Store, log: PracticeLog, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(recorder_module, "COMMIT_S", 0.02)
    recorder = store.begin(START)
    recorder.passage(0.0, "Scales")
    recorder.put(make_reading(0, 0.0, {}))
    while not (page := log.session(recorder.session_id))["passages"]:
        pass
    (passage,) = page["passages"]
    assert (passage["end_s"], page["exposure"], page["finding"]) == (None, None, None)
    with pytest.raises(InputError, match="still being played"):
        log.change_passage(passage["id"], PassageChange.read({"end_s": 4.0}))
    assert log.change_passage(passage["id"], PassageChange.read({"bars": "thirds"}))["bars"] == "thirds"
    recorder.finish(Ended(9.0))
    assert labels(log.session(recorder.session_id)) == [("Scales", "thirds", 0.0, 9.0)]


# ---- afterwards ----


@pytest.fixture
def played(store: Store) -> str:
    return record(store, switches=((0.0, "One", "bars 1-4"), (20.0, "Two", ""), (40.0, "One", "bars 1-4")))


def test_passages_are_changed_afterwards(log: PracticeLog, played: str) -> None:
    first, second, third = log.session(played)["passages"]
    changed = log.change_passage(
        second["id"], PassageChange.read({"piece": "Three", "bars": "trio", "tempo_bpm": 90})
    )
    assert (changed["piece"], changed["bars"], changed["tempo_bpm"]) == ("Three", "trio", 90.0)
    assert (
        log.change_passage(second["id"], PassageChange.read({"start_s": 25.0, "end_s": 39.0}))["start_s"]
        == 25.0
    )
    log.delete_passage(third["id"])
    added = log.add_passage(played, PassageEntry.read({"piece": "Four", "start_s": 40.0, "end_s": 60.0}))
    page = log.session(played)
    assert labels(page) == [
        ("One", "bars 1-4", 0.0, 20.0),
        ("Three", "trio", 25.0, 39.0),
        ("Four", "", 40.0, 60.0),
    ]
    # The exposures follow; the samples are all there still.
    ids = [one["passage_id"] for one in page["exposure"]["passages"]]
    assert ids == [first["id"], second["id"], added["id"]]
    assert page["exposure"]["passages"][1]["exposure"][0]["total_s"] == 14.0
    assert len(log.samples(played, 0.0, 60.0)["series"][0]["time_s"]) == 600


@pytest.mark.parametrize(
    ("values", "sentence"),
    [
        ({"start_s": 10.0}, "One was played from 0.0 s to 20.0 s"),
        ({"end_s": 40.5}, "One was played from 40.0 s"),
        ({"start_s": 39.9}, "ends at least 0.5 s after"),
        ({"start_s": -1.0}, "seconds, 0 or more"),
        ({"end_s": float("nan")}, "seconds, 0 or more"),
        ({"start_s": True}, "seconds, 0 or more"),
        ({"start_s": None}, "seconds, 0 or more"),
        ({"tempo_bpm": 1e9}, "from 10 to 400 beats a minute"),
        ({"tempo_bpm": "fast"}, "from 10 to 400 beats a minute"),
        ({"piece": ""}, "text of 1 to 120 characters"),
        ({"piece": "x" * 121}, "text of 1 to 120 characters"),
        ({"piece": None}, "text of 1 to 120 characters"),
        ({"bars": "x" * 81}, "text of at most 80 characters"),
        ({"bars": ["12"]}, "text of at most 80 characters"),
        ({"colour": "red"}, "has no 'colour'"),
    ],
)
def test_unusable_changes_change_nothing(
    log: PracticeLog, played: str, values: dict[str, Any], sentence: str
) -> None:
    before = log.session(played)["passages"]
    with pytest.raises(InputError, match=sentence):
        log.change_passage(before[1]["id"], PassageChange.read(values))
    assert log.session(played)["passages"] == before


def test_a_passage_cannot_be_put_beyond_the_session(log: PracticeLog, played: str) -> None:
    last = log.session(played)["passages"][-1]
    with pytest.raises(InputError, match=r"session ends at 60\.0 s"):
        log.change_passage(last["id"], PassageChange.read({"end_s": 61.0}))
    with pytest.raises(InputError, match="a piece, a beginning and an end"):
        log.add_passage(played, PassageEntry.read({"piece": "Four", "start_s": 1.0}))


def test_marks_are_changed_afterwards(store: Store, log: PracticeLog) -> None:
    recorder = store.begin(START)
    recorder.mark(3.0, "here")
    identity = recorder.finish(Ended(10.0))
    (mark,) = log.session(identity)["marks"]
    assert mark == {"id": mark["id"], "time_s": 3.0, "note": "here"}
    log.change_mark(mark["id"], MarkChange.read({"note": "there", "time_s": 4.0}))
    added = log.add_mark(identity, MarkEntry.read({"time_s": 1.0}))
    assert log.session(identity)["marks"] == [added, {"id": mark["id"], "time_s": 4.0, "note": "there"}]
    # The summary that was kept at the end lists the same.
    summary = SessionReader(store.data_dir).cached_summary(identity)
    assert summary is not None
    assert summary["marks"] == [{"time_s": 1.0, "note": ""}, {"time_s": 4.0, "note": "there"}]
    log.delete_mark(mark["id"])
    assert log.session(identity)["marks"] == [added]
    for values in ({"time_s": 11.0}, {"time_s": "1"}, {"note": 3}, {"note": "x" * 201}):
        with pytest.raises(InputError):
            log.change_mark(added["id"], MarkChange.read(values))


def test_what_is_not_there_is_told(log: PracticeLog, played: str) -> None:
    for ask in (
        lambda: log.piece(99),
        lambda: log.rename_piece(99, PieceChange.read({"name": "x"})),
        lambda: log.change_passage(99, PassageChange.read({"bars": ""})),
        lambda: log.delete_passage(99),
        lambda: log.change_mark(99, MarkChange.read({"note": ""})),
        lambda: log.delete_mark(99),
        lambda: log.clip(99),
        lambda: log.delete_clip(99),
        lambda: log.delete_check(99),
        lambda: log.session("zzz"),
        lambda: log.samples("zzz", 0, 1),
        lambda: log.add_mark("zzz", MarkEntry.read({"time_s": 1.0})),
        lambda: log.forget_session("zzz"),
    ):
        with pytest.raises(UnknownError, match=r"\.$"):
            ask()


# ---- discomfort ----


@pytest.mark.calendar
def test_a_check_before_joins_the_next_session(store: Store, log: PracticeLog) -> None:
    before = log.add_check(CheckEntry.read({"moment": "before", "rating": 1, "places": ["left thumb"]}))
    assert before["session_id"] is None
    with closing(sqlite3.connect(store.data_dir / FILE_NAME)) as connection, connection:
        connection.execute("UPDATE discomfort SET checked_at = '2025-03-03T17:50:00.000+00:00'")
    identity = record(store, 5.0)
    after = log.add_check(
        CheckEntry.read(
            {
                "moment": "after",
                "rating": 4,
                "session_id": identity,
                "signs": ["weakness", "numbness or tingling"],
                "note": " after the scales ",
            }
        )
    )
    assert [one["moment"] for one in log.session(identity)["checks"]] == ["after", "before"]
    # In the order of the form, whatever the order they came in.
    assert after["signs"] == ["numbness or tingling", "weakness"]
    assert (after["note"], after["advice"]["level"]) == ("after the scales", "end")
    assert any("risen by 3" in sentence for sentence in after["advice"]["sentences"])
    log.delete_check(after["id"])
    assert [one["id"] for one in log.checks()] == [before["id"]]


@pytest.mark.calendar
def test_an_old_check_before_stays_on_its_own(store: Store, log: PracticeLog) -> None:
    log.add_check(CheckEntry.read({"moment": "before", "rating": 1}))
    with closing(sqlite3.connect(store.data_dir / FILE_NAME)) as connection, connection:
        connection.execute("UPDATE discomfort SET checked_at = '2025-03-03T16:59:59.000+00:00'")
    identity = record(store, 5.0)
    assert log.session(identity)["checks"] == []


@pytest.mark.parametrize(
    "values",
    [
        {"moment": "during", "rating": 1},
        {"moment": "before"},
        {"moment": "before", "rating": 11},
        {"moment": "before", "rating": -1},
        {"moment": "before", "rating": 2.5},
        {"moment": "before", "rating": True},
        {"moment": "before", "rating": 1, "places": ["left ear"]},
        {"moment": "before", "rating": 1, "places": "left thumb"},
        {"moment": "before", "rating": 1, "signs": [["weakness"]]},
        {"moment": "before", "rating": 1, "note": "x" * 501},
        {"moment": "after", "rating": 1},
        {"moment": "after", "rating": 1, "session_id": "zzz"},
    ],
)
def test_unusable_checks_are_refused(log: PracticeLog, values: dict[str, Any]) -> None:
    with pytest.raises(InputError, match=r"\.$"):
        log.add_check(CheckEntry.read(values))
    assert log.checks() == []
