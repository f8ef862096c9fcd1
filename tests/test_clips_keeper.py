"""Clips of a running session: written in the background, within their room, whatever goes wrong."""

from __future__ import annotations

import errno
import os
import subprocess
import sys
import threading
from collections.abc import Callable, Sequence
from pathlib import Path

import av
import pytest
from clip_factories import (
    SlowEncoder,
    excursion,
    frames,
    index_of,
    make_video,
    picture_reading,
    warning,
)
from session_factories import Ended

from posturewatch.clips import keeper as keeper_module
from posturewatch.clips.folder import ClipFolder, remove_leftovers
from posturewatch.clips.keeper import ClipKeeper, ClipRecord
from posturewatch.clips.ring import Ring
from posturewatch.clips.span import ClipRules
from posturewatch.clips.video_file import write_video

#: Short, so that a test's session is: 1 s before to 0.5 s after, at most 4 s.
RULES = ClipRules(before_s=1.0, after_s=0.5, longest_s=4.0, settle_s=0.2)
RATE_HZ = 20.0


def play(
    keeper: ClipKeeper,
    ring: Ring,
    until_s: float,
    *,
    marks: Sequence[float] = (),
    from_s: float = 0.0,
    events: bool = False,
) -> None:
    """A session with numbered pictures; its index is its time times the rate. events: an excursion of 3.0 to
    5.0 s that is warned of at 4.0 s."""
    every = frames([index / RATE_HZ for index in range(round(until_s * RATE_HZ))])
    for frame in every:
        if frame.time_s < from_s:
            continue
        at = round(frame.time_s, 3)
        keeper.put(
            picture_reading(
                frame,
                opened=[excursion(3.0)] if events and at == 3.3 else [],
                fired=[warning(3.0, 4.0)] if events and at == 4.0 else [],
                closed=[excursion(3.0, 5.0, warned_s=4.0)] if events and at == 5.0 else [],
            )
        )
        if at in marks:
            keeper.mark(at)
        assert ring.wait_for(frame.time_s, 5.0)


def indices(path: Path) -> list[int]:
    with av.open(str(path)) as film:
        return [index_of(frame.to_ndarray(format="bgr24")) for frame in film.decode(video=0)]


def no_clip(clip: ClipRecord) -> None:
    pytest.fail(f"a clip where none should be: {clip}")


def test_a_warned_excursion_becomes_a_clip_with_the_excursion_inside(tmp_path: Path) -> None:
    records: list[ClipRecord] = []
    ring = Ring()
    keeper = ClipKeeper(tmp_path / "clips" / "one", on_clip=records.append, rules=RULES, ring=ring)
    play(keeper, ring, 9.0, events=True)
    keeper.finish(Ended(9.0))
    (record,) = records
    assert (record.reason, record.kept, record.has_sound) == ("warning", False, False)
    assert record.start_s <= 2.0
    assert record.end_s == pytest.approx(5.5, abs=1 / RATE_HZ)
    assert record.path.stat().st_size == record.bytes
    assert list(record.path.parent.iterdir()) == [record.path]
    # Every picture from the start told to the end told, none twice: what was measured at t is at t - start_s.
    first = round(record.start_s * RATE_HZ)
    assert indices(record.path) == list(range(first, round(5.5 * RATE_HZ)))
    assert keeper.fault is None
    assert (keeper.written, keeper.missed, keeper.dropped) == (1, 0, 0)


def test_clips_are_written_while_the_session_goes_on(tmp_path: Path) -> None:
    written = threading.Event()
    ring = Ring()
    keeper = ClipKeeper(tmp_path / "one", on_clip=lambda record: written.set(), rules=RULES, ring=ring)
    play(keeper, ring, 4.0, marks=[2.0])
    assert written.wait(5.0)
    keeper.close()


def test_the_end_of_the_session_flushes_what_is_planned(tmp_path: Path) -> None:
    records: list[ClipRecord] = []
    ring = Ring()
    keeper = ClipKeeper(tmp_path / "one", on_clip=records.append, rules=RULES, ring=ring)
    play(keeper, ring, 3.0, marks=[2.8])
    assert records == []
    keeper.close()
    (record,) = records
    assert record.start_s <= 1.8
    assert indices(record.path)[-1] == 59
    keeper.close()
    keeper.finish(Ended(3.0))
    keeper.mark(2.9)
    assert len(records) == 1


def test_excursions_open_at_the_end_are_kept(tmp_path: Path) -> None:
    records: list[ClipRecord] = []
    ring = Ring()
    keeper = ClipKeeper(tmp_path / "one", on_clip=records.append, rules=RULES, ring=ring)
    play(keeper, ring, 4.5, events=True)
    keeper.finish(Ended(4.5, closed=(excursion(3.0, 4.5, warned_s=4.0),)))
    (record,) = records
    assert record.start_s <= 2.0
    assert record.end_s == pytest.approx(4.5, abs=1 / RATE_HZ)


def test_a_session_without_moments_writes_nothing(tmp_path: Path) -> None:
    ring = Ring()
    keeper = ClipKeeper(tmp_path / "one", on_clip=no_clip, rules=RULES, ring=ring)
    play(keeper, ring, 2.0)
    keeper.close()
    assert list(tmp_path.iterdir()) == []


def test_when_the_camera_is_gone_the_clock_tells_what_is_due(tmp_path: Path) -> None:
    written = threading.Event()
    ring = Ring()
    keeper = ClipKeeper(
        tmp_path / "one", on_clip=lambda record: written.set(), rules=RULES, ring=ring, idle_s=0.1
    )
    play(keeper, ring, 2.0, marks=[1.9])
    assert written.wait(10.0)
    keeper.close()


def test_a_standing_encoder_never_holds_the_loop(tmp_path: Path) -> None:
    """The loop puts sixty pictures while the encoder stands in its first; then all ends in order."""
    SlowEncoder.gate.clear()
    SlowEncoder.started.clear()
    records: list[ClipRecord] = []
    keeper = ClipKeeper(
        tmp_path / "one", on_clip=records.append, rules=RULES, ring=Ring(make_encoder=SlowEncoder)
    )
    try:
        pictures = list(frames([index / RATE_HZ for index in range(60)]))
        keeper.put(picture_reading(pictures[0]))
        assert SlowEncoder.started.wait(5.0)
        for frame in pictures[1:]:
            keeper.put(picture_reading(frame))
        keeper.mark(2.5)
        assert not SlowEncoder.gate.is_set()
        assert keeper.dropped == 51
    finally:
        SlowEncoder.gate.set()
    keeper.close()
    # The mark itself is shown; the eight pictures that waited and the first one are all there is.
    (record,) = records
    assert indices(record.path) == [0, *range(52, 60)]


def test_a_standing_disk_never_holds_the_loop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    writing, go_on = threading.Event(), threading.Event()

    def standing(*args: object) -> None:
        writing.set()
        assert go_on.wait(10.0)
        write_video(*args)  # type: ignore[arg-type]

    monkeypatch.setattr(keeper_module, "write_video", standing)
    records: list[ClipRecord] = []
    ring = Ring()
    keeper = ClipKeeper(tmp_path / "one", on_clip=records.append, rules=RULES, ring=ring)
    play(keeper, ring, 4.0, marks=[1.0])
    assert writing.wait(5.0)
    play(keeper, ring, 8.0, marks=[5.0], from_s=4.0)
    assert records == []
    go_on.set()
    keeper.close()
    assert [round(record.end_s, 1) for record in records] == [1.5, 5.5]


# Faults


def no_space(*args: object) -> None:
    raise OSError(errno.ENOSPC, "No space left on device")


def test_a_full_disk_stops_clips_and_nothing_else(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(keeper_module, "write_video", no_space)
    ring = Ring()
    keeper = ClipKeeper(tmp_path / "one", on_clip=no_clip, rules=RULES, ring=ring)
    play(keeper, ring, 6.0, marks=[1.0, 4.0])
    keeper.close()
    assert keeper.fault is not None
    assert "disk is full" in keeper.fault
    assert keeper.written == 0
    keeper.put(picture_reading(next(frames([7.0]))))


LIMITED = """
import resource, signal, sys
from pathlib import Path
sys.path.insert(0, {tests!r})
from clip_factories import make_video
from posturewatch.clips import keeper
from test_clips_keeper import *

signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, ({limit}, {limit}))
ring = Ring()
one = ClipKeeper(Path({folder!r}) / "one", on_clip=lambda record: print("written"), rules=RULES, ring=ring)
play(one, ring, 4.0, marks=[2.0])
one.close()
print(one.fault)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="file size limits are POSIX")
@pytest.mark.parametrize("limit", [0, 1_000, 6_000, 9_000])
def test_a_write_that_the_system_refuses(tmp_path: Path, limit: int) -> None:
    """The real way from the system's refusal through libav to the sentence, at several places in the file."""
    code = LIMITED.format(tests=str(Path(__file__).parent), folder=str(tmp_path), limit=limit)
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60)
    assert "Clips have stopped, since they cannot be written" in done.stdout, done.stderr
    assert "written\n" not in done.stdout
    assert "Traceback" not in done.stderr
    assert list((tmp_path / "one").iterdir()) == []


@pytest.mark.parametrize("way", ["folder is a file", "no right to write"])
def test_a_folder_that_cannot_be_written(own_folder: Path, way: str) -> None:
    if way == "folder is a file":
        (own_folder / "one").write_text("")
    else:
        own_folder.chmod(0o500)
    ring = Ring()
    keeper = ClipKeeper(own_folder / "one", on_clip=no_clip, rules=RULES, ring=ring)
    play(keeper, ring, 3.0, marks=[1.0])
    keeper.close()
    own_folder.chmod(0o700)
    assert keeper.fault is not None
    assert keeper.fault.startswith("Clips have stopped, since they cannot be written")


def test_without_the_encoder_the_session_goes_on(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(av, "codecs_available", set())
    ring = Ring()
    keeper = ClipKeeper(tmp_path / "one", on_clip=no_clip, rules=RULES, ring=ring)
    play(keeper, ring, 2.0, marks=[1.0])
    keeper.close()
    assert keeper.fault is not None
    assert keeper.fault.startswith("Clips are off")


def test_a_listener_that_raises_stops_clips_only(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    raised: list[object] = []
    monkeypatch.setattr(threading, "excepthook", raised.append)

    def raising(record: ClipRecord) -> None:
        raise RuntimeError("a fault of the listener")

    ring = Ring()
    keeper = ClipKeeper(tmp_path / "one", on_clip=raising, rules=RULES, ring=ring)
    play(keeper, ring, 4.0, marks=[1.0, 3.0])
    keeper.close()
    assert len(raised) == 1
    assert keeper.fault is not None
    assert "fault of the program" in keeper.fault


KILLED = """
import sys, threading
from pathlib import Path
sys.path.insert(0, {tests!r})
from posturewatch.clips import video_file as film
from test_clips_keeper import *

whole = film.EncodedVideo.durations
def half(self):
    pairs = list(whole(self))
    yield from pairs[: len(pairs) // 2]
    print("half written", flush=True)
    threading.Event().wait()

film.EncodedVideo.durations = half
ring = Ring()
one = ClipKeeper(Path({folder!r}) / "one", on_clip=lambda record: None, rules=RULES, ring=ring)
play(one, ring, 4.0, marks=[2.0])
threading.Event().wait()
"""


def test_killed_while_writing_leaves_nothing_that_looks_like_a_clip(tmp_path: Path) -> None:
    code = KILLED.format(tests=str(Path(__file__).parent), folder=str(tmp_path))
    with subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, text=True) as child:
        assert child.stdout is not None
        try:
            assert child.stdout.readline().strip() == "half written"
        finally:
            child.kill()
    (left,) = tmp_path.rglob("*.*")
    assert left.name.endswith(".mp4.part")
    (tmp_path / "one" / "notes.part").write_text("not ours")
    assert remove_leftovers(tmp_path) == 1
    assert [path.name for path in tmp_path.rglob("*.*")] == ["notes.part"]
    assert remove_leftovers(tmp_path / "absent") == 0


# Room


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


class StandingSound:
    def __init__(self, answer: Callable[[float, float], None]) -> None:
        self._answer = answer

    def between(self, start_s: float, end_s: float) -> None:
        self._answer(start_s, end_s)


def test_sound_is_asked_for_the_clip_s_own_time(tmp_path: Path) -> None:
    asked: list[tuple[float, float]] = []
    records: list[ClipRecord] = []
    ring = Ring()
    keeper = ClipKeeper(
        tmp_path / "one",
        on_clip=records.append,
        rules=RULES,
        ring=ring,
        sound=StandingSound(lambda start_s, end_s: asked.append((start_s, end_s))),
    )
    play(keeper, ring, 4.0, marks=[2.5])
    keeper.close()
    (record,) = records
    assert asked == [(record.start_s, record.end_s)]
    assert not record.has_sound
