"""The player's own data: where they lie, how large they are, and how they are deleted for good."""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from posturewatch.errors import ConflictError, StoreError, UnknownError
from posturewatch.storage.backup.before_update import BEFORE_UPDATE
from posturewatch.storage.backup.kind import REPLACED
from posturewatch.storage.folder.database import FILE_NAME
from posturewatch.storage.reader import SessionReader
from posturewatch.storage.tables.clips import CLIPS_FOLDER

if TYPE_CHECKING:
    from posturewatch.storage.store import Store

__all__ = ["FILMS_FOLDER", "data_json", "forget_everything", "forget_session"]

#: Films that are to be measured, and parts of those that are not measured to their end.
FILMS_FOLDER = "films"

#: How the names of the database's own files begin.
_STEM = FILE_NAME.partition(".")[0]

#: How the names begin of what is kept beside the present data: damaged, as it was before an update, or replaced by a
#: backup.
_SET_ASIDE = (f"{_STEM}-damaged-", BEFORE_UPDATE, REPLACED)


def data_json(reader: SessionReader) -> dict[str, Any]:
    """Folder, bytes by kind, and each session with its bytes; newest first."""
    folder = reader.data_dir
    sizes = {"database": 0, "clips": 0, "set_aside": 0, "other": 0}
    for path, size in _files(folder):
        sizes[_kind(folder, path)] += size
    with reader.reading() as connection:
        sessions = [] if connection is None else _sessions(connection)
    return {
        "folder": str(folder),
        **{f"{kind}_bytes": size for kind, size in sizes.items()},
        "total_bytes": sum(sizes.values()),
        "sessions": sessions,
    }


def forget_session(store: Store, session_id: str) -> int:
    """Deletes a session with its clips for good; about how many bytes that were.

    Raises
    ------
    UnknownError
        For an unknown session.
    ConflictError
        For one that is running.
    StoreError
        Where a file cannot be deleted.
    """
    if session_id in store.open_ids:
        raise ConflictError("This session is being recorded; stop it before you delete it.")
    with store.reading() as connection:
        listed = None if connection is None else _sessions(connection, session_id)
    if not listed:
        raise UnknownError(
            f"There is no session {session_id!r}; `posturewatch sessions` lists those there are."
        )
    # The videos first: should one be in use, the session stays in the list and can be deleted again.
    freed = _delete_tree(_session_folder(store.data_dir, session_id)) + int(listed[0]["samples_bytes"])
    with store.erasing() as connection:
        connection.execute("DELETE FROM session WHERE id = ?", (session_id,))
    store.tidy()
    return freed


def forget_everything(store: Store) -> int:
    """Deletes all sessions, pieces, lists, checks and clips, and what was set aside; how many bytes that were.

    Settings are not among them.

    Raises
    ------
    ConflictError
        While a session runs.
    StoreError
        Where a file cannot be deleted.
    """
    if store.open_ids:
        raise ConflictError("A session is being recorded; stop it before you delete everything.")
    before = sum(size for _, size in _files(store.data_dir))
    _delete_tree(store.data_dir / CLIPS_FOLDER)
    _delete_tree(store.data_dir / FILMS_FOLDER)
    for path in list(store.data_dir.iterdir()):
        if path.name.startswith(_SET_ASIDE):
            _delete_tree(path)
    with store.writing() as connection:
        for table in ("session", "discomfort", "practice_item", "piece"):
            connection.execute(f"DELETE FROM {table}")
        connection.execute("UPDATE practice_place SET position = NULL")
        connection.execute("DELETE FROM sqlite_sequence")
    store.tidy()
    return before - sum(size for _, size in _files(store.data_dir))


def _session_folder(data_dir: Path, session_id: str) -> Path:
    """Of its clips. Ids are letters and digits; a damaged one must lead nowhere else."""
    return data_dir / CLIPS_FOLDER / (session_id if session_id.isalnum() else "none of that name")


def _sessions(connection: sqlite3.Connection, session_id: str | None = None) -> list[dict[str, Any]]:
    sizes = dict(
        connection.execute(
            "SELECT session, sum(length(data)) FROM chunk JOIN series ON series.id = chunk.series GROUP BY session"
        )
    )
    clips = {
        number: (count, size)
        for number, count, size in connection.execute(
            "SELECT session, count(*), sum(bytes) FROM clip WHERE removed_at IS NULL GROUP BY session"
        )
    }
    return [
        {
            "id": identity,
            "started_at": started_at,
            "duration_s": None if end_s is None else round(end_s, 3),
            "samples_bytes": sizes.get(number, 0),
            "clips": clips.get(number, (0, 0))[0],
            "clips_bytes": clips.get(number, (0, 0))[1],
        }
        for number, identity, started_at, end_s in connection.execute(
            "SELECT number, id, started_at, end_s FROM session WHERE ? IS NULL OR id = ? "
            "ORDER BY started_at DESC, number DESC",
            (session_id, session_id),
        )
    ]


def _kind(folder: Path, path: Path) -> str:
    inside = path.relative_to(folder)
    if inside.parts[0] == CLIPS_FOLDER and len(inside.parts) > 1:
        return "clips"
    if inside.parts[0].startswith(_SET_ASIDE):
        return "set_aside"
    return "database" if inside.name.startswith(FILE_NAME) else "other"


def _files(folder: Path) -> Iterator[tuple[Path, int]]:
    for path in folder.rglob("*"):
        try:
            if path.is_file() and not path.is_symlink():
                yield path, path.stat().st_size
        except OSError:
            continue  # gone in between, or not ours to look at


def _delete_tree(folder: Path) -> int:
    size = sum(size for _, size in _files(folder)) if folder.is_dir() and not folder.is_symlink() else 0
    try:
        # A link or a file in its place goes itself, and what a link leads to is somebody else's.
        if folder.is_symlink() or folder.is_file():
            folder.unlink()
        else:
            shutil.rmtree(folder)
    except FileNotFoundError:
        return 0
    except OSError as error:
        raise StoreError(_in_use(error)) from error
    return size


def _in_use(error: OSError) -> str:
    return f"{error.filename} cannot be deleted ({error.strerror}); close what uses it, then try again."
