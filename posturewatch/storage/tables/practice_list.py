"""The practice list: passages set up beforehand, gone through one by one with a key or a pedal."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping, Sequence
from typing import Any

from posturewatch.errors import InputError
from posturewatch.storage.schema.row_checksums import readable
from posturewatch.storage.tables.pieces import remember_piece

__all__ = ["LONGEST_LIST", "Item", "practice_list", "set_practice_list", "step"]

LONGEST_LIST = 100

#: piece, bars, tempo_bpm of what is to be played.
Item = Mapping[str, Any]


def practice_list(connection: sqlite3.Connection) -> dict[str, Any]:
    """{"items": [Item], "position": of the item in play, or None}."""
    (position,) = connection.execute("SELECT position FROM practice_place").fetchone()
    rows = connection.execute(
        "SELECT name, bars, tempo_bpm FROM practice_item JOIN piece ON piece.id = practice_item.piece "
        f"WHERE {readable('practice_item')} AND {readable('piece')} ORDER BY position"
    )
    items = [dict(zip(("piece", "bars", "tempo_bpm"), row, strict=True)) for row in rows]
    in_play = isinstance(position, int) and 0 <= position < len(items)
    return {"items": items, "position": position if in_play else None}


def set_practice_list(connection: sqlite3.Connection, items: Sequence[Item]) -> None:
    """Replaces the list. The position stays with the item that was in play, where that is still on it."""
    before = practice_list(connection)
    in_play = None if before["position"] is None else before["items"][before["position"]]
    connection.execute("DELETE FROM practice_item")
    for position, item in enumerate(items):
        connection.execute(
            "INSERT INTO practice_item (position, piece, bars, tempo_bpm) VALUES (?, ?, ?, ?)",
            (position, remember_piece(connection, item["piece"]), item["bars"], item["tempo_bpm"]),
        )
    after = practice_list(connection)["items"]
    _go_to(connection, after.index(in_play) if in_play in after else None)


def step(connection: sqlite3.Connection, *, by: int = 0, to: int | None = None) -> Item:
    """Goes on (by 1), back (by -1) or to an item, and gives back what is to be played then. Stops at either end.

    Raises
    ------
    InputError
        For an empty list or an item that is not on it.
    """
    now = practice_list(connection)
    count = len(now["items"])
    if not count:
        raise InputError("The practice list is empty; put something on it first.")
    if to is None:
        before = now["position"]
        to = 0 if before is None else min(max(before + by, 0), count - 1)
    if not 0 <= to < count:
        raise InputError(f"The practice list has {count} entries; choose one of them.")
    _go_to(connection, to)
    item: Item = now["items"][to]
    return item


def _go_to(connection: sqlite3.Connection, position: int | None) -> None:
    connection.execute("UPDATE practice_place SET position = ?", (position,))
