"""What is said of a file that is not what it should be."""

from __future__ import annotations

from pathlib import Path

from posturewatch.errors import InputError

__all__ = ["ArchiveError", "refused"]


class ArchiveError(InputError):
    """The file is none of ours, is damaged or was made to do harm; nothing of it is used."""


def refused(path: Path, why: str) -> ArchiveError:
    """The fault of that file, in one sentence."""
    return ArchiveError(f"{path} cannot be used: {why}. Nothing was changed; choose another file.")
