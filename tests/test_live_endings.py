"""However a practice is ended, all of it is kept: by signals, by several of them, on a slow disk, by the page."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace

import pytest
from capture_videos import write_film
from cli_stand_ins import ScriptedHands, film
from test_cli_live import live, no_settings_of_the_user  # noqa: F401  a fixture

from posturewatch.cli.analyse import EXIT_INCOMPLETE
from posturewatch.cli.main import main
from posturewatch.cli.signals import end_requests
from posturewatch.pipeline.practice import Practice
from posturewatch.review.derived import open_store
from posturewatch.review.practice_log import PracticeLog
from posturewatch.server.feed import LiveFeed
from posturewatch.storage.reader import SessionReader

#: Windows has none.
HANG_UP = getattr(signal, "SIGHUP", signal.SIGTERM)

#: Requests to end and what follows them while the practice is being closed (POSIX.1-2017, signal.h).
REQUESTS = {
    "Ctrl-C": (signal.SIGINT,),
    "asked politely": (signal.SIGTERM,),
    "terminal closed": (HANG_UP,),
    "Ctrl-C twice": (signal.SIGINT, signal.SIGINT),
    "several": (signal.SIGTERM, signal.SIGINT, HANG_UP),
}

#: Of the film, ten frames a second.
LAST_FRAME = 20


@pytest.fixture
def usual_signals() -> Iterator[None]:
    """As in a terminal, also where the tests themselves run in the background."""
    numbers = (signal.SIGINT, signal.SIGTERM, HANG_UP)
    before = {number: signal.getsignal(number) for number in numbers}
    signal.signal(signal.SIGINT, signal.default_int_handler)
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    signal.signal(HANG_UP, signal.SIG_DFL)
    yield
    for number, handler in before.items():
        signal.signal(number, handler)


@pytest.mark.usefixtures("usual_signals")
@pytest.mark.parametrize("name", REQUESTS)
def test_every_request_to_end_keeps_all_of_it_on_a_slow_disk_too(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    practices: list[Practice] = []
    start = Practice.start

    def started(practice: Practice) -> object:
        practices.append(practice)
        return start(practice)

    def slow_disk(descriptor: int) -> None:
        time.sleep(1.0)
        os.fsync(descriptor)

    def ask() -> None:
        for number in REQUESTS[name]:
            os.kill(os.getpid(), number)
            time.sleep(0.3)

    asking = threading.Thread(target=ask)

    def at_frame(index: int) -> None:
        if index == LAST_FRAME - 5:
            practices[0].mark("the last clip is of this")
        if index == LAST_FRAME:
            asking.start()
            practices[0]._stop.wait(20.0)  # the frame in work is the last

    monkeypatch.setattr(Practice, "start", started)
    monkeypatch.setattr("posturewatch.clips.keeper.os", SimpleNamespace(fsync=slow_disk))
    ScriptedHands(lambda time_s: 10.0, at_frame).use(monkeypatch)
    assert live(film(tmp_path / "a.mkv", 30.0), tmp_path / "data") == 0
    asking.join()
    said = capsys.readouterr().out
    assert "still open" not in said
    info = SessionReader(tmp_path / "data").find("last")
    assert info.end_reason == "stopped"
    record = SessionReader(tmp_path / "data").session(info.id)
    assert all(len(one.time_s) == LAST_FRAME + 1 for one in record.series if one.quantity == "wrist_flexion")
    with open_store(tmp_path / "data") as store:
        (clip,) = PracticeLog(store).clips()
    assert clip["state"] == "there"
    assert clip["reason"] == "mark"


@pytest.mark.usefixtures("usual_signals")
def test_what_is_ignored_stays_ignored() -> None:
    # nohup(1): the command runs with SIGHUP ignored.
    signal.signal(HANG_UP, signal.SIG_IGN)
    with end_requests() as asked:
        signal.raise_signal(HANG_UP)
        assert not asked()
        signal.raise_signal(signal.SIGTERM)
        assert asked()


#: What is still there when the interpreter closes is taken down by it (Python's documentation, `object.__del__`).
CLOSING = """
import signal, sys
from posturewatch.cli.signals import end_requests, ends_with_the_command

class AtTheVeryEnd:
    def __del__(self):
        for one in sent:
            signal.raise_signal(one)

sent, last = {sent}, AtTheVeryEnd()
for one in sent:
    signal.signal(one, signal.default_int_handler if one == signal.SIGINT else signal.SIG_DFL)
ends_with_the_command()
with end_requests() as asked:
    signal.raise_signal(signal.SIGINT)
assert asked()
sys.exit(3)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")
@pytest.mark.parametrize("late", [signal.SIGINT, signal.SIGTERM, HANG_UP])
def test_a_request_while_the_interpreter_closes_changes_no_exit_code(late: signal.Signals) -> None:
    sent = [int(signal.SIGINT), int(late)] if late != signal.SIGINT else [int(late)]
    done = subprocess.run([sys.executable, "-c", CLOSING.format(sent=sent)], capture_output=True, check=False)
    assert (done.returncode, done.stderr) == (3, b"")


#: What an interpreter does with all that is loaded when it closes takes the longer the more that is, as `__del__` here.
LOADED = """
import atexit, runpy, sys

class Loaded:
    def __del__(self):
        print("taken down", flush=True)

loaded = Loaded()
atexit.register(print, "what was to be done at the end")
sys.argv = ["posturewatch", "{argument}"]
runpy.run_module("posturewatch", run_name="__main__", alter_sys=True)
"""


@pytest.mark.parametrize(
    ("argument", "code", "said"), [("--version", 0, "posturewatch "), ("nonsense", 2, "")]
)
def test_a_command_that_is_done_ends_at_once(argument: str, code: int, said: str) -> None:
    done = subprocess.run(
        [sys.executable, "-c", LOADED.format(argument=argument)], capture_output=True, text=True, check=False
    )
    assert done.returncode == code
    first, *rest = done.stdout.splitlines() if said else ["", *done.stdout.splitlines()]
    assert first.startswith(said)
    assert rest == ["what was to be done at the end"]


def test_a_page_that_fails_does_not_take_the_record_with_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def broken(feed: LiveFeed, reading: object) -> None:
        raise RuntimeError("of the page")

    monkeypatch.setattr(LiveFeed, "put", broken)
    ScriptedHands(lambda time_s: 10.0).use(monkeypatch)
    assert live(film(tmp_path / "a.mkv", 2.0), tmp_path / "data", "--for", "9") == 1
    assert "A part of the program failed" in capsys.readouterr().out
    (info,) = SessionReader(tmp_path / "data").sessions()
    assert (info.end_reason, round(info.end_s, 1)) == ("film ended", 1.9)


def test_a_film_that_is_cut_short_is_told_of_at_the_end(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    ScriptedHands(lambda time_s: 10.0).use(monkeypatch)
    times_s = [index / 25 for index in range(50)]
    path = write_film(
        tmp_path / "a.mp4", times_s, codec="libx264", container_options={"movflags": "faststart"}
    )
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])
    assert live(path, tmp_path / "data", "--for", "60") == EXIT_INCOMPLETE
    assert "of 50 frames" in capsys.readouterr().out
    out = tmp_path / "out"
    assert main(["analyse", str(path), "--out", str(out)]) == EXIT_INCOMPLETE
    assert "of 50 frames" in capsys.readouterr().err
    assert "of 50 frames" in json.loads((out / "summary.json").read_text())["notice"]
