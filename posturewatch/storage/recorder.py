"""Keeps one session while it runs: `put` returns at once, a thread of its own writes once a second."""

from __future__ import annotations

import logging
import sqlite3
import threading
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

from posturewatch.model.outcome import Outcome
from posturewatch.model.reading import Reading
from posturewatch.model.verdict import Excursion, Verdict
from posturewatch.storage.folder.database import transaction
from posturewatch.storage.folder.place import DatabasePlace, PlaceError
from posturewatch.storage.records import Mark, PassageBegin, StoredWarning
from posturewatch.storage.samples.batch import Batch, Event, OpenExcursions, Planes, join_series
from posturewatch.storage.samples.sampling import Sampling
from posturewatch.storage.sifting import is_of_the_disk, sift
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
    writing is tried again every second; what exceeds the bound is counted in `lost_samples`. What the program itself
    cannot write is left out, said in `fault`, and the rest goes on.
    """

    def __init__(
        self,
        connection: sqlite3.Connection,
        number: int,
        session_id: str,
        path: Path,
        *,
        on_closed: Callable[[sqlite3.Connection, int], None] | None = None,
        on_end: Callable[[], None] | None = None,
    ) -> None:
        """connection: handed over for good. path: of its database. on_closed: called in the writer's thread
        when all is written. on_end: called once the connection is closed."""
        self._place = DatabasePlace(connection, path)
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
        self._lost_events = 0
        self._dropped_frames = 0
        self._end: tuple[float, str] | None = None
        self._last_s = 0.0
        self._saved_s = 0.0
        self._fault: str | None = None
        self._defect: str | None = None
        self._failed = False
        self._done = threading.Event()
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
        return self._fault or self._defect

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
            if not self._failed and self._unsaved_samples + self._batch.sample_count < WAITING_SAMPLES:
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
        # Not the thread's own end: where a signal interrupts a join, some Pythons count the thread as dead.
        self._done.wait()
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
        else:
            self._lost_events += 1

    def _write_until_ended(self) -> None:
        saved = False
        try:
            saved = self._write_on()
        # Whatever it is: the player is told at once, and the practice goes on.
        except Exception:  # noqa: BLE001
            _LOG.exception("the session is not recorded any more")
            with self._lock:
                self._failed = True
                self._defect = (
                    "This session is not recorded any more by a fault of the program; what was written before is "
                    "kept. Stop and start again."
                )
        finally:
            self._close(saved)
            self._done.set()

    def _write_on(self) -> bool:
        """Writes once a second until the session has ended; whether all of it is written then."""
        tries = 0
        while True:
            self._wake.wait(COMMIT_S if self._end is None or tries == 0 else 0.5)
            with self._lock:
                end = self._end
                for excursion in self._lasting.changes():
                    self._keep(excursion)
                batch, self._batch, last_s = self._batch, Batch(), self._last_s
                if batch.sample_count or batch.events:
                    self._unsaved.append(batch)
                    self._unsaved_samples += batch.sample_count
                    self._unsaved_events += len(batch.events)
            saved = self._save(end)
            if saved:
                self._saved_s = last_s
            if end is not None:
                tries += 1
                self._wake.clear()
                if saved or tries * 0.5 >= FINISH_S:
                    return saved

    def _save(self, end: tuple[float, str] | None) -> bool:
        """Write all that waits in one transaction; False where that failed and it goes on waiting."""
        if not self._unsaved and end is None:
            return True
        try:
            self._place.check()
            try:
                self._write(end)
            except Exception as error:
                if is_of_the_disk(error):
                    raise
                _LOG.exception("something of the session cannot be written and is left out")
                self._leave_out()
                self._write(end)
        except (sqlite3.Error, OSError, PlaceError) as error:
            if self._fault is None:
                _LOG.warning("the session cannot be written: %s", error)
            self._fault = _sentence(error)
            return False
        with self._lock:
            self._unsaved.clear()
            self._unsaved_samples = self._unsaved_events = 0
        self._fault = None
        return True

    def _write(self, end: tuple[float, str] | None) -> None:
        connection = self._place.connection
        with transaction(connection):
            save_samples(connection, self._number, join_series(self._unsaved))
            for batch in self._unsaved:
                save_events(connection, self._number, batch.events)
            connection.execute(
                "UPDATE session SET lost_samples = ?, dropped_frames = ? WHERE number = ?",
                (self._lost_samples, self._dropped_frames, self._number),
            )
            if end is not None:
                close_session(connection, self._number, *end)

    def _leave_out(self) -> None:
        """Takes out of what waits whatever the program cannot write, so that the rest can be."""
        samples, events = sift(self._place.connection, self._number, self._unsaved)
        self._lost_samples += samples
        self._lost_events += events
        if samples or events:
            self._defect = (
                f"{samples} samples and {events} marks or events of this session could not be kept by a fault of the "
                "program; the rest is recorded."
            )

    def _close(self, saved: bool) -> None:
        connection = self._place.connection
        try:
            if saved:
                # Only to save room and time; the session is whole without either.
                with transaction(connection):
                    merge_chunks(connection, self._number)
                if self._on_closed is not None:
                    self._on_closed(connection, self._number)
                connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        # Whatever it is: the session is kept whole, and its summary can be computed later.
        except Exception:  # noqa: BLE001
            _LOG.exception("the session is kept, its summary not yet")
        finally:
            connection.close()
            if not saved:
                # A fault of the program comes first, whenever it is asked for.
                self._fault = f"{self._defect} {self._lost()}" if self._failed else self._lost()
            elif self._lost_events and self._defect is None:
                self._defect = f"{self._lost_events} marks or events of this session could not be kept."
            if self._on_end is not None:
                self._on_end()

    def _lost(self) -> str:
        """What of the session is lost, in one sentence or two."""
        gone = self._place.gone()
        if gone is not None:
            return f"{gone} This session is lost, unless that folder is found again with what was written before."
        with self._lock:
            waiting = [*self._unsaved, self._batch]
            end_s = self._last_s if self._end is None else max(self._end[0], self._last_s)
        marks = sum(isinstance(event, Mark) for batch in waiting for event in batch.events)
        lost = f"The last {max(0.0, end_s - self._saved_s):.1f} s of this session"
        if marks:
            lost += f" and {marks} mark{'s' if marks > 1 else ''}"
        why = "" if self._fault is None else f" ({self._fault.split(':')[0].split(';')[0]})"
        return f"{lost} could not be written and are lost{why}; what was written before is kept."


def _sentence(error: Exception) -> str:
    if isinstance(error, PlaceError):
        return f"{error} The practice goes on and is kept in memory; put the folder back, and it will be written."
    if "full" in str(error):
        return (
            "The disk is full: the practice goes on and is kept in memory until there is room; "
            "free some space on it."
        )
    return (
        f"The session cannot be written just now ({error}); the practice goes on, is kept in memory "
        "and will be written as soon as it can be."
    )
