"""Checksums of what is kept, so that damage on the disk does not pass for health.

SQLite notices a torn page, not a flipped bit in a number. Each block of samples carries a checksum of its own; what is
noted of a session beside its samples, and does not change once it is over, carries one together.
"""

from __future__ import annotations

import hashlib
import json
import sqlite3
import zlib

from posturewatch.storage.samples.codec import HEAD_BYTES, sample_count

__all__ = ["fill_in", "is_sealed_well", "of_chunk", "of_text", "samples_sealed", "seal"]

#: What does not change once a session is over. Named one by one, so that columns added later change no seal.
_SEALED = (
    "SELECT id, started_at, ended_at, end_reason, source_name, source_kind, instrument, program_version, "
    "settings_json, end_s, limits_json, rules_json, lost_samples, dropped_frames FROM session WHERE number = ?",
    "SELECT side, quantity, value_step, sd_step FROM series WHERE session = ? ORDER BY side, quantity",
    "SELECT side, quantity, direction, level, limit_value, start_s, peak, peak_s, end_s, end_word, warned_s "
    "FROM excursion WHERE session = ? ORDER BY start_s, id",
    "SELECT side, quantity, direction, limit_value, since_s, fired_s, cleared_s FROM warning "
    "WHERE session = ? ORDER BY fired_s, id",
    "SELECT side, start_s, plane FROM lift_plane WHERE session = ? ORDER BY start_s, side",
)


def of_chunk(first_ms: int, last_ms: int, data: bytes) -> int:
    """Of a block of samples with the times of its first and last one (CRC-32 as in zlib)."""
    return zlib.crc32(data, zlib.crc32(f"{first_ms} {last_ms} ".encode()))


def of_text(text: str) -> int:
    """Of a text (CRC-32 as in zlib)."""
    return zlib.crc32(text.encode("utf-8", "replace"))


def seal(connection: sqlite3.Connection, session: int) -> None:
    """Keeps the checksum of a session that is over, inside the caller's transaction."""
    connection.execute(
        "INSERT OR REPLACE INTO seal (session, digest, samples) VALUES (?, ?, ?)",
        (session, _digest(connection, session), _count(connection, session)),
    )


def is_sealed_well(connection: sqlite3.Connection, session: int) -> bool:
    """Whether what was noted of the session is as it was when it ended; True for one that is not over."""
    row = connection.execute("SELECT digest FROM seal WHERE session = ?", (session,)).fetchone()
    return row is None or row[0] == _digest(connection, session)


def samples_sealed(connection: sqlite3.Connection, session: int) -> int | None:
    """How many samples of the session were kept when it ended; None for one that is not over."""
    row = connection.execute("SELECT samples FROM seal WHERE session = ?", (session,)).fetchone()
    return None if row is None else int(row[0])


def fill_in(connection: sqlite3.Connection) -> None:
    """Gives checksums to what was kept before there were any."""
    for (key,) in connection.execute("SELECT id FROM chunk WHERE checksum IS NULL").fetchall():
        first_ms, last_ms, data = connection.execute(
            "SELECT first_ms, last_ms, data FROM chunk WHERE id = ?", (key,)
        ).fetchone()
        connection.execute(
            "UPDATE chunk SET checksum = ? WHERE id = ?", (of_chunk(first_ms, last_ms, data), key)
        )
    for number, summary in connection.execute("SELECT number, summary_json FROM session").fetchall():
        if summary is not None:
            connection.execute(
                "UPDATE session SET summary_checksum = ? WHERE number = ?", (of_text(summary), number)
            )
    for (number,) in connection.execute("SELECT number FROM session WHERE ended_at IS NOT NULL").fetchall():
        seal(connection, number)


def _count(connection: sqlite3.Connection, session: int) -> int:
    heads = connection.execute(
        "SELECT substr(data, 1, ?) FROM chunk JOIN series ON series.id = chunk.series WHERE session = ?",
        (HEAD_BYTES, session),
    )
    return sum(sample_count(head) for (head,) in heads)


def _digest(connection: sqlite3.Connection, session: int) -> bytes:
    rows = [connection.execute(statement, (session,)).fetchall() for statement in _SEALED]
    return hashlib.sha256(json.dumps(rows, default=repr).encode()).digest()
