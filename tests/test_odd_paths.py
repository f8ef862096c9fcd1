"""Odd names of folders and videos: practised with, exported and shown like any other."""

from __future__ import annotations

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
