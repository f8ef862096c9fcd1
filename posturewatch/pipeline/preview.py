"""A look through the camera: the monitor's loop with nothing kept, for as long as somebody looks."""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable, Sequence
from typing import Any, Literal

from posturewatch.errors import PosturewatchError
from posturewatch.model.outcome import Outcome
from posturewatch.pipeline.monitor import Monitor, Sink
from posturewatch.pipeline.practice import OpenSource

__all__ = ["LEAVE_S", "Preview"]

_LOG = logging.getLogger(__name__)

#: A camera that nobody looks through is given back after so long: the page asks several times a second.
LEAVE_S = 8.0

#: From the wish to end to the source's being given back.
_END_S = 20.0

_LOOK_S = 0.5

Phase = Literal["off", "opening", "on", "failed"]


class Preview:
    """open(), close() and seen() may be called in any order, from any thread.

    Parameters
    ----------
    open_source
        Opens the frames; may raise SourceError.
    make_monitor
        As for `Practice`.
    sinks
        Take the readings.
    clock
        Seconds that only grow.
    """

    def __init__(
        self,
        *,
        open_source: Callable[[], OpenSource],
        make_monitor: Callable[[OpenSource, Sequence[Sink]], tuple[Monitor, Callable[[], None]]],
        sinks: Sequence[Sink],
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._open_source = open_source
        self._make_monitor = make_monitor
        self._sinks = tuple(sinks)
        self._clock = clock
        self._lock = threading.Lock()
        self._stop = threading.Event()
        self._over = threading.Event()
        self._over.set()
        self._phase: Phase = "off"
        self._fault: str | None = None
        self._source: OpenSource | None = None
        self._seen_s = clock()

    def open(self) -> None:
        """Begins to look; without effect while it does."""
        with self._lock:
            self._seen_s = self._clock()
            if not self._over.is_set():
                return
            self._over.clear()
            self._stop = threading.Event()
            self._phase, self._fault, self._source = "opening", None, None
            for name, work in (("preview", self._run), ("preview-watch", self._watch)):
                threading.Thread(target=work, args=(self._stop,), name=name, daemon=True).start()

    def close(self) -> bool:
        """Gives the source back and waits for that; whether it came to an end in time."""
        with self._lock:
            self._stop.set()
        return self._over.wait(_END_S)

    def seen(self) -> None:
        """Somebody looks."""
        self._seen_s = self._clock()

    def state(self) -> dict[str, Any]:
        """phase ("off", "opening", "on", "failed"), fault, notice and source, in JSON's types."""
        source = self._source
        return {
            "phase": self._phase,
            "fault": self._fault,
            "notice": None if source is None else source.notice,
            "source": None if source is None else source.describe(),
        }

    def _watch(self, stop: threading.Event) -> None:
        while not stop.wait(_LOOK_S):
            if self._clock() - self._seen_s > LEAVE_S:
                stop.set()

    def _run(self, stop: threading.Event) -> None:
        phase: Phase = "off"
        try:
            while not stop.is_set():
                if self._look(stop).ending != "film ended":
                    break  # a video begins anew
        except PosturewatchError as fault:
            self._fault, phase = fault.sentence, "failed"
        # The thread's last line: whatever failed, the player is shown a sentence.
        except Exception:  # noqa: BLE001
            _LOG.exception("the preview ended by a fault of the program")
            self._fault, phase = (
                "Something in the program failed. Try again, or start without a preview.",
                "failed",
            )
        finally:
            stop.set()
            self._source = None
            self._phase = phase
            self._over.set()

    def _look(self, stop: threading.Event) -> Outcome:
        source = self._open_source()
        release: Callable[[], None] | None = None
        try:
            monitor, release = self._make_monitor(source, self._sinks)
            self._source, self._phase = source, "on"
            return monitor.run(stop)
        finally:
            source.close()
            if release is not None:
                release()
