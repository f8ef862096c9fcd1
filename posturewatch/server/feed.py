"""The live feed: the newest reading as one message, for however many pages are looking."""

from __future__ import annotations

import asyncio
import logging
import math
import threading
import time
from collections import deque
from collections.abc import Mapping
from concurrent.futures import Future
from concurrent.futures import TimeoutError as FutureTimeoutError
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np

from posturewatch.comfort.limits import LimitProfile
from posturewatch.model.arrays import Image
from posturewatch.model.frame import Frame
from posturewatch.model.observation import Side
from posturewatch.model.reading import Reading
from posturewatch.server.live_message import pack, reading_header

__all__ = ["FeedMessage", "LiveFeed"]

_LOG = logging.getLogger(__name__)

#: The rate shown is that of the last two seconds: long enough to be steady, short enough to follow.
_RATE_WINDOW_S = 2.0

#: What is older than this is no longer live: the camera is gone, or the session is another one.
_FRESH_S = 1.0

#: Least time between two messages while pictures are saved, a little less than three frames of a usual camera; a new
#: warning does not wait.
_SAVED_EVERY_S = 0.09

#: How long `close` waits for the encoding thread: a single encoding takes milliseconds.
_CLOSE_WAIT_S = 5.0


_UNSHOWN = "The page gets no pictures by a fault of the program; the practice goes on. Stop and start again."


@dataclass(frozen=True)
class FeedMessage:
    """seq counts messages of this feed upwards; data is what `posturewatch.server.live_message` lays out."""

    seq: int
    data: bytes


class LiveFeed:
    """Keeps the newest reading only, and turns it into a message when somebody asks for one.

    `put` never blocks: it replaces what has not been fetched. Encoding runs in the feed's own thread and only while
    a `latest` is waiting, so that nobody looking costs nothing, and a page that asks rarely gets the newest frame
    then, never a backlog.

    Parameters
    ----------
    limits
        The limits in force.
    roles
        What each hand does ("fretting", "plucking"), where known.
    max_width_px
        Wider frames are scaled down to this.
    jpeg_quality
        1 to 100.
    """

    def __init__(
        self,
        limits: LimitProfile,
        *,
        roles: Mapping[Side, str] | None = None,
        max_width_px: int = 960,
        jpeg_quality: int = 75,
    ) -> None:
        if max_width_px < 16:
            raise ValueError(f"max_width_px is at least 16, got {max_width_px}")
        if not 1 <= jpeg_quality <= 100:
            raise ValueError(f"jpeg_quality is 1 to 100, got {jpeg_quality}")
        self._limits = limits
        self._roles = dict(roles or {})
        self._max_width_px = max_width_px
        self._jpeg_quality = jpeg_quality
        self._changed = threading.Condition()
        self._pending: Reading | None = None
        self._message: FeedMessage | None = None
        self._message_at = 0.0
        self._taken_up_s = -math.inf
        self._waiters: list[Future[FeedMessage]] = []
        self._put_at: deque[float] = deque(maxlen=400)
        self._notice: str | None = None
        self._seq = 0
        self._cleared = 0
        self._closed = False
        self._fault: str | None = None
        self._thread: threading.Thread | None = None

    @property
    def notice(self) -> str | None:
        """A sentence about the source to show with the frames, such as a camera being retried."""
        return self._notice

    @notice.setter
    def notice(self, sentence: str | None) -> None:
        self._notice = sentence

    def judge_by(self, limits: LimitProfile, roles: Mapping[Side, str]) -> None:
        """From the next message on these limits are in force, and the hands do this."""
        self._limits, self._roles = limits, dict(roles)

    @property
    def fault(self) -> str | None:
        """Why pages get no frames, in one sentence; None while all is well."""
        return self._fault

    @property
    def measured_fps(self) -> float:
        """Readings per second over the last two seconds."""
        now_s = time.monotonic()
        with self._changed:
            recent = [at_s for at_s in self._put_at if now_s - at_s <= _RATE_WINDOW_S]
        if len(recent) < 2 or recent[-1] <= recent[0]:
            return 0.0
        return (len(recent) - 1) / (recent[-1] - recent[0])

    def put(self, reading: Reading) -> None:
        """Offer the newest reading; returns at once, whoever is or is not looking."""
        with self._changed:
            if self._closed:
                return
            now_s = time.monotonic()
            self._put_at.append(now_s)
            saving = "picture" in reading.savings and now_s - self._taken_up_s < _SAVED_EVERY_S
            if saving and not reading.verdict.fired:
                return
            self._taken_up_s = now_s
            self._pending = reading
            self._changed.notify_all()

    def clear(self) -> None:
        """Forget the last frame, as between two sessions; what waits keeps waiting for the next one."""
        with self._changed:
            self._pending = self._message = None
            self._put_at.clear()
            self._cleared += 1

    def latest(self, after_seq: int, timeout_s: float) -> FeedMessage | None:
        """The newest message, later than after_seq (0 for any); None when none came within timeout_s."""
        future = self._ask(after_seq)
        try:
            return future.result(timeout_s)
        except FutureTimeoutError:
            return None
        finally:
            self._forget(future)

    async def latest_async(self, after_seq: int, timeout_s: float) -> FeedMessage | None:
        """`latest` for an event loop: it waits without holding a thread."""
        future = self._ask(after_seq)
        try:
            return await asyncio.wait_for(asyncio.wrap_future(future), timeout_s)
        except asyncio.TimeoutError:
            return None
        finally:
            self._forget(future)

    def close(self) -> None:
        """Stop the thread; waiting pages get nothing more. May be called twice."""
        with self._changed:
            self._closed = True
            self._pending = self._message = None
            thread, self._thread = self._thread, None
            self._changed.notify_all()
        if thread is not None:
            thread.join(_CLOSE_WAIT_S)

    def _ask(self, after_seq: int) -> Future[FeedMessage]:
        future: Future[FeedMessage] = Future()
        with self._changed:
            message = self._message
            fresh = time.monotonic() - self._message_at <= _FRESH_S
            if message is not None and message.seq > after_seq and fresh and self._pending is None:
                future.set_result(message)
            elif not self._closed:
                self._waiters.append(future)
                if self._thread is None:
                    self._thread = threading.Thread(target=self._run, name="live-feed", daemon=True)
                    self._thread.start()
                self._changed.notify_all()
        return future

    def _forget(self, future: Future[FeedMessage]) -> None:
        future.cancel()
        with self._changed:
            if future in self._waiters:
                self._waiters.remove(future)

    def _run(self) -> None:
        while True:
            with self._changed:
                self._changed.wait_for(lambda: self._closed or (self._pending is not None and self._waiters))
                if self._closed:
                    return
                reading, self._pending = self._pending, None
                put_at = self._put_at[-1]
                if time.monotonic() - put_at > _FRESH_S:
                    continue
                self._seq += 1
                seq, cleared = self._seq, self._cleared
            assert reading is not None
            try:
                data = self._encode(reading, seq)
                self._fault = None
            # Whatever it is: the next frame is tried, and the player is told.
            except Exception:  # noqa: BLE001
                _LOG.exception("frame %d could not be made ready for the page", reading.frame.index)
                self._fault = _UNSHOWN
                continue
            if data is None:
                continue
            message = FeedMessage(seq, data)
            with self._changed:
                if cleared != self._cleared:
                    continue
                self._message, self._message_at = message, put_at
                waiters, self._waiters = self._waiters, []
            for waiter in waiters:
                if waiter.set_running_or_notify_cancel():
                    waiter.set_result(message)

    def _encode(self, reading: Reading, seq: int) -> bytes | None:
        """The message of a reading, or None (logged) for a frame that cannot be encoded."""
        header: dict[str, Any] = reading_header(reading, self._limits, self._roles)
        header["seq"] = seq
        header["notice"] = self._notice
        header["measured_fps"] = round(self.measured_fps, 1)
        try:
            jpeg = self._jpeg(reading.frame)
        except cv2.error:
            _LOG.exception("frame %d could not be encoded for the page", reading.frame.index)
            return None
        return pack(header, jpeg)

    def _jpeg(self, frame: Frame) -> bytes:
        image = frame.image_bgr
        if frame.width_px > self._max_width_px:
            height_px = max(1, round(frame.height_px * self._max_width_px / frame.width_px))
            image = frame.scaled(self._max_width_px, height_px, _scaled)
        _, encoded = cv2.imencode(".jpg", image, [cv2.IMWRITE_JPEG_QUALITY, self._jpeg_quality])
        return encoded.tobytes()


def _scaled(image: Image, size: tuple[int, int]) -> Image:
    # Averaging costs five times as much, and differs to the eye only where frames shrink a lot.
    way = cv2.INTER_AREA if 2 * size[0] <= image.shape[1] else cv2.INTER_LINEAR
    return cv2.resize(image, size, interpolation=way).astype(np.uint8, copy=False)
