"""The data folder as its one writer: lock, checks, migrations, what a crash left open, new sessions."""

from __future__ import annotations

import datetime as dt
import logging
import secrets
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from platformdirs import user_data_dir
from pydantic import ValidationError

from posturewatch.archive.faults import ArchiveError
from posturewatch.errors import StoreError
from posturewatch.storage import writer
from posturewatch.storage.backup.before_update import drop_backups, keep_before_update
from posturewatch.storage.damage import loose_sentence
from posturewatch.storage.folder.database import connect, looks_sound, transaction
from posturewatch.storage.folder.lock import FolderInUseError, FolderLock
from posturewatch.storage.folder.log_frames import is_emptied
from posturewatch.storage.folder.private import make_private
from posturewatch.storage.folder.salvage import Salvaged, salvage
from posturewatch.storage.reader import OutdatedError, SessionReader, newer_sentence, unreadable
from posturewatch.storage.recorder import Recorder
from posturewatch.storage.records import SessionStart
from posturewatch.storage.samples.codec import ChunkError
from posturewatch.storage.schema.migrations import applied, migrate, missing, unknown
from posturewatch.storage.tables.checks import adopt_check

__all__ = ["OnClosed", "Store", "default_data_dir", "open_reader"]

_LOG = logging.getLogger(__name__)

#: What is to be done with a session once it is closed and whole: a connection outside any transaction, its number.
OnClosed = Callable[[sqlite3.Connection, int], None]

#: Each waits some seconds for whoever reads or writes.
_FOLDING_TRIES = 3

#: Giving room back writes the whole file anew: some seconds for years of practice, so not for little.
_FREE_SHARE = 0.2


def default_data_dir() -> Path:
    """The user's data folder for posturewatch, as the operating system has it."""
    return Path(user_data_dir("posturewatch", appauthor=False))


def open_reader(data_dir: Path | None = None) -> SessionReader:
    """For reading only, also while another process records; an older database is brought up to date first.

    Raises
    ------
    StoreError
        Where the database cannot be read.
    """
    reader = SessionReader(default_data_dir() if data_dir is None else data_dir)
    try:
        reader.sessions()
    except OutdatedError:
        try:
            Store(reader.data_dir).close()
        except FolderInUseError as error:
            raise StoreError(str(error)) from error
    return reader


class Store(SessionReader):
    """The one writer of a data folder; also a SessionReader.

    A damaged database is set aside under a new name, untouched, and what can be read of it goes into a fresh one;
    `notice` then says so.
    A session that a crash left open is closed with what was kept of it. Before an older database is brought up to date,
    it is saved beside itself.

    Parameters
    ----------
    data_dir
        Made when it is not there; the user's data folder when None.
    on_closed
        Called for each session that ends, in the thread that ended it: the place for what is computed from a whole
        session. Not for one that a crash left open: the next practice must not wait for that.
    thorough
        Looks for damage in everything, which takes longer the more is kept.

    Raises
    ------
    FolderInUseError
        Where another running program holds the folder.
    StoreError
        Where it cannot be written to or a newer program wrote it.
    """

    def __init__(
        self, data_dir: Path | None = None, *, on_closed: OnClosed | None = None, thorough: bool = False
    ) -> None:
        super().__init__(default_data_dir() if data_dir is None else data_dir)
        self._on_closed = on_closed
        self.notice: str | None = None
        self._recorders: dict[str, Recorder] = {}
        self._practice: str | None = None
        made = not self.data_dir.exists()
        try:
            self.data_dir.mkdir(parents=True, exist_ok=True, mode=0o700)
        except OSError as error:
            raise StoreError(
                f"The data folder {self.data_dir} cannot be made ({error.strerror}); "
                "choose another with --data-dir."
            ) from error
        self._lock = FolderLock(self.data_dir)
        try:
            self._open(thorough)
            make_private(self.data_dir, made=made)
        except BaseException:
            self._lock.close()
            raise

    def begin(self, start: SessionStart, *, of_a_film: bool = False) -> Recorder:
        """A new session's recorder. One practice is recorded at a time; what is kept of a film goes beside it.

        Raises
        ------
        StoreError
            Where the session cannot even be begun.
        """
        if not of_a_film and self._practice is not None:
            raise StoreError("A session is being recorded already; stop it before the next.")
        identity = secrets.token_hex(4)
        try:
            connection = connect(self.path)
        except sqlite3.Error as error:
            raise self._unusable(error) from error
        try:
            with transaction(connection):
                number = writer.insert_session(connection, identity, start)
                adopt_check(connection, number, start.started_at)
        except sqlite3.Error as error:
            connection.close()
            raise self._unusable(error) from error
        if not of_a_film:
            self._practice = identity
        self._recorders[identity] = recorder = Recorder(
            connection,
            number,
            identity,
            self.path,
            on_closed=self._on_closed,
            on_end=lambda: self._ended(identity),
        )
        return recorder

    @property
    def running_id(self) -> str | None:
        """The id of the practice that is being recorded, or None."""
        return self._practice

    @property
    def open_ids(self) -> frozenset[str]:
        """The ids of all sessions that are being written: a practice, and films that are being kept."""
        return frozenset(self._recorders)

    @contextmanager
    def reading(self) -> Iterator[sqlite3.Connection | None]:
        """As a reader's; a database that was there and has gone is no empty one.

        Raises
        ------
        StoreError
            Where it has gone or cannot be read.
        """
        if not self.path.exists():
            raise StoreError(
                f"The practice data in {self.path} have gone; put the data folder back and start posturewatch again."
            )
        with super().reading() as connection:
            yield connection

    @contextmanager
    def writing(self) -> Iterator[sqlite3.Connection]:
        """One transaction of changes, also beside a running recording; all of it or nothing.

        Raises
        ------
        StoreError
            Where it cannot be written.
        """
        with self.connecting() as connection, transaction(connection):
            yield connection

    @contextmanager
    def erasing(self) -> Iterator[sqlite3.Connection]:
        """As `writing`, for what the player deletes or replaces: nothing of it stays in the database, also while
        a session is recorded.

        Raises
        ------
        StoreError
            Where it cannot be written.
        """
        try:
            drop_backups(self.data_dir)
        except OSError as error:
            raise StoreError(
                f"{error.filename} cannot be deleted ({error.strerror}); close what uses it, then try again."
            ) from error
        with self.connecting() as connection:
            with transaction(connection):
                yield connection
            _fold_log_in(connection)

    @contextmanager
    def connecting(self) -> Iterator[sqlite3.Connection]:
        """A writing connection, for one thread.

        Raises
        ------
        StoreError
            Where it cannot be written.
        """
        try:
            with closing(connect(self.path)) as connection:
                yield connection
        except ChunkError as error:
            unreadable(self.path, error)
        except sqlite3.Error as error:
            raise self._unusable(error) from error

    def tidy(self) -> None:
        """Leaves nothing of what was deleted in the files, and gives its room back to the disk where it is a good
        part of the whole; otherwise the next sessions take it.

        While a session is recorded, giving room back would make it wait, and is left for later.
        """
        try:
            with closing(connect(self.path)) as connection:
                (free,) = connection.execute("PRAGMA freelist_count").fetchone()
                (pages,) = connection.execute("PRAGMA page_count").fetchone()
                if not self._recorders and free > _FREE_SHARE * pages:
                    connection.execute("VACUUM")
                _fold_log_in(connection)
        except sqlite3.Error as error:
            # Deleted it is all the same; a full disk has no room for the copy that this makes.
            _LOG.warning("the database cannot be made smaller: %s", error)

    def close(self) -> None:
        """Ends a session that still runs and gives the folder free; may be called twice."""
        for recorder in list(self._recorders.values()):
            recorder.close()
        self._lock.close()

    def __enter__(self) -> Store:
        return self

    def __exit__(self, *exception: object) -> None:
        self.close()

    def _ended(self, identity: str) -> None:
        self._recorders.pop(identity, None)
        if self._practice == identity:
            self._practice = None

    def _open(self, thorough: bool) -> None:
        try:
            if is_emptied(self.path) or (
                self.path.exists() and not looks_sound(self.path, thorough=thorough)
            ):
                self._salvage(self._set_aside())
            with closing(connect(self.path, create=True)) as connection:
                names = applied(connection)
                if unknown(names):
                    raise StoreError(newer_sentence(self.path))
                if names and missing(names):
                    self._back_up()
                migrate(connection)
                changed = loose_sentence(connection)
                self.notice = " ".join(one for one in (self.notice, changed) if one) or None
                self._close_crashed(connection)
        except sqlite3.Error as error:
            raise self._unusable(error) from error

    def _back_up(self) -> None:
        try:
            keep_before_update(self.path)
        except (OSError, ArchiveError, ValidationError) as error:
            raise StoreError(
                f"The practice data in {self.data_dir} are of an older posturewatch and cannot be saved before "
                f"they are brought up to date ({error}); free some space there, then try again."
            ) from error

    def _close_crashed(self, connection: sqlite3.Connection) -> None:
        """Ends the sessions that were never ended, at their last stored moment."""
        for number, identity in connection.execute(
            "SELECT number, id FROM session WHERE ended_at IS NULL ORDER BY number"
        ).fetchall():
            with transaction(connection):
                end_s = writer.last_moment_s(connection, number)
                connection.execute(
                    "UPDATE excursion SET end_s = max(?, start_s, peak_s), end_word = 'crashed' "
                    "WHERE session = ? AND end_s IS NULL",
                    (end_s, number),
                )
                writer.close_session(connection, number, end_s, "crashed")
                writer.merge_chunks(connection, number)
            _LOG.warning("session %s was left open and is closed now, after %.1f s", identity, end_s)

    def _set_aside(self) -> Path:
        """Moves a damaged database away, untouched; where it is then."""
        stamp = dt.datetime.now().astimezone().strftime("%Y%m%d-%H%M%S")
        aside = self.path.with_name(
            f"{self.path.stem}-damaged-{stamp}-{secrets.token_hex(2)}{self.path.suffix}"
        )
        try:
            if self.path.exists():
                self.path.rename(aside)
            for ending in ("-wal", "-shm"):
                beside = self.path.with_name(self.path.name + ending)
                if beside.exists():
                    beside.rename(aside.with_name(aside.name + ending))
        except OSError as error:
            raise StoreError(
                f"The practice data in {self.path} are damaged and cannot be set aside ({error.strerror}); "
                "move that file away yourself, then start again."
            ) from error
        return aside

    def _salvage(self, aside: Path) -> None:
        """Begins a fresh database with what can be read of the damaged one, and says so."""
        fresh = self.path.with_name(f"{self.path.stem}-fresh-{secrets.token_hex(2)}{self.path.suffix}")
        try:
            saved = salvage(aside, fresh)
            fresh.replace(self.path)
        except sqlite3.Error as error:
            _LOG.warning("nothing can be read of the damaged database: %s", error)
            saved = Salvaged(0, False)
            for ending in ("", "-wal", "-shm"):
                fresh.with_name(fresh.name + ending).unlink(missing_ok=True)
        one = saved.sessions == 1
        kept = f"{saved.sessions} session{'' if one else 's'} could be read and {'is' if one else 'are'} kept"
        self.notice = (
            f"The practice data were damaged: that file is set aside untouched as {aside.name} in {self.data_dir}; "
            + (kept if saved.sessions else "nothing of it could be read, and a new one is begun")
            + ("." if saved.whole or not saved.sessions else ", but not all of what they held.")
        )
        _LOG.warning(self.notice)

    def _unusable(self, error: Exception) -> StoreError:
        if "full" in str(error):
            return StoreError(
                f"The disk with the data folder {self.data_dir} is full; free some space, "
                "or choose another folder with --data-dir."
            )
        return StoreError(
            f"The data folder {self.data_dir} cannot be used ({error}); make it writable, "
            "or choose another with --data-dir."
        )


def _fold_log_in(connection: sqlite3.Connection) -> None:
    """Writes the log into the file and empties it; readers and the recorder are in the way for moments only."""
    for _ in range(_FOLDING_TRIES):
        (busy, *_) = connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
        if not busy:
            return
    _LOG.warning("what was deleted stays in the database's log until the session ends")
