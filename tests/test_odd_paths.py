"""Odd names of folders and videos: practised with, exported and shown like any other."""

from __future__ import annotations

import errno
import os
import sys
from pathlib import Path

import pytest
from cli_stand_ins import ScriptedHands, film
from test_cli_live import live, no_settings_of_the_user  # noqa: F401  a fixture

from posturewatch.cli.main import main
from posturewatch.review.derived import open_store
from posturewatch.review.practice_log import PracticeLog
from posturewatch.server.answers import answer
from posturewatch.storage.reader import SessionReader

#: Latin-1 for "etude" with an accent: bytes that are no UTF-8, which file systems of POSIX take.
ODD = os.fsdecode(b"\xe9tude")


@pytest.mark.skipif(sys.platform != "linux", reason="other systems refuse such names")
def test_names_that_are_no_utf_8(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfdbinary: pytest.CaptureFixture[bytes]
) -> None:
    ScriptedHands(lambda time_s: 10.0).use(monkeypatch)
    folder = tmp_path / ODD
    video = tmp_path / f"{ODD}.mkv"
    film(tmp_path / "a.mkv", 1.0).rename(video)
    assert live(video, folder, "--for", "9") == 0
    (info,) = SessionReader(folder).sessions()
    assert (info.source_name, info.end_reason) == ("\ufffdtude.mkv", "film ended")
    for command in ("data", "sessions", "repair"):
        assert main([command, "--data-dir", str(folder)]) == 0, command
    assert main(["export", "last", "--out", str(tmp_path / f"{ODD} out"), "--data-dir", str(folder)]) == 0
    with open_store(folder) as store:
        assert answer(PracticeLog(store).data()).status_code == 200


def test_a_folder_without_a_name_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["sessions", "--data-dir", ""]) == 2
    assert list(tmp_path.iterdir()) == []


#: Where a data folder is asked for, and why it cannot be used there.
NOT_USABLE = {
    "file": "there is a file of that name",
    "file/data": "what it should lie in is a file",
    "closed": "you may not look into it",
    "closed/data": "permission denied",
    "link": "it is a link to nothing",
    "n" * 300: "its name is too long",
    "nul\0": "its name holds a sign that no name of a folder has",
}


@pytest.mark.skipif(sys.platform == "win32", reason="rights and names as POSIX has them")
@pytest.mark.parametrize("name", NOT_USABLE)
@pytest.mark.parametrize("command", ["sessions", "summary last", "repair", "forget last --yes", "data"])
def test_a_folder_that_cannot_be_used_is_told_in_a_sentence(
    own_folder: Path, capsys: pytest.CaptureFixture[str], name: str, command: str
) -> None:
    (own_folder / "file").touch()
    (own_folder / "closed").mkdir(mode=0o600)
    (own_folder / "link").symlink_to("nowhere/at/all")
    before = sorted(own_folder.iterdir())
    assert main([*command.split(), "--data-dir", f"{own_folder}/{name}"]) == 4
    said = capsys.readouterr()
    assert said.out == ""
    (line,) = said.err.splitlines()
    assert line.endswith(f" cannot be used: {NOT_USABLE[name]}; choose another with --data-dir.")
    assert sorted(own_folder.iterdir()) == before


@pytest.mark.skipif(sys.platform == "win32", reason="rights as POSIX has them")
def test_a_folder_below_one_that_is_read_only(own_folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = own_folder / "fixed" / "data"
    folder.parent.mkdir()
    folder.parent.chmod(0o500)
    try:
        # There is nothing to be read, which is no fault; but nothing can be kept.
        assert main(["sessions", "--data-dir", str(folder)]) == 0
        assert "No session in" in capsys.readouterr().out
        assert main(["forget", "last", "--yes", "--data-dir", str(folder)]) == 4
        (line,) = capsys.readouterr().err.splitlines()
        assert line == (
            f"posturewatch: The data folder {folder} cannot be made ({os.strerror(errno.EACCES)}); "
            "choose another with --data-dir."
        )
    finally:
        folder.parent.chmod(0o700)
