"""Rights of the data folder: nobody but its owner may look into it. Windows keeps user folders apart by itself."""

from __future__ import annotations

import logging
import os
import stat
from collections.abc import Iterator
from pathlib import Path

from posturewatch.storage.folder.database import FILE_NAME
from posturewatch.storage.tables.clips import CLIPS_FOLDER

__all__ = ["make_private", "private_files"]

_LOG = logging.getLogger(__name__)

_STEM = FILE_NAME.partition(".")[0]


def private_files() -> None:
    """From now on files and folders that this process makes are its user's alone (POSIX umask)."""
    os.umask(0o077)


def make_private(folder: Path, *, made: bool) -> None:
    """Takes the rights of others from what an earlier version made: folders 0700, files 0600.

    Parameters
    ----------
    folder
        The data folder.
    made
        Whether it was made just now. A folder that holds things of others too keeps its own rights; what is ours in it
        does not.
    """
    if os.name != "posix":
        return
    ours = list(_ours(folder))
    if made or all(path.name.startswith(f"{_STEM}.") or path in ours for path in folder.iterdir()):
        _restrict(folder)
    for path in ours:
        _restrict(path)


def _ours(folder: Path) -> Iterator[Path]:
    for path in folder.iterdir():
        if path.name.startswith((f"{_STEM}.", f"{_STEM}-")):
            yield path
    clips = folder / CLIPS_FOLDER
    if clips.is_dir() and not clips.is_symlink():
        yield clips
        yield from clips.rglob("*")


def _restrict(path: Path) -> None:
    try:
        status = path.lstat()
        if stat.S_ISLNK(status.st_mode) or not stat.S_IMODE(status.st_mode) & 0o077:
            return
        path.chmod(0o700 if stat.S_ISDIR(status.st_mode) else 0o600)
    except OSError as error:
        # Another user's folder, or a file system without rights: said where it was started, and used all the same.
        _LOG.warning("others may be able to look into %s: %s", path, error)
