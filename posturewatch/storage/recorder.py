"""Keeps one session while it runs: `put` returns at once, a thread of its own writes once a second."""

from __future__ import annotations

import logging
import sqlite3
import threading
from collections.abc import Callable, Sequence
from dataclasses import replace

from posturewatch.model.outcome import Outcome
from posturewatch.model.reading import Reading
from posturewatch.model.verdict import Excursion, Verdict
from posturewatch.storage.batch import Batch, Event, OpenExcursions, Planes, join_series
from posturewatch.storage.database import transaction
from posturewatch.storage.records import Mark, PassageBegin, StoredWarning
from posturewatch.storage.sampling import Sampling
from posturewatch.storage.writer import close_session, merge_chunks, save_events, save_samples

__all__ = ["Recorder"]

_LOG = logging.getLogger(__name__)

#: Time between two commits: with the commit itself, a kill loses well under 2 s.
COMMIT_S = 1.0

#: Samples held in memory while they cannot be written: 51 MB, nearly two hours of two hands.
WAITING_SAMPLES = 3_000_000

#: Events held in memory while they cannot be written; a session has a few hundred.
WAITING_EVENTS = 20_000

#: How long `finish` goes on trying to write the rest.
FINISH_S = 5.0


class Recorder:
    """One session's record; made by `Store.begin`.

    `put`, `mark` and `passage` never block on the disk and never raise for its sake. While nothing can be written (disk
    full, folder gone), `fault` is a sentence for the page, everything waits in memory up to a bound, and
    writing is tried again every second; what exceeds the bound is counted in `lost_samples`.
    """

    def __init__(
        self,
        connection: sqlite3.Connection,
        number: int,
        session_id: str,
        *,
        on_closed: Callable[[sqlite3.Connection, int], None] | None = None,
        on_end: Callable[[], None] | None = None,
    ) -> None:
        """connection: handed over for good. on_closed: called in the writer's thread when all is written.
        on_end: called once the connection is closed."""
        self._connection = connection
        self._number = number
        self._id = session_id
        self._on_closed = on_closed
        self._on_end = on_end
        self._lock = threading.Lock()
        self._batch = Batch()
        self._sampling = Sampling()
        self._planes = Planes()
        self._unsaved: list[Batch] = []
        self._unsaved_samples = 0
        self._unsaved_events = 0
        self._lasting = OpenExcursions()
        self._shown: dict[tuple[str, str, str, float], StoredWarning] = {}
        self._lost_samples = 0
        self._dropped_frames = 0
        self._end: tuple[float, str] | None = None
        self._last_s = 0.0
        self._fault: str | None = None
        self._wake = threading.Event()
        self._thread = threading.Thread(target=self._write_until_ended, name="recorder", daemon=True)
        self._thread.start()

    @property
    def session_id(self) -> str:
        """The session's id."""
        return self._id

    @property
    def fault(self) -> str | None:
        """Why the session cannot be written just now, in one sentence; None while all is well."""
        return self._fault

    @property
    def lost_samples(self) -> int:
        """Samples that could not be kept."""
        return self._lost_samples

    def put(self, reading: Reading) -> None:
        """Take what one frame brought; only numbers and events are kept, not the frame."""
        with self._lock:
            if self._end is not None:
                return
            self._dropped_frames = reading.dropped
            self._last_s = reading.measurement.time_s
            due = self._sampling.due(reading.measurement.time_s)
            if self._unsaved_samples + self._batch.sample_count < WAITING_SAMPLES:
                self._batch.add(reading.measurement, due)
            else:
                self._lost_samples += Batch().add(reading.measurement, due)
            self._take(reading.verdict)
            self._lasting.follow(reading.measurement)
            for plane in self._planes.changes(reading.measurement):
                self._keep(plane)

    def mark(self, time_s: float, note: str | None = None) -> None:
        """Keep a moment the player marked, in seconds of the session."""
        with self._lock:
            if self._end is None:
                self._keep(Mark(time_s, note or ""))

    def passage(
        self, time_s: float, piece: str | None, bars: str = "", tempo_bpm: float | None = None
    ) -> None:
        """From time_s on this is played, which ends what was played before; piece None: nothing in particular."""
        with self._lock:
            if self._end is None:
                self._keep(PassageBegin(time_s, piece, bars, tempo_bpm))

    def finish(self, outcome: Outcome) -> str:
        """End the session: write the rest, close it, keep its summary; gives back its id. Once is enough.

        Waits for a few seconds at most. Where the rest cannot be written, `fault` says so and the session is
        closed at the next start with what was written before.
        """
        return self._finish(outcome.end_s, outcome.ending, outcome.closed)

    def close(self) -> None:
        """End a session that nobody finished, at the last frame that was put; without effect after `finish`."""
        self._finish(self._last_s, "stopped", ())

    def _finish(self, end_s: float, reason: str, closed: Sequence[Excursion]) -> str:
        with self._lock:
            if self._end is None:
                for excursion in closed:
                    self._lasting.closed(excursion)
                    self._keep(excursion)
                for excursion in self._lasting.stop(end_s):
                    self._keep(excursion)
                self._end = (end_s, reason)
        self._wake.set()
        self._thread.join()
        return self._id

    def _take(self, verdict: Verdict) -> None:
        for excursion in verdict.closed:
            self._lasting.closed(excursion)
            self._keep(excursion)
        for excursion in verdict.opened:
            self._lasting.opened(excursion)
            self._keep(excursion)
        for warning in verdict.fired:
            key = (warning.side, warning.quantity, warning.direction, warning.fired_s)
            self._shown[key] = StoredWarning(warning, None)
            self._keep(self._shown[key])
            self._lasting.warned(warning.side, warning.quantity, warning.direction, warning.fired_s)
        for warning in verdict.cleared:
            key = (warning.side, warning.quantity, warning.direction, warning.fired_s)
            shown = self._shown.pop(key, StoredWarning(warning, None))
            self._keep(replace(shown, cleared_s=verdict.time_s))

    def _keep(self, event: Event) -> None:
        if self._unsaved_events + len(self._batch.events) < WAITING_EVENTS:
            self._batch.events.append(event)

    def _write_until_ended(self) -> None:
        tries = 0
        while True:
            self._wake.wait(COMMIT_S if self._end is None or tries == 0 else 0.5)
            with self._lock:
                end = self._end
                for excursion in self._lasting.changes():
                    self._keep(excursion)
                batch, self._batch = self._batch, Batch()
                if batch.sample_count or batch.events:
                    self._unsaved.append(batch)
                    self._unsaved_samples += batch.sample_count
                    self._unsaved_events += len(batch.events)
            saved = self._save(end)
            if end is not None:
                tries += 1
                self._wake.clear()
                if saved or tries * 0.5 >= FINISH_S:
                    break
        self._close(saved)

    def _save(self, end: tuple[float, str] | None) -> bool:
        """Write all that waits in one transaction; False where that failed and it goes on waiting."""
        if not self._unsaved and end is None:
            return True
        try:
            with transaction(self._connection):
                save_samples(self._connection, self._number, join_series(self._unsaved))
                for batch in self._unsaved:
                    save_events(self._connection, self._number, batch.events)
                self._connection.execute(
                    "UPDATE session SET lost_samples = ?, dropped_frames = ? WHERE number = ?",
                    (self._lost_samples, self._dropped_frames, self._number),
                )
                if end is not None:
                    close_session(self._connection, self._number, *end)
        except (sqlite3.Error, OSError) as error:
            if self._fault is None:
                _LOG.warning("the session cannot be written: %s", error)
            self._fault = _sentence(error)
            return False
        with self._lock:
            self._unsaved.clear()
            self._unsaved_samples = self._unsaved_events = 0
        self._fault = None
        return True

    def _close(self, saved: bool) -> None:
        try:
            if saved:
                # Only to save room and time; the session is whole without either.
                with transaction(self._connection):
                    merge_chunks(self._connection, self._number)
                if self._on_closed is not None:
                    self._on_closed(self._connection, self._number)
                self._connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        except (sqlite3.Error, OSError) as error:
            _LOG.warning("the session is kept, its summary not yet: %s", error)
        finally:
            self._connection.close()
            if not saved:
                self._fault = (
                    "The last part of this session could not be written; what was written before is kept. "
                    + (self._fault or "")
                ).strip()
            if self._on_end is not None:
                self._on_end()


def _sentence(error: Exception) -> str:
    if "full" in str(error):
        return (
            "The disk is full: the practice goes on and is kept in memory until there is room; "
            "free some space on it."
        )
    return (
        f"The session cannot be written just now ({error}); the practice goes on, is kept in memory "
        "and will be written as soon as it can be."
    )
