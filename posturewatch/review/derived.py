"""What is computed from a session once it is over, and kept beside it: summary and review."""

from __future__ import annotations

import logging
import sqlite3
from pathlib import Path

from posturewatch.errors import StoreError
from posturewatch.review.derived_checksums import forget_damaged
from posturewatch.review.reviews import keep_review
from posturewatch.storage.reader import read_lazily
from posturewatch.storage.samples.codec import ChunkError
from posturewatch.storage.store import Store

__all__ = ["keep_derived", "open_store"]

_LOG = logging.getLogger(__name__)


def open_store(data_dir: Path | None = None, *, thorough: bool = False) -> Store:
    """The data folder's one writer, which keeps summary and review of every session that ends. Of those that are kept
    what damage on the disk has changed is forgotten, and computed anew when it is asked for.

    Parameters and errors as those of `Store`.
    """
    store = Store(data_dir, on_closed=keep_derived, thorough=thorough)
    try:
        with store.writing() as connection:
            forget_damaged(connection)
    except BaseException:
        store.close()
        raise
    return store


def keep_derived(connection: sqlite3.Connection, number: int) -> None:
    """Computes and keeps a closed session's summary and its review, outside any transaction of the caller's."""
    (identity,) = connection.execute("SELECT id FROM session WHERE number = ?", (number,)).fetchone()
    try:
        keep_review(connection, number, read_lazily(connection, identity))
    except (ChunkError, StoreError) as error:
        _LOG.error("session %s cannot be read: %s", identity, error)
