"""One running program per data folder: a lock of the operating system, which vanishes with the process."""

from __future__ import annotations

from pathlib import Path

from filelock import FileLock, Timeout

from posturewatch.errors import StoreError

__all__ = ["FolderInUseError", "FolderLock"]

_NAME = "practice.lock"


class FolderInUseError(StoreError):
    """Another running posturewatch holds the data folder."""


class FolderLock:
    """Held from its creation until `close`; creating a second one for the same folder raises.

    The file itself means nothing: the lock is on the open file, so that a killed process leaves none.

    Raises
    ------
    FolderInUseError
        Where another process, or this one, holds the folder.
    StoreError
        Where the folder cannot be written to, or not be locked at all.
    """

    def __init__(self, folder: Path) -> None:
        # thread_local=False: closed by whichever thread ends the program.
        self._lock = FileLock(folder / _NAME, timeout=0, mode=0o600, thread_local=False)
        try:
            self._lock.acquire()
        except Timeout as error:
            raise FolderInUseError(
                f"The data folder {folder} is in use by another running posturewatch; "
                "stop that one first, or choose another folder with --data-dir."
            ) from error
        except NotImplementedError as error:
            raise StoreError(
                f"The data folder {folder} cannot be locked, which some network folders do not offer; "
                "choose one on this machine with --data-dir."
            ) from error
        except OSError as error:
            raise StoreError(
                f"The data folder {folder} cannot be written to ({error.strerror}); "
                "free it or choose another with --data-dir."
            ) from error

    def close(self) -> None:
        """Gives the folder free; may be called twice."""
        self._lock.release()
