"""The command line as a whole: help, versions, faults as one sentence, lists and summaries."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path

import pytest
from session_factories import LIMITS, Ended, make_reading

from posturewatch import __main__ as door
from posturewatch import __version__
from posturewatch.cli.main import build_parser, main
from posturewatch.cli.sessions import clock
from posturewatch.config.settings import parse_settings
from posturewatch.review.derived import open_store
from posturewatch.storage.records import SessionStart

COMMANDS = ("live", "analyse", "sessions", "summary", "export", "data", "forget", "check", "settings")


@pytest.fixture(autouse=True)
def no_settings_of_the_user(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(
        "posturewatch.config.settings.default_settings_path", lambda: tmp_path / "no" / "settings.toml"
    )


@pytest.fixture
def kept(tmp_path: Path) -> tuple[Path, str]:
    """A data folder with one session of a minute, warned of once."""
    from posturewatch.comfort.watch import Watch

    watch = Watch(LIMITS, SessionStart("", "", "", LIMITS).rules)
    folder = tmp_path / "data"
    with open_store(folder) as store:
        recorder = store.begin(SessionStart("demo film", "film", "0.1.0", LIMITS))
        for index in range(60 * 20):
            time_s = index / 20
            flexion = 70.0 if 20 <= time_s < 28 else 10.0
            reading = make_reading(
                index,
                time_s,
                {("left", "wrist_flexion"): (flexion, 3.0), ("left", "wrist_ulnar_deviation"): (2.0, 3.0)},
            )
            verdict = watch.update(reading.measurement)
            recorder.put(type(reading)(**{**vars(reading), "verdict": verdict}))
        recorder.mark(12.0, "bar 9")
        identity = recorder.finish(Ended(60.0, closed=watch.finish(60.0)))
    return folder, identity


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_explains_itself_with_examples(
    command: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([command, "--help"]) == 0
    said = capsys.readouterr().out
    examples = re.findall(r"^  posturewatch (.+)$", said.split("examples:")[1], re.MULTILINE)
    assert examples
    for example in examples:
        words = example.split(">")[0].split()
        assert words[0] == command
        build_parser().parse_args(words)  # leaves with an error where the example is wrong


def test_without_a_command_the_help_is_shown(capsys: pytest.CaptureFixture[str]) -> None:
    assert main([]) == 0
    said = capsys.readouterr().out
    assert all(command in said for command in COMMANDS)


def test_the_version_is_told(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--version"]) == 0
    assert capsys.readouterr().out.strip() == f"posturewatch {__version__}"


@pytest.mark.parametrize(
    "argv", [["practise"], ["live", "--for", "soon"], ["live", "--for", "-1"], ["analyse"]]
)
def test_wrong_arguments_leave_with_two(argv: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(argv) == 2
    assert "usage: posturewatch" in capsys.readouterr().err


@pytest.mark.parametrize("version", [(3, 9), (3, 13), (4, 0), (2, 7)])
def test_another_python_is_told_the_way_out(
    version: tuple[int, int], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(sys, "version_info", (*version, 1, "final", 0))
    assert door.main(["live"]) == 5
    said = capsys.readouterr().err
    assert f"this is {version[0]}.{version[1]}:" in said
    assert "uv venv --python 3.12" in said
    assert said.count("\n") == 1


@pytest.mark.parametrize("version", [(3, 10), (3, 11), (3, 12)])
def test_a_fitting_python_is_let_in(version: tuple[int, int]) -> None:
    assert door.wrong_python(version) is None


def test_the_door_imports_nothing_heavy() -> None:
    said = subprocess.run(
        [
            sys.executable,
            "-c",
            "import sys; from posturewatch.__main__ import main; main(['--version']); "
            "print(sorted({'cv2', 'mediapipe', 'numpy', 'av', 'fastapi'} & set(sys.modules)))",
        ],
        capture_output=True,
        text=True,
        check=True,
        timeout=60,
    ).stdout
    assert said.splitlines()[-1] == "[]"


def test_the_list_of_sessions(kept: tuple[Path, str], capsys: pytest.CaptureFixture[str]) -> None:
    folder, identity = kept
    assert main(["sessions", "--data-dir", str(folder)]) == 0
    line = capsys.readouterr().out.splitlines()[1]
    assert line.startswith(identity)
    assert "1:00" in line
    assert line.endswith("demo film")
    assert main(["sessions", "--json", "--data-dir", str(folder)]) == 0
    (one,) = json.loads(capsys.readouterr().out)
    assert (one["id"], one["duration_s"], one["end_reason"]) == (identity, 60.0, "stopped")


def test_an_empty_folder_lists_none(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["sessions", "--data-dir", str(tmp_path / "new")]) == 0
    assert "No session in" in capsys.readouterr().out
    assert main(["sessions", "--json", "--data-dir", str(tmp_path / "new")]) == 0
    assert json.loads(capsys.readouterr().out) == []
    assert not (tmp_path / "new").exists()


@pytest.mark.parametrize("name", ["last", "first four"])
def test_the_summary_in_words_and_in_json(
    kept: tuple[Path, str], name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    folder, identity = kept
    asked = "last" if name == "last" else identity[:4]
    assert main(["summary", asked, "--data-dir", str(folder)]) == 0
    said = capsys.readouterr().out
    assert identity in said
    assert "Warnings of what was held beyond an extreme limit: 1." in said
    assert re.search(r"Warned at 0:20: left wrist bent in \(flexion\) beyond [\d.]+ deg, until 0:28\.", said)
    assert "Right hand: not measured (hand not seen)." in said
    assert "Mark at 0:12. bar 9" in said
    assert main(["summary", asked, "--json", "--data-dir", str(folder)]) == 0
    summary = json.loads(capsys.readouterr().out)
    assert summary["session"]["id"] == identity
    assert summary["warnings"] == 1


def test_an_unknown_session_is_one_sentence(
    kept: tuple[Path, str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["summary", "zz", "--data-dir", str(kept[0])]) == 2
    assert_sentence(capsys, "There is no session 'zz'")


def test_a_damaged_database_is_one_sentence(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "practice.sqlite3").write_bytes(b"no database" * 1000)
    assert main(["sessions", "--data-dir", str(tmp_path)]) == 4
    assert_sentence(capsys, "cannot be read")


def test_sessions_are_listed_while_one_runs(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with open_store(tmp_path) as store:
        store.begin(SessionStart("camera 0", "camera", "0.1.0", LIMITS))
        assert main(["sessions", "--data-dir", str(tmp_path)]) == 0
        assert "still open" in capsys.readouterr().out
        assert main(["summary", "last", "--data-dir", str(tmp_path)]) == 0
        assert "still open" in capsys.readouterr().out


def test_the_printed_settings_are_valid(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["settings"]) == 0
    assert parse_settings(capsys.readouterr().out) == parse_settings("")
    assert main(["settings", "--path"]) == 0
    assert capsys.readouterr().out.strip().endswith("settings.toml")
    assert main(["settings", "--profiles"]) == 0
    assert "carpal-pressure" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("duration_s", "said"), [(0, "0:00"), (59.6, "1:00"), (3599, "59:59"), (3661, "1:01:01")]
)
def test_durations_in_words(duration_s: float, said: str) -> None:
    assert clock(duration_s) == said


def assert_sentence(capsys: pytest.CaptureFixture[str], part: str) -> None:
    """One line on stderr, nothing of a traceback."""
    said = capsys.readouterr().err
    assert part in said
    assert said.startswith("posturewatch: ")
    assert said.count("\n") == 1
