"""The data folder: what is recorded comes back, whatever happens to the process, the disk or the file."""

from __future__ import annotations

import os
import signal
import sqlite3
import subprocess
import sys
import textwrap
import time
from collections.abc import Callable
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import get_args

import numpy as np
import pytest
from session_factories import LIMITS, Ended, Values, make_reading

from posturewatch.errors import InputError, StoreError
from posturewatch.model.measurement import Refusal
from posturewatch.model.observation import Side
from posturewatch.model.quantities import quantity
from posturewatch.model.verdict import Excursion, HoldWarning
from posturewatch.review.derived import open_store
from posturewatch.storage import codec, schema
from posturewatch.storage import recorder as recorder_module
from posturewatch.storage.database import FILE_NAME, connect, transaction
from posturewatch.storage.lock import FolderInUseError
from posturewatch.storage.reader import SessionReader
from posturewatch.storage.recorder import Recorder
from posturewatch.storage.records import SessionStart
from posturewatch.storage.store import Store, open_reader
from posturewatch.storage.writer import save_samples

START = SessionStart(
    source_name="demo",
    source_kind="film",
    program_version="0.1.0",
    settings={"hold_s": 3.0},
    limits=LIMITS,
    instrument="guitar",
    started_at="2025-03-01T18:00:00.000+00:00",
)

FLEXION = quantity("wrist_flexion")

OPENED = Excursion("left", "wrist_flexion", "flexion", "extreme", 45.0, 1.0, 46.0, 1.0)
WARNING = HoldWarning("left", "wrist_flexion", "flexion", 45.0, 1.0, 4.0)


@pytest.fixture
def quick_commits(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(recorder_module, "COMMIT_S", 0.02)


def wait_until(condition: Callable[[], object], seconds: float = 20.0) -> None:
    """A generous bound, so that a slow machine fails nothing."""
    end = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < end, "it did not happen"
        time.sleep(0.01)


def put_seconds(recorder: Recorder, seconds: float, rate_hz: float = 30.0, start_s: float = 0.0) -> None:
    for index in range(round(seconds * rate_hz)):
        time_s = start_s + index / rate_hz
        recorder.put(make_reading(index, time_s, {("left", "wrist_flexion"): (20.0 + index % 7, 6.0)}))


def test_samples_come_back_as_documented(tmp_path: Path) -> None:
    rng = np.random.default_rng(4)
    times = np.cumsum(rng.uniform(0.02, 0.05, 200))
    values, sds = rng.normal(0, 40, 200), rng.uniform(0.01, 15, 200)
    with Store(tmp_path) as store:
        recorder = store.begin(START)
        for index, (time_s, value, sd) in enumerate(zip(times, values, sds, strict=True)):
            seen: Values = {("left", "wrist_flexion"): (value, sd)} if index % 5 else {}
            recorder.put(make_reading(index, time_s, seen, refusal=Refusal.HAND_CUT_OFF, dropped=index // 10))
        identity = recorder.finish(Ended(times[-1]))
    record = SessionReader(tmp_path).session(identity)
    series = {(one.side, one.quantity): one for one in record.series}
    assert set(series) == {
        (side, name) for side in ("left", "right") for name in ("wrist_flexion", "wrist_ulnar_deviation")
    }
    kept = series["left", "wrist_flexion"]
    measured = np.arange(200) % 5 != 0
    np.testing.assert_array_equal(kept.measured, measured)
    np.testing.assert_array_equal(kept.time_s, np.round(times, 3))
    np.testing.assert_array_equal(kept.value[measured], np.round(values[measured], 2))
    np.testing.assert_allclose(kept.sd[measured], sds[measured], atol=0.05)
    assert np.isnan(kept.value[~measured]).all()
    assert np.isnan(kept.sd[~measured]).all()
    assert {kept.refusals[code - 1] for code in kept.refusal[~measured]} == {Refusal.HAND_CUT_OFF}
    assert not series["right", "wrist_flexion"].measured.any()
    assert record.info.dropped_frames == 19
    assert (record.settings, record.limits, record.rules) == (START.settings, LIMITS, START.rules)


def test_a_tiny_deviation_is_not_kept_as_none(tmp_path: Path) -> None:
    with Store(tmp_path) as store:
        recorder = store.begin(START)
        recorder.put(make_reading(0, 0.0, {("left", "wrist_flexion"): (3.0, 0.001)}))
        identity = recorder.finish(Ended(0.0))
        (kept,) = [one for one in store.session(identity).series if one.measured.any()]
    assert kept.sd.tolist() == [0.05]


def test_events_come_back(tmp_path: Path, quick_commits: None) -> None:
    closed = replace(OPENED, peak=52.0, peak_s=3.0, end_s=6.0, end="returned", warned_s=4.0)
    with Store(tmp_path) as store:
        recorder = store.begin(START)
        recorder.put(make_reading(0, 1.0, {}, opened=[OPENED]))
        recorder.put(make_reading(1, 4.0, {}, fired=[WARNING]))
        recorder.mark(5.0, "bar 12")
        recorder.mark(5.5)
        recorder.put(make_reading(2, 6.0, {}, closed=[closed], cleared=[WARNING]))
        identity = recorder.finish(Ended(7.0, "film ended"))
        record = store.session(identity)
    assert record.excursions == (closed,)
    assert [(one.warning, one.cleared_s) for one in record.warnings] == [(WARNING, 6.0)]
    assert [(mark.time_s, mark.note) for mark in record.marks] == [(5.0, "bar 12"), (5.5, "")]
    assert (record.info.end_reason, record.info.end_s) == ("film ended", 7.0)
    assert record.info.ended_at == "2025-03-01T18:00:07.000+00:00"


def test_what_lasts_at_the_end_is_closed_by_it(tmp_path: Path) -> None:
    with Store(tmp_path) as store:
        recorder = store.begin(START)
        recorder.put(make_reading(0, 1.0, {}, opened=[OPENED]))
        recorder.put(make_reading(1, 4.0, {("left", "wrist_flexion"): (50.0, 3.0)}, fired=[WARNING]))
        identity = recorder.finish(Ended(8.0))
        (excursion,) = store.session(identity).excursions
        (warning,) = store.session(identity).warnings
    assert (excursion.end, excursion.end_s) == ("stopped", 8.0)
    assert (excursion.peak, excursion.peak_s, excursion.warned_s) == (50.0, 4.0, 4.0)
    assert warning.cleared_s == 8.0


def test_the_monitors_own_closing_is_what_is_kept(tmp_path: Path) -> None:
    closed = replace(OPENED, peak=61.0, peak_s=2.0, end_s=8.0, end="stopped")
    with Store(tmp_path) as store:
        recorder = store.begin(START)
        recorder.put(make_reading(0, 1.0, {}, opened=[OPENED]))
        identity = recorder.finish(Ended(8.0, closed=(closed,)))
        assert store.session(identity).excursions == (closed,)


def test_a_reader_follows_a_running_session(tmp_path: Path, quick_commits: None) -> None:
    reader = SessionReader(tmp_path)
    assert reader.sessions() == []
    with Store(tmp_path) as store:
        recorder = store.begin(START)
        recorder.put(make_reading(0, 1.0, {}, opened=[OPENED]))
        put_seconds(recorder, 2.0, start_s=1.0)
        wait_until(lambda: reader.sessions()[0].end_s >= 2.9)
        running = reader.session(recorder.session_id)
        assert running.info.open
        assert running.excursions == (OPENED,)
        recorder.finish(Ended(3.0))
    assert not reader.find("last").open


def test_finish_and_close_may_be_called_twice(tmp_path: Path) -> None:
    store = Store(tmp_path)
    recorder = store.begin(START)
    assert recorder.finish(Ended(1.0)) == recorder.finish(Ended(9.0))
    recorder.put(make_reading(0, 2.0, {}))
    store.close()
    store.close()
    assert [one.end_s for one in SessionReader(tmp_path).sessions()] == [1.0]


def test_closing_the_store_ends_the_session(tmp_path: Path) -> None:
    with Store(tmp_path) as store:
        put_seconds(store.begin(START), 1.0, rate_hz=10.0)
    (info,) = SessionReader(tmp_path).sessions()
    assert (info.end_reason, info.end_s) == ("stopped", 0.9)


def test_one_session_at_a_time(tmp_path: Path) -> None:
    with Store(tmp_path) as store:
        first = store.begin(START)
        with pytest.raises(StoreError, match="already"):
            store.begin(START)
        first.finish(Ended(1.0))
        second = store.begin(START)
        second.finish(Ended(1.0))
        assert [one.id for one in store.sessions()] == [second.session_id, first.session_id]


@pytest.mark.parametrize(
    ("name", "sentence"),
    [("zzzz", "There is no session 'zzzz'"), ("", "There is no session ''")],
)
def test_an_unknown_session_is_named(tmp_path: Path, name: str, sentence: str) -> None:
    with Store(tmp_path) as store:
        identity = store.begin(START).finish(Ended(1.0))
        assert store.find(identity[:4]).id == identity
        with pytest.raises(InputError, match=sentence):
            store.find(name)
        with pytest.raises(InputError, match="There is no session"):
            store.session("zzzz")


def test_an_id_that_fits_two_sessions_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    identities = iter(["aa11bb22", "aa33bb44"])
    monkeypatch.setattr("posturewatch.storage.store.secrets.token_hex", lambda count: next(identities))
    with Store(tmp_path) as store:
        for _ in range(2):
            store.begin(START).finish(Ended(1.0))
        with pytest.raises(InputError, match="2 sessions begin with 'aa'"):
            store.find("aa")


def test_an_empty_folder_has_no_session(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"no session in .* yet"):
        open_reader(tmp_path).find("last")
    assert list(tmp_path.iterdir()) == []


# ---- two programs, and a killed one ----


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
        assert store.cached_summary(running.id) is not None
    assert record.info.end_reason == "crashed"
    # A machine that does not come to run the recording for a while does not come to keep it either.
    assert last_s - 2.0 - 2 * longest_s <= record.info.end_s <= last_s
    (excursion,) = record.excursions
    assert excursion.end == "crashed"
    assert excursion.end_s == pytest.approx(record.info.end_s, abs=0.001)
    # The peak had risen with the values until shortly before.
    assert excursion.peak == pytest.approx(46.0 + record.info.end_s, abs=0.05)


# ---- damaged, newer and older databases ----


def recorded_folder(folder: Path, seconds: float = 60.0) -> str:
    with Store(folder) as store:
        recorder = store.begin(START)
        put_seconds(recorder, seconds)
        return recorder.finish(Ended(seconds))


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


# ---- folders and disks ----


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


def test_a_full_disk_stops_nothing_and_what_waited_is_written_later(
    tmp_path: Path, quick_commits: None
) -> None:
    with Store(tmp_path) as store:
        recorder = store.begin(START)
        put_seconds(recorder, 2.0)
        wait_until(lambda: store.sessions()[0].end_s > 1.9)
        connection = recorder._place.connection
        (pages,) = connection.execute("PRAGMA page_count").fetchone()
        connection.execute(f"PRAGMA max_page_count = {pages}")
        for minute in range(1, 200):
            put_seconds(recorder, 60.0, rate_hz=2.0, start_s=60.0 * minute)
            if recorder.fault is not None:
                break
            time.sleep(0.05)
        wait_until(lambda: recorder.fault is not None)
        assert str(recorder.fault).startswith("The disk is full")
        recorder.mark(1.0, "while it was full")
        connection.execute("PRAGMA max_page_count = 1000000")
        wait_until(lambda: recorder.fault is None)
        end_s = 60.0 * minute + 59.5
        identity = recorder.finish(Ended(end_s))
        record = store.session(identity)
    assert recorder.lost_samples == 0
    assert all(len(one.time_s) == 60 + 120 * minute for one in record.series)
    assert [mark.note for mark in record.marks] == ["while it was full"]


def test_what_exceeds_the_memory_is_counted_as_lost(
    tmp_path: Path, quick_commits: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(recorder_module, "WAITING_SAMPLES", 400)
    monkeypatch.setattr(recorder_module, "FINISH_S", 0.5)
    with Store(tmp_path) as store:
        recorder = store.begin(START)
        wait_until(lambda: store.sessions() != [])
        recorder._place.connection.execute("PRAGMA max_page_count = 1")
        recorder._place.connection.execute("PRAGMA query_only = ON")
        put_seconds(recorder, 10.0)
        recorder.mark(3.0, "kept all the same")
        assert recorder.lost_samples == 4 * 300 - 400
        wait_until(lambda: recorder.fault is not None)
        identity = recorder.finish(Ended(10.0))
        assert recorder.fault is not None
        assert recorder.fault.startswith(
            "The last 10.0 s of this session and 1 mark could not be written and are lost"
        )
    with Store(tmp_path) as store:
        assert store.find(identity).end_reason == "crashed"


def test_an_hour_of_two_hands_takes_two_megabytes_at_most(tmp_path: Path) -> None:
    rng = np.random.default_rng(1)
    count = 3600 * 30
    time_ms = np.round(1000 * (np.arange(count) / 30 + rng.normal(0, 0.002, count))).astype(np.int64)
    keys = [(side, name) for side in get_args(Side) for name in ("wrist_flexion", "wrist_ulnar_deviation")]
    # As noisy from frame to frame as the measurement's own deviation allows, which packs worst.
    values = [15 * np.sin(time_ms / (1100 + 90 * place)) + rng.normal(0, 5.0, count) for place in range(4)]
    refusal = np.where(np.sin(time_ms / 6500) > 0.9, 1, 0).astype(np.uint8)
    sd = np.round((6.0 + rng.normal(0, 0.5, count)) / FLEXION.sd_step).astype(np.int64)
    expected = {
        key: codec.Samples(
            time_ms,
            np.where(refusal, 0, np.round(value / FLEXION.value_step)).astype(np.int64),
            np.where(refusal, 0, sd),
            refusal,
        )
        for key, value in zip(keys, values, strict=True)
    }
    with Store(tmp_path) as store:
        recorder = store.begin(START)
        with closing(connect(store.path)) as connection:
            (number,) = connection.execute("SELECT number FROM session").fetchone()
            connection.execute("PRAGMA synchronous = OFF")  # as many commits as in an hour, but in seconds
            for first in range(0, count, 30):
                second = {key: _cut(samples, first, first + 30) for key, samples in expected.items()}
                with transaction(connection):
                    save_samples(connection, number, second)
        identity = recorder.finish(Ended(3600.0))
    size = sum(path.stat().st_size for path in tmp_path.iterdir())
    assert size <= 2_000_000, size
    for one in SessionReader(tmp_path).session(identity).series:
        wanted = expected[one.side, one.quantity]
        np.testing.assert_array_equal(one.time_s, wanted.time_ms / 1000)
        np.testing.assert_array_equal(one.measured, wanted.refusal == 0)
        np.testing.assert_array_equal(one.value[one.measured], wanted.value[one.measured] / 100)
        np.testing.assert_array_equal(one.sd[one.measured], wanted.sd[one.measured] / 20)


def _cut(samples: codec.Samples, first: int, last: int) -> codec.Samples:
    return codec.Samples(
        *(getattr(samples, name)[first:last] for name in ("time_ms", "value", "sd", "refusal"))
    )
