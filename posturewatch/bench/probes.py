"""What watches the program while it is measured: the process, the monitor's readings, the page's frames."""

from __future__ import annotations

import importlib
import math
import os
import socket
import sys
import threading
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

import numpy as np
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
    "UsageProbe",
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


class _Notes:
    """Rows of numbers whose room is taken in memory before the first is written, so that a long run's notes are not
    taken for a leak of the program.

    Parameters
    ----------
    rows
        For so many; more are taken in too, with new room.
    columns
        Numbers of a row.
    """

    def __init__(self, rows: int, columns: int) -> None:
        # Written to at once: memory that is only promised would still grow.
        self._rows = np.full((max(rows, 1), columns), np.nan)
        self._count = 0

    def add(self, *row: float) -> None:
        if self._count == len(self._rows):
            self._rows = np.concatenate([self._rows, np.full_like(self._rows, np.nan)])
        self._rows[self._count] = row
        self._count += 1

    def all(self) -> list[list[float]]:
        found: list[list[float]] = self._rows[: self._count].tolist()
        return found


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


class UsageProbe:
    """What this process held, looked at from time to time.

    Parameters
    ----------
    rows
        How many looks are expected.
    """

    def __init__(self, rows: int) -> None:
        self._notes = _Notes(rows, 4)

    @property
    def usage(self) -> list[Usage]:
        """All so far."""
        return [
            Usage(at_s, _known(memory), _whole(threads), _whole(handles))
            for at_s, memory, threads, handles in self._notes.all()
        ]

    def look(self) -> None:
        """Notes what is held now."""
        now = usage_now()
        found = (now.memory_mb, now.threads, now.handles)
        self._notes.add(now.at_s, *(math.nan if one is None else one for one in found))


def _known(noted: float) -> float | None:
    return None if math.isnan(noted) else noted


def _whole(noted: float) -> int | None:
    return None if math.isnan(noted) else int(noted)


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
    """A sink that notes when each reading came.

    Parameters
    ----------
    rows
        How many readings are expected.
    """

    def __init__(self, rows: int) -> None:
        self._notes = _Notes(rows, 6)
        self._savings: list[frozenset[str]] = []

    @property
    def puts(self) -> list[Put]:
        """All so far."""
        return [
            Put(at_s, taken_s, int(dropped), int(hands), cpu_s, self._savings[int(savings)])
            for at_s, taken_s, dropped, hands, cpu_s, savings in self._notes.all()
        ]

    def put(self, reading: Reading) -> None:
        """Takes a reading."""
        if reading.savings not in self._savings:
            self._savings.append(reading.savings)
        hands, savings = len(reading.observation.hands), self._savings.index(reading.savings)
        self._notes.add(time.monotonic(), reading.taken_s, reading.dropped, hands, cpu_seconds(), savings)


@dataclass(frozen=True)
class Arrival:
    """One message: when it came and when its frame had left the source, on the monotonic clock."""

    at_s: float
    taken_s: float


class _Probe:
    """A thread that collects arrivals, about so many as are expected, until it is closed."""

    def __init__(self, name: str, rows: int) -> None:
        self._notes = _Notes(rows, 2)
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name=name, daemon=True)
        self._thread.start()

    @property
    def arrivals(self) -> list[Arrival]:
        """All so far."""
        return [Arrival(*pair) for pair in self._notes.all()]

    def close(self) -> None:
        self._stop.set()
        self._thread.join(10.0)

    def _note(self, data: bytes) -> int:
        """Notes a message's arrival; its number."""
        at_s = time.monotonic()
        header, _ = unpack(data)
        self._notes.add(at_s, float(header["taken_s"]))
        return int(header["seq"])

    def _run(self) -> None:
        raise NotImplementedError


class _Feed(Protocol):
    def latest(self, after_seq: int, timeout_s: float) -> FeedMessage | None: ...


class FeedProbe(_Probe):
    """Asks the feed for each newest message, as a page does: when the encoded message is ready."""

    def __init__(self, feed: _Feed, rows: int) -> None:
        self._feed = feed
        super().__init__("benchmark-feed", rows)

    def _run(self) -> None:
        seq = 0
        while not self._stop.is_set():
            message = self._feed.latest(seq, _WAIT_S)
            if message is not None:
                seq = self._note(message.data)


class PageProbe(_Probe):
    """A page without a screen: takes frames from the live socket and answers each at once."""

    def __init__(self, port: int, admission: Admission, rows: int) -> None:
        self._port = port
        self._admission = admission
        super().__init__("benchmark-page", rows)

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
