"""Passing frames from the thread that fetches them to the one that reads them, never without bound."""

from __future__ import annotations

import threading
from collections import deque
from typing import Generic, TypeVar

__all__ = ["Handover"]

T = TypeVar("T")


class Handover(Generic[T]):
    """A bounded passage between one producer and one consumer.

    newest_only: holds one item, and a newer one replaces it (counted in `dropped`); otherwise up to
    `capacity` items are held and `put` waits for room. Closing releases both sides.
    """

    def __init__(self, *, newest_only: bool, capacity: int = 1) -> None:
        if capacity < 1 or (newest_only and capacity != 1):
            raise ValueError(f"capacity {capacity} does not fit newest_only={newest_only}")
        self._newest_only = newest_only
        self._capacity = capacity
        self._items: deque[T] = deque()
        self._changed = threading.Condition()
        self._finished = False
        self._closed = False
        self._dropped = 0

    @property
    def dropped(self) -> int:
        return self._dropped

    @property
    def ended(self) -> bool:
        """Nothing is left and nothing will come."""
        with self._changed:
            return self._closed or (self._finished and not self._items)

    def put(self, item: T) -> bool:
        """Passes an item on; False when the passage is closed and the producer should stop."""
        with self._changed:
            if self._newest_only:
                self._dropped += len(self._items)
                self._items.clear()
            else:
                self._changed.wait_for(lambda: self._closed or len(self._items) < self._capacity)
            if self._closed:
                return False
            self._items.append(item)
            self._changed.notify_all()
            return True

    def take(self, timeout_s: float) -> T | None:
        """The next item, or None when none came in time or the passage has ended."""
        with self._changed:
            self._changed.wait_for(
                lambda: bool(self._items) or self._finished or self._closed, timeout=max(0.0, timeout_s)
            )
            if self._closed or not self._items:
                return None
            item = self._items.popleft()
            self._changed.notify_all()
            return item

    def finish(self) -> None:
        """The producer has nothing more; what is held can still be taken."""
        with self._changed:
            self._finished = True
            self._changed.notify_all()

    def close(self) -> None:
        """Drops what is held and releases both sides."""
        with self._changed:
            self._closed = True
            self._items.clear()
            self._changed.notify_all()
