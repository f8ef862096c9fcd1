"""Whether what was computed of sessions is still as it was kept: what is not is forgotten, to be computed anew."""

from __future__ import annotations

import logging
import sqlite3
import zlib

from posturewatch.storage.samples.checksums import of_text

__all__ = ["forget_damaged", "forget_review", "keep_checksum"]

_LOG = logging.getLogger(__name__)

#: The columns of exposures as text, session by session. What sorts them is what they are read by.
_COLUMNS = (
    """
    SELECT session, group_concat(line, '') FROM (
        SELECT session, quote(passage) || quote(side) || quote(quantity) || quote(total_s) || quote(measured_s)
            || quote(p10) || quote(p50) || quote(p90) || quote(rests) AS line
        FROM exposure WHERE session = coalesce(?, session) ORDER BY session, id
    ) GROUP BY session
    """,
    """
    SELECT session, group_concat(line, '') FROM (
        SELECT session, quote(direction) || quote(exposure_level.level) || quote(limit_value) || quote(seconds)
            || quote(excess) || quote(excursions) || quote(longest_s) AS line
        FROM exposure JOIN exposure_level ON exposure_level.exposure = exposure.id
        WHERE session = coalesce(?, session) ORDER BY session, exposure.id, direction, exposure_level.level
    ) GROUP BY session
    """,
)


def keep_checksum(connection: sqlite3.Connection, session: int) -> None:
    """Of the review and the columns of a session that have just been written, inside the caller's transaction."""
    connection.execute(
        "UPDATE review SET checksum = ? WHERE session = ?",
        (_checksums(connection, session).get(session), session),
    )


def forget_review(connection: sqlite3.Connection, session: int) -> None:
    """To be computed anew when it is next asked for, since passages have changed."""
    connection.execute("DELETE FROM exposure WHERE session = ?", (session,))
    connection.execute("DELETE FROM review WHERE session = ?", (session,))


def forget_damaged(connection: sqlite3.Connection) -> None:
    """Forgets summaries, reviews and exposures that damage on the disk has changed: they come from samples, which have
    checksums of their own."""
    now = _checksums(connection, None)
    damaged = {
        number
        for number, kept in connection.execute("SELECT session, checksum FROM review").fetchall()
        if kept is not None and now.get(number) != kept
    }
    damaged |= {
        number
        for number, summary, kept in connection.execute(
            "SELECT number, summary_json, summary_checksum FROM session WHERE summary_json IS NOT NULL"
        )
        if not isinstance(summary, str) or of_text(summary) != kept
    }
    for number in damaged:
        _LOG.warning("what was computed of session %d is damaged and is computed anew", number)
        forget_review(connection, number)
        connection.execute("UPDATE session SET summary_json = NULL WHERE number = ?", (number,))


def _checksums(connection: sqlite3.Connection, session: int | None) -> dict[int, int]:
    """By session, of its review and all columns of its exposures (CRC-32 as in zlib)."""
    rows = connection.execute(
        "SELECT session, data FROM review WHERE session = coalesce(?, session)", (session,)
    )
    found = {number: zlib.crc32(data if isinstance(data, bytes) else b"") for number, data in rows}
    for question in _COLUMNS:
        for number, text in connection.execute(question, (session,)):
            if number in found:
                found[number] = zlib.crc32(text.encode("utf-8", "replace"), found[number])
    return found
