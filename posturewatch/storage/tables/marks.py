"""Marks afterwards: added, moved, noted on and deleted."""

from __future__ import annotations

import math
import sqlite3
from collections.abc import Mapping
from typing import Any

from posturewatch.errors import InputError, UnknownError

__all__ = ["LONGEST_NOTE", "add_mark", "change_mark", "delete_mark", "marks_of"]

LONGEST_NOTE = 200


def marks_of(connection: sqlite3.Connection, session: int) -> list[dict[str, Any]]:
    """In order of time: id, time_s, note."""
    rows = connection.execute(
        "SELECT id, time_s, note FROM mark WHERE session = ? ORDER BY time_s, id", (session,)
    )
    return [{"id": number, "time_s": round(time_s, 3), "note": note} for number, time_s, note in rows]


def add_mark(connection: sqlite3.Connection, session: int, values: Mapping[str, Any]) -> dict[str, Any]:
    """values: time_s, and note where wanted; raises InputError for unusable ones."""
    time_s, note = _time(connection, session, values.get("time_s")), _note(values.get("note") or "")
    cursor = connection.execute(
        "INSERT INTO mark (session, time_s, note) VALUES (?, ?, ?)", (session, time_s, note)
    )
    return {"id": cursor.lastrowid, "time_s": round(time_s, 3), "note": note}


def change_mark(connection: sqlite3.Connection, number: int, values: Mapping[str, Any]) -> dict[str, Any]:
    """values: time_s, note, those that change; raises InputError for an unknown mark or unusable values."""
    session, time_s, note = _find(connection, number)
    if "time_s" in values:
        time_s = _time(connection, session, values["time_s"])
    if "note" in values:
        note = _note(values["note"] or "")
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


def _time(connection: sqlite3.Connection, session: int, value: Any) -> float:
    (end_s,) = connection.execute("SELECT end_s FROM session WHERE number = ?", (session,)).fetchone()
    last_s = math.inf if end_s is None else end_s
    number = isinstance(value, (int, float)) and not isinstance(value, bool) and math.isfinite(value)
    if not number or not 0.0 <= value <= last_s + 0.001:
        until = "" if end_s is None else f" to {end_s:.1f}"
        raise InputError(f"A mark's time is a number of seconds from 0{until}; change it.")
    return float(value)


def _note(value: Any) -> str:
    if not isinstance(value, str) or len(value) > LONGEST_NOTE:
        raise InputError(f"A note is text of at most {LONGEST_NOTE} characters; shorten it.")
    return value.strip()
