"""Deleting means gone: from the file, from the log, also while the next practice is recorded; and nothing else goes."""

from __future__ import annotations

from pathlib import Path

import pytest
from log_factories import Taken
from session_factories import Ended
from storage_stage import START, put_seconds

from posturewatch.config.settings_sections import ClipSettings
from posturewatch.errors import UnknownError
from posturewatch.pipeline.clip_recording import ClipRecording
from posturewatch.review.derived import open_store
from posturewatch.review.entries import CheckEntry, ClipChange, MarkChange, MarkEntry
from posturewatch.review.practice_log import PracticeLog
from posturewatch.storage.clip_repository import ClipRepository
from posturewatch.storage.store import Store

SECRET = "what nobody else shall read"

#: As MP4 files begin (ISO/IEC 14496-12, section 4.3).
FILM = b"\0\0\0\x18ftypisom" + bytes(500)


def with_clip(store: Store, folder: Path) -> tuple[str, Path]:
    recorder = store.begin(START)
    put_seconds(recorder, 2.0)
    recorder.mark(1.0, f"{SECRET} 1")
    identity = recorder.finish(Ended(2.0))
    path = folder / "clips" / identity / "clip-1.mp4"
    path.parent.mkdir(parents=True)
    path.write_bytes(FILM)
    ClipRepository(store).written(identity, Taken("clip-1", 0.0, 1.0, path, len(FILM)))
    return identity, path


def traces(folder: Path) -> list[str]:
    return [
        path.name for path in folder.rglob("*") if path.is_file() and SECRET.encode() in path.read_bytes()
    ]


@pytest.mark.parametrize("recording", [False, True])
def test_what_is_deleted_or_replaced_is_in_no_file_any_more(tmp_path: Path, recording: bool) -> None:
    with open_store(tmp_path) as store:
        log = PracticeLog(store)
        identity, _ = with_clip(store, tmp_path)
        recorder = store.begin(START) if recording else None
        if recorder is not None:
            put_seconds(recorder, 1.0)
        mark = log.add_mark(identity, MarkEntry.read({"time_s": 1.5, "note": f"{SECRET} 2"}))
        (clip,) = log.clips()
        log.change_clip(clip["id"], ClipChange.read({"note": f"{SECRET} 3"}))
        check = log.add_check(
            CheckEntry.read({"moment": "after", "rating": 1, "note": SECRET, "session_id": identity})
        )
        assert traces(tmp_path)
        log.change_mark(mark["id"], MarkChange.read({"note": "other"}))
        log.delete_check(check["id"])
        log.delete_clip(clip["id"])
        for one in log.session(identity)["marks"]:
            log.delete_mark(one["id"])
        # The summary that was kept at the end names the marks of then.
        log.forget_session(identity)
        assert traces(tmp_path) == []
        if recorder is not None:
            recorder.finish(Ended(1.0))


@pytest.mark.parametrize("kind", ["cut short", "empty", "text", "link", "linked folder"])
def test_a_film_that_is_none_is_not_there_and_never_followed(tmp_path: Path, kind: str) -> None:
    folder, elsewhere = tmp_path / "data", tmp_path / "elsewhere"
    elsewhere.mkdir()
    theirs = elsewhere / "clip-1.mp4"
    theirs.write_bytes(FILM)
    with open_store(folder) as store:
        log = PracticeLog(store)
        identity, path = with_clip(store, folder)
        (clip,) = log.clips()
        assert clip["state"] == "there"
        path.unlink()
        if kind == "cut short":
            path.write_bytes(FILM[:-1])
        elif kind == "empty":
            path.write_bytes(b"")
        elif kind == "text":
            path.write_text("x" * len(FILM))
        elif kind == "link":
            path.symlink_to(theirs)
        else:
            path.parent.rmdir()
            path.parent.symlink_to(elsewhere)
        (clip,) = log.clips()
        assert clip["state"] == "missing"
        with pytest.raises(UnknownError, match="missing or damaged"):
            log.video_path(clip["id"])
        log.forget_session(identity)
        assert not path.parent.exists()
        assert not path.parent.is_symlink()
    assert theirs.read_bytes() == FILM


def test_a_whole_clip_that_a_crash_left_without_its_name_is_found_again(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        identity, path = with_clip(store, tmp_path)
        torn = path.with_name("clip-2.mp4.part")
        torn.write_bytes(FILM)  # not listed: never finished
        path.rename(path.with_name("clip-1.mp4.part"))
        log = PracticeLog(store)
        assert log.clips(session_id=identity)[0]["state"] == "missing"
        ClipRecording(store, ClipSettings())
        assert log.clips(session_id=identity)[0]["state"] == "there"
        assert not torn.exists()
    assert sorted(one.name for one in path.parent.iterdir()) == ["clip-1.mp4"]
