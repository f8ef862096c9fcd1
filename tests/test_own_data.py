"""The player's own data: where they lie, deleted for good, and exported."""

from __future__ import annotations

import csv
import io
import json
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
from log_factories import FILM, START, record, take
from session_factories import Ended

from posturewatch.cli.main import main
from posturewatch.errors import InputError, StoreError, UnknownError
from posturewatch.review.derived import open_store
from posturewatch.review.entries import (
    CheckEntry,
    MarkEntry,
    PracticeItems,
)
from posturewatch.review.export import write_session
from posturewatch.review.practice_log import PracticeLog
from posturewatch.review.session_document import full_document
from posturewatch.storage.folder.database import FILE_NAME
from posturewatch.storage.store import Store

SWITCHES = ((0.0, "One", "bars 1-4"), (40.0, "Two", ""), (80.0, "One", "bars 1-4"))


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with open_store(tmp_path) as one:
        yield one


@pytest.fixture
def log(store: Store) -> PracticeLog:
    return PracticeLog(store)


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
    assert (told["clips_bytes"], told["set_aside_bytes"], told["other_bytes"]) == (len(FILM), 5, 3)
    assert told["database_bytes"] >= (store.data_dir / FILE_NAME).stat().st_size
    assert told["total_bytes"] == told["database_bytes"] + len(FILM) + 5 + 3
    (session,) = told["sessions"]
    assert (session["id"], session["clips"], session["clips_bytes"]) == (identity, 1, len(FILM))
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
    paths = write_session(store, identity, full_document(store, identity), tmp_path / "out")
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
        write_session(store, identity, full_document(store, identity), tmp_path / "out")


def test_many_sessions_are_exported_at_once_with_their_clips(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder, out = tmp_path / "data", tmp_path / "out"
    first, second = secret_folder(folder)
    export = ["export", "--data-dir", str(folder), "--out", str(out), "--clips"]
    assert main([*export, first, second]) == 0
    names = {
        f"{identity}{ending}" for identity in (first, second) for ending in (".csv", ".json", "-clip-1.mp4")
    }
    assert {path.name for path in out.iterdir()} == names
    assert (out / f"{first}-clip-1.mp4").read_bytes() == FILM
    assert {Path(line).name for line in capsys.readouterr().out.splitlines()} == names
    (folder / "clips" / first / "clip-1.mp4").unlink()
    assert main([*export[:-3], "--out", str(tmp_path / "again"), "--clips", "--all"]) == 1
    assert f"1 clips of session {first} are missing" in capsys.readouterr().err
    assert main(export) == 2
    assert "--all for all of them" in capsys.readouterr().err


def test_an_export_is_the_same_however_it_is_cut(
    store: Store, log: PracticeLog, monkeypatch: pytest.MonkeyPatch
) -> None:
    identity = record(store, 20.0, switches=((0.0, "One", ""),), bent=(5.0, 6.0))
    whole = "".join(log.export_csv(identity))
    monkeypatch.setattr("posturewatch.review.export._STRETCH_MS", 700)
    blocks = list(log.export_csv(identity))
    assert len(blocks) > 20
    assert "".join(blocks) == whole
