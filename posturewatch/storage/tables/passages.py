"""Passages of a session: what was played from when to when. They never overlap."""

from __future__ import annotations

import math
import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from posturewatch.errors import InputError, UnknownError
from posturewatch.storage.records import PassageBegin
from posturewatch.storage.schema.row_checksums import readable
from posturewatch.storage.tables.pieces import LONGEST_BARS, remember_piece, spaced

__all__ = [
    "TEMPO_BPM",
    "StoredPassage",
    "add_passage",
    "begin_passage",
    "change_passage",
    "close_passages",
    "delete_passage",
    "find_passage",
    "passages_of",
]

#: Slowest and fastest tempo that can be entered.
TEMPO_BPM = (10.0, 400.0)

#: A shorter passage comes from going through the list with the pedal, and is not kept.
SHORTEST_S = 0.5

_COLUMNS = (
    "passage.id, session.id, piece.id, piece.name, bars, tempo_bpm, start_s, passage.end_s FROM passage "
    "JOIN session ON session.number = passage.session JOIN piece ON piece.id = passage.piece "
    f"AND {readable('passage')} AND {readable('piece')}"
)


@dataclass(frozen=True)
class StoredPassage:
    """start_s, end_s: seconds of the session; end_s is None while it is played."""

    id: int
    session_id: str
    piece_id: int
    piece: str
    bars: str
    tempo_bpm: float | None
    start_s: float
    end_s: float | None

    def to_json(self) -> dict[str, Any]:
        """In JSON's types."""
        return {
            "id": self.id,
            "session_id": self.session_id,
            "piece_id": self.piece_id,
            "piece": self.piece,
            "bars": self.bars,
            "tempo_bpm": self.tempo_bpm,
            "start_s": round(self.start_s, 3),
            "end_s": None if self.end_s is None else round(self.end_s, 3),
        }


def begin_passage(connection: sqlite3.Connection, session: int, begin: PassageBegin) -> None:
    """While it is recorded: ends the passage that is played and begins this one."""
    close_passages(connection, session, begin.time_s)
    piece = None if begin.piece is None else remember_piece(connection, begin.piece)
    (last_s,) = connection.execute("SELECT max(end_s) FROM passage WHERE session = ?", (session,)).fetchone()
    if piece is not None:
        connection.execute(
            "INSERT INTO passage (session, piece, bars, tempo_bpm, start_s) VALUES (?, ?, ?, ?, ?)",
            (
                session,
                piece,
                spaced(begin.bars)[:LONGEST_BARS],
                begin.tempo_bpm,
                max(begin.time_s, last_s or 0.0),
            ),
        )


def close_passages(connection: sqlite3.Connection, session: int, end_s: float) -> None:
    """Ends the passage that is played, and drops it where it hardly began."""
    connection.execute(
        "DELETE FROM passage WHERE session = ? AND end_s IS NULL AND ? - start_s < ?",
        (session, end_s, SHORTEST_S),
    )
    connection.execute("UPDATE passage SET end_s = ? WHERE session = ? AND end_s IS NULL", (end_s, session))


def passages_of(connection: sqlite3.Connection, session: int) -> tuple[StoredPassage, ...]:
    """The session's passages in order."""
    rows = connection.execute(
        f"SELECT {_COLUMNS} WHERE passage.session = ? ORDER BY start_s, passage.id", (session,)
    )
    return tuple(StoredPassage(*row) for row in rows)


def find_passage(connection: sqlite3.Connection, number: int) -> StoredPassage:
    """One passage.

    Raises
    ------
    UnknownError
        For an unknown one.
    """
    row = connection.execute(f"SELECT {_COLUMNS} WHERE passage.id = ?", (number,)).fetchone()
    if row is None:
        raise UnknownError("That passage is not kept any more; look at the session again.")
    return StoredPassage(*row)


def add_passage(
    connection: sqlite3.Connection,
    session: int,
    *,
    piece: str,
    start_s: float,
    end_s: float,
    bars: str = "",
    tempo_bpm: float | None = None,
) -> StoredPassage:
    """A passage afterwards.

    Raises
    ------
    InputError
        Where it would lie on another one or beyond the session.
    """
    cursor = connection.execute(
        "INSERT INTO passage (session, piece, bars, tempo_bpm, start_s, end_s) VALUES (?, ?, ?, ?, ?, ?)",
        (session, remember_piece(connection, piece), bars, tempo_bpm, start_s, end_s),
    )
    added = find_passage(connection, int(cursor.lastrowid or 0))
    _check_place(connection, added)
    return added


def change_passage(connection: sqlite3.Connection, number: int, changes: Mapping[str, Any]) -> StoredPassage:
    """Changes what `changes` names of a passage: piece, bars, tempo_bpm, start_s, end_s.

    Raises
    ------
    InputError
        As `add_passage`, and changes nothing then if the caller's transaction is rolled back.
    """
    old = find_passage(connection, number)
    if old.end_s is None and "end_s" in changes:
        raise InputError("This passage is still being played; its end can be changed afterwards.")
    piece = remember_piece(connection, changes["piece"]) if "piece" in changes else old.piece_id
    new = replace(old, **{name: one for name, one in changes.items() if name != "piece"})
    connection.execute(
        "UPDATE passage SET piece = ?, bars = ?, tempo_bpm = ?, start_s = ?, end_s = ? WHERE id = ?",
        (piece, new.bars, new.tempo_bpm, new.start_s, new.end_s, number),
    )
    changed = find_passage(connection, number)
    _check_place(connection, changed)
    return changed


def delete_passage(connection: sqlite3.Connection, number: int) -> StoredPassage:
    """Deletes the label, not the samples; gives back what it was."""
    old = find_passage(connection, number)
    connection.execute("DELETE FROM passage WHERE id = ?", (number,))
    return old


def _check_place(connection: sqlite3.Connection, one: StoredPassage) -> None:
    session, session_end_s = connection.execute(
        "SELECT number, end_s FROM session WHERE id = ?", (one.session_id,)
    ).fetchone()
    end_s = math.inf if one.end_s is None else one.end_s
    if end_s - one.start_s < SHORTEST_S:
        raise InputError(
            f"A passage ends at least {SHORTEST_S:g} s after it begins; move one of its borders."
        )
    if session_end_s is not None and end_s > session_end_s + 0.001:
        raise InputError(f"The session ends at {session_end_s:.1f} s; end the passage by then.")
    other = connection.execute(
        "SELECT piece.name, start_s, end_s FROM passage JOIN piece ON piece.id = passage.piece "
        "WHERE session = ? AND passage.id != ? AND start_s < ? - 0.0005 "
        "AND coalesce(end_s, 1e12) > ? + 0.0005",
        (session, one.id, min(end_s, 1e12), one.start_s),
    ).fetchone()
    if other is not None:
        name, from_s, to_s = other
        until = "now" if to_s is None else f"{to_s:.1f} s"
        raise InputError(f"{name} was played from {from_s:.1f} s to {until}; move the borders apart.")
