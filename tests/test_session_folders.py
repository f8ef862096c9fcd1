"""The data folder: two programs on it, one that is killed, damaged, newer and older databases, rights."""

from __future__ import annotations

import os
import signal
import sqlite3
import subprocess
import sys
import textwrap
from contextlib import closing
from pathlib import Path

import pytest
from session_factories import Ended
from storage_stage import START, recorded_folder

from posturewatch.errors import StoreError
from posturewatch.review.derived import open_store
from posturewatch.review.practice_log import PracticeLog
from posturewatch.storage.folder.database import FILE_NAME
from posturewatch.storage.folder.lock import FolderInUseError
from posturewatch.storage.reader import SessionReader
from posturewatch.storage.schema import migrations as schema
from posturewatch.storage.store import Store, open_reader


def test_a_second_program_is_refused(tmp_path: Path) -> None:
    with Store(tmp_path):
        answer = subprocess.run(
            [sys.executable, "-c", _OPEN, str(tmp_path)],
            capture_output=True,
            text=True,
            timeout=60,
            check=False,
        )
        assert answer.stdout.startswith("FolderInUseError"), answer.stderr
        assert "in use by another running posturewatch" in answer.stdout
        with pytest.raises(FolderInUseError):
            Store(tmp_path)
    Store(tmp_path).close()


_OPEN = textwrap.dedent(
    """
    import sys
    from pathlib import Path
    from posturewatch.errors import StoreError
    from posturewatch.storage.store import Store
    try:
        Store(Path(sys.argv[1])).close()
    except StoreError as error:
        print(type(error).__name__, error)
    """
)


_RECORD = textwrap.dedent(
    """
    import sys, time
    from pathlib import Path
    sys.path.insert(0, sys.argv[2])
    from session_factories import LIMITS, make_reading
    from posturewatch.model.verdict import Excursion
    from posturewatch.storage.records import SessionStart
    from posturewatch.storage.store import Store
    recorder = Store(Path(sys.argv[1])).begin(SessionStart("demo", "film", "0.1.0", LIMITS))
    began = time.monotonic()
    index = 0
    last_s = longest_s = 0.0
    while True:
        now_s = time.monotonic() - began
        last_s, longest_s = now_s, max(longest_s, now_s - last_s)
        opened = [Excursion("left", "wrist_flexion", "flexion", "extreme", 45.0, now_s, 46.0, now_s)]
        recorder.put(make_reading(
            index, now_s, {("left", "wrist_flexion"): (46.0 + now_s, 5.0)}, opened=opened[: index == 0]))
        print(now_s, longest_s, flush=True)
        index += 1
        time.sleep(1 / 30)
    """
)


def test_a_kill_loses_two_seconds_at_most(tmp_path: Path) -> None:
    child = subprocess.Popen(
        [sys.executable, "-c", _RECORD, str(tmp_path), str(Path(__file__).parent)],
        stdout=subprocess.PIPE,
        text=True,
    )
    assert child.stdout is not None
    with child.stdout:
        line = "0 0"
        while float(line.split()[0]) < 3.4:
            line = child.stdout.readline()
        child.send_signal(getattr(signal, "SIGKILL", signal.SIGTERM))
        last_s, longest_s = map(float, [line, *child.stdout.read().splitlines()][-1].split())
        child.wait()
    running = SessionReader(tmp_path).find("last")
    assert running.open
    with open_store(tmp_path) as store:
        assert store.notice is None
        record = store.session(running.id)
        # What is computed of it waits until somebody asks: the start does not.
        assert store.cached_summary(running.id) is None
        assert PracticeLog(store).session(running.id)["exposure"]["session"]
        assert store.cached_summary(running.id) is not None
    assert record.info.end_reason == "crashed"
    # A machine that does not come to run the recording for a while does not come to keep it either.
    assert last_s - 2.0 - 2 * longest_s <= record.info.end_s <= last_s
    (excursion,) = record.excursions
    assert excursion.end == "crashed"
    assert excursion.end_s == pytest.approx(record.info.end_s, abs=0.001)
    # The peak had risen with the values until shortly before.
    assert excursion.peak == pytest.approx(46.0 + record.info.end_s, abs=0.05)


@pytest.mark.parametrize("kind", ["not a database", "torn page", "cut short"])
def test_a_damaged_database_is_set_aside_untouched(tmp_path: Path, kind: str) -> None:
    recorded_folder(tmp_path)
    path = tmp_path / FILE_NAME
    data = bytearray(path.read_bytes())
    if kind == "not a database":
        data[:100] = b"x" * 100
    elif kind == "torn page":
        data[4096 : 4096 * 3] = os.urandom(4096 * 2)
    else:
        del data[len(data) // 2 :]
    path.write_bytes(bytes(data))
    with pytest.raises(StoreError, match=r"cannot be read|no session"):
        raise_for_reading(tmp_path)
    with Store(tmp_path) as store:
        assert store.notice is not None
        assert "set aside untouched" in store.notice
        before = store.sessions()
        assert [one.end_s for one in before] in ([], [60.0])
        store.begin(START).finish(Ended(1.0))
    (aside,) = tmp_path.glob("practice-damaged-*.sqlite3")
    assert aside.name in store.notice
    assert aside.read_bytes() == bytes(data)
    assert len(SessionReader(tmp_path).sessions()) == 1 + len(before)


def raise_for_reading(folder: Path) -> None:
    """Read all there is, as the commands would."""
    reader = SessionReader(folder)
    reader.session(reader.find("last").id)
    with closing(sqlite3.connect(folder / FILE_NAME)) as connection:
        answer = connection.execute("PRAGMA quick_check(1)").fetchone()[0]
    if answer != "ok":
        raise StoreError("cannot be read, as the check says")


def test_a_database_of_a_newer_program_is_left_alone(tmp_path: Path) -> None:
    recorded_folder(tmp_path, 1.0)
    with closing(sqlite3.connect(tmp_path / FILE_NAME)) as connection, connection:
        connection.execute("INSERT INTO migration (name, applied_at) VALUES ('from the future', '')")
    for opening in (Store, open_reader):
        with pytest.raises(StoreError, match="newer posturewatch"):
            opening(tmp_path)


def test_an_older_database_is_brought_up_to_date_and_keeps_its_sessions(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    identity = recorded_folder(tmp_path, 1.0)

    def add_piece(connection: sqlite3.Connection) -> None:
        connection.execute("ALTER TABLE session ADD COLUMN piece TEXT")

    later = (
        *schema.MIGRATIONS,
        schema.Migration("pieces", add_piece),
    )
    for function in (schema.missing, schema.migrate, schema.unknown):
        monkeypatch.setattr(function, "__defaults__", (later,))
    assert [one.id for one in open_reader(tmp_path).sessions()] == [identity]
    with closing(sqlite3.connect(tmp_path / FILE_NAME)) as connection:
        assert connection.execute("SELECT piece FROM session").fetchall() == [(None,)]
        assert schema.applied(connection) == tuple(migration.name for migration in later)


def test_a_failing_migration_leaves_nothing_behind(tmp_path: Path) -> None:
    def fail(connection: sqlite3.Connection) -> None:
        connection.execute("CREATE TABLE half (id INTEGER)")
        raise sqlite3.OperationalError("disk I/O error")

    with closing(sqlite3.connect(tmp_path / "x.sqlite3", isolation_level=None)) as connection:
        with pytest.raises(sqlite3.OperationalError):
            schema.migrate(connection, (*schema.MIGRATIONS, schema.Migration("half", fail)))
        assert schema.applied(connection) == tuple(migration.name for migration in schema.MIGRATIONS)
        assert connection.execute("SELECT 1 FROM sqlite_master WHERE name = 'half'").fetchone() is None


def test_a_file_in_place_of_the_folder_is_named(tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("")
    with pytest.raises(StoreError, match=r"taken.*--data-dir"):
        Store(tmp_path / "taken")


def test_a_folder_that_cannot_be_written_to_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*arguments: object) -> int:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("os.open", refuse)
    with pytest.raises(StoreError, match=r"cannot be written to \(Permission denied\).*--data-dir"):
        Store(tmp_path)


@pytest.mark.skipif(sys.platform == "win32", reason="rights of folders are POSIX")
def test_sessions_can_be_read_from_a_folder_that_cannot_be_written_to(own_folder: Path) -> None:
    identity = recorded_folder(own_folder, 1.0)
    own_folder.chmod(0o500)
    try:
        assert SessionReader(own_folder).find("last").id == identity
        with pytest.raises(StoreError, match="make it writable, or choose another"):
            Store(own_folder)
    finally:
        own_folder.chmod(0o700)
