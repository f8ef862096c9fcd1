"""The live socket: the newest frame to one page, never faster than that page can draw.

To the page: frames as binary messages (`posturewatch.server.live_message`), the practice's state as text (JSON,
at least twice a second, which also shows that the server is there). From the page: the seq of each frame
it has drawn, as text. At most two frames are under way at a time, so that a slow page gets fewer frames
instead of older ones.
"""

from __future__ import annotations

import asyncio
import contextlib
import time

from starlette.concurrency import run_in_threadpool
from starlette.websockets import WebSocket, WebSocketDisconnect

from posturewatch.server.answers import to_json
from posturewatch.server.collaborators import FrameFeed, PracticeControl

__all__ = ["LiveSocket"]

_STATE_EVERY_S = 0.4

#: One frame being drawn and one on its way keep a quick page busy.
_UNDER_WAY = 2

#: A page that answers nothing (hidden, or no page at all) still gets a frame this often.
_UNANSWERED_S = 1.0


class LiveSocket:
    """Accepts one socket and serves it until either side ends it."""

    def __init__(self, socket: WebSocket, practice: PracticeControl, feed: FrameFeed) -> None:
        self._socket = socket
        self._practice = practice
        self._feed = feed
        self._sent = 0
        self._sent_at = 0.0
        self._under_way: set[int] = set()
        self._answered = asyncio.Event()
        self._sending = asyncio.Lock()

    async def run(self) -> None:
        """Accepts the socket; returns when it is closed."""
        await self._socket.accept()
        tasks = [asyncio.create_task(work()) for work in (self._read, self._send_state, self._send_frames)]
        try:
            await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
        finally:
            for task in tasks:
                task.cancel()
            # Each ends by its cancellation or by the page having gone; neither is a fault.
            for outcome in await asyncio.gather(*tasks, return_exceptions=True):
                if isinstance(outcome, Exception) and not isinstance(
                    outcome, (WebSocketDisconnect, RuntimeError)
                ):
                    raise outcome

    async def _read(self) -> None:
        while True:
            message = await self._socket.receive()
            if message["type"] == "websocket.disconnect":
                return
            with contextlib.suppress(ValueError):
                drawn = int(message.get("text") or "")
                self._under_way = {seq for seq in self._under_way if seq > drawn}
                self._answered.set()

    async def _send_state(self) -> None:
        while True:
            state = await run_in_threadpool(self._practice.state)
            text = to_json({"state": state})
            async with self._sending:
                await self._socket.send_text(text)
            await asyncio.sleep(_STATE_EVERY_S)

    async def _send_frames(self) -> None:
        while True:
            await self._wait_for_room()
            message = await self._feed.latest_async(self._sent, _UNANSWERED_S)
            if message is None:
                continue
            self._sent = message.seq
            self._sent_at = time.monotonic()
            self._under_way.add(message.seq)
            async with self._sending:
                await self._socket.send_bytes(message.data)

    async def _wait_for_room(self) -> None:
        while len(self._under_way) >= _UNDER_WAY:
            left_s = _UNANSWERED_S - (time.monotonic() - self._sent_at)
            if left_s <= 0:
                self._under_way.clear()
                return
            self._answered.clear()
            with contextlib.suppress(asyncio.TimeoutError):
                await asyncio.wait_for(self._answered.wait(), left_s)
