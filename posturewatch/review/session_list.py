"""The list of sessions as a teacher reads it: with what each adds up to, from the columns that are kept."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Sequence
from typing import Any

from posturewatch.model.quantities import QUANTITY_NAMES, quantity
from posturewatch.review.cue_shares import fretting_sides
from posturewatch.storage.records import SessionInfo

__all__ = ["session_list"]


def session_list(connection: sqlite3.Connection, sessions: Sequence[SessionInfo]) -> list[dict[str, Any]]:
    """Each session in JSON's types, with

    warnings, clips
        How many.
    pieces
        Names of the pieces that were played in it, in that order.
    extreme_share
        The share of its measured time in which a wrist was past an extreme limit: of the direction of either hand
        in which it was most. None where no wrist was measured, or it is not worked out yet.
    measured_share
        The share of the time in which the wrist of the hand on the fingerboard was measured: of the angle that was
        measured least. None where it is not worked out yet.
    pain
        The highest rating of its discomfort checks, 0 to 10, or None.
    """
    warnings = _by_session(connection, "SELECT session, count(*) FROM warning GROUP BY session")
    clips = _by_session(connection, "SELECT session, count(*) FROM clip GROUP BY session")
    pain = _by_session(connection, "SELECT session, max(rating) FROM discomfort GROUP BY session")
    pieces: dict[int, list[str]] = {}
    for number, name in connection.execute(
        "SELECT session, name FROM passage JOIN piece ON piece = piece.id "
        "GROUP BY session, piece.id ORDER BY min(start_s)"
    ):
        pieces.setdefault(number, []).append(name)
    numbers = dict(connection.execute("SELECT id, number FROM session"))
    extreme, measured = _shares(connection)
    return [
        {
            **one.to_json(),
            "warnings": warnings.get(number, 0),
            "clips": clips.get(number, 0),
            "pieces": pieces.get(number, []),
            "extreme_share": extreme.get(number),
            "measured_share": measured.get(number),
            "pain": pain.get(number),
        }
        for one in sessions
        if (number := numbers.get(one.id)) is not None
    ]


def _by_session(connection: sqlite3.Connection, question: str) -> dict[int, int]:
    return {number: value for number, value in connection.execute(question) if number is not None}


def _shares(connection: sqlite3.Connection) -> tuple[dict[int, float], dict[int, float]]:
    """By session: the largest share past an extreme limit, and the least measured share of the fretting wrist."""
    fretting = {
        number: fretting_sides(json.loads(settings))
        for number, settings in connection.execute("SELECT number, settings_json FROM session")
    }
    extreme: dict[int, float] = {}
    measured: dict[int, float] = {}
    for number, side, name, total_s, measured_s, most_s in connection.execute(
        "SELECT session, side, quantity, total_s, measured_s, max(CASE level WHEN 'extreme' THEN seconds END) "
        "FROM exposure LEFT JOIN exposure_level ON exposure = exposure.id WHERE passage IS NULL GROUP BY exposure.id"
    ):
        if name not in QUANTITY_NAMES or quantity(name).group != "wrist":
            continue
        if measured_s > 0 and most_s is not None:
            extreme[number] = max(extreme.get(number, 0.0), round(most_s / measured_s, 4))
        if side in fretting[number] and total_s > 0:
            measured[number] = min(measured.get(number, 1.0), round(measured_s / total_s, 4))
    return extreme, measured
