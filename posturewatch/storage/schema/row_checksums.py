"""Checksums of single rows: of what is noted of practices and may still be changed when they are over.

What does not change is sealed as a whole (`posturewatch.storage.samples.checksums`). Here each row has a checksum of
its own, kept by triggers, so that no statement can forget it. They are temporary, of the writing connection alone: a
database file with triggers in it could do things when it is opened.
"""

from __future__ import annotations

import json
import sqlite3
import zlib
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

__all__ = ["ROWS", "add_checksums", "changed_rows", "is_sound", "readable", "watch_rows"]

#: Columns by table, each with its type; with a question mark where there may be nothing.
ROWS: Mapping[str, Mapping[str, str]] = {
    "mark": {"session": "integer", "time_s": "real", "note": "text"},
    "passage": {
        "session": "integer", "piece": "integer", "bars": "text", "tempo_bpm": "real?", "start_s": "real",
        "end_s": "real?",
    },
    "piece": {"name": "text", "key": "text", "created_at": "text"},
    "practice_item": {"position": "integer", "piece": "integer", "bars": "text", "tempo_bpm": "real?"},
    "practice_place": {"one": "integer", "position": "integer?"},
    "clip": {
        "session": "integer", "name": "text", "file": "text", "start_s": "real", "end_s": "real", "bytes": "integer",
        "reason": "text", "has_sound": "integer", "kept": "integer", "note": "text", "moments_json": "text",
        "written_at": "text", "removed_at": "text?",
    },
    "discomfort": {
        "session": "integer?", "moment": "text", "checked_at": "text", "rating": "integer", "places_json": "text",
        "signs_json": "text", "note": "text",
    },
    "remark": {
        "session": "integer", "uid": "text", "time_s": "real?", "author": "text", "text": "text", "written_at": "text",
    },
}  # fmt: skip


def add_checksums(connection: sqlite3.Connection) -> None:
    """The step of the schema: a column for them, and those of what was kept before; one for what is computed, too."""
    connection.execute("ALTER TABLE review ADD COLUMN checksum INTEGER")
    for table in ROWS:
        connection.execute(f"ALTER TABLE {table} ADD COLUMN checksum INTEGER")
        for number, *values, _ in _rows(connection, table, "1"):
            connection.execute(
                f"UPDATE {table} SET checksum = ? WHERE rowid = ?", (_checksum(table, *values), number)
            )


def watch_rows(connection: sqlite3.Connection) -> None:
    """From now on each row that this connection writes gets its checksum; one that brings a checksum along keeps it."""
    connection.execute("PRAGMA temp_store = MEMORY")
    connection.create_function("row_checksum", -1, _checksum, deterministic=True)
    known = {
        table
        for (table,) in connection.execute(
            "SELECT m.name FROM main.sqlite_master m JOIN pragma_table_info(m.name) c WHERE m.type = 'table' "
            "AND c.name = 'checksum'"
        )
    }
    for table in ROWS.keys() & known:
        # Text by its bytes: damage in one column must not keep another one from being changed.
        values = ", ".join(
            f"CAST(NEW.{name} AS BLOB)" if kind.startswith("text") else f"NEW.{name}"
            for name, kind in ROWS[table].items()
        )
        keep = f"UPDATE {table} SET checksum = row_checksum('{table}', {values}) WHERE rowid = NEW.rowid"
        for name, when in (
            ("insert", f"AFTER INSERT ON main.{table} WHEN NEW.checksum IS NULL"),
            ("update", f"AFTER UPDATE OF {', '.join(ROWS[table])} ON main.{table}"),
        ):
            connection.execute(
                f"CREATE TEMP TRIGGER IF NOT EXISTS checksum_{table}_{name} {when} BEGIN {keep}; END"
            )


def changed_rows(
    connection: sqlite3.Connection, table: str, where: str, *values: object
) -> Iterator[dict[str, Any]]:
    """Rows that are not as they were kept, by the names of their columns."""
    for _, *row, checksum in _rows(connection, table, where, *values):
        if checksum is not None and _checksum(table, *row) != checksum:
            yield dict(zip(ROWS[table], row, strict=True))


def is_sound(table: str, row: Mapping[str, Any]) -> bool:
    """Whether a row, by the names of its columns, is as it was kept; True for one without a checksum."""
    checksum = row.get("checksum")
    return checksum is None or _checksum(table, *(row[name] for name in ROWS[table])) == checksum


def readable(table: str) -> str:
    """The condition, in SQL, that a row's values are of the types that this program writes."""
    return " AND ".join(
        f"typeof({table}.{name}) IN ('{kind.removesuffix('?')}'{', ' + repr('null') if kind.endswith('?') else ''})"
        for name, kind in ROWS[table].items()
    )


def _rows(connection: sqlite3.Connection, table: str, where: str, *values: object) -> list[tuple[Any, ...]]:
    """rowid, columns, checksum of each row (None before there are any)."""
    rows = connection.execute(
        f"SELECT rowid, {', '.join(ROWS[table])}, checksum FROM {table} WHERE {where}", values
    )
    return rows.fetchall()


def _checksum(table: str, *values: object) -> int:
    """CRC-32 (as in zlib) of the values in JSON."""
    told: Sequence[object] = [
        one.decode("utf-8", "replace")
        if isinstance(one, bytes)
        else float(one)
        if isinstance(one, int) and kind.startswith("real")
        else one
        for one, kind in zip(values, ROWS[table].values(), strict=True)
    ]
    return zlib.crc32(json.dumps(told).encode())
