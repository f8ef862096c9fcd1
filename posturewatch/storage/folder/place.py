"""Whether the database that is being written to is still the one in the data folder."""

from __future__ import annotations

import logging
import sqlite3
from contextlib import closing
from pathlib import Path

from posturewatch.storage.folder.database import connect

__all__ = ["DatabasePlace", "PlaceError"]

_LOG = logging.getLogger(__name__)


class PlaceError(Exception):
    """The data folder has gone or is another one; the sentence says which."""


class DatabasePlace:
    """A writing connection and the path at which others look for what it writes.

    Where the data folder is deleted, moved or replaced, the system goes on writing into a file that nobody finds any
    more, without any error.

    Parameters
    ----------
    connection
        Handed over; `connection` is the one to be used, which changes where the database had to be written anew.
    path
        Of the database.
    """

    def __init__(self, connection: sqlite3.Connection, path: Path) -> None:
        self.connection = connection
        self._path = path
        self._identity = _identity(path)

    def check(self) -> None:
        """Does nothing while the database is in its place. Where the folder is back without it, it is written anew
        from what the connection still holds.

        Raises
        ------
        PlaceError
            Where it is not and cannot be.
        sqlite3.Error, OSError
            Where it cannot be written anew.
        """
        gone = self.gone()
        if gone is None:
            return
        if not self._path.parent.is_dir() or self._path.exists():
            raise PlaceError(gone)
        self._write_anew()

    def gone(self) -> str | None:
        """What has become of the folder, in one sentence; None while the database is in its place."""
        found = _identity(self._path)
        if found == self._identity:
            return None
        folder = self._path.parent
        if found is None:
            return f"The data folder {folder} or the database in it has gone."
        return f"The database in the data folder {folder} is another one now."

    def _write_anew(self) -> None:
        fresh = self._path.with_name(self._path.name + ".anew")
        with closing(sqlite3.connect(fresh)) as target:
            self.connection.backup(target)
            target.execute("PRAGMA journal_mode = DELETE")
        fresh.replace(self._path)
        connection = connect(self._path)
        self.connection.close()
        self.connection, self._identity = connection, _identity(self._path)
        _LOG.warning("the database had gone from %s and is written anew", self._path.parent)


def _identity(path: Path) -> tuple[int, int] | None:
    """Device and number of the file there, which no other file has while this one exists; None without one."""
    try:
        status = path.stat()
    except OSError:
        return None
    return status.st_dev, status.st_ino
