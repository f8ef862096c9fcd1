"""Reading sessions back, beside a running writer and without ever writing."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any, NoReturn

import numpy as np
from numpy.typing import NDArray

from posturewatch.comfort.limits import LimitProfile
from posturewatch.comfort.rules import WatchRules
from posturewatch.errors import InputError, StoreError, UnknownError
from posturewatch.model.observation import Side
from posturewatch.model.verdict import Excursion, HoldWarning
from posturewatch.storage.damage import sentences
from posturewatch.storage.folder.database import FILE_NAME, connect_read_only
from posturewatch.storage.folder.log_frames import is_emptied
from posturewatch.storage.folder.usable import check_usable
from posturewatch.storage.limits_json import limits_from_json
from posturewatch.storage.records import Mark, PlaneBegin, SessionInfo, StoredWarning
from posturewatch.storage.samples import checksums
from posturewatch.storage.samples.codec import ChunkError
from posturewatch.storage.samples.series import KeptSeries, StoredSeries, heads, look_through, read_series
from posturewatch.storage.schema.migrations import applied, missing, unknown
from posturewatch.storage.schema.row_checksums import readable
from posturewatch.storage.tables.marks import marks_of

__all__ = [
    "OutdatedError",
    "SessionOutline",
    "SessionReader",
    "SessionRecord",
    "newer_sentence",
    "read_lazily",
    "read_outline",
    "read_session",
    "unreadable",
]

_INFO_COLUMNS = (
    "id, started_at, ended_at, end_reason, end_s, source_name, source_kind, instrument, program_version, "
    "lost_samples, dropped_frames, number"
)


class OutdatedError(StoreError):
    """The database is older than the program and has to be brought up to date first."""


@dataclass(frozen=True, kw_only=True)
class SessionOutline:
    """A session without its samples, its events in order of time. limits and rules as they were in use; settings in
    JSON's types. damage: what was kept of it and cannot be read or relied on any more, in sentences; the rest is
    sound."""

    info: SessionInfo
    limits: LimitProfile
    rules: WatchRules
    settings: dict[str, Any]
    excursions: tuple[Excursion, ...]
    warnings: tuple[StoredWarning, ...]
    marks: tuple[Mark, ...]
    planes: tuple[PlaneBegin, ...] = ()
    damage: tuple[str, ...] = ()

    @property
    def max_gap_s(self) -> float:
        return self.rules.max_gap_s

    def plane_at(self, side: Side, time_s: NDArray[np.float64]) -> NDArray[np.int64]:
        """What the finger lifts of a hand were measured from at each time (n,): places in `planes`, -1 where
        nothing was measured yet."""
        own = [place for place, one in enumerate(self.planes) if one.side == side]
        latest = np.searchsorted([self.planes[place].time_s for place in own], time_s, side="right")
        places: NDArray[np.int64] = np.array([-1, *own])[latest]
        return places


@dataclass(frozen=True, kw_only=True)
class SessionRecord(SessionOutline):
    """A session as a whole. series: in memory, or read as they are asked for (`read_lazily`)."""

    series: Sequence[StoredSeries]


class SessionReader:
    """Sessions of one data folder. Every call opens the database read-only and closes it again.

    A folder without a database has no sessions.

    Raises
    ------
    StoreError
        Where the database cannot be read or was written by a newer program.
    OutdatedError
        Where an older one did.
    """

    def __init__(self, data_dir: Path) -> None:
        check_usable(data_dir)
        self.data_dir = data_dir
        self.path = data_dir / FILE_NAME

    def sessions(self) -> list[SessionInfo]:
        """All sessions, newest first: by when they began, whenever they were kept."""
        with self.reading() as connection:
            if connection is None:
                return []
            rows = connection.execute(
                f"SELECT {_INFO_COLUMNS} FROM session ORDER BY started_at DESC, number DESC"
            ).fetchall()
            return [_info(connection, row) for row in rows]

    def find(self, name: str) -> SessionInfo:
        """The session whose id begins with `name`, or for "last" the one that began last.

        Raises
        ------
        UnknownError
            Where there is none.
        InputError
            Where several begin so.
        """
        sessions = self.sessions()
        if name == "last" and sessions:
            return sessions[0]
        found = [one for one in sessions if one.id == name] or [
            one for one in sessions if name and one.id.startswith(name)
        ]
        if len(found) == 1:
            return found[0]
        if not sessions:
            raise UnknownError(
                f"There is no session in {self.data_dir} yet; begin one with: posturewatch live."
            )
        if found:
            ids = ", ".join(one.id for one in found[:5])
            raise InputError(f"{len(found)} sessions begin with {name!r} ({ids}); give more of the id.")
        raise UnknownError(f"There is no session {name!r}; `posturewatch sessions` lists those there are.")

    def find_exactly(self, session_id: str) -> SessionInfo:
        """The session of that very id, without its samples.

        Raises
        ------
        UnknownError
            For an unknown one.
        """
        with self.reading() as connection:
            row = None
            if connection is not None:
                row = connection.execute(
                    f"SELECT {_INFO_COLUMNS} FROM session WHERE id = ?", (session_id,)
                ).fetchone()
            if connection is None or row is None:
                raise UnknownError(
                    f"There is no session {session_id!r}; `posturewatch sessions` lists those there are."
                )
            return _info(connection, row)

    def session(self, session_id: str) -> SessionRecord:
        """The session of that very id.

        Raises
        ------
        UnknownError
            For an unknown one.
        """
        with self.reading() as connection:
            if connection is None:
                raise UnknownError(f"There is no session {session_id!r}; {self.data_dir} holds none.")
            return read_session(connection, session_id)

    def outline(self, session_id: str) -> SessionOutline:
        """The session of that very id without its samples.

        Raises
        ------
        UnknownError
            For an unknown one.
        """
        with self.reading() as connection:
            if connection is None:
                raise UnknownError(f"There is no session {session_id!r}; {self.data_dir} holds none.")
            return read_outline(connection, session_id)

    def cached_summary(self, session_id: str) -> dict[str, Any] | None:
        """The summary kept at the session's end, with the marks of now; None where there is none, or none that is
        sound."""
        with self.reading() as connection:
            row = None
            if connection is not None:
                row = connection.execute(
                    "SELECT number, summary_json, summary_checksum FROM session WHERE id = ?", (session_id,)
                ).fetchone()
            if connection is None or row is None or row[1] is None or row[2] != checksums.of_text(row[1]):
                return None
            # Marks may have changed since.
            marks = [{"time_s": one["time_s"], "note": one["note"]} for one in marks_of(connection, row[0])]
            return {**json.loads(row[1]), "marks": marks}

    @contextmanager
    def reading(self) -> Iterator[sqlite3.Connection | None]:
        """A connection that only reads, all of one moment; None where there is no database yet."""
        if is_emptied(self.path):
            unreadable(self.path, sqlite3.DatabaseError("the file is empty, and its log is not"))
        if not self.path.exists():
            yield None
            return
        try:
            connection = connect_read_only(self.path)
        except sqlite3.Error as error:
            unreadable(self.path, error)
        try:
            # One transaction, so that all of an answer is of the same moment.
            connection.execute("BEGIN")
            names = applied(connection)
            if unknown(names):
                raise StoreError(newer_sentence(self.path))
            if not names:
                yield None
            elif missing(names):
                raise OutdatedError(
                    f"The practice data in {self.data_dir} are of an older posturewatch that may be running; "
                    "stop it, then try again."
                )
            else:
                yield connection
        except (sqlite3.Error, ChunkError) as error:
            unreadable(self.path, error)
        finally:
            connection.close()


def newer_sentence(path: Path) -> str:
    """What is said where a newer program wrote the database."""
    return (
        f"The practice data in {path.parent} were written by a newer posturewatch than this one; "
        "update posturewatch, or choose another folder with --data-dir."
    )


def unreadable(path: Path, error: Exception) -> NoReturn:
    """Raises the StoreError that says so."""
    raise StoreError(
        f"The practice data in {path} cannot be read ({error}); `posturewatch repair` saves what can be "
        "read and keeps the damaged file."
    ) from error


def read_session(connection: sqlite3.Connection, session_id: str) -> SessionRecord:
    """The whole session over an open connection.

    Raises
    ------
    UnknownError
        For an unknown id.
    """
    number, parts = _outline(connection, session_id)
    series, damaged = read_series(connection, number)
    found = sum(len(one.time_s) for one in series)
    return SessionRecord(**parts, series=series, damage=sentences(connection, number, damaged, found))


def read_lazily(connection: sqlite3.Connection, session_id: str) -> SessionRecord:
    """The whole session over a connection that stays open, its series read as they are asked for.

    Raises
    ------
    UnknownError
        For an unknown id.
    """
    number, parts = _outline(connection, session_id)
    found, damaged = look_through(connection, number)
    series = KeptSeries(connection, heads(connection, number))
    return SessionRecord(**parts, series=series, damage=sentences(connection, number, damaged, found))


def read_outline(connection: sqlite3.Connection, session_id: str) -> SessionOutline:
    """The session without its samples, which are looked through for damage.

    Raises
    ------
    UnknownError
        For an unknown id.
    """
    number, parts = _outline(connection, session_id)
    found, damaged = look_through(connection, number)
    return SessionOutline(**parts, damage=sentences(connection, number, damaged, found))


def _outline(connection: sqlite3.Connection, session_id: str) -> tuple[int, dict[str, Any]]:
    row = connection.execute(f"SELECT {_INFO_COLUMNS} FROM session WHERE id = ?", (session_id,)).fetchone()
    if row is None:
        raise UnknownError(
            f"There is no session {session_id!r}; `posturewatch sessions` lists those there are."
        )
    number = int(row[-1])
    settings, limits, rules = _circumstances(connection, number, session_id)
    marks = connection.execute(
        f"SELECT time_s, note FROM mark WHERE session = ? AND {readable('mark')} ORDER BY time_s, id",
        (number,),
    )
    planes = connection.execute(
        "SELECT side, start_s, plane FROM lift_plane WHERE session = ? ORDER BY start_s, side", (number,)
    )
    return number, {
        "info": _info(connection, row),
        "limits": limits,
        "rules": rules,
        "settings": settings,
        "excursions": tuple(one for _, one in stored_excursions(connection, number)),
        "warnings": _warnings(connection, number),
        "marks": tuple(Mark(*one) for one in marks),
        "planes": tuple(PlaneBegin(*one) for one in planes),
    }


def _circumstances(
    connection: sqlite3.Connection, number: int, session_id: str
) -> tuple[dict[str, Any], LimitProfile, WatchRules]:
    settings, limits, rules = connection.execute(
        "SELECT settings_json, limits_json, rules_json FROM session WHERE number = ?", (number,)
    ).fetchone()
    try:
        return json.loads(settings), limits_from_json(json.loads(limits)), _watch_rules(json.loads(rules))
    except (ValueError, TypeError, KeyError, AttributeError) as error:
        raise StoreError(
            f"The limits or settings of session {session_id} are damaged on the disk, so that nothing can be said of "
            "it; the other sessions are not touched by that."
        ) from error


def _watch_rules(kept: Mapping[str, Any]) -> WatchRules:
    """The rules as they were in use; what was not known then has today's default."""
    known = {field.name for field in fields(WatchRules)}
    values: dict[str, Any] = {
        name: tuple(one) if isinstance(one, list) else one for name, one in kept.items() if name in known
    }
    return WatchRules(**values)


def _info(connection: sqlite3.Connection, row: tuple[Any, ...]) -> SessionInfo:
    identity, started_at, ended_at, end_reason, end_s, *rest, number = row
    if end_s is None:
        (last_ms,) = connection.execute(
            "SELECT max(last_ms) FROM chunk JOIN series ON series.id = chunk.series WHERE session = ?",
            (number,),
        ).fetchone()
        end_s = 0.0 if last_ms is None else last_ms / 1000
    return SessionInfo(identity, started_at, ended_at, end_reason, end_s, *rest)


def stored_excursions(connection: sqlite3.Connection, number: int) -> tuple[tuple[int, Excursion], ...]:
    """(row number, excursion) of a session, in order of time."""
    return tuple(
        (place, Excursion(*row))
        for place, *row in connection.execute(
            "SELECT id, side, quantity, direction, level, limit_value, start_s, peak, peak_s, end_s, end_word, "
            "warned_s FROM excursion WHERE session = ? ORDER BY start_s, id",
            (number,),
        )
    )


def _warnings(connection: sqlite3.Connection, number: int) -> tuple[StoredWarning, ...]:
    return tuple(
        StoredWarning(HoldWarning(*row), cleared_s)
        for *row, cleared_s in connection.execute(
            "SELECT side, quantity, direction, limit_value, since_s, fired_s, cleared_s FROM warning "
            "WHERE session = ? ORDER BY fired_s, id",
            (number,),
        )
    )
