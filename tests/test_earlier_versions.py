"""Data folders of earlier versions open, lose nothing and show what was played."""

from __future__ import annotations

import datetime as dt
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest
from log_factories import record

from posturewatch.review.derived import open_store
from posturewatch.review.entries import (
    PassageEntry,
)
from posturewatch.review.practice_log import PracticeLog
from posturewatch.review.session_document import full_document
from posturewatch.storage.folder.database import FILE_NAME
from posturewatch.storage.reader import SessionReader
from posturewatch.storage.schema import migrations as schema
from posturewatch.storage.store import Store, open_reader

SWITCHES = ((0.0, "One", "bars 1-4"), (40.0, "Two", ""), (80.0, "One", "bars 1-4"))


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with open_store(tmp_path) as one:
        yield one


@pytest.fixture
def log(store: Store) -> PracticeLog:
    return PracticeLog(store)


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
    full_document(reader, identity)
    assert {path: path.read_bytes() for path in tmp_path.iterdir() if path in before} == before
