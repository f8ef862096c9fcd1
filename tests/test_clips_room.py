"""Clips of a running session: within their room on the disk."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from clip_factories import (
    make_video,
)
from clips_stage import RATE_HZ, RULES, play

from posturewatch.clips import keeper as keeper_module
from posturewatch.clips.folder import ClipFolder
from posturewatch.clips.keeper import ClipKeeper, ClipRecord
from posturewatch.clips.ring import Ring


def store(root: Path, name: str, size: int, age: int) -> Path:
    path = root / name
    path.parent.mkdir(exist_ok=True)
    path.write_bytes(bytes(size))
    os.utime(path, (1_000_000 - age, 1_000_000 - age))
    return path


@pytest.mark.parametrize(
    ("new", "kept", "left"),
    [
        (1_000, (), ["a/clip-1", "a/clip-2", "b/clip-3"]),
        (1_001, (), ["a/clip-1", "b/clip-3"]),
        (4_001, (), ["b/clip-3"]),
        (10_000, (), []),
        (1_001, ("a/clip-2",), ["a/clip-2", "b/clip-3"]),
        (4_000, ("a/clip-1", "a/clip-2"), ["a/clip-1", "a/clip-2"]),
    ],
)
def test_room_is_made_by_removing_the_oldest_that_is_not_kept(
    tmp_path: Path, new: int, kept: tuple[str, ...], left: list[str]
) -> None:
    """Of 10 000 bytes, 9 000 are taken; clip-2 is the oldest, clip-3 of another session the newest."""
    for name, age in (("a/clip-1", 50), ("a/clip-2", 90), ("b/clip-3", 10)):
        store(tmp_path, f"{name}.mp4", 3_000, age)
    store(tmp_path, "a/other.mp4", 50_000, 999)
    removed: list[Path] = []
    folder = ClipFolder(
        tmp_path,
        limit_bytes=10_000,
        reserve_bytes=0,
        is_kept=lambda path: path.relative_to(tmp_path).with_suffix("").as_posix() in kept,
        on_removed=removed.append,
    )
    assert folder.make_room(new) is None
    found = sorted(tmp_path.rglob("clip-*.mp4"))
    assert [path.relative_to(tmp_path).with_suffix("").as_posix() for path in found] == left
    assert len(removed) == 3 - len(left)
    assert (tmp_path / "a" / "other.mp4").exists()


@pytest.mark.parametrize(("new", "kept"), [(10_001, False), (4_001, True)])
def test_where_no_room_can_be_made_nothing_is_removed(tmp_path: Path, new: int, kept: bool) -> None:
    store(tmp_path, "a/clip-1.mp4", 6_000, 50)
    store(tmp_path, "a/clip-2.mp4", 3_000, 50)
    folder = ClipFolder(
        tmp_path, limit_bytes=10_000, reserve_bytes=0, is_kept=lambda path: kept and path.stem == "clip-1"
    )
    sentence = folder.make_room(new)
    assert sentence is not None
    assert "clips" in sentence
    assert sum(path.stat().st_size for path in tmp_path.rglob("*.mp4")) == 9_000


@pytest.mark.parametrize(("free", "fits", "left"), [(5_000, True, 2), (2_500, True, 1), (0, False, 2)])
def test_part_of_the_disk_stays_free(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, free: int, fits: bool, left: int
) -> None:
    for number in (1, 2):
        store(tmp_path, f"a/clip-{number}.mp4", 1_000, number)
    usage = type("Usage", (), {"free": free})
    monkeypatch.setattr("posturewatch.clips.folder.shutil.disk_usage", lambda path: usage)
    sentence = ClipFolder(tmp_path, reserve_bytes=2_000).make_room(1_500)
    assert (sentence is None) == fits
    assert sentence is None or "disk is nearly full" in sentence
    assert len(list(tmp_path.rglob("clip-*.mp4"))) == left


def test_the_keeper_makes_room_and_never_touches_kept_clips(tmp_path: Path) -> None:
    ring = Ring()
    size = make_video([index / RATE_HZ for index in range(30)]).size_bytes
    room = size + keeper_module.INDEX_BYTES
    kept = store(tmp_path, "old/clip-1.mp4", room, 99)
    loose = store(tmp_path, "old/clip-2.mp4", room, 50)
    records: list[ClipRecord] = []
    keeper = ClipKeeper(
        tmp_path / "one",
        on_clip=records.append,
        rules=RULES,
        ring=ring,
        all_clips=ClipFolder(
            tmp_path, limit_bytes=3 * room, reserve_bytes=0, is_kept=lambda path: path == kept
        ),
    )
    play(keeper, ring, 9.0, marks=[2.0, 7.0])
    keeper.close()
    assert keeper.fault is None
    assert len(records) == 2
    assert kept.exists()
    assert not loose.exists()
