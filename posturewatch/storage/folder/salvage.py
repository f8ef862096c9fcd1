"""What can still be read of a damaged database, copied row by row into a fresh one; the damaged one stays as it is."""

from __future__ import annotations

import shutil
import sqlite3
import tempfile
import time
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from posturewatch.storage.folder.database import connect, transaction
from posturewatch.storage.folder.log_frames import is_emptied, log_of, write_from_log
from posturewatch.storage.schema.migrations import MIGRATIONS, applied, migrate

__all__ = ["Salvaged", "salvage"]

#: What belongs to others comes after them. What is computed from the rest is computed anew.
_TABLES = (
    "session", "piece", "refusal", "series", "chunk", "excursion", "mark", "warning", "passage", "practice_item",
    "practice_place", "clip", "discomfort", "lift_plane", "seal", "remark",
)  # fmt: skip

#: Rows looked for one by one where the table's end cannot be read either, and how long that may take in a table.
_MOST_PROBES = 2_000
_PROBING_S = 3.0


@dataclass(frozen=True)
class Salvaged:
    """How many sessions were read, and whether anything could not be."""

    sessions: int
    whole: bool


def salvage(damaged: Path, fresh: Path) -> Salvaged:
    """Copies what can be read of `damaged`, with its log, into the new file `fresh`.

    Raises
    ------
    sqlite3.Error, OSError
        Where the fresh file cannot be written.
    """
    with tempfile.TemporaryDirectory(prefix="salvage-", dir=fresh.parent) as folder:
        copy = _copied(damaged, Path(folder))
        with closing(connect(fresh, create=True)) as new, closing(sqlite3.connect(copy)) as old:
            old.text_factory = lambda raw: raw.decode("utf-8", "replace")
            whole = _copy(old, new)
            new.execute("PRAGMA wal_checkpoint(TRUNCATE)")
            (sessions,) = new.execute("SELECT count(*) FROM session").fetchone()
    return Salvaged(sessions, whole)


def _copied(damaged: Path, folder: Path) -> Path:
    """A copy to read from: reading alone can change a log."""
    copy = folder / "damaged.sqlite3"
    if is_emptied(damaged):
        write_from_log(log_of(damaged), copy)
    else:
        shutil.copyfile(damaged, copy)
        if log_of(damaged).exists():
            shutil.copyfile(log_of(damaged), log_of(copy))
    return copy


def _copy(old: sqlite3.Connection, new: sqlite3.Connection) -> bool:
    """Whether all could be read."""
    try:
        names = applied(old)
    except sqlite3.DatabaseError:
        names = ()
    migrate(new, tuple(one for one in MIGRATIONS if one.name in names) or MIGRATIONS)
    new.execute("PRAGMA foreign_keys = OFF")
    whole = bool(names)
    with transaction(new):
        for table in _TABLES:
            whole = _copy_table(old, new, table) and whole
        whole = _without_orphans(new) and whole
    new.execute("PRAGMA foreign_keys = ON")
    migrate(new)
    return whole


def _copy_table(old: sqlite3.Connection, new: sqlite3.Connection, table: str) -> bool:
    columns = [name for _, name, *_ in new.execute(f"PRAGMA table_info({table})")]
    if not columns:
        return True  # of a later version than the damaged one
    insert = f"INSERT OR REPLACE INTO {table} ({', '.join(columns)}) VALUES ({', '.join('?' * len(columns))})"
    reader = _Rows(old, table, columns)
    whole = True
    for row in reader:
        try:
            new.execute(insert, row)
        except sqlite3.IntegrityError:  # a value of it is damaged
            whole = False
    return whole and reader.whole


class _Rows:
    """The rows of a table that can be read: from its beginning, from its end, and one by one in between."""

    def __init__(self, old: sqlite3.Connection, table: str, columns: list[str]) -> None:
        self._old = old
        self._table = table
        self._key = "rowid" if table != "lift_plane" else "session"
        self._select = f"SELECT {self._key}, {', '.join(columns)} FROM {table}"
        self.whole = True

    def __iter__(self) -> Iterator[tuple[object, ...]]:
        last = 0
        for key, *row in self._scan("ASC"):
            last = key
            yield tuple(row)
        if self.whole:
            return
        first = last + _MOST_PROBES
        ended = False
        for key, *row in self._scan("DESC"):
            if key <= last:
                ended = True
                break
            first = key
            yield tuple(row)
        if self._key != "rowid" or ended:
            return
        began = time.monotonic()
        for key in range(last + 1, first):
            if time.monotonic() - began > _PROBING_S:
                return
            try:
                found = self._old.execute(f"{self._select} WHERE rowid = ?", (key,)).fetchone()
            except sqlite3.DatabaseError:
                continue
            if found is not None:
                yield tuple(found[1:])

    def _scan(self, order: str) -> Iterator[tuple[int, ...]]:
        try:
            yield from self._old.execute(f"{self._select} ORDER BY {self._key} {order}")
        except sqlite3.DatabaseError:
            self.whole = False


def _without_orphans(new: sqlite3.Connection) -> bool:
    """Leaves out what belongs to something that could not be read; whether there was none of it."""
    none = True
    while orphans := new.execute("PRAGMA foreign_key_check").fetchall():
        none = False
        for table, key, *_ in orphans:
            if key is not None:
                new.execute(f"DELETE FROM {table} WHERE rowid = ?", (key,))
            else:
                new.execute(f"DELETE FROM {table} WHERE session NOT IN (SELECT number FROM session)")
    return none
