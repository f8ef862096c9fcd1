"""What watches the program while it is measured: the process, the monitor's readings, the page's frames."""

from __future__ import annotations

import importlib
import os
import socket
import sys
import threading
import time
from array import array
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from websockets.exceptions import ConnectionClosed
from websockets.sync.client import connect

from posturewatch.model.reading import Reading
from posturewatch.server.admission import Admission
from posturewatch.server.feed import FeedMessage
from posturewatch.server.live_message import unpack

__all__ = [
    "Arrival",
    "FeedProbe",
    "MonitorProbe",
    "PageProbe",
    "Put",
    "Usage",
    "cpu_seconds",
    "memory_mb",
    "usage_now",
]

#: How long one wait for a message lasts; the stop flag is looked at in between.
_WAIT_S = 0.25

_MAX_MESSAGE_BYTES = 16_000_000


def cpu_seconds() -> float:
    """Processor time of this process so far, all threads, in seconds."""
    return time.process_time()


def memory_mb() -> float | None:
    """Memory of this process now (resident set), in MB of 10^6 bytes; None where the system does not say."""
    try:
        # Comes with the extra for tests only.
        psutil = importlib.import_module("psutil")
    except ImportError:
        return _memory_without_psutil()
    return float(psutil.Process().memory_info().rss) / 1e6


def _memory_without_psutil() -> float | None:
    statistics = Path("/proc/self/statm")
    if not sys.platform.startswith("linux") or not statistics.exists():
        return None
    pages = int(statistics.read_text(encoding="ascii").split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


@dataclass(frozen=True)
class Usage:
    """What this process holds at a moment of the monotonic clock: memory in MB, threads, and open files and sockets;
    None where the system does not say."""

    at_s: float
    memory_mb: float | None
    threads: int | None
    handles: int | None


def usage_now() -> Usage:
    """What this process holds now."""
    return Usage(time.monotonic(), memory_mb(), _count("task"), _count("fd"))


def _count(folder: str) -> int | None:
    """The entries of one of the folders in which Linux tells of this process."""
    place = Path("/proc/self", folder)
    return sum(1 for _ in place.iterdir()) if place.is_dir() else None


@dataclass(frozen=True)
class Put:
    """One reading as it left the monitor: at_s and taken_s on the monotonic clock, frames dropped so far,
    hands seen, the process's processor time so far in seconds, and the savings in force."""

    at_s: float
    taken_s: float
    dropped: int
    hands: int
    cpu_s: float
    savings: frozenset[str] = frozenset()


class MonitorProbe:
    """A sink that notes when each reading came, in so little memory that an hour of it is not taken for a leak."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._numbers = array("d")
        self._savings: list[frozenset[str]] = []
        self._known: dict[frozenset[str], frozenset[str]] = {}

    @property
    def puts(self) -> list[Put]:
        """All so far."""
        rows = zip(*(self._numbers[column::5] for column in range(5)), strict=True)
        return [
            Put(at_s, taken_s, int(dropped), int(hands), cpu_s, savings)
            for (at_s, taken_s, dropped, hands, cpu_s), savings in zip(rows, self._savings, strict=True)
        ]

    def put(self, reading: Reading) -> None:
        """Takes a reading."""
        hands = len(reading.observation.hands)
        self._numbers.extend((self._clock(), reading.taken_s, reading.dropped, hands, cpu_seconds()))
        self._savings.append(self._known.setdefault(reading.savings, reading.savings))


@dataclass(frozen=True)
class Arrival:
    """One message: when it came and when its frame had left the source, on the monotonic clock."""

    at_s: float
    taken_s: float


class _Probe:
    """A thread that collects arrivals until it is closed."""

    def __init__(self, name: str) -> None:
        self._times = array("d")
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name=name, daemon=True)
        self._thread.start()

    @property
    def arrivals(self) -> list[Arrival]:
        """All so far."""
        return [Arrival(*pair) for pair in zip(self._times[::2], self._times[1::2], strict=False)]

    def close(self) -> None:
        self._stop.set()
        self._thread.join(10.0)

    def _note(self, data: bytes) -> int:
        """Notes a message's arrival; its number."""
        at_s = time.monotonic()
        header, _ = unpack(data)
        self._times.extend((at_s, float(header["taken_s"])))
        return int(header["seq"])

    def _run(self) -> None:
        raise NotImplementedError


class _Feed(Protocol):
    def latest(self, after_seq: int, timeout_s: float) -> FeedMessage | None: ...


class FeedProbe(_Probe):
    """Asks the feed for each newest message, as a page does: when the encoded message is ready."""

    def __init__(self, feed: _Feed) -> None:
        self._feed = feed
        super().__init__("benchmark-feed")

    def _run(self) -> None:
        seq = 0
        while not self._stop.is_set():
            message = self._feed.latest(seq, _WAIT_S)
            if message is not None:
                seq = self._note(message.data)


class PageProbe(_Probe):
    """A page without a screen: takes frames from the live socket and answers each at once."""

    def __init__(self, port: int, admission: Admission) -> None:
        self._port = port
        self._admission = admission
        super().__init__("benchmark-page")

    def _run(self) -> None:
        # A socket of our own, so that no proxy named in the environment comes between.
        line = socket.create_connection(("127.0.0.1", self._port), timeout=10.0)
        address = f"ws://127.0.0.1:{self._port}/api/live"
        cookie = {"Cookie": "=".join(self._admission.cookie)}
        with connect(
            address, sock=line, max_size=_MAX_MESSAGE_BYTES, compression=None, additional_headers=cookie
        ) as page:
            while not self._stop.is_set():
                try:
                    message = page.recv(_WAIT_S)
                except TimeoutError:
                    continue
                except ConnectionClosed:
                    return
                if isinstance(message, bytes):
                    page.send(str(self._note(message)))
