"""Marks afterwards: added, moved, noted on and deleted."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping
from typing import Any

from posturewatch.errors import InputError, UnknownError
from posturewatch.storage.schema.row_checksums import readable

__all__ = ["add_mark", "change_mark", "delete_mark", "marks_of"]


def marks_of(connection: sqlite3.Connection, session: int) -> list[dict[str, Any]]:
    """In order of time: id, time_s, note."""
    rows = connection.execute(
        f"SELECT id, time_s, note FROM mark WHERE session = ? AND {readable('mark')} ORDER BY time_s, id",
        (session,),
    )
    return [{"id": number, "time_s": round(time_s, 3), "note": note} for number, time_s, note in rows]


def add_mark(connection: sqlite3.Connection, session: int, time_s: float, note: str = "") -> dict[str, Any]:
    """A mark afterwards.

    Raises
    ------
    InputError
        For a time beyond the session's end.
    """
    _check_time(connection, session, time_s)
    cursor = connection.execute(
        "INSERT INTO mark (session, time_s, note) VALUES (?, ?, ?)", (session, time_s, note)
    )
    return {"id": cursor.lastrowid, "time_s": round(time_s, 3), "note": note}


def change_mark(connection: sqlite3.Connection, number: int, changes: Mapping[str, Any]) -> dict[str, Any]:
    """Changes what `changes` names of a mark: time_s, note.

    Raises
    ------
    InputError
        For an unknown mark or a time beyond the session's end.
    """
    session, time_s, note = _find(connection, number)
    time_s, note = changes.get("time_s", time_s), changes.get("note", note)
    _check_time(connection, session, time_s)
    connection.execute("UPDATE mark SET time_s = ?, note = ? WHERE id = ?", (time_s, note, number))
    return {"id": number, "time_s": round(time_s, 3), "note": note}


def delete_mark(connection: sqlite3.Connection, number: int) -> None:
    """Raises InputError for an unknown mark."""
    _find(connection, number)
    connection.execute("DELETE FROM mark WHERE id = ?", (number,))


def _find(connection: sqlite3.Connection, number: int) -> tuple[int, float, str]:
    row = connection.execute("SELECT session, time_s, note FROM mark WHERE id = ?", (number,)).fetchone()
    if row is None:
        raise UnknownError("That mark is not kept any more; look at the session again.")
    return int(row[0]), float(row[1]), str(row[2])


def _check_time(connection: sqlite3.Connection, session: int, time_s: float) -> None:
    (end_s,) = connection.execute("SELECT end_s FROM session WHERE number = ?", (session,)).fetchone()
    if end_s is not None and time_s > end_s + 0.001:
        raise InputError(f"A mark's time is a number of seconds from 0 to {end_s:.1f}; change it.")
