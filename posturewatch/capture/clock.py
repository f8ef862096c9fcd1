"""The clock that paces sources, as an argument so that tests need not wait."""

from __future__ import annotations

import threading
import time
from typing import Protocol

__all__ = ["Clock", "SystemClock"]


class Clock(Protocol):
    """now() is a monotonic time in seconds; wait() sleeps until the event is set or the time has passed."""

    def now(self) -> float: ...

    def wait(self, event: threading.Event, seconds: float) -> bool:
        """True when the event was set."""
        ...


class SystemClock:
    """The machine's monotonic clock."""

    def now(self) -> float:
        return time.monotonic()

    def wait(self, event: threading.Event, seconds: float) -> bool:
        return event.wait(max(0.0, seconds))
