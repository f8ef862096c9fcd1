"""Opening the SQLite file: for the one writer, and read-only for everybody else."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import quote

from posturewatch.storage.schema.row_checksums import ROWS, watch_rows

__all__ = ["FILE_NAME", "connect", "connect_read_only", "looks_sound", "transaction", "uri_of"]

FILE_NAME = "practice.sqlite3"

#: How long one connection waits for another's lock. Commits take milliseconds.
_BUSY_S = 5.0

#: From this version on SQLite checks one table alone.
_CHECKS_TABLES = (3, 33, 0)

#: Pages of 4 KiB in the write-ahead file before it is folded in: a megabyte, not SQLite's usual four.
_CHECKPOINT_PAGES = 250


def connect(path: Path, *, create: bool = False) -> sqlite3.Connection:
    """A writing connection in autocommit mode; may be handed to another thread, not shared between two.

    Where the file has gone, a new one is begun only if that is meant (create).

    Raises
    ------
    sqlite3.Error
        Where it cannot be opened.
    """
    connection = sqlite3.connect(
        uri_of(path) + ("?mode=rwc" if create else "?mode=rw"),
        uri=True,
        timeout=_BUSY_S,
        isolation_level=None,
        check_same_thread=False,
    )
    connection.text_factory = _text
    try:
        connection.execute("PRAGMA journal_mode = WAL")
        # One commit a second is cheap enough to survive a power cut as well as a kill.
        connection.execute("PRAGMA synchronous = FULL")
        connection.execute("PRAGMA foreign_keys = ON")
        # What a player deletes is overwritten, not only forgotten.
        connection.execute("PRAGMA secure_delete = ON")
        connection.execute(f"PRAGMA wal_autocheckpoint = {_CHECKPOINT_PAGES}")
        watch_rows(connection)
    except BaseException:
        connection.close()
        raise
    return connection


def connect_read_only(path: Path) -> sqlite3.Connection:
    """A connection that cannot write, beside a running writer or on a folder that cannot be written to.

    Raises
    ------
    sqlite3.Error
        Where the file cannot be read.
    """
    uri = uri_of(path) + "?mode=ro"
    try:
        return _answering(uri)
    except sqlite3.OperationalError:
        # In a folder that cannot be written to SQLite cannot make its helper file; without a write-ahead
        # file beside it, the database is complete in itself.
        if path.with_name(path.name + "-wal").exists():
            raise
        return _answering(uri + "&immutable=1")


def _text(raw: bytes) -> str:
    """One damaged letter hides nothing else; checksums tell of it."""
    return raw.decode("utf-8", "replace")


def uri_of(path: Path) -> str:
    """The file's address as SQLite takes it."""
    absolute = path.resolve().as_posix()
    # By its bytes: a folder's name need not be UTF-8.
    return "file://" + ("" if absolute.startswith("/") else "/") + quote(os.fsencode(absolute))


def _answering(uri: str) -> sqlite3.Connection:
    connection = sqlite3.connect(uri, uri=True, timeout=_BUSY_S, isolation_level=None)
    connection.text_factory = _text
    try:
        connection.execute("SELECT 1 FROM sqlite_master LIMIT 1").fetchone()
    except BaseException:
        connection.close()
        raise
    return connection


def looks_sound(path: Path, *, thorough: bool = False) -> bool:
    """Whether SQLite finds the file whole; thorough: the contents of its indices, too. Read-only, so that a damaged one
    stays as it is."""
    try:
        connection = connect_read_only(path)
    except sqlite3.OperationalError:
        raise
    except sqlite3.DatabaseError:
        return False
    try:
        sound = _is_ok(connection, f"PRAGMA {'integrity' if thorough else 'quick'}_check(1)")
        if sound and not thorough and sqlite3.sqlite_version_info >= _CHECKS_TABLES:
            # Quick all the same: what is small, with its indices, in which a row could be hidden.
            there = {
                name for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")
            }
            small = there & {*ROWS, "session", "series"}
            sound = all(_is_ok(connection, f"PRAGMA integrity_check({table})") for table in sorted(small))
    except sqlite3.OperationalError:
        raise
    except sqlite3.DatabaseError:
        return False
    finally:
        connection.close()
    return sound


def _is_ok(connection: sqlite3.Connection, question: str) -> bool:
    return bool(connection.execute(question).fetchone()[0] == "ok")


@contextmanager
def transaction(connection: sqlite3.Connection) -> Iterator[None]:
    """All of it or nothing."""
    connection.execute("BEGIN IMMEDIATE")
    try:
        yield
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:  # a full disk may have rolled it back already
            connection.execute("ROLLBACK")
        raise
