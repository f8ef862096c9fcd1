"""One practice at a time: start, stop and mark, around the monitor's loop in a thread of its own."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Collection, Sequence
from enum import Enum
from typing import Any, Protocol

from posturewatch.errors import PosturewatchError
from posturewatch.model.observation import SIDES, Side
from posturewatch.model.outcome import Outcome
from posturewatch.model.reading import Reading
from posturewatch.pipeline.monitor import FrameSource, Monitor, Sink

__all__ = ["OpenSource", "Phase", "Practice", "SessionRecorder"]

_LOG = logging.getLogger(__name__)

#: Longest wait after a stop until all of a session is kept: a slow disk takes its time for the last clips.
_STOP_WAIT_S = 120.0

#: Longest wait for a source that is only being opened, of which nothing can be kept.
_OPENING_WAIT_S = 15.0

#: From a session's last line to the end of its thread.
_THREAD_END_S = 1.0


class Phase(Enum):
    """What the practice is doing; the value is the word the page receives."""

    OPENING = "opening"
    WATCHING = "watching"
    STOPPED = "stopped"
    FAILED = "failed"


class OpenSource(FrameSource, Protocol):
    """A source as the practice handles it."""

    @property
    def notice(self) -> str | None:
        """A sentence about the source to show with its frames, or None."""

    def describe(self) -> dict[str, Any]:
        """name, kind and what else is known of it, in JSON types."""

    def close(self) -> None:
        """Gives the source back."""


class SessionRecorder(Protocol):
    """Keeps one session; see `posturewatch.session`. `put`, `mark` and `passage` never block and never raise."""

    @property
    def session_id(self) -> str: ...
    @property
    def fault(self) -> str | None: ...
    def put(self, reading: Reading) -> None: ...
    def mark(self, time_s: float, note: str | None = None) -> None: ...
    def passage(
        self, time_s: float, piece: str | None, bars: str = "", tempo_bpm: float | None = None
    ) -> None: ...
    def finish(self, outcome: Outcome) -> object: ...


class Practice:
    """start() and stop() may be called in any order and any number of times, from any thread.

    Parameters
    ----------
    open_source
        Opens the frames; may raise SourceError.
    begin
        Begins a session's record for an opened source.
    make_monitor
        (source, sinks) to a fresh monitor and a function that releases its tracker.
    sinks
        Further takers of readings, such as the live feed.
    limit_s
        Ends each session at this session time.
    warns
        The hands that are warned of, until `warn` says otherwise.
    asides
        Gives sentences that the page shows quietly, none of them a fault.
    prepare
        Called before each session's source is opened, such as to give the camera back that shows a preview.
    """

    def __init__(
        self,
        *,
        open_source: Callable[[], OpenSource],
        begin: Callable[[OpenSource], SessionRecorder],
        make_monitor: Callable[[OpenSource, Sequence[Sink]], tuple[Monitor, Callable[[], None]]],
        sinks: Sequence[Sink] = (),
        limit_s: float | None = None,
        warns: Collection[Side] = SIDES,
        asides: Callable[[], Sequence[str]] = tuple,
        prepare: Callable[[], object] = lambda: None,
    ) -> None:
        self._open_source = open_source
        self._begin = begin
        self._make_monitor = make_monitor
        self._sinks = tuple(sinks)
        self._limit_s = limit_s
        self._asides = asides
        self._prepare = prepare
        self._lock = threading.Lock()
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None
        # Waited for instead of the thread: where a signal interrupts a join, some Pythons count the thread as dead.
        self._over = threading.Event()
        self._over.set()
        self._faults: list[str] = []
        self._phase = Phase.STOPPED
        self._source: OpenSource | None = None
        self._monitor: Monitor | None = None
        self._recorder: SessionRecorder | None = None
        self._outcome: Outcome | None = None
        self._sentence: str | None = None
        self._guarded: tuple[_GuardedSink, ...] = ()
        self._marks = 0
        self._passage: dict[str, Any] | None = None
        self._warns = frozenset(warns)

    def start(self) -> dict[str, Any]:
        """Begin a session; without effect while one is running."""
        with self._lock:
            if self._over.is_set():
                self._over.clear()
                self._stop = threading.Event()
                self._source = self._monitor = self._recorder = self._outcome = self._sentence = None
                self._marks = 0
                self._phase = Phase.OPENING
                # Ends with the program: where the source's opening hangs, nobody waits for it for ever.
                self._thread = threading.Thread(
                    target=self._run, args=(self._stop,), name="practice", daemon=True
                )
                self._thread.start()
        return self.state()

    def stop(self) -> dict[str, Any]:
        """End the running session and wait until all of it is kept."""
        with self._lock:
            thread = self._thread
            self._stop.set()
        opening = self._phase is Phase.OPENING
        if not self._over.wait(_OPENING_WAIT_S if opening else _STOP_WAIT_S):
            self._sentence = (
                "The source could not be closed in time; nothing of it was recorded."
                if opening
                else "The practice could not be closed in time; its end may be missing. Check the disk."
            )
            self._faults.append(self._sentence)
        elif thread is not None:
            thread.join(_THREAD_END_S)
        return self.state()

    def wait(self, timeout_s: float | None = None) -> bool:
        """Wait until the running session has ended by itself; True when none is running any more."""
        return self._over.wait(timeout_s)

    @property
    def running(self) -> bool:
        """Whether a session is running or being closed."""
        return not self._over.is_set()

    def mark(self, note: str | None = None) -> dict[str, Any]:
        """Mark this moment of the running session; the answer's `marked_s` is null when none is running."""
        with self._lock:
            monitor, recorder = self._monitor, self._recorder
            marked_s = None
            if self._phase is Phase.WATCHING and monitor is not None and recorder is not None:
                marked_s = monitor.now_s
                recorder.mark(marked_s, note)
                self._marks += 1
        return {**self.state(), "marked_s": marked_s}

    def passage(
        self, piece: str | None, bars: str = "", tempo_bpm: float | None = None
    ) -> dict[str, Any] | None:
        """From now on this is played, in a running session at once and in the next from its beginning; None:
        nothing in particular. Gives back what is played now."""
        with self._lock:
            self._passage = None if piece is None else {"piece": piece, "bars": bars, "tempo_bpm": tempo_bpm}
            monitor, recorder = self._monitor, self._recorder
            if self._phase is Phase.WATCHING and monitor is not None and recorder is not None:
                recorder.passage(monitor.now_s, piece, bars, tempo_bpm)
        return self.now_played()

    def now_played(self) -> dict[str, Any] | None:
        """piece, bars and tempo_bpm of what is played now or next, None for nothing in particular."""
        return self._passage

    def warn(self, sides: Collection[Side]) -> dict[str, Any]:
        """From now on these hands are warned of and no others, in a running session and in those after it."""
        with self._lock:
            self._warns = frozenset(sides)
            if self._monitor is not None:
                self._monitor.warn(self._warns)
        return self.state()

    @property
    def session_id(self) -> str | None:
        """The id of the running or of the last session, None before the first."""
        recorder = self._recorder
        return None if recorder is None else recorder.session_id

    @property
    def sentence(self) -> str | None:
        """What went wrong, in one sentence, or None."""
        return self._sentence

    @property
    def faults(self) -> tuple[str, ...]:
        """What went wrong in the sessions that are over, in sentences; empty where all of them are kept whole."""
        return tuple(dict.fromkeys(self._faults))

    @property
    def outcome(self) -> Outcome | None:
        """How the last session ended, None while one runs."""
        return self._outcome

    def state(self) -> dict[str, Any]:
        """The practice's state in JSON's types, for the page."""
        source, monitor, recorder = self._source, self._monitor, self._recorder
        return {
            "phase": self._phase.value,
            "session_id": self.session_id,
            "elapsed_s": None if monitor is None else round(monitor.now_s, 3),
            "practised_s": None if monitor is None else round(monitor.practised_s, 3),
            "source": None if source is None else source.describe(),
            "notice": None if source is None else source.notice,
            "fault": self._sentence or (None if recorder is None else recorder.fault) or self._sink_fault(),
            "asides": list(self._asides()),
            "dropped": 0 if source is None else source.dropped,
            "marks": self._marks,
            "passage": self._passage,
            "warns": [side for side in SIDES if side in self._warns],
            "ending": None if self._outcome is None else self._outcome.ending,
        }

    def _sink_fault(self) -> str | None:
        return next((one.fault for one in self._guarded if one.fault is not None), None)

    def _run(self, stop: threading.Event) -> None:
        try:
            self._session(stop)
        except PosturewatchError as fault:
            self._sentence = fault.sentence
            self._phase = Phase.FAILED
        # The thread's last line: whatever failed, the player is shown a sentence and what was recorded is closed.
        except Exception:  # noqa: BLE001
            _LOG.exception("the session ended by a fault of the program")
            self._sentence = (
                "Something in the program failed; what was recorded until then is kept. Start again."
            )
            self._phase = Phase.FAILED
        finally:
            recorder = self._recorder
            found = [self._sentence, None if recorder is None else recorder.fault, self._sink_fault()]
            self._faults += [one for one in found if one is not None]
            self._over.set()

    def _session(self, stop: threading.Event) -> None:
        self._prepare()
        source = self._open_source()
        release: Callable[[], None] | None = None
        recorder: SessionRecorder | None = None
        outcome: Outcome | None = None
        monitor: Monitor | None = None
        try:
            self._source = source
            recorder = self._begin(source)
            self._guarded = tuple(_GuardedSink(sink) for sink in (recorder, *self._sinks))
            monitor, release = self._make_monitor(source, self._guarded)
            with self._lock:
                self._recorder, self._monitor, self._phase = recorder, monitor, Phase.WATCHING
                monitor.warn(self._warns)
                if self._passage is not None:
                    recorder.passage(0.0, **self._passage)
            outcome = monitor.run(stop, self._limit_s)
        finally:
            source.close()
            if release is not None:
                release()
            if recorder is not None:
                end_s = 0.0 if monitor is None else monitor.frame_s
                recorder.finish(outcome or Outcome("failed", end_s, 0, ()))
        self._outcome = outcome
        self._phase = Phase.STOPPED


class _GuardedSink:
    """A sink whose failure ends neither the practice nor the other sinks: it is said, and it gets nothing more."""

    def __init__(self, sink: Sink) -> None:
        self._sink = sink
        self._failed: str | None = None

    @property
    def fault(self) -> str | None:
        """Why the sink gets nothing more, or what it says of itself, in one sentence; None while all is well."""
        return self._failed or getattr(self._sink, "fault", None)

    def put(self, reading: Reading) -> None:
        """Hands the reading on."""
        if self._failed is not None:
            return
        try:
            self._sink.put(reading)
        # Whatever it is: the others go on, and the player is told.
        except Exception:  # noqa: BLE001
            _LOG.exception("%s takes no more frames", type(self._sink).__name__)
            self._failed = (
                "A part of the program failed, and what it kept or showed ends there; the rest of the practice "
                "goes on. Stop and start again."
            )
