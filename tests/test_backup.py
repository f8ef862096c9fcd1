"""Backups: all that is kept comes back as it was, nothing that is there is harmed, and nothing foreign gets in."""

from __future__ import annotations

import json
import shutil
import sqlite3
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from log_factories import FILM, START, take
from session_factories import Ended, Values, make_reading
from storage_stage import put_seconds, wait_until
from test_earlier_versions import folder_of_first_version
from test_session_store import OPENED, WARNING

from posturewatch.archive.faults import ArchiveError
from posturewatch.archive.writing import ArchiveWriter
from posturewatch.cli.main import main
from posturewatch.errors import StoreError
from posturewatch.review.derived import open_store
from posturewatch.review.entries import CheckEntry, MarkChange, MarkEntry, PracticeItems
from posturewatch.review.exchange.notes import Notes, RemarkEntry
from posturewatch.review.practice_log import PracticeLog
from posturewatch.storage.backup.before_update import BEFORE_UPDATE
from posturewatch.storage.backup.kind import BACKUP, REPLACED
from posturewatch.storage.backup.making import make_backup
from posturewatch.storage.backup.rows import COPIED
from posturewatch.storage.folder.database import FILE_NAME
from posturewatch.storage.reader import SessionReader
from posturewatch.storage.restoring import restore
from posturewatch.storage.schema import migrations as schema
from posturewatch.storage.store import Store

DAYS = ("2025-03-03T18:00:00.000+00:00", "2025-03-05T18:00:00.000+00:00", "2025-03-07T18:00:00.000+00:00")


def filled(folder: Path, days: tuple[str, ...] = DAYS, piece: str = "Étude") -> list[str]:
    """Sessions with all that can belong to one; their ids."""
    with open_store(folder) as store:
        log, ids = PracticeLog(store), []
        for day in days:
            recorder = store.begin(replace(START, started_at=day))
            recorder.passage(0.0, piece, "bars 1-8")
            for index in range(200):
                events: dict[str, Any] = {}
                if index == 40:
                    recorder.passage(4.0, "Scales")
                    events = {"opened": [OPENED], "fired": [WARNING]}
                values: Values = {
                    ("left", "wrist_flexion"): (20.0 + index % 7, 3.0),
                    ("left", "index_lift"): (9.0, 2.0),
                }
                reading = make_reading(index, index / 10, values, lift_plane="resting fingertips", **events)
                recorder.put(reading)
            identity = recorder.finish(Ended(20.0))
            take(store, identity, start_s=5.0)
            log.add_mark(identity, MarkEntry.read({"time_s": 1.0, "note": f"of {day}"}))
            log.add_check(CheckEntry.read({"moment": "after", "rating": 2, "session_id": identity}))
            Notes(store, author="Okafor").add(
                identity, RemarkEntry.read({"text": f"of {day}", "time_s": 2.0})
            )
            log.session(identity)
            ids.append(identity)
        log.add_check(CheckEntry.read({"moment": "before", "rating": 1}))
        log.set_practice_list(
            PracticeItems.read({"items": [{"piece": "Not played yet"}, {"piece": "Scales"}]})
        )
        log.step(by=1)
    return ids


@pytest.fixture(scope="module")
def made_once(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[str]]:
    folder = tmp_path_factory.mktemp("made-once")
    return folder, filled(folder)


@pytest.fixture
def here(made_once: tuple[Path, list[str]], tmp_path: Path) -> Path:
    """A folder with three sessions, one of each of DAYS; each test has its own copy."""
    return Path(shutil.copytree(made_once[0], tmp_path / "here"))


@pytest.fixture
def ids(made_once: tuple[Path, list[str]]) -> list[str]:
    """Of the sessions in `here`, oldest first."""
    return made_once[1]


def shown(folder: Path, identity: str) -> Any:
    """All that is shown of a session, without the numbers of rows."""
    with open_store(folder) as store:
        PracticeLog(store).session(identity)
        found = json.loads("".join(PracticeLog(store).export_json(identity)))
    return without_numbers(found)


def without_numbers(found: Any) -> Any:
    if isinstance(found, dict):
        return {
            name: without_numbers(one)
            for name, one in found.items()
            if name
            not in ("id", "passage_id", "passage_ids", "piece_id", "mark_id", "excursion_id", "moments")
        }
    return [without_numbers(one) for one in found] if isinstance(found, list) else found


def rows(folder: Path, table: str) -> list[tuple[Any, ...]]:
    with closing(sqlite3.connect(folder / FILE_NAME)) as connection:
        return connection.execute(f"SELECT * FROM {table}").fetchall()


def run(*words: object, folder: Path) -> int:
    return main([*(str(one) for one in words), "--data-dir", str(folder)])


def test_all_of_it_comes_back_on_another_machine(
    here: Path, ids: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    there, file = tmp_path / "there", tmp_path / "b.zip"
    before = {identity: shown(here, identity) for identity in ids}
    tables = {table: rows(here, table) for table in COPIED}
    assert [table for table in COPIED if not tables[table]] == [], "not tested without a row"
    assert run("backup", file, folder=here) == 0
    assert "3 sessions, 3 clips" in capsys.readouterr().out
    assert run("restore", file, "--check", folder=there) == 0
    said = capsys.readouterr().out
    assert all(identity in said for identity in ids)
    assert not there.exists()
    assert run("restore", file, folder=there) == 0
    assert {table: rows(there, table) for table in COPIED} == tables
    assert {identity: shown(there, identity) for identity in ids} == before
    for identity in ids:
        assert (there / "clips" / identity / "clip-1.mp4").read_bytes() == FILM
    assert {path.relative_to(there).parts[0] for path in snapshot(there)} == {FILE_NAME, "clips"}


def test_every_table_of_the_schema_comes_along(tmp_path: Path) -> None:
    Store(tmp_path).close()
    with closing(sqlite3.connect(tmp_path / FILE_NAME)) as connection:
        found = {
            name for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")
        }
    assert found - {"migration", "sqlite_sequence"} == set(COPIED)


def test_what_is_there_stays_and_what_is_missing_is_added_in_its_place(
    here: Path, ids: list[str], tmp_path: Path
) -> None:
    there, file = tmp_path / "there", tmp_path / "b.zip"
    first, second, third = ids
    make_backup(SessionReader(here), file)
    (own,) = filled(there, days=("2025-03-04T18:00:00.000+00:00",), piece="Another")
    # One of the backup's sessions is there already, and a note of it was changed since.
    with open_store(there) as store:
        restore(store, file, session_id=second)
        log = PracticeLog(store)
        log.change_mark(log.session(second)["marks"][0]["id"], MarkChange.read({"note": "changed"}))
        numbers = [log.session(own)[name] for name in ("marks", "passages", "clips", "checks", "exposure")]
        done = restore(store, file)
        assert (set(done.added), done.known, done.aside) == ({first, third}, (second,), None)
        assert [one.id for one in store.sessions()] == [third, second, own, first]
        assert log.session(second)["marks"][0]["note"] == "changed"
        assert [
            log.session(own)[name] for name in ("marks", "passages", "clips", "checks", "exposure")
        ] == numbers
        names = [one["name"] for one in log.pieces()]
        assert sorted(names) == sorted({"Étude", "Scales", "Another", "Not played yet"})
        # Once more changes nothing.
        assert restore(store, file).added == ()
        assert len(log.checks()) == 4 + 2
        assert len(log.clips()) == 4
    for identity in (first, third):
        assert shown(there, identity) == shown(here, identity)
    with closing(sqlite3.connect(there / FILE_NAME)) as connection:
        assert connection.execute("PRAGMA foreign_key_check").fetchall() == []


def test_one_session_takes_nothing_of_the_others_along(here: Path, ids: list[str], tmp_path: Path) -> None:
    there, file = tmp_path / "there", tmp_path / "b.zip"
    first, second, _ = ids
    assert run("backup", file, "--session", second, folder=here) == 0
    assert run("restore", file, folder=there) == 0
    assert [one.id for one in SessionReader(there).sessions()] == [second]
    assert shown(there, second) == shown(here, second)
    raw = (there / FILE_NAME).read_bytes()
    assert DAYS[1].encode() in raw
    assert first.encode() not in raw
    assert f"of {DAYS[0]}".encode() not in raw
    assert b"Not played yet" not in raw


def test_what_is_replaced_is_set_aside_and_can_be_opened(
    here: Path, ids: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    there, file = tmp_path / "there", tmp_path / "b.zip"
    make_backup(SessionReader(here), file)
    (own,) = filled(there, days=DAYS[:1])
    before = shown(there, own)
    assert run("restore", file, "--replace", folder=there) == 2
    assert "add --yes" in capsys.readouterr().err
    assert [one.id for one in SessionReader(there).sessions()] == [own]
    assert run("restore", file, "--replace", "--yes", folder=there) == 0
    assert [one.id for one in SessionReader(there).sessions()] == ids[::-1]
    (aside,) = there.glob(f"{REPLACED}*")
    assert shown(aside, own) == before
    assert (aside / "clips" / own / "clip-1.mp4").read_bytes() == FILM
    assert not (there / "clips" / own).exists()
    assert run("forget", "--all", "--yes", folder=there) == 0
    assert not aside.exists()


def test_a_session_that_is_recorded_is_in_a_backup_up_to_now(tmp_path: Path) -> None:
    here = tmp_path / "here"
    there, file = tmp_path / "there", tmp_path / "b.zip"
    with open_store(here) as store:
        recorder = store.begin(START)
        put_seconds(recorder, 3.0)
        wait_until(lambda: store.sessions()[0].end_s > 2.8)
        make_backup(SessionReader(here), file)
        with pytest.raises(StoreError, match="being recorded"):
            restore(store, file)
        identity = recorder.finish(Ended(3.0))
    assert run("restore", file, folder=there) == 0
    (info,) = SessionReader(there).sessions()
    assert (info.id, info.end_reason) == (identity, "crashed")
    assert info.end_s > 2.8


def snapshot(folder: Path) -> dict[Path, bytes]:
    """All files but the lock and what SQLite makes to read; an empty log is none."""
    found = {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    return {path: raw for path, raw in found.items() if raw and not path.name.endswith(("-shm", ".lock"))}


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE session SET id = '../' || number",
        "UPDATE clip SET file = '../../../etc/passwd'",
        "UPDATE clip SET file = 'clips/other/clip-1.mp4'",
        "UPDATE clip SET moments_json = '{'",
        "UPDATE clip SET moments_json = '[{}]'",
        "UPDATE session SET end_s = 9e999",
        "UPDATE chunk SET data = 'text'",
        "UPDATE mark SET note = x'00ff'",
        "UPDATE passage SET piece = 999",
        "UPDATE discomfort SET places_json = 'x'",
        "CREATE TRIGGER t AFTER INSERT ON mark BEGIN DELETE FROM session; END",
        "CREATE VIEW v AS SELECT * FROM session",
        "DROP TABLE mark",
        "INSERT INTO migration (name, applied_at) VALUES ('of a later version', '')",
        "DELETE FROM migration WHERE number = 2",
    ],
)
def test_rows_that_this_program_would_never_write_are_refused(
    here: Path, tmp_path: Path, statement: str
) -> None:
    file, copy = tmp_path / "hostile.zip", tmp_path / "hostile.sqlite3"
    shutil.copyfile(here / FILE_NAME, copy)
    with closing(sqlite3.connect(copy)) as connection:
        connection.execute("PRAGMA journal_mode = DELETE")
        with connection:
            connection.execute(statement)
    with ArchiveWriter(file, BACKUP, about={"whole": True, "clips": True, "sessions": []}) as archive:
        archive.add_file(FILE_NAME, copy)
    before = snapshot(here)
    with open_store(here) as store:
        with pytest.raises((ArchiveError, StoreError)) as caught:
            restore(store, file, replace=True)
        assert "\n" not in caught.value.sentence
        assert [one for one in here.iterdir() if one.name.startswith((".", "replaced"))] == []
    assert snapshot(here) == before


def test_a_damaged_backup_changes_nothing(
    here: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    there, file = tmp_path / "there", tmp_path / "b.zip"
    make_backup(SessionReader(here), file)
    filled(there, days=DAYS[:1])
    before, whole = snapshot(there), file.read_bytes()
    for place in range(50, len(whole), len(whole) // 12):
        file.write_bytes(whole[:place] + bytes([whole[place] ^ 0x20]) + whole[place + 1 :])
        assert run("restore", file, "--replace", "--yes", folder=there) == 2
        assert "cannot be used" in capsys.readouterr().err
    assert snapshot(there) == before


def test_a_disk_without_room_changes_nothing(
    here: Path, ids: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = tmp_path / "b.zip"
    make_backup(SessionReader(here), file)
    before = snapshot(here)
    with open_store(here) as store:
        with monkeypatch.context() as patched:
            patched.setattr("shutil.disk_usage", lambda folder: type("Usage", (), {"free": 1000}))
            with pytest.raises(StoreError, match="too little room"):
                restore(store, file, replace=True)

        def full(*arguments: object) -> None:
            raise OSError(28, "No space left on device")

        monkeypatch.setattr("posturewatch.archive.reading.os.fsync", full)
        with pytest.raises(StoreError, match="nothing was changed"):
            restore(store, file, replace=True)
        assert [one.id for one in store.sessions()] == ids[::-1]
    assert snapshot(here) == before


@pytest.mark.parametrize("step", range(4))
def test_a_crash_at_any_step_leaves_what_was_there_or_what_was_saved(
    here: Path, ids: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, step: int
) -> None:
    there, file = tmp_path / "there", tmp_path / "b.zip"
    make_backup(SessionReader(here), file)
    (own,) = filled(there, days=DAYS[:1])
    left = [step]

    def counted(name: str) -> None:
        original = getattr(Path, name)

        def call(*arguments: Any) -> Any:
            left[0] -= 1
            if left[0] < 0:
                raise KeyboardInterrupt
            return original(*arguments)

        monkeypatch.setattr(Path, name, call)

    with open_store(there) as store, monkeypatch.context():
        for name in ("replace", "rename"):
            counted(name)
        with pytest.raises(KeyboardInterrupt):
            restore(store, file, replace=True)
    monkeypatch.undo()
    assert [one.id for one in SessionReader(there).sessions()] == [own]
    found = list(there.rglob("clip-1.mp4"))
    assert own in {path.parent.name for path in found}
    with open_store(there) as store:
        restore(store, file, replace=True)
        assert [one.id for one in store.sessions()] == ids[::-1]
        assert {one["state"] for one in PracticeLog(store).clips()} == {"there"}


def test_damage_goes_along_and_is_said(
    here: Path, ids: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    there, file = tmp_path / "there", tmp_path / "b.zip"
    first, *_ = ids
    with closing(sqlite3.connect(here / FILE_NAME)) as connection, connection:
        connection.execute("UPDATE chunk SET checksum = checksum + 1 WHERE id = (SELECT min(id) FROM chunk)")
    (here / "clips" / first / "clip-1.mp4").unlink()
    assert run("backup", file, folder=here) == 1
    said = capsys.readouterr()
    assert f"session {first} is damaged" in said.err
    assert "1 clips are missing" in said.err
    assert run("restore", file, folder=there) == 1
    assert "Damaged on the disk" in capsys.readouterr().err
    assert len(SessionReader(there).sessions()) == 3


def test_an_older_database_is_saved_before_it_is_brought_up_to_date(tmp_path: Path) -> None:
    folder, there = tmp_path / "data", tmp_path / "there"
    folder.mkdir()
    folder_of_first_version(folder)
    with open_store(folder) as store:
        (kept,) = folder.glob(f"{BEFORE_UPDATE}*.zip")
        assert run("restore", kept, folder=there) == 0
        assert [one.id for one in SessionReader(there).sessions()] == [one.id for one in store.sessions()]
        assert PracticeLog(store).data()["set_aside_bytes"] == kept.stat().st_size
        # What is deleted must not stay in it.
        PracticeLog(store).forget_session("e187cb3e")
    assert not kept.exists()
    assert list(there.glob(f"{BEFORE_UPDATE}*")) == []


def test_without_room_for_that_nothing_is_brought_up_to_date(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder_of_first_version(tmp_path)

    def full(*arguments: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("posturewatch.archive.writing.os.fsync", full)
    with pytest.raises(StoreError, match="free some space"):
        Store(tmp_path)
    with closing(sqlite3.connect(tmp_path / FILE_NAME)) as connection:
        assert schema.applied(connection) == (schema.MIGRATIONS[0].name,)
    assert [one.name for one in tmp_path.iterdir() if one.suffix == ".zip" or one.name.startswith(".")] == []
