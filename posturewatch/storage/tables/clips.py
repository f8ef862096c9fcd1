"""What is known of each clip. The video files lie below the data folder; one that has gone is listed as missing."""

from __future__ import annotations

import json
import sqlite3
import stat
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any, Protocol

from posturewatch.errors import StoreError, UnknownError
from posturewatch.storage.records import now_utc
from posturewatch.storage.schema.row_checksums import readable
from posturewatch.storage.tables.passages import passages_of

__all__ = [
    "CLIPS_FOLDER",
    "WrittenClip",
    "below",
    "change_clip",
    "clip_path",
    "clips",
    "delete_clip",
    "find_clip",
    "insert_clip",
    "is_whole",
    "moments_in",
    "whole_clip_path",
]

#: Below the data folder, with a folder per session.
CLIPS_FOLDER = "clips"

#: What is known of every moment of a clip.
_MOMENT = frozenset({"kind", "start_s", "key_s", "end_s", "side", "quantity", "direction"})

#: Times of a moment and of its excursion or mark are the same but for rounding.
_SAME_S = 0.05

_COLUMNS = (
    "clip.id, session.id, session.started_at, clip.name, file, start_s, clip.end_s, bytes, reason, has_sound, "
    "kept, note, moments_json, removed_at, session.number "
    f"FROM clip JOIN session ON session.number = clip.session AND {readable('clip')}"
)


class WrittenClip(Protocol):
    """A clip as its writer hands it over; second 0 of its video is the session's start_s."""

    @property
    def id(self) -> str: ...
    @property
    def start_s(self) -> float: ...
    @property
    def end_s(self) -> float: ...
    @property
    def path(self) -> Path: ...
    @property
    def bytes(self) -> int: ...
    @property
    def reason(self) -> str: ...
    @property
    def moments(self) -> Sequence[Any]: ...  # dataclasses
    @property
    def has_sound(self) -> bool: ...
    @property
    def kept(self) -> bool: ...


def insert_clip(connection: sqlite3.Connection, data_dir: Path, session_id: str, clip: WrittenClip) -> int:
    """Lists a clip; once more with the same name, it replaces that one.

    Raises
    ------
    UnknownError
        For an unknown session.
    ValueError
        For a video file outside the data folder.
    """
    row = connection.execute("SELECT number FROM session WHERE id = ?", (session_id,)).fetchone()
    if row is None:
        raise UnknownError(f"There is no session {session_id!r} to which the clip could belong.")
    cursor = connection.execute(
        "INSERT INTO clip (session, name, file, start_s, end_s, bytes, reason, has_sound, kept, moments_json, "
        "written_at) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT (session, name) DO UPDATE SET "
        "file = excluded.file, start_s = excluded.start_s, end_s = excluded.end_s, bytes = excluded.bytes, "
        "reason = excluded.reason, has_sound = excluded.has_sound, moments_json = excluded.moments_json, "
        "removed_at = NULL",
        (
            row[0],
            clip.id,
            below(data_dir, clip.path),
            clip.start_s,
            clip.end_s,
            clip.bytes,
            clip.reason,
            int(clip.has_sound),
            int(clip.kept),
            json.dumps([asdict(moment) for moment in clip.moments]),
            now_utc(),
        ),
    )
    return int(cursor.lastrowid or 0)


def clips(
    connection: sqlite3.Connection, data_dir: Path, *, session_id: str | None = None, piece: int | None = None
) -> list[dict[str, Any]]:
    """Clips in JSON's types, newest session first and in order of time within it."""
    conditions: list[str] = ["1"]
    values: list[str | int] = []
    if session_id is not None:
        conditions.append("session.id = ?")
        values.append(session_id)
    rows = connection.execute(
        f"SELECT {_COLUMNS} WHERE {' AND '.join(conditions)} "
        "ORDER BY session.started_at DESC, session.number DESC, clip.start_s",
        values,
    ).fetchall()
    found = [_json(connection, data_dir, row) for row in rows]
    if piece is None:
        return found
    return [one for one in found if one["passage"] is not None and one["passage"]["piece_id"] == piece]


def find_clip(connection: sqlite3.Connection, data_dir: Path, number: int) -> dict[str, Any]:
    """One clip.

    Raises
    ------
    UnknownError
        For an unknown one.
    """
    return _json(connection, data_dir, _row(connection, number))


def clip_path(connection: sqlite3.Connection, data_dir: Path, number: int) -> Path:
    """Where the video file lies, or lay.

    Raises
    ------
    UnknownError
        For an unknown clip.
    """
    return data_dir / str(_row(connection, number)[4])


def whole_clip_path(connection: sqlite3.Connection, data_dir: Path, number: int) -> Path | None:
    """Where the video file lies, None where it is not there as it was written.

    Raises
    ------
    UnknownError
        For an unknown clip.
    """
    row = _row(connection, number)
    return data_dir / str(row[4]) if is_whole(data_dir, str(row[4]), row[7]) else None


def is_whole(data_dir: Path, file: str, size: int) -> bool:
    """Whether the video file is there as it was written: a file below the data folder and no link, of its size, and an
    MP4 file by its beginning (ISO/IEC 14496-12, section 4.3)."""
    path = data_dir / file
    try:
        status = path.lstat()
        if not stat.S_ISREG(status.st_mode) or status.st_size != size or not status.st_size:
            return False
        if not path.resolve().is_relative_to(data_dir.resolve()):
            return False
        with path.open("rb") as opened:
            return opened.read(8)[4:] == b"ftyp"
    except OSError:
        return False


def change_clip(connection: sqlite3.Connection, number: int, changes: Mapping[str, Any]) -> None:
    """Changes what `changes` names of a clip: kept, note.

    Raises
    ------
    UnknownError
        For an unknown one.
    """
    _row(connection, number)
    connection.execute(
        "UPDATE clip SET kept = coalesce(?, kept), note = coalesce(?, note) WHERE id = ?",
        (changes.get("kept"), changes.get("note"), number),
    )


def delete_clip(connection: sqlite3.Connection, data_dir: Path, number: int) -> int:
    """Deletes the video file and what is known of it; the bytes freed.

    Raises
    ------
    UnknownError
        For an unknown clip.
    StoreError
        Where the file cannot be deleted.
    """
    path = clip_path(connection, data_dir, number)
    try:
        if not path.parent.resolve().is_relative_to(data_dir.resolve()):
            raise FileNotFoundError  # by a link to somewhere else: what lies there is not ours
        size = path.lstat().st_size
        path.unlink()
    except FileNotFoundError:
        size = 0
    except OSError as error:
        raise StoreError(
            f"The clip {path.name} cannot be deleted ({error.strerror}); close what plays it, then try again."
        ) from error
    connection.execute("DELETE FROM clip WHERE id = ?", (number,))
    return size


def _row(connection: sqlite3.Connection, number: int) -> tuple[Any, ...]:
    row = connection.execute(f"SELECT {_COLUMNS} WHERE clip.id = ?", (number,)).fetchone()
    if row is None:
        raise UnknownError("That clip is not kept any more; look at the list of clips again.")
    return tuple(row)


def below(data_dir: Path, path: Path) -> str:
    """The clip's path below the data folder, with /.

    Raises
    ------
    ValueError
        For a path elsewhere.
    """
    return path.resolve().relative_to(data_dir.resolve()).as_posix()


def _json(connection: sqlite3.Connection, data_dir: Path, row: tuple[Any, ...]) -> dict[str, Any]:
    number, identity, started_at, name, file, start_s, end_s, size, reason, has_sound, kept, note = row[:12]
    stored_moments, removed_at, session = row[12:]
    there = is_whole(data_dir, file, size)
    state = "there" if there else "missing" if removed_at is None else "removed"
    moments = [_moment(connection, session, moment) for moment in moments_in(stored_moments)]
    at_s = moments[0]["key_s"] if moments else start_s
    passage = next(
        (
            one.to_json()
            for one in passages_of(connection, session)
            if one.start_s <= at_s and (one.end_s is None or at_s < one.end_s)
        ),
        None,
    )
    return {
        "id": number,
        "session_id": identity,
        "session_started_at": started_at,
        "name": name,
        "start_s": round(start_s, 3),
        "end_s": round(end_s, 3),
        "bytes": size,
        "reason": reason,
        "has_sound": bool(has_sound),
        "kept": bool(kept),
        "note": note,
        "state": state,
        "passage": passage,
        "moments": moments,
    }


def moments_in(stored: str) -> list[dict[str, Any]]:
    """Those that damage has left whole."""
    try:
        found = json.loads(stored)
    except ValueError:
        return []
    return [
        one
        for one in (found if isinstance(found, list) else ())
        if isinstance(one, dict)
        and one.keys() >= _MOMENT
        and all(isinstance(one[name], (int, float)) for name in ("start_s", "key_s"))
    ]


def _moment(connection: sqlite3.Connection, session: int, moment: Mapping[str, Any]) -> dict[str, Any]:
    """With the excursion or the mark it is about, where that is still kept."""
    excursion = mark = None
    if moment["kind"] == "mark":
        mark = connection.execute(
            "SELECT id FROM mark WHERE session = ? AND abs(time_s - ?) <= ? ORDER BY abs(time_s - ?)",
            (session, moment["start_s"], _SAME_S, moment["start_s"]),
        ).fetchone()
    else:
        excursion = connection.execute(
            "SELECT id FROM excursion WHERE session = ? AND side = ? AND quantity = ? AND direction = ? "
            "AND level = 'extreme' AND start_s <= ? AND coalesce(end_s, 1e12) >= ? ORDER BY abs(start_s - ?)",
            (
                session,
                moment["side"],
                moment["quantity"],
                moment["direction"],
                moment["key_s"] + _SAME_S,
                moment["start_s"] - _SAME_S,
                moment["start_s"],
            ),
        ).fetchone()
    return {
        **{name: _rounded(one) for name, one in moment.items()},
        "excursion_id": None if excursion is None else excursion[0],
        "mark_id": None if mark is None else mark[0],
    }


def _rounded(value: Any) -> Any:
    return round(value, 3) if isinstance(value, float) else value
