"""Clips in the practice log: listed with what they show, changed, missing and deleted."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from log_factories import Taken, TakenMoment, record, take

from posturewatch.errors import InputError, UnknownError
from posturewatch.review.derived import open_store
from posturewatch.review.entries import (
    ClipChange,
    MarkEntry,
)
from posturewatch.review.practice_log import PracticeLog
from posturewatch.storage.clip_repository import ClipRepository
from posturewatch.storage.store import Store
from posturewatch.storage.tables.clips import insert_clip

SWITCHES = ((0.0, "One", "bars 1-4"), (40.0, "Two", ""), (80.0, "One", "bars 1-4"))


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with open_store(tmp_path) as one:
        yield one


@pytest.fixture
def log(store: Store) -> PracticeLog:
    return PracticeLog(store)


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


def test_the_repository_answers_the_writer_of_clips(store: Store, log: PracticeLog) -> None:
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
