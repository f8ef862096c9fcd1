"""What the page shows of one session and of one piece, put together from what is kept."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from posturewatch.config.resources import DEMO_NAME
from posturewatch.review.reviews import load_review
from posturewatch.review.summaries import session_summary
from posturewatch.review.trends import short_rows
from posturewatch.storage.damage import sentences
from posturewatch.storage.reader import SessionReader, stored_excursions
from posturewatch.storage.records import SessionInfo, excursion_json
from posturewatch.storage.samples.series import look_through
from posturewatch.storage.tables.checks import checks
from posturewatch.storage.tables.clips import clips
from posturewatch.storage.tables.marks import marks_of
from posturewatch.storage.tables.passages import StoredPassage, passages_of
from posturewatch.storage.tables.pieces import find_piece
from posturewatch.storage.tables.remarks import remarks_of

__all__ = ["full_document", "piece_document", "session_document"]


def session_document(connection: sqlite3.Connection, data_dir: Path, info: SessionInfo) -> dict[str, Any]:
    """Passages, marks, excursions, clips, checks, exposures and the finding of a session, and what of it is damaged on
    the disk by now."""
    (number,) = connection.execute("SELECT number FROM session WHERE id = ?", (info.id,)).fetchone()
    played = passages_of(connection, number)
    taken = clips(connection, data_dir, session_id=info.id)
    review = None if info.open else load_review(connection, number)
    return {
        "session": info.to_json(),
        "passages": [one.to_json() for one in played],
        "marks": marks_of(connection, number),
        "excursions": [
            {"id": place, **excursion_json(one)} for place, one in stored_excursions(connection, number)
        ],
        "clips": taken,
        "checks": checks(connection, number),
        "remarks": remarks_of(connection, number),
        "exposure": None if review is None else _exposure(review, played),
        "finding": None if review is None else _finding(review["finding"], played, taken),
        "damage": [] if info.open else list(_damage(connection, number)),
    }


def _damage(connection: sqlite3.Connection, number: int) -> tuple[str, ...]:
    found, damaged = look_through(connection, number)
    return sentences(connection, number, damaged, found)


def _exposure(review: Mapping[str, Any], played: Sequence[StoredPassage]) -> dict[str, Any]:
    """With the names of today: a piece may have been renamed since."""
    known = {one.id: one for one in played}
    return {
        "session": review["session"],
        "hands": review["hands"],
        "cues": review["cues"],
        "passages": review["passages"],
        "parts": [
            {
                "piece_id": known[part["passage_ids"][0]].piece_id,
                "piece": known[part["passage_ids"][0]].piece,
                "bars": known[part["passage_ids"][0]].bars,
                **part,
            }
            for part in review["parts"]
            if part["passage_ids"][0] in known
        ],
        "minutes": review["minutes"],
    }


def _finding(
    kept: Mapping[str, Any] | None, played: Sequence[StoredPassage], taken: Sequence[Mapping[str, Any]]
) -> dict[str, Any] | None:
    """With the piece's name of today and the clips of today that show it."""
    if kept is None:
        return None
    first = next((one for one in played if str(one.id) == kept["passage_id"]), None)
    if first is None:
        return None
    windows = [
        (one.start_s, one.end_s)
        for one in played
        if one.piece_id == first.piece_id and one.bars.casefold() == first.bars.casefold() and one.end_s
    ]
    key = (kept["side"], kept["quantity"], kept["direction"])
    showing = [
        (_inside_s(clip, windows), clip)
        for clip in taken
        if any((one["side"], one["quantity"], one["direction"]) == key for one in clip["moments"])
    ]
    ordered = sorted(showing, key=lambda pair: (-pair[0], pair[1]["start_s"]))
    return {
        **kept,
        "sentence": kept["sentence"].replace(f"“{kept['piece']}”", f"“{first.piece}”", 1),
        "piece": first.piece,
        "moments": [str(clip["id"]) for inside_s, clip in ordered if inside_s > 0],
    }


def _inside_s(clip: Mapping[str, Any], windows: Sequence[tuple[float, float]]) -> float:
    start_s, end_s = float(clip["start_s"]), float(clip["end_s"])
    return sum(max(0.0, min(end_s, stop_s) - max(start_s, from_s)) for from_s, stop_s in windows)


def full_document(reader: SessionReader, session_id: str) -> dict[str, Any]:
    """The session's summary and document: all that is known of it beside its samples.

    Raises
    ------
    UnknownError
        Where it was deleted meanwhile.
    """
    info = reader.find_exactly(session_id)
    summary = session_summary(reader, info)
    with reader.reading() as connection:
        if connection is None:
            return summary
        document = session_document(connection, reader.data_dir, info)
    told = {_key(one): {name: one[name] for name in ("past_s", "hold")} for one in summary["excursions"]}
    unknown = {"past_s": None, "hold": True}
    document["excursions"] = [{**one, **told.get(_key(one), unknown)} for one in document["excursions"]]
    return {**summary, **document}


def _key(excursion: Mapping[str, Any]) -> tuple[Any, ...]:
    return tuple(excursion[name] for name in ("side", "quantity", "direction", "level", "start_s"))


def piece_document(connection: sqlite3.Connection, data_dir: Path, number: int) -> dict[str, Any]:
    """The piece with each session in which it was played, oldest first, and its clips."""
    piece = find_piece(connection, number)
    sessions = connection.execute(
        "SELECT DISTINCT session.number, session.started_at FROM passage "
        "JOIN session ON session.number = passage.session WHERE piece = ? AND source_name <> ? "
        "ORDER BY session.started_at, session.number",
        (number, DEMO_NAME),
    ).fetchall()
    own = {
        session: [one for one in passages_of(connection, session) if one.piece_id == number]
        for session, _ in sessions
    }
    rows: dict[int, list[dict[str, Any]]] = {}
    for row in short_rows(connection, number):
        rows.setdefault(row["passage_id"], []).append(row)
    return {
        **piece,
        "played": [
            {
                "session_id": own[session][0].session_id,
                "started_at": started_at,
                "minutes": round(
                    sum((one.end_s or one.start_s) - one.start_s for one in own[session]) / 60, 2
                ),
                "passages": [one.to_json() for one in own[session]],
                "exposure": [row for one in own[session] for row in rows.get(one.id, [])],
            }
            for session, started_at in sessions
        ],
        "clip_list": clips(connection, data_dir, piece=number),
    }
