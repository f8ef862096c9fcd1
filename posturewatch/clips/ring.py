"""The last stretch of the session as encoded video in memory, so that a clip can begin before its moment."""

from __future__ import annotations

import logging
import threading
from collections import deque
from collections.abc import Callable

import av.error

from posturewatch.clips.encoder import Encoder, Packet, encoder_fault
from posturewatch.clips.video_file import EncodedVideo
from posturewatch.model.frame import Frame

__all__ = ["PacketStore", "Ring"]

_LOG = logging.getLogger(__name__)

#: Frames waiting for the encoder; a 1280x720 frame has 2.8 MB.
WAITING_FRAMES = 8

#: Least time between two frames while frames are saved: a little more than one of a usual camera's.
SAVED_EVERY_S = 0.05

#: How long closing waits for the encoder's thread: eight frames are done in a tenth of a second.
JOIN_S = 2.0


class PacketStore:
    """Packets up to a number of bytes and of seconds, oldest first out, whole groups of pictures at a time.

    Not safe for several threads; the ring guards it. Of time, at least `most_s` is kept; of memory, never
    more than `most_bytes`, which goes first.
    """

    def __init__(self, most_bytes: int, most_s: float) -> None:
        if most_bytes < 1 or not most_s > 0:
            raise ValueError(f"the ring needs room and time, got {most_bytes} bytes and {most_s} s")
        self.most_bytes = most_bytes
        self.most_s = most_s
        self.size_bytes = 0
        self._packets: deque[Packet] = deque()
        self._keys: deque[float] = deque()

    def __len__(self) -> int:
        return len(self._packets)

    @property
    def start_s(self) -> float | None:
        """Session time of the first frame held, None without one."""
        return self._packets[0].time_s if self._packets else None

    @property
    def end_s(self) -> float | None:
        """Session time of the last frame held, None without one."""
        return self._packets[-1].time_s if self._packets else None

    def add(self, packet: Packet) -> bool:
        """False where the packet is of no use, since its group's beginning is gone: a keyframe is needed."""
        if not self._packets and not packet.keyframe:
            return False
        self._packets.append(packet)
        self.size_bytes += len(packet.data)
        if packet.keyframe:
            self._keys.append(packet.time_s)
        while self._packets and self._too_much(packet.time_s):
            self._drop_group()
        return bool(self._packets)

    def between(self, start_s: float, end_s: float) -> tuple[Packet, ...]:
        """From the last keyframe at or before start_s (or the first there is) to the last frame before
        end_s; empty where nothing of it is held."""
        begin_s = next((key for key in reversed(self._keys) if key <= start_s), None)
        found = [one for one in self._packets if (begin_s is None or one.time_s >= begin_s)]
        found = [one for one in found if one.time_s < end_s]
        return tuple(found) if found and found[-1].time_s >= start_s else ()

    def _too_much(self, now_s: float) -> bool:
        if self.size_bytes > self.most_bytes:
            return True
        return len(self._keys) > 1 and now_s - self._keys[1] >= self.most_s

    def _drop_group(self) -> None:
        self._keys.popleft()
        until_s = self._keys[0] if self._keys else None
        while self._packets and (until_s is None or self._packets[0].time_s < until_s):
            self.size_bytes -= len(self._packets.popleft().data)


class Ring:
    """`put` returns at once; a thread of its own encodes.

    Where the encoder is behind, the oldest waiting frame is dropped and counted, or, where `waits` is set, `put` waits
    for it: a film has time, a camera has not. Where it cannot be had or
    fails, `fault` is a sentence and the ring holds nothing more.
    """

    def __init__(
        self,
        *,
        most_bytes: int = 48_000_000,
        most_s: float = 45.0,
        make_encoder: Callable[[int, int], Encoder] = Encoder,
        waiting: int = WAITING_FRAMES,
        waits: bool = False,
    ) -> None:
        """most_bytes: of packets held. most_s: the longest clip, its settling and a few seconds.
        make_encoder: from the first frame's width and height."""
        if waiting < 1:
            raise ValueError(f"at least one frame waits, got {waiting}")
        self._store = PacketStore(most_bytes, most_s)
        self._make_encoder = make_encoder
        self._waiting: deque[Frame] = deque()
        self._most_waiting = waiting
        self._waits = waits
        self._changed = threading.Condition()
        self._encoder: Encoder | None = None
        self._dropped = 0
        self._encoded = 0
        self._newest_s = -1.0
        self._taken_s = -1.0
        self._busy = False
        self._closed = False
        self._fault = encoder_fault()
        self._thread: threading.Thread | None = None
        if self._fault is None:
            self._thread = threading.Thread(target=self._run, name="clip-encoder", daemon=True)
            self._thread.start()

    @property
    def fault(self) -> str | None:
        """Why nothing is held any more, in one sentence; None while all is well."""
        return self._fault

    @property
    def size_bytes(self) -> int:
        """Of the packets held."""
        return self._store.size_bytes

    @property
    def encoded(self) -> int:
        """Frames encoded so far."""
        with self._changed:
            return self._encoded

    @property
    def dropped(self) -> int:
        """Frames left out since the encoder was behind."""
        with self._changed:
            return self._dropped

    def put(self, frame: Frame, *, saving: bool = False) -> None:
        """Takes a frame. Where it is to save, frames that follow another closely are left
        out."""
        with self._changed:
            if self._closed or self._fault is not None:
                return
            if saving and 0 <= frame.time_s - self._taken_s < SAVED_EVERY_S:
                return
            self._taken_s = frame.time_s
            if self._waits:
                self._changed.wait_for(lambda: len(self._waiting) < self._most_waiting or self._closed)
            if len(self._waiting) >= self._most_waiting:
                self._waiting.popleft()
                self._dropped += 1
            self._waiting.append(frame)
            self._changed.notify_all()

    def wait_for(self, time_s: float, timeout_s: float) -> bool:
        """Waits until everything put that is earlier than time_s has been encoded; False where it was not in
        time."""
        with self._changed:
            return self._changed.wait_for(lambda: self._is_past(time_s), timeout_s)

    def cut(self, start_s: float, end_s: float) -> EncodedVideo | None:
        """What is held of this stretch, from the last keyframe at or before its start; None where nothing is."""
        with self._changed:
            packets = self._store.between(start_s, end_s)
            encoder = self._encoder
        return EncodedVideo(packets, encoder.header) if packets and encoder is not None else None

    def finish(self) -> None:
        """Takes no more frames and encodes those that wait; what is held can still be cut."""
        with self._changed:
            self._closed = True
            self._changed.notify_all()
        if self._thread is not None and self._thread is not threading.current_thread():
            self._thread.join(JOIN_S)

    def stop(self, fault: str) -> None:
        """Takes no more frames, for this reason, and lets go of all that is held."""
        with self._changed:
            self._fault = self._fault or fault
            self._closed = True
            self._waiting.clear()
            self._store = PacketStore(self._store.most_bytes, self._store.most_s)
            self._changed.notify_all()

    def close(self) -> None:
        """Ends the thread and frees the memory. May be called twice."""
        with self._changed:
            self._waiting.clear()
        self.finish()
        with self._changed:
            self._store = PacketStore(self._store.most_bytes, self._store.most_s)

    def _is_past(self, time_s: float) -> bool:
        if self._newest_s >= time_s or self._fault is not None:
            return True
        if self._thread is None or not self._thread.is_alive():
            return True
        return self._closed and not self._waiting and not self._busy

    def _run(self) -> None:
        try:
            while True:
                frame = self._take()
                if frame is None:
                    return
                self._encode(frame)
        except av.error.FFmpegError as error:
            _LOG.warning("the clips' encoder failed: %s", error)
            self.stop(f"Clips are off for this session, since the video encoder failed ({error}).")
        finally:
            with self._changed:
                self._busy = False
                if not self._closed:
                    self._fault = (
                        "Clips are off for this session by a fault of the program; the session goes on."
                    )
                self._changed.notify_all()

    def _take(self) -> Frame | None:
        """The next frame; None when the ring is closed and none waits."""
        with self._changed:
            self._busy = False
            self._changed.notify_all()
            self._changed.wait_for(lambda: bool(self._waiting) or self._closed)
            if not self._waiting:
                return None
            self._busy = True
            return self._waiting.popleft()

    def _encode(self, frame: Frame) -> None:
        if self._encoder is None:
            self._encoder = self._make_encoder(frame.width_px, frame.height_px)
        packets = self._encoder.encode(self._encoder.fitted(frame), frame.time_s)
        with self._changed:
            for packet in packets:
                if not self._store.add(packet):
                    self._encoder.want_keyframe()
            self._encoded += 1
            self._newest_s = frame.time_s
