"""Clips of a running session: whatever goes wrong, the session goes on and nothing half is left."""

from __future__ import annotations

import errno
import subprocess
import sys
import threading
from pathlib import Path

import av
import pytest
from clip_factories import (
    frames,
    picture_reading,
)
from clips_stage import RULES, no_clip, play

from posturewatch.clips import keeper as keeper_module
from posturewatch.clips.folder import remove_leftovers
from posturewatch.clips.keeper import ClipKeeper, ClipRecord
from posturewatch.clips.ring import Ring


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


def test_a_data_folder_that_has_gone_is_not_begun_anew_by_a_clip(tmp_path: Path) -> None:
    """Another one in its place would keep the old one from coming back (rename(2): ENOTEMPTY)."""
    folder = tmp_path / "data"
    folder.mkdir()
    ring = Ring()
    keeper = ClipKeeper(folder / "clips" / "one", on_clip=no_clip, rules=RULES, ring=ring)
    folder.rename(tmp_path / "away")
    play(keeper, ring, 4.0, marks=[2.0])
    keeper.close()
    assert "cannot be written" in str(keeper.fault)
    assert not folder.exists()


LIMITED = """
import resource, signal, sys
from pathlib import Path
sys.path.insert(0, {tests!r})
from posturewatch.clips.keeper import ClipKeeper
from posturewatch.clips.ring import Ring
from clips_stage import RULES, play

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
from posturewatch.clips.keeper import ClipKeeper
from posturewatch.clips.ring import Ring
from posturewatch.clips.video_file import EncodedVideo
from clips_stage import RULES, play

whole = EncodedVideo.durations
def half(self):
    pairs = list(whole(self))
    yield from pairs[: len(pairs) // 2]
    print("half written", flush=True)
    threading.Event().wait()

EncodedVideo.durations = half
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
