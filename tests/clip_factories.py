"""Moving pictures that tell their index, readings around them, and events for clips."""

from __future__ import annotations

import threading
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from session_factories import make_reading

from posturewatch.clips.encoder import Encoder, Packet
from posturewatch.clips.video_file import EncodedVideo
from posturewatch.model.frame import Frame
from posturewatch.model.reading import Reading
from posturewatch.model.verdict import Excursion, HoldWarning

SIZE = (320, 180)
BITS = 12


def numbered_picture(index: int, size: tuple[int, int] = SIZE) -> NDArray[np.uint8]:
    """(height, width, 3) BGR: a moving shade with the index written below as twelve black or white fields."""
    width, height = size
    x = np.arange(width)
    row = (128 + 90 * np.sin((x + 3 * index) / 17)).astype(np.uint8)
    picture = np.repeat(np.repeat(row[None, :, None], height, axis=0), 3, axis=2)
    field = width // BITS
    for bit in range(BITS):
        picture[-height // 4 :, bit * field : (bit + 1) * field] = 255 if index >> bit & 1 else 0
    return np.ascontiguousarray(picture)


def index_of(picture: NDArray[np.uint8]) -> int:
    """The index that a numbered picture tells, whatever its size."""
    height, width = picture.shape[:2]
    field = width / BITS
    y = height - height // 8
    return sum(
        (int(picture[y - 2 : y + 2, int((bit + 0.5) * field)].mean() > 127)) << bit for bit in range(BITS)
    )


def uneven_times(count: int, rate_hz: float = 25.0) -> list[float]:
    """Strictly increasing times such as a webcam gives: some late, some pictures missing."""
    rng = np.random.default_rng(5)
    steps = rng.choice([0.9, 1.0, 1.1, 2.0], size=count, p=[0.3, 0.35, 0.3, 0.05]) / rate_hz
    return [float(time) for time in np.cumsum(steps) - steps[0]]


def frames(times_s: Sequence[float], size: tuple[int, int] = SIZE) -> Iterator[Frame]:
    for index, time_s in enumerate(times_s):
        yield Frame(index, time_s, numbered_picture(index, size))


def make_video(times_s: Sequence[float], size: tuple[int, int] = SIZE) -> EncodedVideo:
    encoder = Encoder(*size)
    packets: list[Packet] = []
    for frame in frames(times_s, size):
        packets += encoder.encode(frame.image_bgr, frame.time_s)
    return EncodedVideo(tuple(packets), encoder.header)


def picture_reading(
    frame: Frame,
    *,
    opened: Sequence[Excursion] = (),
    closed: Sequence[Excursion] = (),
    fired: Sequence[HoldWarning] = (),
) -> Reading:
    reading = make_reading(frame.index, frame.time_s, {}, opened=opened, closed=closed, fired=fired)
    return replace(reading, frame=frame)


def excursion(start_s: float, end_s: float | None = None, **others: object) -> Excursion:
    one = Excursion("left", "wrist_flexion", "flexion", "extreme", 45.0, start_s, 50.0, start_s)
    if end_s is not None:
        one = replace(one, end_s=end_s, end="returned")
    return replace(one, **others)  # type: ignore[arg-type]


def warning(since_s: float, fired_s: float) -> HoldWarning:
    return HoldWarning("left", "wrist_flexion", "flexion", 45.0, since_s, fired_s)


class SlowEncoder(Encoder):
    """Works only while its gate is open."""

    gate = threading.Event()
    started = threading.Event()

    def encode(self, image_bgr: NDArray[np.uint8], time_s: float) -> list[Packet]:
        self.started.set()
        if not self.gate.wait(60):
            raise AssertionError("the gate never opened")
        return super().encode(image_bgr, time_s)
