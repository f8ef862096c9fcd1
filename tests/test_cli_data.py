"""The commands about the player's own data: export, data, forget."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import pytest
from log_factories import film, record

from posturewatch.cli.data import size
from posturewatch.cli.main import main
from posturewatch.review.derived import open_store
from posturewatch.storage.reader import SessionReader


@pytest.fixture
def kept(tmp_path: Path) -> tuple[Path, list[str]]:
    """A data folder with two sessions, of which the first has a film."""
    folder = tmp_path / "data"
    with open_store(folder) as store:
        ids = [record(store, 20.0) for _ in range(2)]
        film(store, ids[0], "clip-1", b"x" * 5000)
    return folder, ids


def sessions(folder: Path) -> list[str]:
    return [one.id for one in SessionReader(folder).sessions()]


def test_export_writes_both_files_and_never_over_others(
    kept: tuple[Path, list[str]], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder, ids = kept
    argv = ["export", "last", "--out", str(tmp_path / "out"), "--data-dir", str(folder)]
    assert main(argv) == 0
    paths = [Path(line) for line in capsys.readouterr().out.splitlines()]
    assert [path.name for path in paths] == [f"{ids[1]}.csv", f"{ids[1]}.json"]
    assert len(paths[0].read_text(encoding="utf-8").splitlines()) == 1 + 2 * 200
    assert json.loads(paths[1].read_text(encoding="utf-8"))["session"]["id"] == ids[1]
    assert main(argv) == 2
    assert "is there already" in capsys.readouterr().err


@pytest.mark.parametrize("argv", [["export", "zzz", "--out", "out"], ["forget", "zzz", "--yes"]])
def test_an_unknown_session_is_one_sentence(
    kept: tuple[Path, list[str]], argv: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([*argv, "--data-dir", str(kept[0])]) == 2
    said = capsys.readouterr().err
    assert "There is no session 'zzz'" in said
    assert len(said.splitlines()) == 1


def test_export_into_a_file_is_one_sentence(
    kept: tuple[Path, list[str]], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "taken").write_text("")
    assert main(["export", "last", "--out", str(tmp_path / "taken"), "--data-dir", str(kept[0])]) == 2
    assert "--out" in capsys.readouterr().err


def test_data_says_where_and_how_large(
    kept: tuple[Path, list[str]], capsys: pytest.CaptureFixture[str]
) -> None:
    folder, ids = kept
    assert main(["data", "--data-dir", str(folder)]) == 0
    said = capsys.readouterr().out
    assert said.splitlines()[0] == str(folder)
    assert "5.0 kB" in said
    assert "2 sessions" in said
    assert main(["data", "--json", "--data-dir", str(folder)]) == 0
    told = json.loads(capsys.readouterr().out)
    assert [one["id"] for one in told["sessions"]] == ids[::-1]
    assert told["clips_bytes"] == 5000


def test_data_of_a_folder_that_is_not_there_makes_none(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["data", "--data-dir", str(tmp_path / "none")]) == 0
    assert "0 sessions" in capsys.readouterr().out
    assert not (tmp_path / "none").exists()


@pytest.mark.parametrize(
    ("count", "words"),
    [(0, "0 B"), (999, "999 B"), (1000, "1.0 kB"), (1_500_000, "1.5 MB"), (2_340_000_000, "2.34 GB")],
)
def test_sizes_in_words(count: int, words: str) -> None:
    assert size(count) == words


def test_forget_deletes_one_session_with_its_clips(
    kept: tuple[Path, list[str]], capsys: pytest.CaptureFixture[str]
) -> None:
    folder, ids = kept
    assert main(["forget", ids[0], "--yes", "--data-dir", str(folder)]) == 0
    assert capsys.readouterr().out.startswith(f"Deleted session {ids[0]} of ")
    assert sessions(folder) == [ids[1]]
    assert not (folder / "clips" / ids[0]).exists()


def test_forget_everything(kept: tuple[Path, list[str]], capsys: pytest.CaptureFixture[str]) -> None:
    folder, _ = kept
    assert main(["forget", "--all", "--yes", "--data-dir", str(folder)]) == 0
    assert "all 2 sessions" in capsys.readouterr().out
    assert sessions(folder) == []


@pytest.mark.parametrize(
    ("reply", "code", "left"), [("yes", 0, 1), (" Y ", 0, 1), ("no", 1, 2), ("", 1, 2), ("yess", 1, 2)]
)
def test_forget_asks_first(
    kept: tuple[Path, list[str]],
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    reply: str,
    code: int,
    left: int,
) -> None:
    folder, ids = kept
    asked: list[str] = []
    monkeypatch.setattr(sys.stdin, "isatty", lambda: True, raising=False)

    def answer(question: str) -> str:
        asked.append(question)
        return reply

    monkeypatch.setattr("builtins.input", answer)
    assert main(["forget", ids[0], "--data-dir", str(folder)]) == code
    assert ids[0] in asked[0]
    assert "cannot be undone" in asked[0]
    assert len(sessions(folder)) == left


def test_forget_without_anybody_to_ask_deletes_nothing(
    kept: tuple[Path, list[str]], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    folder, _ = kept
    monkeypatch.setattr(sys.stdin, "isatty", lambda: False, raising=False)
    assert main(["forget", "--all", "--data-dir", str(folder)]) == 2
    assert "--yes" in capsys.readouterr().err
    assert len(sessions(folder)) == 2


def test_forget_while_another_program_records_deletes_nothing(
    kept: tuple[Path, list[str]], capsys: pytest.CaptureFixture[str]
) -> None:
    folder, _ = kept
    with open_store(folder):
        assert main(["forget", "--all", "--yes", "--data-dir", str(folder)]) == 4
    assert "in use by another running posturewatch" in capsys.readouterr().err
    assert len(sessions(folder)) == 2


@pytest.mark.parametrize("argv", [["forget"], ["forget", "3fa9", "--all"], ["export", "last"]])
def test_what_is_meant_has_to_be_said(argv: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(argv) == 2
    assert "Traceback" not in capsys.readouterr().err
