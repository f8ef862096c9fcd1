"""Discomfort checks: what the player said before and after, kept with the session."""

from __future__ import annotations

import datetime as dt
import json
import sqlite3
from collections.abc import Sequence
from typing import Any

from posturewatch.comfort.discomfort import SIGNS, advise
from posturewatch.errors import InputError, UnknownError
from posturewatch.storage.records import now_utc
from posturewatch.storage.schema.row_checksums import readable

__all__ = ["ADOPT_WITHIN_S", "READABLE", "add_check", "adopt_check", "checks", "delete_check"]

#: A check before a session joins one that begins within this time.
ADOPT_WITHIN_S = 3600.0

#: The condition, in SQL, that a check can be read: damage may have left no day, no rating or no list.
READABLE = (
    f"{readable('discomfort')} AND rating BETWEEN 0 AND 10 AND moment IN ('before', 'after') "
    "AND julianday(checked_at) IS NOT NULL "
    "AND CASE WHEN json_valid(places_json) THEN json_type(places_json) = 'array' END "
    "AND CASE WHEN json_valid(signs_json) THEN json_type(signs_json) = 'array' END"
)

_COLUMNS = (
    "discomfort.id, session.id, moment, checked_at, rating, places_json, signs_json, note, discomfort.session "
    "FROM discomfort LEFT JOIN session ON session.number = discomfort.session"
)


def add_check(
    connection: sqlite3.Connection,
    session: int | None,
    *,
    moment: str,
    rating: int,
    places: Sequence[str] = (),
    signs: Sequence[str] = (),
    note: str = "",
) -> dict[str, Any]:
    """Keeps a check, places and signs by their names in the form.

    Parameters
    ----------
    session
        The number of the session it belongs to. A check before joins the next one without it; one after raises
        InputError without it.
    """
    if moment == "after" and session is None:
        raise InputError("A check after playing needs a session; play one first.")
    cursor = connection.execute(
        "INSERT INTO discomfort (session, moment, checked_at, rating, places_json, signs_json, note) "
        "VALUES (?, ?, ?, ?, ?, ?, ?)",
        (session, moment, now_utc(), rating, json.dumps(list(places)), json.dumps(list(signs)), note),
    )
    row = connection.execute(f"SELECT {_COLUMNS} WHERE discomfort.id = ?", (cursor.lastrowid,)).fetchone()
    return _json(connection, row)


def adopt_check(connection: sqlite3.Connection, session: int, started_at: str) -> None:
    """The last check made before, within the hour, belongs to this session that begins."""
    began = dt.datetime.fromisoformat(started_at)
    row = connection.execute(
        f"SELECT id, checked_at FROM discomfort WHERE session IS NULL AND moment = 'before' AND {READABLE} "
        "ORDER BY id DESC LIMIT 1"
    ).fetchone()
    if row is None:
        return
    age_s = (began - dt.datetime.fromisoformat(row[1])).total_seconds()
    if -60.0 <= age_s <= ADOPT_WITHIN_S:
        connection.execute("UPDATE discomfort SET session = ? WHERE id = ?", (session, row[0]))


def checks(connection: sqlite3.Connection, session: int | None = None) -> list[dict[str, Any]]:
    """The checks of a session, or all of them; newest first."""
    where, values = ("", ()) if session is None else (" AND discomfort.session = ?", (session,))
    rows = connection.execute(
        f"SELECT {_COLUMNS} WHERE {READABLE}{where} ORDER BY discomfort.id DESC", values
    ).fetchall()
    return [_json(connection, row) for row in rows]


def delete_check(connection: sqlite3.Connection, number: int) -> None:
    """Raises InputError for an unknown one."""
    if connection.execute("DELETE FROM discomfort WHERE id = ?", (number,)).rowcount == 0:
        raise UnknownError("That check is not kept any more; look at the list again.")


def _json(connection: sqlite3.Connection, row: tuple[Any, ...]) -> dict[str, Any]:
    number, identity, moment, checked_at, rating, places, signs, note, session = row
    before = None
    if moment == "after" and session is not None:
        before = connection.execute(
            f"SELECT rating FROM discomfort WHERE session = ? AND moment = 'before' AND id < ? AND {READABLE} "
            "ORDER BY id DESC LIMIT 1",
            (session, number),
        ).fetchone()
    known = {sign.name for sign in SIGNS}
    kept = json.loads(signs)
    advice = advise(
        rating, [name for name in kept if name in known], rating_before=None if before is None else before[0]
    )
    return {
        "id": number,
        "session_id": identity,
        "moment": moment,
        "checked_at": checked_at,
        "rating": rating,
        "places": json.loads(places),
        "signs": kept,
        "note": note,
        "advice": advice.to_json(),
    }
