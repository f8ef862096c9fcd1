"""The program held to one core, as on a machine whose others are taken."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

__all__ = ["can_hold_to_one_core", "cores", "one_core"]


def can_hold_to_one_core() -> bool:
    """Whether the system lets a program be held to one core while it runs."""
    return sys.platform.startswith("linux") and hasattr(os, "sched_setaffinity")


def cores() -> int:
    """How many this program may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


@contextmanager
def one_core() -> Iterator[None]:
    """Every thread of this process, and what they start, on one core; after it on those from before.

    Raises
    ------
    NotImplementedError
        Where the system cannot.
    """
    if not can_hold_to_one_core():
        raise NotImplementedError("this system cannot hold a running program to one core")
    before = os.sched_getaffinity(0)
    _hold({min(before)})
    try:
        yield
    finally:
        _hold(before)


def _hold(to: set[int]) -> None:
    # Each thread has its own; new ones take that of whoever starts them.
    for task in Path("/proc/self/task").iterdir():
        with suppress(OSError):  # it has just ended
            os.sched_setaffinity(int(task.name), to)
