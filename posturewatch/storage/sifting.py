"""Finding what of a session the program itself cannot write, so that it takes nothing else with it."""

from __future__ import annotations

import logging
import sqlite3
from collections.abc import Callable, Sequence
from functools import partial

from posturewatch.storage.folder.database import transaction
from posturewatch.storage.samples.batch import Batch, join_series
from posturewatch.storage.writer import save_events, save_samples

__all__ = ["is_of_the_disk", "sift"]

_LOG = logging.getLogger(__name__)


class _UndoneError(Exception):
    """Ends a transaction that was only tried."""


def is_of_the_disk(error: Exception) -> bool:
    """Whether writing failed for the disk or the file, so that it can be tried again; otherwise what was to be
    written is at fault."""
    # The subclasses of DatabaseError beside OperationalError speak of values (PEP 249).
    return isinstance(error, (OSError, sqlite3.OperationalError)) or type(error) is sqlite3.DatabaseError


def sift(connection: sqlite3.Connection, session: int, batches: Sequence[Batch]) -> tuple[int, int]:
    """Takes out of the batches what cannot be written by itself; how many samples and how many events that were.

    Raises
    ------
    sqlite3.Error, OSError
        Where the disk is at fault.
    """
    samples = events = 0
    for batch in batches:
        kept = [
            one for one in batch.events if _can(connection, partial(save_events, connection, session, [one]))
        ]
        events += len(batch.events) - len(kept)
        batch.events[:] = kept
        for key, columns in list(batch.series.items()):
            samples_alone = join_series([Batch({key: columns})])
            if not _can(connection, partial(save_samples, connection, session, samples_alone)):
                del batch.series[key]
                samples += len(columns.time_ms)
                batch.sample_count -= len(columns.time_ms)
    return samples, events


def _can(connection: sqlite3.Connection, write: Callable[[], None]) -> bool:
    try:
        with transaction(connection):
            write()
            raise _UndoneError
    except _UndoneError:
        return True
    except Exception as error:
        if is_of_the_disk(error):
            raise
        _LOG.error("left out of the session: %s", error)
        return False
