"""Pieces: remembered by name, renamed everywhere at once, suggested while typing, those not played first."""

from __future__ import annotations

import sqlite3
import unicodedata
from typing import Any

from posturewatch.config.resources import DEMO_NAME
from posturewatch.errors import ConflictError, UnknownError
from posturewatch.storage.records import now_utc

__all__ = [
    "LONGEST_BARS",
    "LONGEST_NAME",
    "delete_piece",
    "find_piece",
    "piece_json",
    "pieces",
    "remember_piece",
    "rename_piece",
    "spaced",
    "suggestions",
]

#: Characters of a piece's name and of a passage's bars; what is longer is cut while playing, refused else.
LONGEST_NAME = 120
LONGEST_BARS = 80

#: Most pieces suggested at a time, and passages with each.
SUGGESTED = 12

#: Sessions on the bundled video are nobody's practice; passages are all there are, since a piece cannot go before them.
_LISTED = f"""
    SELECT piece.id, piece.name, max(session.started_at),
        coalesce(sum((coalesce(passage.end_s, passage.start_s) - passage.start_s) * (session.number IS NOT NULL)), 0)
            / 60.0,
        count(DISTINCT session.number), count(passage.id),
        (SELECT count(*) FROM clip JOIN passage AS at ON at.session = clip.session
            AND clip.start_s < coalesce(at.end_s, 1e12) AND clip.end_s > at.start_s
            WHERE at.piece = piece.id AND clip.removed_at IS NULL)
    FROM piece LEFT JOIN passage ON passage.piece = piece.id
        LEFT JOIN session ON session.number = passage.session AND session.source_name <> '{DEMO_NAME}'
"""


def spaced(text: str) -> str:
    """The text in composed characters (NFC), with single spaces, none at the ends, nothing unprintable."""
    printable = "".join(sign if sign.isprintable() else " " for sign in unicodedata.normalize("NFC", text))
    return " ".join(printable.split())


def _key(name: str) -> str:
    return unicodedata.normalize("NFC", spaced(name).casefold())


def remember_piece(connection: sqlite3.Connection, name: str) -> int | None:
    """The piece's number, a new one where the name is new; None for a name without a printable sign."""
    name = spaced(name)[:LONGEST_NAME].strip()
    if not name:
        return None
    found = connection.execute("SELECT id FROM piece WHERE key = ?", (_key(name),)).fetchone()
    if found is not None:
        return int(found[0])
    cursor = connection.execute(
        "INSERT INTO piece (name, key, created_at) VALUES (?, ?, ?)", (name, _key(name), now_utc())
    )
    return cursor.lastrowid


def pieces(connection: sqlite3.Connection) -> list[dict[str, Any]]:
    """All pieces, those not played for longest first, and before them those never played."""
    # Within one session, the piece that was left earlier has rested longer.
    rows = connection.execute(
        _LISTED + "GROUP BY piece.id "
        "ORDER BY max(session.started_at || printf('%012.3f', passage.start_s)) NULLS FIRST, piece.key"
    )
    return [piece_json(row) for row in rows]


def find_piece(connection: sqlite3.Connection, number: int) -> dict[str, Any]:
    """One piece.

    Raises
    ------
    UnknownError
        For an unknown one.
    """
    row = connection.execute(_LISTED + "WHERE piece.id = ? GROUP BY piece.id", (number,)).fetchone()
    if row is None:
        raise UnknownError("That piece is not kept any more; look at the list of pieces again.")
    return piece_json(row)


def piece_json(row: tuple[Any, ...]) -> dict[str, Any]:
    """A row of the list of pieces in JSON's types."""
    number, name, last_played, minutes, sessions, passages, clips = row
    return {
        "id": number,
        "name": name,
        "last_played": last_played,
        "minutes": round(minutes, 2),
        "sessions": sessions,
        "passages": passages,
        "clips": clips,
    }


def suggestions(connection: sqlite3.Connection, begins: str) -> list[dict[str, Any]]:
    """Pieces in whose name any word begins like this (the name itself for several words), last played first."""
    key = _key(begins)
    rows = connection.execute(
        "SELECT piece.id, piece.name, piece.key, max(session.started_at) FROM piece "
        "LEFT JOIN passage ON passage.piece = piece.id LEFT JOIN session ON session.number = passage.session "
        "GROUP BY piece.id ORDER BY max(session.started_at) DESC NULLS LAST, piece.created_at DESC, piece.id"
    ).fetchall()
    fitting = [row for row in rows if row[2].startswith(key) or f" {key}" in row[2]][:SUGGESTED]
    return [
        {
            "id": number,
            "name": name,
            "last_played": last_played,
            "bars": [
                bars
                for (bars,) in connection.execute(
                    "SELECT bars FROM passage WHERE piece = ? AND bars != '' "
                    "GROUP BY bars ORDER BY max(id) DESC LIMIT ?",
                    (number, SUGGESTED),
                )
            ],
        }
        for number, name, _, last_played in fitting
    ]


def rename_piece(connection: sqlite3.Connection, number: int, name: str) -> int:
    """Everywhere at once.

    Where another piece has that name already, both become that one; the number of the piece that is left.

    Raises
    ------
    UnknownError
        For an unknown piece.
    """
    find_piece(connection, number)
    other = connection.execute(
        "SELECT id FROM piece WHERE key = ? AND id != ?", (_key(name), number)
    ).fetchone()
    if other is None:
        connection.execute("UPDATE piece SET name = ?, key = ? WHERE id = ?", (name, _key(name), number))
        return number
    connection.execute("UPDATE passage SET piece = ? WHERE piece = ?", (other[0], number))
    connection.execute("UPDATE practice_item SET piece = ? WHERE piece = ?", (other[0], number))
    connection.execute("DELETE FROM piece WHERE id = ?", (number,))
    return int(other[0])


def delete_piece(connection: sqlite3.Connection, number: int) -> None:
    """Forgets the name.

    Raises
    ------
    UnknownError
        For an unknown piece.
    ConflictError
        While anything refers to it.
    """
    piece = find_piece(connection, number)
    if piece["passages"]:
        raise ConflictError(f"Passages of {piece['name']} are kept; delete or rename those first.")
    if connection.execute("SELECT 1 FROM practice_item WHERE piece = ?", (number,)).fetchone():
        raise ConflictError(f"{piece['name']} is on the practice list; take it off that first.")
    connection.execute("DELETE FROM piece WHERE id = ?", (number,))
