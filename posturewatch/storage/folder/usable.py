"""Whether a path can be that of a data folder at all, before anything is looked for in it."""

from __future__ import annotations

import errno
import os
import stat
from pathlib import Path

from posturewatch.errors import StoreError

__all__ = ["check_usable"]


def check_usable(folder: Path) -> None:
    """Does nothing for a folder that may be looked into, and for one that is not there yet.

    Raises
    ------
    StoreError
        For everything else, with one sentence.
    """
    why = _why_not(folder)
    if why is not None:
        raise StoreError(f"The data folder {folder} cannot be used: {why}; choose another with --data-dir.")


def _why_not(folder: Path) -> str | None:
    try:
        mode = folder.stat().st_mode
    except FileNotFoundError:
        return "it is a link to nothing" if folder.is_symlink() else None
    except NotADirectoryError:
        return "what it should lie in is a file"
    except ValueError:
        return "its name holds a sign that no name of a folder has"
    except OSError as error:
        return "its name is too long" if error.errno == errno.ENAMETOOLONG else str(error.strerror).lower()
    if not stat.S_ISDIR(mode):
        return "there is a file of that name"
    # With the rights in force, which need not be those of who started the program.
    inside = os.access(folder, os.R_OK | os.X_OK, effective_ids=os.access in os.supports_effective_ids)
    return None if inside else "you may not look into it"
