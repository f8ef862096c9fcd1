"""Back from a backup: checked as a whole first, then built beside what is there, then put in its place at once."""

from __future__ import annotations

import datetime as dt
import heapq
import os
import secrets
import shutil
import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from posturewatch.archive.faults import refused
from posturewatch.archive.kinds import Kind
from posturewatch.archive.reading import Archive
from posturewatch.errors import StoreError, UnknownError
from posturewatch.storage.backup.kind import BACKUP, REPLACED, About
from posturewatch.storage.backup.rows import COPIED, ForeignError, SessionCopier
from posturewatch.storage.folder.database import (
    FILE_NAME,
    connect,
    connect_read_only,
    looks_sound,
    transaction,
)
from posturewatch.storage.reader import read_session
from posturewatch.storage.samples.codec import ChunkError
from posturewatch.storage.schema.migrations import MIGRATIONS, applied, migrate, unknown
from posturewatch.storage.store import Store
from posturewatch.storage.tables.checks import checks
from posturewatch.storage.tables.clips import CLIPS_FOLDER, clips
from posturewatch.storage.tables.passages import passages_of

__all__ = ["Restored", "look_into", "restore"]

#: A room to work in, in the data folder, so that what is ready can be renamed into place.
_WORKSHOP = ".restore-"

#: Of the disk is asked for so much more than what is unpacked: the new database beside the unpacked one.
_SPARE = 1.1


@dataclass(frozen=True)
class Restored:
    """added: ids of sessions that have come; known: of those that were there already and stay as they are; damage: what
    of the added ones was damaged before they were saved, in sentences; aside: where what was replaced is now."""

    added: tuple[str, ...]
    known: tuple[str, ...]
    damage: tuple[str, ...]
    aside: Path | None


def look_into(path: Path) -> About:
    """What a backup says it holds, once every byte of it has been checked.

    Raises
    ------
    ArchiveError
        Where it is none or is damaged.
    """
    with Archive(path, [BACKUP]) as archive:
        about = archive.about_as(About)
        archive.check()
        return about


def restore(
    store: Store, path: Path, *, session_id: str | None = None, replace: bool = False, kind: Kind = BACKUP
) -> Restored:
    """Takes a backup's sessions, or one of them, into the data folder.

    Sessions that are there already stay as they are, unless everything is replaced: then what was there before is kept
    in a folder of its own. A fault changes nothing.

    Raises
    ------
    ArchiveError
        Where the archive is no backup, is damaged, or holds what this program would never write.
    UnknownError
        Where it does not hold that session.
    StoreError
        Where the folder cannot be written to, or another program has its database open.
    """
    if store.open_ids:
        raise StoreError("A session is being recorded; stop it before you restore a backup.")
    with Archive(path, [kind]) as archive:
        about = archive.about_as(About)
        if session_id is not None and session_id not in {one.id for one in about.sessions}:
            raise UnknownError(f"There is no session {session_id!r} in {path}.")
        if FILE_NAME not in archive.files:
            raise refused(path, "there is no database in it")
        free = shutil.disk_usage(store.data_dir).free
        if free < _SPARE * (archive.total_bytes + archive.files[FILE_NAME].bytes):
            raise StoreError(
                f"The disk with the data folder {store.data_dir} has too little room for this backup; free some space."
            )
        for left in store.data_dir.glob(f"{_WORKSHOP}*"):
            shutil.rmtree(left, ignore_errors=True)
        try:
            with tempfile.TemporaryDirectory(prefix=_WORKSHOP, dir=store.data_dir) as folder:
                archive.check()
                return _Restoring(store, archive, Path(folder)).run(session_id, replace, about.clips)
        except (ForeignError, ChunkError) as error:
            raise refused(path, f"its {error} holds what is no practice") from error
        except (sqlite3.Error, OSError) as error:
            raise StoreError(
                f"The backup cannot be restored to {store.data_dir} ({error}); nothing was changed."
            ) from error


class _Restoring:
    def __init__(self, store: Store, archive: Archive, folder: Path) -> None:
        self._store = store
        self._archive = archive
        self._saved = folder / "saved.sqlite3"
        self._fresh = folder / "fresh.sqlite3"
        self._clips = folder / CLIPS_FOLDER

    def run(self, session_id: str | None, replace: bool, with_clips: bool) -> Restored:
        self._archive.extract(FILE_NAME, self._saved)
        self._prepare()
        with (
            closing(connect(self._saved)) as saved,
            closing(connect_read_only(self._store.path)) as present,
            closing(connect(self._fresh, create=True)) as fresh,
        ):
            migrate(fresh)
            known = set() if replace else set(_ids(present).values())
            added = [one for one in _ids(saved).values() if one not in known and session_id in (None, one)]
            with transaction(fresh):
                _fill(saved, None if replace else present, fresh, added, rest=session_id is None)
            if fresh.execute("PRAGMA foreign_key_check").fetchone() is not None:
                raise ForeignError("database")
            damage = tuple(_readable(fresh, self._store.data_dir, added))
            asked = [one for one in _ids(saved).values() if session_id in (None, one)]
            fresh.execute("PRAGMA wal_checkpoint(TRUNCATE)")
            fresh.execute("PRAGMA journal_mode = DELETE")
        self._unpack_clips(added)
        aside = self._put_in_place(replace and with_clips, replace)
        return Restored(tuple(added), tuple(one for one in asked if one in known), damage, aside)

    def _prepare(self) -> None:
        """Brings the saved database up to date, once nothing in it can do harm by that."""
        if not looks_sound(self._saved, thorough=True):
            raise ForeignError("database")
        # Damaged or foreign statements of tables are read when the file is opened; of ours there are tables and
        # indices alone.
        with closing(connect_read_only(self._saved)) as saved:
            saved.execute("PRAGMA trusted_schema = OFF")
            odd = saved.execute(
                "SELECT 1 FROM sqlite_master WHERE type NOT IN ('table', 'index') OR sql LIKE 'create virtual%'"
            ).fetchone()
            names = applied(saved) if odd is None else ()
        if not names:
            raise ForeignError("database")
        if unknown(names):
            raise refused(self._archive.path, "it was made by a newer posturewatch; update this one")
        if names != tuple(one.name for one in MIGRATIONS[: len(names)]):
            raise ForeignError("migration")
        with closing(connect(self._saved)) as saved:
            migrate(saved)
            for table in COPIED:
                saved.execute(f"SELECT 1 FROM {table} LIMIT 1").fetchone()

    def _unpack_clips(self, added: list[str]) -> None:
        for name in self._archive.files:
            folder, _, rest = name.partition("/")
            identity, _, file = rest.partition("/")
            if folder == CLIPS_FOLDER and identity in added and file and "/" not in file:
                (self._clips / identity).mkdir(parents=True, exist_ok=True)
                self._archive.extract(name, self._clips / identity / file)

    def _put_in_place(self, replace_clips: bool, replace: bool) -> Path | None:
        """The clips first, since a database must not speak of what is not there yet; where what was replaced is now."""
        data_dir, path = self._store.data_dir, self._store.path
        _close_log(path)
        target = data_dir / CLIPS_FOLDER
        if target.is_symlink():
            raise OSError(f"{target} is a link")
        aside = None
        if replace:
            stamp = dt.datetime.now().astimezone().strftime("%Y%m%d-%H%M%S")
            aside = data_dir / f"{REPLACED}{stamp}-{secrets.token_hex(2)}"
            aside.mkdir(mode=0o700)
            _link_or_copy(path, aside / FILE_NAME)
            if replace_clips and target.exists():
                target.rename(aside / CLIPS_FOLDER)
        for source in sorted(self._clips.glob("*/*")):
            to = target / source.parent.name / source.name
            to.parent.mkdir(parents=True, exist_ok=True)
            source.replace(to)
        self._fresh.replace(path)
        _sync(data_dir)
        return aside


def _ids(connection: sqlite3.Connection) -> dict[int, str]:
    return dict(connection.execute("SELECT number, id FROM session ORDER BY number"))


def _fill(
    saved: sqlite3.Connection,
    present: sqlite3.Connection | None,
    fresh: sqlite3.Connection,
    added: list[str],
    *,
    rest: bool,
) -> None:
    """Both databases' sessions in order of time, what is there already with its own numbers."""
    saved_numbers = {identity: number for number, identity in _ids(saved).items()}
    if present is None or not _ids(present):
        new = SessionCopier(saved, fresh, keep_numbers=True)
        for identity in added:
            new.session(saved_numbers[identity])
    else:
        numbers = {identity: number for number, identity in _ids(present).items()}
        in_time = heapq.merge(_begun(present, set(numbers)), _begun(saved, set(added)))
        places = {identity: place for place, (_, identity) in enumerate(in_time, start=1)}
        # What keeps its numbers comes first.
        old = SessionCopier(present, fresh, keep_numbers=True)
        for identity, number in numbers.items():
            old.session(number, places[identity])
        old.rest()
        new = SessionCopier(saved, fresh, keep_numbers=False)
        for identity in added:
            new.session(saved_numbers[identity], places[identity])
    if rest:
        new.rest()


def _begun(connection: sqlite3.Connection, identities: set[str]) -> Iterator[tuple[str, str]]:
    """(beginning, id) in the order in which they were kept."""
    for started_at, identity in connection.execute(
        "SELECT started_at, id FROM session ORDER BY number"
    ).fetchall():
        if identity in identities:
            yield started_at, identity


def _readable(fresh: sqlite3.Connection, data_dir: Path, added: list[str]) -> Iterator[str]:
    """What of the added sessions is damaged; raises for what cannot be read at all."""
    for identity in added:
        try:
            record = read_session(fresh, identity)
            number = next(number for number, one in _ids(fresh).items() if one == identity)
            shown = (
                clips(fresh, data_dir, session_id=identity),
                checks(fresh, number),
                passages_of(fresh, number),
            )
            if not isinstance(record.settings, dict):
                raise TypeError(shown)
            yield from (f"Session {identity}: {sentence}" for sentence in record.damage)
        except StoreError as error:
            yield error.sentence
        except (ValueError, TypeError, KeyError, OverflowError, MemoryError) as error:
            raise ForeignError(f"session {identity}") from error


def _close_log(path: Path) -> None:
    """The log must be empty: SQLite would apply it to the database that takes this one's place."""
    with closing(connect(path)) as connection:
        (busy, *_) = connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
    log = path.with_name(path.name + "-wal")
    if busy or (log.exists() and log.stat().st_size):
        raise StoreError(
            f"The practice data in {path.parent} are being read by another program; close it, then try again."
        )


def _link_or_copy(path: Path, to: Path) -> None:
    """So that the database is in its place at every moment."""
    try:
        os.link(path, to)
    except OSError:
        shutil.copyfile(path, to)


def _sync(folder: Path) -> None:
    """The new names are on the disk."""
    if os.name == "posix":
        descriptor = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)
