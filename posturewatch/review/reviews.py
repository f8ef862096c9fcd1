"""A session's exposures and its finding, computed once and kept: in full, compressed, and in columns for trends."""

from __future__ import annotations

import json
import logging
import sqlite3
import zlib
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any, cast

from posturewatch.exposure.passages import Passage
from posturewatch.exposure.series import Window
from posturewatch.exposure.values import Exposure
from posturewatch.model.quantities import quantity
from posturewatch.review.derived_checksums import forget_review, keep_checksum
from posturewatch.review.exposures import REVIEW_VERSION
from posturewatch.review.gathered import Gathered, Windows, gather
from posturewatch.review.summaries import summarise_record
from posturewatch.storage.folder.database import transaction
from posturewatch.storage.reader import SessionRecord
from posturewatch.storage.samples.checksums import of_text
from posturewatch.storage.samples.codec import ChunkError
from posturewatch.storage.tables.passages import StoredPassage, passages_of

__all__ = [
    "REVIEW_VERSION",
    "Part",
    "forget_review",
    "keep_review",
    "load_review",
    "parts_of",
    "short",
    "stale_sessions",
]

_LOG = logging.getLogger(__name__)

#: Each time the same bars of a piece were played: piece, bars, passages in order.
Part = tuple[int, str, tuple[StoredPassage, ...]]


def parts_of(passages: Iterable[StoredPassage]) -> list[Part]:
    """The passages that are over by piece and bars, in the order in which each was first played."""
    found: dict[tuple[int, str], list[StoredPassage]] = {}
    for one in passages:
        if one.end_s is not None:
            found.setdefault((one.piece_id, one.bars.casefold()), []).append(one)
    return [(several[0].piece_id, several[0].bars, tuple(several)) for several in found.values()]


def keep_review(connection: sqlite3.Connection, session: int, record: SessionRecord) -> None:
    """Computes and keeps the summary and the review of a session that is over, outside any transaction of the
    caller's."""
    passages = passages_of(connection, session)
    try:
        gathered = _gathered(record, passages)
    except ChunkError:
        raise  # samples that cannot be read
    except ValueError as error:
        # Times out of order and the like: the session is kept whole, without this.
        _LOG.error("no exposure for session %s: %s", record.info.id, error)
        record = replace(record, series=())
        gathered = gather(record)
    summary = json.dumps(summarise_record(record, gathered))
    review, rows = (
        _review(gathered, passages, record.info.end_s),
        _rows(gathered, passages, record.info.end_s),
    )
    data = zlib.compress(json.dumps(review, separators=(",", ":")).encode(), 6)
    with transaction(connection):
        if passages_of(connection, session) != passages:
            return  # changed meanwhile: computed when it is next asked for
        forget_review(connection, session)
        connection.execute(
            "UPDATE session SET summary_json = ?, summary_checksum = ? WHERE number = ?",
            (summary, of_text(summary), session),
        )
        connection.execute(
            "INSERT INTO review (session, version, data) VALUES (?, ?, ?)", (session, REVIEW_VERSION, data)
        )
        for passage, exposure in rows:
            _insert(connection, session, passage, exposure)
        keep_checksum(connection, session)


def load_review(connection: sqlite3.Connection, session: int) -> dict[str, Any] | None:
    """What `keep_review` kept: session, cues, passages, parts, minutes, finding; None where it is to be computed."""
    row = connection.execute(
        "SELECT data FROM review WHERE session = ? AND version = ?", (session, REVIEW_VERSION)
    ).fetchone()
    try:
        return None if row is None else cast("dict[str, Any]", json.loads(zlib.decompress(row[0])))
    except (zlib.error, ValueError) as error:
        _LOG.error("the review of a session is damaged and is left out: %s", error)
        return None


def stale_sessions(connection: sqlite3.Connection) -> list[tuple[int, str]]:
    """(number, id) of the sessions that are over and have no review of this version, newest first."""
    rows = connection.execute(
        "SELECT number, id FROM session LEFT JOIN review ON review.session = session.number "
        "AND review.version = ? WHERE ended_at IS NOT NULL AND review.session IS NULL ORDER BY number DESC",
        (REVIEW_VERSION,),
    )
    return [(int(number), str(identity)) for number, identity in rows]


def short(exposure: Exposure) -> dict[str, Any]:
    """The few numbers of an exposure that charts over time need."""
    p10, p50, p90 = exposure.percentiles or (None, None, None)
    return {
        "side": exposure.side,
        "quantity": exposure.quantity,
        "unit": exposure.unit,
        "group": quantity(exposure.quantity).group,
        "total_s": round(exposure.total_s, 3),
        "measured_s": round(exposure.measured_s, 3),
        **{name: _round(value) for name, value in (("p10", p10), ("p50", p50), ("p90", p90))},
        "rests": None if exposure.rests is None else exposure.rests.count,
        "levels": [
            {
                "direction": one.direction,
                "level": level.level,
                "limit": level.limit,
                "seconds": round(level.seconds, 3),
                "share": _round(exposure.share(one.direction, level.level), 4),
                "excess": round(level.excess, 2),
                "excursions": level.excursions,
                "longest_s": _round(level.longest_s, 3),
            }
            for one in exposure.directions
            for level in one.levels
        ],
    }


def _gathered(record: SessionRecord, passages: Sequence[StoredPassage]) -> Gathered:
    """Of all windows that the review tells of."""
    over = [one for one in passages if one.end_s is not None]
    parts = parts_of(over)
    named = [
        Passage(str(several[0].id), several[0].piece, bars, _windows(several)) for _, bars, several in parts
    ]
    windows = [*(_windows([one]) for one in over), *(_windows(several) for _, _, several in parts)]
    return gather(record, windows, named)


def _windows(passages: Sequence[StoredPassage]) -> Windows:
    return tuple((one.start_s, one.end_s) for one in passages if one.end_s is not None)


def _review(gathered: Gathered, passages: Sequence[StoredPassage], end_s: float) -> dict[str, Any]:
    over = [one for one in passages if one.end_s is not None]

    def during(*windows: Window) -> dict[str, Any]:
        return {
            "exposure": [one.to_json() for one in gathered.exposures.get(windows, ())],
            "hands": [one.over(*windows).to_json() for one in gathered.hands],
            "cues": gathered.cues.get(windows, []),
        }

    whole = during((0.0, end_s))
    finding = gathered.finding
    return {
        "session": whole["exposure"],
        "hands": whole["hands"],
        "cues": whole["cues"],
        "passages": [{"passage_id": one.id, **during(*_windows([one]))} for one in over],
        "parts": [
            {"passage_ids": [one.id for one in several], **during(*_windows(several))}
            for _, _, several in parts_of(over)
        ],
        "minutes": [
            {"start_s": start_s, "end_s": round(stop_s, 3), "exposure": [short(one) for one in exposures]}
            for (start_s, stop_s), exposures in gathered.by_minute
        ],
        "finding": None if finding is None else finding.to_json(),
    }


def _rows(
    gathered: Gathered, passages: Sequence[StoredPassage], end_s: float
) -> list[tuple[int | None, Exposure]]:
    windows: dict[int | None, Windows] = {
        None: ((0.0, end_s),),
        **{one.id: _windows([one]) for one in passages if one.end_s is not None},
    }
    return [(passage, one) for passage, own in windows.items() for one in gathered.exposures.get(own, ())]


def _insert(connection: sqlite3.Connection, session: int, passage: int | None, exposure: Exposure) -> None:
    numbers = short(exposure)
    columns = ("side", "quantity", "total_s", "measured_s", "p10", "p50", "p90", "rests")
    cursor = connection.execute(
        f"INSERT INTO exposure (session, passage, {', '.join(columns)}) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        (session, passage, *(numbers[name] for name in columns)),
    )
    connection.executemany(
        "INSERT INTO exposure_level (exposure, direction, level, limit_value, seconds, excess, excursions, "
        "longest_s) VALUES (:exposure, :direction, :level, :limit, :seconds, :excess, :excursions, :longest_s)",
        [{"exposure": cursor.lastrowid, **one} for one in numbers["levels"]],
    )


def _round(value: float | None, digits: int = 2) -> float | None:
    return None if value is None else round(value, digits)
