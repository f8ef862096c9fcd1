"""One running program per data folder: a lock of the operating system, which vanishes with the process."""

from __future__ import annotations

import errno
import os
import sys
from pathlib import Path

from posturewatch.errors import StoreError

__all__ = ["FolderInUseError", "FolderLock"]

_NAME = "practice.lock"

#: What an operating system answers when somebody else holds the lock.
_HELD = {errno.EACCES, errno.EAGAIN, errno.EDEADLK}


class FolderInUseError(StoreError):
    """Another running posturewatch holds the data folder."""


class FolderLock:
    """Held from its creation until `close`; creating a second one for the same folder raises.

    The file itself stays behind empty and means nothing: the lock is on the open file, so that a killed
    process leaves none. Raises FolderInUseError where another process (or this one) holds it, and StoreError
    where the folder cannot be locked at all.
    """

    def __init__(self, folder: Path) -> None:
        self._file: int | None = None
        path = folder / _NAME
        try:
            file = os.open(path, os.O_RDWR | os.O_CREAT, 0o600)
        except OSError as error:
            raise StoreError(
                f"The data folder {folder} cannot be written to ({error.strerror}); "
                "free it or choose another with --data-dir."
            ) from error
        try:
            _lock(file)
        except OSError as error:
            os.close(file)
            if error.errno in _HELD:
                raise FolderInUseError(
                    f"The data folder {folder} is in use by another running posturewatch; "
                    "stop that one first, or choose another folder with --data-dir."
                ) from error
            raise StoreError(
                f"The data folder {folder} cannot be locked ({error.strerror}), which some network folders "
                "do not offer; choose one on this machine with --data-dir."
            ) from error
        self._file = file

    def close(self) -> None:
        """Gives the folder free; may be called twice."""
        file, self._file = self._file, None
        if file is not None:
            os.close(file)  # closing the file ends the lock on every system


if sys.platform == "win32":
    import msvcrt

    def _lock(file: int) -> None:
        os.lseek(file, 0, os.SEEK_SET)
        msvcrt.locking(file, msvcrt.LK_NBLCK, 1)

else:
    import fcntl

    def _lock(file: int) -> None:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
