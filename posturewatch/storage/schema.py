"""The database's tables, as named migrations that are only ever added to."""

from __future__ import annotations

import datetime as dt
import sqlite3
from collections.abc import Callable
from dataclasses import dataclass

from posturewatch.storage import schema_practice_log as schema_practice_log

__all__ = ["MIGRATIONS", "Migration", "applied", "migrate", "missing", "unknown"]


@dataclass(frozen=True)
class Migration:
    """One step of the schema. Names are kept in the database: never rename, reorder or change one."""

    name: str
    apply: Callable[[sqlite3.Connection], None]


_FIRST = (
    """
    CREATE TABLE session (
        number INTEGER PRIMARY KEY,
        id TEXT NOT NULL UNIQUE,
        started_at TEXT NOT NULL,           -- UTC, ISO 8601
        ended_at TEXT,                      -- NULL while it runs, or after a crash
        end_reason TEXT,
        source_name TEXT NOT NULL,
        source_kind TEXT NOT NULL,
        instrument TEXT,
        program_version TEXT NOT NULL,
        settings_json TEXT NOT NULL,        -- as they were
        end_s REAL,
        limits_json TEXT NOT NULL,          -- with their sources
        rules_json TEXT NOT NULL,           -- of the watch: hold time and so on
        lost_samples INTEGER NOT NULL DEFAULT 0,
        dropped_frames INTEGER NOT NULL DEFAULT 0,
        summary_json TEXT
    )
    """,
    """
    CREATE TABLE series (
        id INTEGER PRIMARY KEY,
        session INTEGER NOT NULL REFERENCES session (number) ON DELETE CASCADE,
        side TEXT NOT NULL,
        quantity TEXT NOT NULL,
        value_step REAL NOT NULL,           -- numbers in a chunk are multiples of these
        sd_step REAL NOT NULL,
        UNIQUE (session, side, quantity)
    )
    """,
    """
    CREATE TABLE chunk (
        id INTEGER PRIMARY KEY,             -- the order in time within a series
        series INTEGER NOT NULL REFERENCES series (id) ON DELETE CASCADE,
        first_ms INTEGER NOT NULL,
        last_ms INTEGER NOT NULL,
        merged INTEGER NOT NULL,            -- 0: as committed, 1: many of those made one
        data BLOB NOT NULL
    )
    """,
    "CREATE INDEX chunk_of_series ON chunk (series, id)",
    "CREATE TABLE refusal (code INTEGER PRIMARY KEY, word TEXT NOT NULL UNIQUE)",
    """
    CREATE TABLE excursion (
        id INTEGER PRIMARY KEY,
        session INTEGER NOT NULL REFERENCES session (number) ON DELETE CASCADE,
        side TEXT NOT NULL,
        quantity TEXT NOT NULL,
        direction TEXT NOT NULL,
        level TEXT NOT NULL,
        limit_value REAL NOT NULL,
        start_s REAL NOT NULL,
        peak REAL NOT NULL,
        peak_s REAL NOT NULL,
        end_s REAL,                         -- NULL while it lasts
        end_word TEXT,
        warned_s REAL
    )
    """,
    "CREATE INDEX excursion_of_session ON excursion (session, start_s)",
    """
    CREATE TABLE mark (
        id INTEGER PRIMARY KEY,
        session INTEGER NOT NULL REFERENCES session (number) ON DELETE CASCADE,
        time_s REAL NOT NULL,
        note TEXT NOT NULL
    )
    """,
    "CREATE INDEX mark_of_session ON mark (session, time_s)",
    """
    CREATE TABLE warning (
        id INTEGER PRIMARY KEY,
        session INTEGER NOT NULL REFERENCES session (number) ON DELETE CASCADE,
        side TEXT NOT NULL,
        quantity TEXT NOT NULL,
        direction TEXT NOT NULL,
        limit_value REAL NOT NULL,
        since_s REAL NOT NULL,
        fired_s REAL NOT NULL,
        cleared_s REAL                      -- NULL while it is shown
    )
    """,
    "CREATE INDEX warning_of_session ON warning (session, fired_s)",
)


_PLANES = (
    """
    CREATE TABLE lift_plane (
        session INTEGER NOT NULL REFERENCES session (number) ON DELETE CASCADE,
        side TEXT NOT NULL,
        start_s REAL NOT NULL,              -- until the next of the same side
        plane TEXT NOT NULL,                -- what finger lifts were measured from
        PRIMARY KEY (session, side, start_s)
    ) WITHOUT ROWID
    """,
)


def _all_of(statements: tuple[str, ...]) -> Callable[[sqlite3.Connection], None]:
    def apply(connection: sqlite3.Connection) -> None:
        for statement in statements:
            connection.execute(statement)

    return apply


#: In the order in which they are applied.
MIGRATIONS: tuple[Migration, ...] = (
    Migration("sessions with samples, excursions, marks", _all_of(_FIRST)),
    Migration("pieces, passages and the practice list", _all_of(schema_practice_log.PASSAGES)),
    Migration("clips", _all_of(schema_practice_log.CLIPS)),
    Migration("discomfort checks", _all_of(schema_practice_log.CHECKS)),
    Migration("exposure", _all_of(schema_practice_log.EXPOSURE)),
    Migration("planes of the finger lift", _all_of(_PLANES)),
)


def applied(connection: sqlite3.Connection) -> tuple[str, ...]:
    """Names of the migrations that the database has, oldest first; none for an empty database."""
    if connection.execute("SELECT 1 FROM sqlite_master WHERE name = 'migration'").fetchone() is None:
        return ()
    return tuple(name for (name,) in connection.execute("SELECT name FROM migration ORDER BY number"))


def unknown(names: tuple[str, ...], known: tuple[Migration, ...] = MIGRATIONS) -> tuple[str, ...]:
    """Those of `names` that this program has never heard of: a newer program wrote the database."""
    heard_of = {migration.name for migration in known}
    return tuple(name for name in names if name not in heard_of)


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
    return tuple(taken)
