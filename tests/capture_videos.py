"""Films made at test time, and a clock that moves when told to."""

from __future__ import annotations

import struct
import threading
import time
from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
from numpy.typing import NDArray

from posturewatch.capture.source import Taken
from posturewatch.capture.video_file import VideoFileSource

SIZE = (96, 64)
TICK = Fraction(1, 1000)

#: Colours (blue, green, red) of the marked corners: top left, top right, bottom left, bottom right.
CORNERS = ((0, 0, 255), (0, 255, 0), (255, 0, 0), (255, 255, 255))

EVEN_S = tuple(index / 25 for index in range(20))


UNEVEN_S = (0.0, 0.04, 0.05, 0.3, 0.333, 0.9, 0.95, 1.7, 1.71, 1.72)


def marked_picture(index: int, size: tuple[int, int] = SIZE) -> NDArray[np.uint8]:
    """(height, width, 3) BGR: a grey that tells the index (0..24), and a colour in each corner."""
    width, height = size
    picture = np.full((height, width, 3), 10 * index, dtype=np.uint8)
    h, w = height // 4, width // 4
    for (rows, columns), colour in zip(
        (
            (slice(h), slice(w)),
            (slice(h), slice(-w, None)),
            (slice(-h, None), slice(w)),
            (slice(-h, None), slice(-w, None)),
        ),
        CORNERS,
        strict=True,
    ):
        picture[rows, columns] = colour
    return picture


def grey_index(picture: NDArray[np.uint8]) -> int:
    """The index that a picture's middle tells."""
    height, width = picture.shape[:2]
    return round(
        float(picture[height // 2 - 4 : height // 2 + 4, width // 2 - 4 : width // 2 + 4].mean()) / 10
    )


def corner_colours(picture: NDArray[np.uint8]) -> list[tuple[int, ...]]:
    """Colours of the four corners, each channel rounded to 0 or 255."""
    return [
        tuple(int(value) for value in np.where(picture[y, x] > 127, 255, 0))
        for y, x in ((4, 4), (4, -5), (-5, 4), (-5, -5))
    ]


def write_film(
    path: Path,
    times_s: Sequence[float],
    *,
    codec: str = "mpeg4",
    pix_fmt: str = "yuv420p",
    pictures: Sequence[NDArray[np.uint8]] | None = None,
    options: dict[str, str] | None = None,
    container_format: str | None = None,
    pixel_shape: Fraction | None = None,
    container_options: dict[str, str] | None = None,
    title: str | None = None,
) -> Path:
    """A film with a picture at each of times_s, millisecond ticks."""
    if pictures is None:
        pictures = [marked_picture(index % 25) for index in range(len(times_s))]
    height, width = pictures[0].shape[:2] if len(pictures) else (SIZE[1], SIZE[0])
    with av.open(str(path), "w", format=container_format, options=container_options or {}) as container:
        if title is not None:
            container.metadata["title"] = title
        stream = container.add_stream(codec, rate=25, options=options or {})
        stream.width, stream.height, stream.pix_fmt = width, height, pix_fmt
        stream.codec_context.time_base = TICK
        if pixel_shape is not None:
            stream.codec_context.sample_aspect_ratio = pixel_shape
        container.start_encoding()
        for picture, time_s in zip(pictures, times_s, strict=True):
            frame = av.VideoFrame.from_ndarray(picture, format="bgr24")
            frame.pts, frame.time_base = round(time_s * 1000), TICK
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    return path


def turn_film(path: Path, matrix: tuple[int, int, int, int]) -> Path:
    """Writes the display matrix (a, b, c, d) into an MP4 film's track header (ISO/IEC 14496-12, tkhd)."""
    data = path.read_bytes()
    plain = struct.pack(">9i", 1 << 16, 0, 0, 0, 1 << 16, 0, 0, 0, 1 << 30)
    start = data.index(b"tkhd")
    at = data.index(plain, start)
    a, b, c, d = (value << 16 for value in matrix)
    path.write_bytes(data[:at] + struct.pack(">9i", a, b, 0, c, d, 0, 0, 0, 1 << 30) + data[at + 36 :])
    return path


class HandClock:
    """A clock that stands still until `advance`; threads that wait on it sleep until their time has come."""

    def __init__(self, now_s: float = 1000.0) -> None:
        self._now_s = now_s
        self._changed = threading.Condition()
        self._sleeping: list[float] = []

    def now(self) -> float:
        with self._changed:
            return self._now_s

    def wait(self, event: threading.Event, seconds: float) -> bool:
        with self._changed:
            due_s = self._now_s + seconds
            self._sleeping.append(due_s)
            self._changed.notify_all()
            while self._now_s < due_s and not event.is_set():
                self._changed.wait(0.01)
            self._sleeping.remove(due_s)
            return event.is_set()

    def settle(self, limit_s: float = 20.0) -> None:
        """Waits until a thread sleeps towards a moment that has not come."""
        with self._changed:
            if not self._changed.wait_for(lambda: any(due > self._now_s for due in self._sleeping), limit_s):
                raise AssertionError("nothing waits on the clock")

    def advance(self, seconds: float) -> None:
        with self._changed:
            self._now_s += seconds
            self._changed.notify_all()


class HurriedClock:
    """A clock on which waiting takes no time: it jumps to the moment waited for."""

    def __init__(self) -> None:
        self._now_s = 1000.0
        self.waited_s = 0.0

    def now(self) -> float:
        return self._now_s

    def wait(self, event: threading.Event, seconds: float) -> bool:
        self._now_s += max(0.0, seconds)
        self.waited_s += max(0.0, seconds)
        return event.is_set()


def within(limit_s: float, condition: object) -> bool:
    """Whether a callable becomes true before a generous limit."""
    assert callable(condition)
    end = time.monotonic() + limit_s
    while time.monotonic() < end:
        if condition():
            return True
        time.sleep(0.005)
    return False


def all_of(source: VideoFileSource) -> list[Taken]:
    taken = []
    while not source.ended:
        one = source.read(10.0)
        if one is not None:
            taken.append(one)
    source.close()
    return taken


def times_of(taken: list[Taken]) -> list[float]:
    return [one.frame.time_s for one in taken]
