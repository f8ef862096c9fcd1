"""What the page's routes ask of the practice and of the kept sessions; tests hand in stand-ins."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Protocol

from posturewatch.feed import FeedMessage

__all__ = ["Pictures", "PracticeControl", "SessionShelf"]


class PracticeControl(Protocol):
    """The running practice; every method may be called from any thread.

    The state: phase ("opening", "watching", "stopped" or "failed"), session_id, elapsed_s, source, notice,
    fault, dropped, marks, ending; see `posturewatch.practice.Practice.state`. mark adds marked_s to it, null
    when nothing is running.
    """

    def state(self) -> Mapping[str, Any]: ...
    def start(self) -> Mapping[str, Any]: ...
    def stop(self) -> Mapping[str, Any]: ...
    def mark(self, note: str | None = None) -> Mapping[str, Any]: ...


class SessionShelf(Protocol):
    """The kept sessions. summary raises InputError for an id that is not kept."""

    def sessions(self) -> Sequence[Mapping[str, Any]]: ...
    def summary(self, session_id: str) -> Mapping[str, Any]: ...


class Pictures(Protocol):
    """The live feed as the socket uses it; see `posturewatch.feed.LiveFeed`."""

    @property
    def limits(self) -> Mapping[str, Any]: ...
    async def latest_async(self, after_seq: int, timeout_s: float) -> FeedMessage | None: ...
