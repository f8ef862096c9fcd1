"""The table of clips for the thread that writes them."""

from __future__ import annotations

import logging
from pathlib import Path

from posturewatch.errors import InputError, StoreError
from posturewatch.storage.records import now_utc
from posturewatch.storage.store import Store
from posturewatch.storage.tables.clips import CLIPS_FOLDER, WrittenClip, below, insert_clip

__all__ = ["ClipRepository"]

_LOG = logging.getLogger(__name__)

#: Each waits for the database's lock for some seconds.
_TRIES = 4


class ClipRepository:
    """The table of clips as the writer of clips uses it, from its own thread; no method raises."""

    def __init__(self, store: Store) -> None:
        self._store = store

    @property
    def root(self) -> Path:
        """The folder of all sessions' clips."""
        return self._store.data_dir / CLIPS_FOLDER

    def folder(self, session_id: str) -> Path:
        """The folder of a session's clips."""
        return self.root / session_id

    def written(self, session_id: str, clip: WrittenClip) -> None:
        """A clip is on the disk. On a slow one the session's own writing may be in the way for a while."""
        for tries_left in reversed(range(_TRIES)):
            try:
                with self._store.writing() as connection:
                    insert_clip(connection, self._store.data_dir, session_id, clip)
                return
            except StoreError as error:
                if not tries_left:
                    _LOG.error("the clip %s is on the disk but cannot be listed: %s", clip.path, error)
            except (InputError, ValueError) as error:
                _LOG.error("the clip %s is on the disk but cannot be listed: %s", clip.path, error)
                return

    def is_kept(self, path: Path) -> bool:
        """Whether the player keeps this clip; True where that cannot be found out."""
        try:
            file = below(self._store.data_dir, path)
            with self._store.reading() as connection:
                if connection is None:
                    return True
                row = connection.execute("SELECT kept FROM clip WHERE file = ?", (file,)).fetchone()
        except (StoreError, ValueError) as error:
            _LOG.warning("whether %s is kept cannot be found out: %s", path, error)
            return True
        return row is not None and bool(row[0])

    def lists(self, path: Path, size: int) -> bool:
        """Whether a clip of this path and of so many bytes is listed and not removed; False where that cannot be found
        out."""
        try:
            with self._store.reading() as connection:
                row = None
                if connection is not None:
                    row = connection.execute(
                        "SELECT 1 FROM clip WHERE file = ? AND bytes = ? AND removed_at IS NULL",
                        (below(self._store.data_dir, path), size),
                    ).fetchone()
        except (StoreError, ValueError) as error:
            _LOG.warning("whether %s is listed cannot be found out: %s", path, error)
            return False
        return row is not None

    def removed(self, path: Path) -> None:
        """The clip was deleted to make room for newer ones."""
        try:
            with self._store.writing() as connection:
                connection.execute(
                    "UPDATE clip SET removed_at = ? WHERE file = ?",
                    (now_utc(), below(self._store.data_dir, path)),
                )
        except (StoreError, ValueError) as error:
            _LOG.warning("%s is removed and will be listed as missing: %s", path, error)
