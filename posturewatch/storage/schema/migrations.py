"""The database's tables, as named migrations that are only ever added to."""

from __future__ import annotations

import datetime as dt
import sqlite3
from collections.abc import Callable
from dataclasses import dataclass

from posturewatch.storage.samples.checksums import fill_in
from posturewatch.storage.schema import statements
from posturewatch.storage.schema.old_addresses import shorten
from posturewatch.storage.schema.row_checksums import add_checksums, watch_rows

__all__ = ["MIGRATIONS", "Migration", "applied", "migrate", "missing", "unknown"]


@dataclass(frozen=True)
class Migration:
    """One step of the schema. Names are kept in the database: never rename, reorder or change one."""

    name: str
    apply: Callable[[sqlite3.Connection], None]


def _all_of(texts: tuple[str, ...]) -> Callable[[sqlite3.Connection], None]:
    def apply(connection: sqlite3.Connection) -> None:
        for statement in texts:
            connection.execute(statement)

    return apply


def _checksums(connection: sqlite3.Connection) -> None:
    _all_of(statements.CHECKSUMS)(connection)
    fill_in(connection)


#: In the order in which they are applied.
MIGRATIONS: tuple[Migration, ...] = (
    Migration("sessions with samples, excursions, marks", _all_of(statements.SESSIONS)),
    Migration("pieces, passages and the practice list", _all_of(statements.PASSAGES)),
    Migration("clips", _all_of(statements.CLIPS)),
    Migration("discomfort checks", _all_of(statements.CHECKS)),
    Migration("exposure", _all_of(statements.EXPOSURE)),
    Migration("planes of the finger lift", _all_of(statements.PLANES)),
    Migration("excess angle x time", _all_of(statements.EXCESS)),
    Migration("checksums", _checksums),
    Migration("addresses without secrets", shorten),
    Migration("remarks of others", _all_of(statements.REMARKS)),
    Migration("checksums of rows", add_checksums),
)


def applied(connection: sqlite3.Connection) -> tuple[str, ...]:
    """Names of the migrations that the database has, oldest first; none for an empty database."""
    if connection.execute("SELECT 1 FROM sqlite_master WHERE name = 'migration'").fetchone() is None:
        return ()
    return tuple(name for (name,) in connection.execute("SELECT name FROM migration ORDER BY number"))


def unknown(names: tuple[str, ...], known: tuple[Migration, ...] = MIGRATIONS) -> tuple[str, ...]:
    """Those of `names` that this program does not know: a newer program wrote the database."""
    known_names = {migration.name for migration in known}
    return tuple(name for name in names if name not in known_names)


def missing(names: tuple[str, ...], known: tuple[Migration, ...] = MIGRATIONS) -> tuple[str, ...]:
    """The steps that a database with `names` still lacks."""
    return tuple(migration.name for migration in known if migration.name not in names)


def migrate(connection: sqlite3.Connection, known: tuple[Migration, ...] = MIGRATIONS) -> tuple[str, ...]:
    """Applies what is missing, each step whole or not at all, and gives back the names of the steps taken.

    The connection is in autocommit mode (isolation_level None).
    """
    done = applied(connection)
    taken = []
    for migration in known:
        if migration.name in done:
            continue
        connection.execute("BEGIN IMMEDIATE")
        try:
            connection.execute(
                "CREATE TABLE IF NOT EXISTS migration "
                "(number INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE, applied_at TEXT NOT NULL)"
            )
            migration.apply(connection)
            connection.execute(
                "INSERT INTO migration (name, applied_at) VALUES (?, ?)",
                (migration.name, dt.datetime.now(dt.timezone.utc).isoformat(timespec="seconds")),
            )
            connection.execute("COMMIT")
        except BaseException:
            connection.execute("ROLLBACK")
            raise
        taken.append(migration.name)
    watch_rows(connection)
    return tuple(taken)
