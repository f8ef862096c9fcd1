"""Nobody but the player can look into the data folder."""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator
from pathlib import Path

import pytest
from cli_stand_ins import ScriptedHands, film
from test_cli_live import live, no_settings_of_the_user  # noqa: F401  a fixture

from posturewatch.cli.main import main
from posturewatch.storage.folder.private import make_private
from posturewatch.storage.store import Store

pytestmark = pytest.mark.skipif(os.name != "posix", reason="rights as POSIX has them")


@pytest.fixture(autouse=True)
def usual_mask() -> Iterator[None]:
    """What files are made with on most systems; it is the process's, and tests share that."""
    before = os.umask(0o022)
    yield
    os.umask(before)


def open_to_others(folder: Path) -> list[str]:
    """What others may read, write or look into (POSIX.1-2017, sys/stat.h)."""
    others = stat.S_IRWXG | stat.S_IRWXO
    return [str(path) for path in (folder, *folder.rglob("*")) if path.lstat().st_mode & others]


def test_all_that_a_practice_and_an_export_leave_is_the_players_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    ScriptedHands(lambda time_s: 70.0).use(monkeypatch)
    folder, out = tmp_path / "data", tmp_path / "out"
    assert live(film(tmp_path / "a.mkv", 6.0), folder, "--for", "60") == 0
    assert list(folder.rglob("clip-*.mp4"))
    assert main(["export", "last", "--out", str(out), "--data-dir", str(folder)]) == 0
    assert open_to_others(folder) == []
    assert open_to_others(out) == []


def test_what_an_earlier_version_made_is_mended_at_the_start(tmp_path: Path) -> None:
    folder = tmp_path / "data"
    Store(folder).close()
    clip = folder / "clips" / "abc" / "clip-1.mp4"
    clip.parent.mkdir(parents=True)
    clip.write_bytes(b"x")
    for path in (folder, *folder.rglob("*")):
        path.chmod(0o755 if path.is_dir() else 0o644)
    Store(folder).close()
    assert open_to_others(folder) == []


def test_what_is_not_ours_keeps_its_rights(tmp_path: Path) -> None:
    theirs = tmp_path / "letter.txt"
    theirs.write_text("")
    link = tmp_path / "clips"
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    link.symlink_to(elsewhere)
    (elsewhere / "clip-1.mp4").write_bytes(b"x")
    before = {path: path.stat().st_mode for path in (tmp_path, theirs, elsewhere, elsewhere / "clip-1.mp4")}
    Store(tmp_path).close()
    make_private(tmp_path, made=False)
    assert {path: path.stat().st_mode for path in before} == before
    assert not (tmp_path / "practice.sqlite3").stat().st_mode & 0o077
