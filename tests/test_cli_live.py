"""`posturewatch live` and `check`, with scripted hands instead of models."""

from __future__ import annotations

import signal
import socket
import threading
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace

import httpx
import pytest
from cli_stand_ins import ScriptedHands, film

from posturewatch.cli import check as check_module
from posturewatch.cli.main import main
from posturewatch.errors import SourceError
from posturewatch.pipeline.practice import Practice
from posturewatch.review.derived import open_store
from posturewatch.storage.reader import SessionReader


@pytest.fixture(autouse=True)
def no_settings_of_the_user(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(
        "posturewatch.config.settings.default_settings_path", lambda: tmp_path / "no" / "settings.toml"
    )


def live(source: object, folder: Path, *more: str) -> int:
    return main(
        ["live", "--source", str(source), "--data-dir", str(folder), "--no-browser", "--port", "0", *more]
    )


def test_a_session_of_a_given_length_is_kept_and_summarised(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    hands = ScriptedHands(lambda time_s: 10.0).use(monkeypatch)
    source = film(tmp_path / "lesson.mkv", 5.0)
    assert live(source, tmp_path / "data", "--for", "0.95") == 0
    said = capsys.readouterr().out
    assert "The page is at http://127.0.0.1:" in said
    assert "Left hand:" in said
    (info,) = SessionReader(tmp_path / "data").sessions()
    assert info.id in said
    assert (info.source_name, info.end_reason, info.instrument) == ("lesson.mkv", "time reached", "guitar")
    record = SessionReader(tmp_path / "data").session(info.id)
    assert all(len(one.time_s) == 10 for one in record.series)
    assert record.settings["watch"]["hold_s"] == 3.0
    assert hands.released == 1


def test_a_film_shorter_than_asked_ends_the_session(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    ScriptedHands(lambda time_s: 10.0).use(monkeypatch)
    assert live(film(tmp_path / "a.mkv", 0.5), tmp_path / "data", "--for", "60") == 0
    assert SessionReader(tmp_path / "data").find("last").end_reason == "film ended"


@pytest.fixture
def interrupts() -> Iterator[None]:
    """Ctrl-C as a terminal sends it, also where the tests themselves run in the background, which ignores it."""
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    yield
    signal.signal(signal.SIGINT, before)


@pytest.mark.usefixtures("interrupts")
def test_the_page_is_there_while_it_runs_and_ctrl_c_ends_it_well(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    ScriptedHands(lambda time_s: 10.0).use(monkeypatch)
    opened: list[str] = []
    answers: dict[str, object] = {}

    def look_and_interrupt(url: str) -> None:
        """What a browser would do: look at the page and the state, then the player presses Ctrl-C."""
        with httpx.Client(trust_env=False, timeout=20) as browser:
            answers["entered"] = browser.get(url).status_code
            answers["state"] = browser.get(f"{url.partition('?')[0]}api/state").json()
        reader = SessionReader(tmp_path / "data")
        while not reader.sessions() or reader.sessions()[0].end_s < 0.5:
            time.sleep(0.05)
        signal.raise_signal(signal.SIGINT)

    def open_browser(url: str) -> bool:
        opened.append(url)
        threading.Thread(target=look_and_interrupt, args=(url,), name="player").start()
        return True

    monkeypatch.setattr("posturewatch.cli.live.webbrowser.open", open_browser)
    source = film(tmp_path / "a.mkv", 60.0)
    assert main(["live", "--source", str(source), "--data-dir", str(tmp_path / "data"), "--port", "0"]) == 0
    (url,) = opened
    assert url.startswith("http://127.0.0.1:")
    assert answers["entered"] == 200
    state = answers["state"]
    assert isinstance(state, dict)
    info = SessionReader(tmp_path / "data").find("last")
    assert info.end_reason == "stopped"
    assert info.id in capsys.readouterr().out
    assert not [thread.name for thread in threading.enumerate() if thread.name in ("recorder", "practice")]


@pytest.mark.usefixtures("interrupts")
def test_between_sessions_it_rests(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """When the film is over the page stays; until the player starts again or ends it, nothing is asked in a hurry."""
    ScriptedHands(lambda time_s: 10.0).use(monkeypatch)
    asked: list[bool] = []
    rests: list[float] = []
    wait = Practice.wait

    def counted(practice: Practice, timeout_s: float | None = None) -> bool:
        asked.append(wait(practice, timeout_s))
        return asked[-1]

    def rest(rest_s: float) -> None:
        rests.append(rest_s)
        if len(rests) == 3:
            signal.raise_signal(signal.SIGINT)

    monkeypatch.setattr(Practice, "wait", counted)
    monkeypatch.setattr("posturewatch.pipeline.live_practice.time", SimpleNamespace(sleep=rest))
    assert live(film(tmp_path / "a.mkv", 0.5), tmp_path / "data") == 0
    over = asked[asked.index(True) :]
    assert len(over) == len(rests) == 3
    assert min(rests) >= 0.1


def test_the_port_that_is_taken_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    ScriptedHands(lambda time_s: 10.0).use(monkeypatch)
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        assert live(film(tmp_path / "a.mkv", 1.0), tmp_path / "data", "--port", str(port)) == 5
    assert_sentence(capsys, f"Port {port} is taken")
    assert not (tmp_path / "data").exists()


def test_a_source_that_cannot_be_had_is_told_and_leaves_no_session(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    hands = ScriptedHands(lambda time_s: 10.0).use(monkeypatch)

    def in_use(spec: str, **asked: object) -> None:
        raise SourceError(f"Camera {spec} cannot be opened; it is probably in use.")

    assert live(tmp_path / "missing.mp4", tmp_path / "data") == 2
    assert_sentence(capsys, "There is no video at")
    monkeypatch.setattr("posturewatch.pipeline.live_practice.open_source", in_use)
    assert live("0", tmp_path / "data") == 3
    assert_sentence(capsys, "probably in use")
    assert SessionReader(tmp_path / "data").sessions() == []
    assert hands.released == 0


def test_a_data_folder_that_cannot_be_used_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    ScriptedHands(lambda time_s: 10.0).use(monkeypatch)
    source = film(tmp_path / "a.mkv", 1.0)
    (tmp_path / "file").write_text("")
    assert live(source, tmp_path / "file") == 4
    assert_sentence(capsys, "--data-dir")
    with open_store(tmp_path / "data"):
        assert live(source, tmp_path / "data") == 4
    assert_sentence(capsys, "in use by another running posturewatch")


def test_broken_settings_and_profiles_are_told_first(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    broken = tmp_path / "mine.toml"
    broken.write_text("[watch]\nhold_s = 'long'\n")
    assert live("demo", tmp_path / "data", "--settings", str(broken)) == 2
    assert_sentence(capsys, "line 2")
    assert live("demo", tmp_path / "data", "--profile", "nothing") == 2
    assert_sentence(capsys, "There is no limit profile 'nothing'")


def test_a_damaged_database_is_told_of_and_practice_goes_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    ScriptedHands(lambda time_s: 10.0).use(monkeypatch)
    folder = tmp_path / "data"
    folder.mkdir()
    (folder / "practice.sqlite3").write_bytes(b"no database" * 1000)
    assert live(film(tmp_path / "a.mkv", 0.5), folder, "--for", "9") == 0
    assert "set aside untouched" in capsys.readouterr().out
    assert len(SessionReader(folder).sessions()) == 1


def assert_sentence(capsys: pytest.CaptureFixture[str], part: str) -> None:
    """One line on stderr, nothing of a traceback."""
    said = capsys.readouterr().err
    assert part in said
    assert said.startswith("posturewatch: ")
    assert said.count("\n") == 1


@pytest.mark.usefixtures("interrupts")
@pytest.mark.parametrize("command", [("log",), ("live", "--source", "0", "--start")])
def test_the_practice_log_opens_without_a_camera(
    command: tuple[str, ...],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """By a command of its own, which looks for no camera, and where the camera is not there."""
    ScriptedHands(lambda time_s: 10.0).use(monkeypatch)
    asked: list[str] = []
    opened: list[str] = []

    def none_there(spec: str, **options: object) -> None:
        asked.append(spec)
        raise SourceError("There is no camera 0.")

    def open_browser(url: str) -> bool:
        with urllib.request.urlopen(url, timeout=20) as answer:
            opened.append(f"{answer.status} {url.split('?')[0].split('/')[-1]}")
        threading.Timer(0.5, signal.raise_signal, (signal.SIGINT,)).start()
        return True

    monkeypatch.setattr("posturewatch.pipeline.live_practice.open_source", none_there)
    monkeypatch.setattr("posturewatch.cli.live.webbrowser.open", open_browser)
    main([*command, "--data-dir", str(tmp_path / "data"), "--port", "0"])
    assert opened == ["200 log.html"]
    assert asked == ([] if command == ("log",) else ["0"])
    assert ("There is no camera 0. The practice log opens" in capsys.readouterr().out) == bool(asked)
    assert SessionReader(tmp_path / "data").sessions() == []


# ---- check ----


def test_check_goes_through_everything(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    ScriptedHands(lambda time_s: 10.0).use(monkeypatch)
    demo = film(tmp_path / "demo.mkv", 2.0)
    monkeypatch.setattr("posturewatch.capture.opening.demo_video", lambda: demo)
    monkeypatch.setattr("posturewatch.capture.demo_video", lambda: demo)
    monkeypatch.setattr("posturewatch.capture.find_cameras", lambda: ())
    for name in ("estimator_path", "forearm_path", "fingers_path"):
        monkeypatch.setattr(f"posturewatch.pipeline.build.{name}", lambda: demo)
    assert main(["check", "--data-dir", str(tmp_path / "data")]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[-1] == "All is well."
    assert [line.split(":")[0] for line in lines[:-1]] == [
        f"ok     {one.name}" for one in check_module.CHECKS
    ]
    assert "left wrist measured 100 % of the time" in lines[-2]
    assert SessionReader(tmp_path / "data").sessions() == []


def test_check_names_what_failed_and_goes_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def broken() -> Path:
        raise ImportError("libGL.so.1: cannot open shared object file")

    ScriptedHands(lambda time_s: 10.0).use(monkeypatch)
    monkeypatch.setattr("posturewatch.capture.opening.demo_video", broken)
    monkeypatch.setattr("posturewatch.capture.demo_video", broken)
    monkeypatch.setattr("posturewatch.capture.find_cameras", lambda: ())
    (tmp_path / "file").write_text("")
    assert main(["check", "--data-dir", str(tmp_path / "file")]) == 1
    said = capsys.readouterr().out
    assert "FAILED files: libGL.so.1" in said
    assert "FAILED data folder:" in said
    assert "FAILED round trip: libGL.so.1" in said
    assert said.splitlines()[-1] == f"3 of {len(check_module.CHECKS)} failed."
