"""What cameras and streams have in common: a thread that keeps only the newest frame and tries again."""

from __future__ import annotations

import logging
import threading
from abc import ABC, abstractmethod
from typing import Any

from posturewatch.capture.clock import Clock, SystemClock
from posturewatch.capture.handover import Handover
from posturewatch.capture.source import SourceInfo, Taken, describe
from posturewatch.capture.timeline import STEP_S
from posturewatch.errors import SourceError
from posturewatch.model.arrays import Image
from posturewatch.model.frame import Frame

__all__ = ["LiveSource"]

_LOG = logging.getLogger(__name__)

#: Without a frame for this long the source counts as gone: the user is told and it is opened again.
SILENCE_S = 2.0

#: Pause between two tries to open it again.
RETRY_S = 1.0

#: How long closing waits for the thread. One that is stuck in a driver's or the network's call releases the
#: device when that call returns; the user need not wait for it.
JOIN_S = 2.0


class LiveSource(ABC):
    """A thread fetches frames; the newest waits to be read, older unread ones are counted as dropped.

    Subclasses implement `_play`, which opens the device, hands each frame to `_publish` and returns or
    raises SourceError when it gives no more; it is then called again after a pause, for as long as it takes,
    unless it says that the end has come by `_over`. Time is the clock's, so it goes on while the source is
    gone.
    """

    def __init__(
        self, *, name: str, thread_name: str, gone: str, first_frame_s: float, clock: Clock | None
    ) -> None:
        self._name = name
        self._gone = gone
        self._first_frame_s = first_frame_s
        self._clock: Clock = SystemClock() if clock is None else clock
        self._handover: Handover[Taken] = Handover(newest_only=True)
        self._closed = threading.Event()
        self._settled = threading.Event()
        self._fault: SourceError | None = None
        self._crash: SourceError | None = None
        self._info: SourceInfo | None = None
        self._count = 0
        self._start_s = 0.0
        self._last_time_s = 0.0
        self._seen_s = 0.0
        self._over = False
        self._thread = threading.Thread(target=self._run, name=thread_name, daemon=True)

    def _open(self, silent: str) -> None:
        """Starts the thread and waits for the first frame; raises SourceError with what `_play` said, or
        with `silent` where no frame came in time."""
        self._thread.start()
        self._settled.wait(self._first_frame_s)
        fault = self._fault
        if fault is None and self._info is None:
            fault = SourceError(silent)
        if fault is not None:
            self.close()
            raise fault

    @abstractmethod
    def _play(self) -> None: ...

    @abstractmethod
    def _describe(self, image: Image) -> SourceInfo:
        """What the source turned out to be, at its first frame."""

    @property
    def info(self) -> SourceInfo:
        assert self._info is not None, "known from the first frame on, which opening waits for"
        return self._info

    @property
    def live(self) -> bool:
        return True

    @property
    def dropped(self) -> int:
        return self._handover.dropped

    @property
    def notice(self) -> str | None:
        # From the clock alone, so that it is right even while a driver's call does not return.
        if self.ended or self._clock.now() - self._seen_s <= SILENCE_S:
            return None
        return self._gone

    @property
    def ended(self) -> bool:
        return self._handover.ended

    def describe(self) -> dict[str, Any]:
        return describe(self.info, live=True)

    def read(self, timeout_s: float) -> Taken | None:
        taken = self._handover.take(timeout_s)
        if taken is None and self._crash is not None and self.ended:
            raise self._crash
        return taken

    def close(self) -> None:
        self._closed.set()
        self._handover.close()
        if self._thread is not threading.current_thread() and self._thread.is_alive():
            self._thread.join(JOIN_S)

    def _publish(self, image: Image, when_s: float) -> bool:
        """Hands on a frame taken at when_s on the clock; False when the source has been closed."""
        now_s = self._clock.now()
        if self._info is None:
            self._start_s = when_s
            self._info = self._describe(image)
            time_s = 0.0
        else:
            time_s = max(when_s - self._start_s, self._last_time_s + STEP_S)
        going = self._handover.put(Taken(Frame(self._count, time_s, image), now_s))
        self._last_time_s = time_s
        self._seen_s = now_s
        self._count += 1
        self._settled.set()
        return going

    def _run(self) -> None:
        try:
            while not self._closed.is_set():
                try:
                    self._play()
                except SourceError as fault:
                    if self._info is None:
                        self._fault = fault
                        return
                # Whatever it is: what ends a practice by a fault is told as one, not as its end.
                except Exception:  # noqa: BLE001
                    _LOG.exception("the source %s failed", self._name)
                    self._fault = self._crash = SourceError(
                        f"Reading from {self._name} failed by a fault of the program; what was recorded until then is "
                        "kept. Start again."
                    )
                    return
                if self._over or self._clock.wait(self._closed, RETRY_S):
                    return
        finally:
            self._handover.finish()
            self._settled.set()
