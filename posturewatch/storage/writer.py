"""The statements that keep a session. Each public function runs inside the caller's transaction."""

from __future__ import annotations

import datetime as dt
import json
import logging
import sqlite3
from collections.abc import Iterable, Mapping
from dataclasses import asdict

import numpy as np

from posturewatch.model.quantities import quantity
from posturewatch.model.verdict import Excursion
from posturewatch.storage.limits_json import limits_to_json
from posturewatch.storage.records import Mark, PassageBegin, PlaneBegin, SessionStart, StoredWarning
from posturewatch.storage.samples import checksums
from posturewatch.storage.samples.batch import REFUSALS, Event, SeriesKey
from posturewatch.storage.samples.chunks import insert_chunk
from posturewatch.storage.samples.codec import ChunkError, Samples, decode, join
from posturewatch.storage.tables.passages import begin_passage, close_passages

__all__ = ["close_session", "insert_session", "last_moment_s", "merge_chunks", "save_events", "save_samples"]

_LOG = logging.getLogger(__name__)

#: This many committed chunks of a series (about five minutes) become one: small ones compress badly.
MERGE_AT = 300


def insert_session(connection: sqlite3.Connection, identity: str, start: SessionStart) -> int:
    """A new session's row; gives back its number."""
    cursor = connection.execute(
        "INSERT INTO session (id, started_at, source_name, source_kind, instrument, program_version, "
        "settings_json, limits_json, rules_json) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
        (
            identity,
            start.started_at,
            start.source_name,
            start.source_kind,
            start.instrument,
            start.program_version,
            json.dumps(dict(start.settings)),
            json.dumps(limits_to_json(start.limits)),
            json.dumps(asdict(start.rules)),
        ),
    )
    number = cursor.lastrowid
    if number is None:
        raise sqlite3.DatabaseError("no row number for a new session")
    return number


def save_samples(connection: sqlite3.Connection, session: int, series: Mapping[SeriesKey, Samples]) -> None:
    """One chunk per series; many small ones are made one."""
    codes = _refusal_codes(connection)
    for (side, name), samples in series.items():
        if not len(samples):
            continue
        number = _series_number(connection, session, side, name)
        stored = Samples(samples.time_ms, samples.value, samples.sd, codes[samples.refusal])
        insert_chunk(connection, number, stored, merged=False)
        (waiting,) = connection.execute(
            "SELECT count(*) FROM chunk WHERE series = ? AND merged = 0", (number,)
        ).fetchone()
        if waiting >= MERGE_AT:
            _merge(connection, number)


def save_events(connection: sqlite3.Connection, session: int, events: Iterable[Event]) -> None:
    """Inserts what is new and updates what is known; writing the same event twice changes nothing."""
    for event in events:
        if isinstance(event, Excursion):
            _save_excursion(connection, session, event)
        elif isinstance(event, StoredWarning):
            _save_warning(connection, session, event)
        elif isinstance(event, Mark):
            connection.execute(
                "INSERT INTO mark (session, time_s, note) VALUES (?, ?, ?)",
                (session, event.time_s, event.note),
            )
        elif isinstance(event, PassageBegin):
            begin_passage(connection, session, event)
        elif isinstance(event, PlaneBegin):
            connection.execute(
                "INSERT OR REPLACE INTO lift_plane (session, side, start_s, plane) VALUES (?, ?, ?, ?)",
                (session, event.side, event.time_s, event.plane),
            )
        else:
            raise TypeError(f"no event: {event!r}")


def merge_chunks(connection: sqlite3.Connection, session: int) -> None:
    """Makes one of the small chunks of each series of a session that is over."""
    for (number,) in connection.execute("SELECT id FROM series WHERE session = ?", (session,)).fetchall():
        _merge(connection, number)


def last_moment_s(connection: sqlite3.Connection, session: int) -> float:
    """The time of the session's last sample, mark or passage's beginning, 0 without any."""
    (last_ms,) = connection.execute(
        "SELECT max(last_ms) FROM chunk JOIN series ON series.id = chunk.series WHERE session = ?", (session,)
    ).fetchone()
    (mark_s,) = connection.execute("SELECT max(time_s) FROM mark WHERE session = ?", (session,)).fetchone()
    (passage_s,) = connection.execute(
        "SELECT max(start_s) FROM passage WHERE session = ?", (session,)
    ).fetchone()
    return max(0.0 if last_ms is None else last_ms / 1000, mark_s or 0.0, passage_s or 0.0)


def close_session(connection: sqlite3.Connection, session: int, end_s: float, reason: str) -> None:
    """Sets the session's end; a passage that was played ends then, and warnings that were shown clear."""
    (started_at,) = connection.execute(
        "SELECT started_at FROM session WHERE number = ?", (session,)
    ).fetchone()
    ended = dt.datetime.fromisoformat(started_at) + dt.timedelta(seconds=end_s)
    connection.execute(
        "UPDATE session SET ended_at = ?, end_reason = ?, end_s = ? WHERE number = ?",
        (ended.isoformat(timespec="milliseconds"), reason, end_s, session),
    )
    close_passages(connection, session, end_s)
    connection.execute(
        "UPDATE warning SET cleared_s = max(?, fired_s) WHERE session = ? AND cleared_s IS NULL",
        (end_s, session),
    )
    checksums.seal(connection, session)


def _refusal_codes(connection: sqlite3.Connection) -> np.ndarray[tuple[int, ...], np.dtype[np.uint8]]:
    """The database's code for each refusal's number in memory, new words added; 0 stays 0."""
    known = {word: code for code, word in connection.execute("SELECT code, word FROM refusal")}
    codes = np.zeros(len(REFUSALS) + 1, np.uint8)
    for place, refusal in enumerate(REFUSALS, start=1):
        if refusal.value not in known:
            known[refusal.value] = 1 + max(known.values(), default=0)
            connection.execute(
                "INSERT INTO refusal (code, word) VALUES (?, ?)", (known[refusal.value], refusal.value)
            )
        codes[place] = known[refusal.value]
    return codes


def _series_number(connection: sqlite3.Connection, session: int, side: str, name: str) -> int:
    row = connection.execute(
        "SELECT id FROM series WHERE session = ? AND side = ? AND quantity = ?", (session, side, name)
    ).fetchone()
    if row is not None:
        return int(row[0])
    cursor = connection.execute(
        "INSERT INTO series (session, side, quantity, value_step, sd_step) VALUES (?, ?, ?, ?, ?)",
        (session, side, name, quantity(name).value_step, quantity(name).sd_step),
    )
    if cursor.lastrowid is None:
        raise sqlite3.DatabaseError("no row number for a new series")
    return cursor.lastrowid


def _merge(connection: sqlite3.Connection, series: int) -> None:
    rows = connection.execute(
        "SELECT first_ms, last_ms, data, checksum FROM chunk WHERE series = ? AND merged = 0 ORDER BY id",
        (series,),
    ).fetchall()
    if not rows:
        return
    try:
        if any(checksums.of_chunk(*row[:3]) != row[3] for row in rows):
            raise ChunkError("a checksum does not fit")
        samples = join([decode(data) for _, _, data, _ in rows])
    except ChunkError as error:
        # Left as they are: merging only saves room, and the rest of the session must still be kept.
        _LOG.error("samples of series %d cannot be merged: %s", series, error)
        return
    connection.execute("DELETE FROM chunk WHERE series = ? AND merged = 0", (series,))
    insert_chunk(connection, series, samples, merged=True)


def _save_excursion(connection: sqlite3.Connection, session: int, one: Excursion) -> None:
    key = (session, one.side, one.quantity, one.direction, one.level, one.start_s)
    cursor = connection.execute(
        "UPDATE excursion SET peak = ?, peak_s = ?, end_s = ?, end_word = ?, warned_s = ? "
        "WHERE session = ? AND side = ? AND quantity = ? AND direction = ? AND level = ? AND start_s = ?",
        (one.peak, one.peak_s, one.end_s, one.end, one.warned_s, *key),
    )
    if cursor.rowcount == 0:
        connection.execute(
            "INSERT INTO excursion (session, side, quantity, direction, level, start_s, limit_value, peak, "
            "peak_s, end_s, end_word, warned_s) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
            (*key, one.limit, one.peak, one.peak_s, one.end_s, one.end, one.warned_s),
        )


def _save_warning(connection: sqlite3.Connection, session: int, stored: StoredWarning) -> None:
    one = stored.warning
    key = (session, one.side, one.quantity, one.direction, one.fired_s)
    cursor = connection.execute(
        "UPDATE warning SET cleared_s = ? "
        "WHERE session = ? AND side = ? AND quantity = ? AND direction = ? AND fired_s = ?",
        (stored.cleared_s, *key),
    )
    if cursor.rowcount == 0:
        connection.execute(
            "INSERT INTO warning (session, side, quantity, direction, fired_s, limit_value, since_s, "
            "cleared_s) VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
            (*key, one.limit, one.since_s, stored.cleared_s),
        )
