"""What the routes ask of the running practice and of the live feed; tests hand in stand-ins."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Any, Protocol

from posturewatch.model.observation import Side
from posturewatch.server.feed import FeedMessage

__all__ = ["FrameFeed", "PracticeControl"]


class PracticeControl(Protocol):
    """The running practice; every method may be called from any thread.

    See `posturewatch.pipeline.practice.Practice`. The state: phase ("opening", "watching", "stopped" or "failed"),
    session_id, elapsed_s, source, notice, fault, dropped, marks, warns, ending. mark adds marked_s to it, null when
    nothing is running.
    """

    def state(self) -> Mapping[str, Any]: ...
    def start(self) -> Mapping[str, Any]: ...
    def stop(self) -> Mapping[str, Any]: ...
    def mark(self, note: str | None = None) -> Mapping[str, Any]: ...
    def passage(
        self, piece: str | None, bars: str = "", tempo_bpm: float | None = None
    ) -> Mapping[str, Any] | None: ...
    def warn(self, sides: Collection[Side]) -> Mapping[str, Any]: ...
    def now_played(self) -> Mapping[str, Any] | None: ...


class FrameFeed(Protocol):
    """The live feed as the socket uses it; see `posturewatch.server.feed.LiveFeed`."""

    async def latest_async(self, after_seq: int, timeout_s: float) -> FeedMessage | None: ...
