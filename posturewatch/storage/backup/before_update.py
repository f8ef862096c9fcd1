"""A backup that is made by itself before the database is brought up to date, and goes with what is deleted."""

from __future__ import annotations

import datetime as dt
import logging
import secrets
import tempfile
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

from posturewatch.storage.backup.making import archive_database, copy_of_database
from posturewatch.storage.folder.database import FILE_NAME, connect_read_only

__all__ = ["BEFORE_UPDATE", "drop_backups", "keep_before_update"]

_LOG = logging.getLogger(__name__)

#: How the names of such backups begin.
BEFORE_UPDATE = "practice-before-update-"

#: The newest of them are kept.
_KEPT = 2


def keep_before_update(database: Path) -> Path:
    """Saves the database as it is beside itself; clips are not touched by an update and left out. Where it is then.

    Raises
    ------
    sqlite3.Error, OSError, ArchiveError
        Where that cannot be done.
    """
    folder = database.parent
    stamp = dt.datetime.now().astimezone().strftime("%Y%m%d-%H%M%S")
    path = folder / f"{BEFORE_UPDATE}{stamp}-{secrets.token_hex(2)}.zip"
    with tempfile.TemporaryDirectory(prefix=".backup-", dir=folder) as temporary:
        copy = Path(temporary) / FILE_NAME
        copy_of_database(database, copy)
        with closing(connect_read_only(copy)) as connection:
            archive_database(connection, copy, path, clips={}, whole=True, with_clips=False)
    for older in sorted(_found(folder))[:-_KEPT]:
        older.unlink(missing_ok=True)
    _LOG.info("the database as it was before the update is kept as %s", path)
    return path


def drop_backups(folder: Path) -> None:
    """Deletes them all: what the player deletes must not stay in them.

    Raises
    ------
    OSError
        Where one cannot be deleted.
    """
    for path in list(_found(folder)):
        path.unlink(missing_ok=True)


def _found(folder: Path) -> Iterator[Path]:
    return folder.glob(f"{BEFORE_UPDATE}*.zip")
