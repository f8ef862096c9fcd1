"""Making a backup, also while a session is recorded."""

from __future__ import annotations

import sqlite3
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path

from posturewatch.archive.kinds import Kind
from posturewatch.archive.reading import Archive
from posturewatch.archive.writing import ArchiveWriter
from posturewatch.errors import StoreError, UnknownError
from posturewatch.storage.backup.kind import BACKUP, BUNDLE, REPORT, About, lines_of
from posturewatch.storage.backup.rows import ForeignError, SessionCopier
from posturewatch.storage.folder.database import FILE_NAME, connect, connect_read_only, transaction, uri_of
from posturewatch.storage.reader import SessionReader
from posturewatch.storage.samples import checksums
from posturewatch.storage.schema.migrations import migrate
from posturewatch.storage.tables.clips import is_whole

__all__ = ["Made", "archive_database", "copy_of_database", "make_backup", "make_bundle"]


@dataclass(frozen=True)
class Made:
    """What a backup holds: sessions, clips; clips that are listed and not there; ids of sessions of which something is
    damaged, in the backup as on the disk."""

    sessions: int
    clips: int
    missing_clips: int
    damaged: tuple[str, ...]


def make_backup(
    reader: SessionReader, path: Path, *, session_id: str | None = None, with_clips: bool = True
) -> Made:
    """Writes all that is kept, or one session, to a new archive, and reads it back to be sure of it.

    Raises
    ------
    UnknownError
        Where there is no such session, or none at all.
    StoreError
        Where the database cannot be read.
    ArchiveError
        Where the archive is there already or cannot be written.
    """
    with _working(reader, path) as copy:
        if session_id is None:
            copy_of_database(reader.path, copy)
        else:
            _some_sessions(reader.path, copy, [session_id])
        return _archived(reader, path, copy, BACKUP, whole=session_id is None, with_clips=with_clips)


@contextmanager
def _working(reader: SessionReader, path: Path) -> Iterator[Path]:
    """Where a copy of the database may be made, beside the archive to come; faults as one sentence."""
    with reader.reading() as connection:
        if connection is None:
            raise UnknownError(f"There is nothing in {reader.data_dir} yet that could be saved.")
    try:
        with tempfile.TemporaryDirectory(prefix=".backup-", dir=path.parent) as folder:
            yield Path(folder) / FILE_NAME
    except sqlite3.Error as error:
        raise StoreError(
            f"The practice data in {reader.data_dir} cannot be copied ({error}); run `posturewatch repair`, then try "
            "again."
        ) from error
    except OSError as error:
        raise StoreError(
            f"The file cannot be made in {path.parent} ({error.strerror}); choose another place, or free some space "
            "there."
        ) from error


def _archived(
    reader: SessionReader,
    path: Path,
    copy: Path,
    kind: Kind,
    *,
    whole: bool,
    with_clips: bool,
    report: bytes | None = None,
) -> Made:
    with closing(connect_read_only(copy)) as connection:
        listed = list(_clips(connection)) if with_clips else []
        there = [file for file, size in listed if is_whole(reader.data_dir, file, size)]
        archive_database(
            connection, copy, path, clips={file: reader.data_dir / file for file in there}, whole=whole,
            with_clips=with_clips, kind=kind, report=report,
        )  # fmt: skip
        damaged = tuple(_damaged(connection))
        sessions = len(lines_of(connection))
    try:
        with Archive(path, [kind]) as archive:
            archive.check()
    except BaseException:
        path.unlink()
        raise
    return Made(sessions, len(there), len(listed) - len(there), damaged)


def archive_database(
    connection: sqlite3.Connection,
    database: Path,
    path: Path,
    *,
    clips: dict[str, Path],
    whole: bool,
    with_clips: bool,
    kind: Kind = BACKUP,
    report: bytes | None = None,
) -> None:
    """Writes a database that nobody uses to a new archive, with these clips by their path in it and a report, where
    there is one; connection: to that database."""
    about = About(whole=whole, clips=with_clips, sessions=lines_of(connection))
    with ArchiveWriter(path, kind, about=about.model_dump()) as archive:
        archive.add_file(FILE_NAME, database)
        for file, source in clips.items():
            archive.add_file(file, source)
        if report is not None:
            archive.add_bytes(REPORT, report)


def copy_of_database(path: Path, copy: Path) -> None:
    """A whole copy as of one moment, without what was deleted, in one file.

    Raises
    ------
    sqlite3.Error
        Where it cannot be read or written.
    """
    with closing(connect_read_only(path)) as connection:
        connection.execute("VACUUM INTO ?", (uri_of(copy),))


def make_bundle(reader: SessionReader, path: Path, session_ids: Sequence[str], report: bytes) -> Made:
    """Writes these sessions with their clips and a report, a web page, to a new archive for somebody else.

    Errors as those of `make_backup`.
    """
    with _working(reader, path) as copy:
        _some_sessions(reader.path, copy, session_ids)
        return _archived(reader, path, copy, BUNDLE, whole=False, with_clips=True, report=report)


def _some_sessions(path: Path, copy: Path, session_ids: Sequence[str]) -> None:
    with closing(connect_read_only(path)) as source, closing(connect(copy, create=True)) as target:
        migrate(target)
        known = {identity: number for number, identity in source.execute("SELECT number, id FROM session")}
        for session_id in session_ids:
            if session_id not in known:
                raise UnknownError(
                    f"There is no session {session_id!r}; `posturewatch sessions` lists those there are."
                )
        try:
            with transaction(target):
                copier = SessionCopier(source, target, keep_numbers=False)
                for number in sorted(known[one] for one in set(session_ids)):
                    copier.session(int(number))
        except ForeignError as error:
            raise sqlite3.DatabaseError(f"something in the table of {error} is damaged") from error
        target.execute("PRAGMA journal_mode = DELETE")


def _clips(connection: sqlite3.Connection) -> Iterator[tuple[str, int]]:
    yield from connection.execute(
        "SELECT file, bytes FROM clip WHERE removed_at IS NULL ORDER BY id"
    ).fetchall()


def _damaged(connection: sqlite3.Connection) -> Iterator[str]:
    """Ids of sessions of which something has another checksum than when it was kept."""
    for number, identity in connection.execute("SELECT number, id FROM session ORDER BY number").fetchall():
        blocks = connection.execute(
            "SELECT first_ms, last_ms, data, checksum FROM chunk JOIN series ON series.id = chunk.series "
            "WHERE session = ?",
            (number,),
        )
        if not checksums.is_sealed_well(connection, number) or any(
            checksum is not None and checksums.of_chunk(first_ms, last_ms, data) != checksum
            for first_ms, last_ms, data, checksum in blocks
        ):
            yield str(identity)
