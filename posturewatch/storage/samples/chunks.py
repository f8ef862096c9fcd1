"""Blocks of samples as the database has them: what is sound of a series, and which stretches are not."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass
from typing import Any

from posturewatch.model.observation import Side
from posturewatch.model.quantities import quantity
from posturewatch.storage.samples import checksums
from posturewatch.storage.samples.codec import ChunkError, Samples, decode, encode, join, sample_count

__all__ = ["DamagedStretch", "insert_chunk", "look_through_chunks", "read_chunks"]


@dataclass(frozen=True)
class DamagedStretch:
    """Samples that were kept and cannot be read any more; times in seconds of the session, None where unknown."""

    side: Side
    quantity: str
    start_s: float | None
    end_s: float | None

    @property
    def sentence(self) -> str:
        """What is missing, for the player."""
        when = "" if self.start_s is None else f" from {self.start_s:.1f} s to {self.end_s:.1f} s"
        return f"Damaged on the disk and left out: {quantity(self.quantity).label}, {self.side} hand{when}."


def insert_chunk(connection: sqlite3.Connection, series: int, samples: Samples, *, merged: bool) -> None:
    """Keeps a block of samples with its checksum."""
    first_ms, last_ms, data = int(samples.time_ms[0]), int(samples.time_ms.max()), encode(samples)
    connection.execute(
        "INSERT INTO chunk (series, first_ms, last_ms, merged, data, checksum) VALUES (?, ?, ?, ?, ?, ?)",
        (series, first_ms, last_ms, int(merged), data, checksums.of_chunk(first_ms, last_ms, data)),
    )


def read_chunks(
    connection: sqlite3.Connection,
    series: int,
    key: tuple[Side, str],
    between_ms: tuple[int, int] | None = None,
) -> tuple[Samples, list[DamagedStretch]]:
    """The sound samples of a series in order, and what is not sound of it.

    Parameters
    ----------
    key
        Hand and quantity, for what is said of damage.
    between_ms
        Only blocks that reach into this stretch.
    """
    found: list[Samples] = []
    damaged: list[DamagedStretch] = []
    # One by one: an unreadable page takes only what lies on it.
    for number in _numbers(connection, series, between_ms):
        times = _times(connection, number)
        if times and between_ms and not (times[1] >= between_ms[0] and times[0] < between_ms[1]):
            continue
        samples = None if times is None else _sound(connection, number, times)
        if samples is not None:
            found.append(samples)
        else:
            seconds = (None, None) if times is None else (times[0] / 1000, times[1] / 1000)
            damaged.append(DamagedStretch(*key, *seconds))
    return join(found), damaged


def look_through_chunks(
    connection: sqlite3.Connection, series: int, key: tuple[Side, str]
) -> tuple[int, list[DamagedStretch]]:
    """How many samples of a series are sound by their checksums, and what is not; nothing is decoded."""
    found, damaged = 0, list[DamagedStretch]()
    for number in _numbers(connection, series):
        times = _times(connection, number)
        data = None if times is None else _checked(connection, number, times)
        if data is not None:
            found += sample_count(data)
        else:
            seconds = (None, None) if times is None else (times[0] / 1000, times[1] / 1000)
            damaged.append(DamagedStretch(*key, *seconds))
    return found, damaged


def _numbers(
    connection: sqlite3.Connection, series: int, between_ms: tuple[int, int] | None = None
) -> list[int]:
    """Of the blocks of a series in order, at least of those that reach into a stretch."""
    if between_ms is not None:
        try:
            rows = connection.execute(
                "SELECT id FROM chunk WHERE series = ? AND last_ms >= ? AND first_ms < ? ORDER BY id",
                (series, *between_ms),
            ).fetchall()
            return [number for (number,) in rows]
        except sqlite3.OperationalError:
            raise
        except sqlite3.DatabaseError:
            pass  # a page cannot be read: all of them, then, from the index alone
    rows = connection.execute("SELECT id FROM chunk WHERE series = ? ORDER BY id", (series,)).fetchall()
    return [number for (number,) in rows]


def _times(connection: sqlite3.Connection, number: int) -> tuple[int, int] | None:
    """Of a block's first and last sample in milliseconds; None where they cannot be read."""
    row = _row(connection, "SELECT first_ms, last_ms FROM chunk WHERE id = ?", number)
    known = row is not None and all(isinstance(one, int) for one in row)
    return (row[0], row[1]) if row is not None and known else None


def _checked(connection: sqlite3.Connection, number: int, times: tuple[int, int]) -> bytes | None:
    """A block as it was kept; None where it is not."""
    row = _row(connection, "SELECT data, checksum FROM chunk WHERE id = ?", number)
    if row is None or not isinstance(row[0], bytes):
        return None
    data, checksum = row
    return data if checksum is None or checksums.of_chunk(*times, data) == checksum else None


def _sound(connection: sqlite3.Connection, number: int, times: tuple[int, int]) -> Samples | None:
    """The samples of a block; None where they are not what was kept."""
    data = _checked(connection, number, times)
    if data is None:
        return None
    try:
        return decode(data)
    except ChunkError:
        return None


def _row(connection: sqlite3.Connection, statement: str, number: int) -> tuple[Any, ...] | None:
    try:
        row: tuple[Any, ...] | None = connection.execute(statement, (number,)).fetchone()
    except sqlite3.OperationalError:
        raise  # the disk or a lock, no damage
    except sqlite3.DatabaseError:
        return None
    return row
