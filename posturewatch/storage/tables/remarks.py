"""What somebody who was shown a session says of it: kept with it, and the same wherever it goes."""

from __future__ import annotations

import sqlite3
from typing import Any

from posturewatch.errors import InputError, UnknownError
from posturewatch.storage.schema.row_checksums import readable

__all__ = ["add_remark", "delete_remark", "remarks_of"]


def remarks_of(connection: sqlite3.Connection, session: int) -> list[dict[str, Any]]:
    """Of the session as a whole first, then in order of time: id, uid, time_s, author, text, written_at."""
    rows = connection.execute(
        f"SELECT id, uid, time_s, author, text, written_at FROM remark WHERE session = ? AND {readable('remark')} "
        "ORDER BY time_s IS NOT NULL, time_s, id",
        (session,),
    )
    names = ("id", "uid", "time_s", "author", "text", "written_at")
    return [dict(zip(names, row, strict=True)) for row in rows]


def add_remark(
    connection: sqlite3.Connection,
    session: int,
    *,
    uid: str,
    time_s: float | None,
    author: str,
    text: str,
    written_at: str,
) -> bool:
    """Keeps a remark; False for one that is there already.

    Raises
    ------
    InputError
        For a time beyond the session's end.
    """
    (end_s,) = connection.execute("SELECT end_s FROM session WHERE number = ?", (session,)).fetchone()
    if time_s is not None and end_s is not None and time_s > end_s + 1.0:
        raise InputError(
            f"The session ends after {end_s:.1f} s; a note at {time_s:.1f} s does not belong to it."
        )
    cursor = connection.execute(
        "INSERT INTO remark (session, uid, time_s, author, text, written_at) VALUES (?, ?, ?, ?, ?, ?) "
        "ON CONFLICT (uid) DO NOTHING",
        (session, uid, time_s, author, text, written_at),
    )
    return cursor.rowcount == 1


def delete_remark(connection: sqlite3.Connection, number: int) -> None:
    """Forgets a remark.

    Raises
    ------
    UnknownError
        For an unknown one.
    """
    if connection.execute("DELETE FROM remark WHERE id = ?", (number,)).rowcount == 0:
        raise UnknownError("That note is not kept any more; look at the session again.")
