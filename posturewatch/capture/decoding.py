"""PyAV behind one door: a video or stream becomes upright BGR frames with their timestamps."""

from __future__ import annotations

import struct
from collections.abc import Generator
from dataclasses import dataclass
from typing import Any

import av
import av.error
import av.logging
import cv2
import numpy as np

from posturewatch.capture.high_range import to_usual_range
from posturewatch.model.arrays import Image

__all__ = ["DecodedFrame", "Decoder", "upright"]


#: Rates outside this are placeholders of containers that know none (1000 or 90000 Hz), not cameras.
RATE_HZ = (0.5, 480.0)

#: libav would draw any text file as a video of letters.
NOT_VIDEOS = ("tty",)


@dataclass(frozen=True)
class DecodedFrame:
    """image_bgr: (height, width, 3) uint8, upright, square pixels. stamp_s: the source's own timestamp in
    seconds on its own scale, None where it is missing."""

    image_bgr: Image
    stamp_s: float | None


def upright(image: Image, display_matrix: tuple[int, ...]) -> Image:
    """The frame turned (and mirrored) as its display matrix says, to the nearest quarter turn.

    display_matrix: the nine numbers (a, b, u, c, d, v, x, y, w) of ISO/IEC 14496-12; a point (p, q) of the
    stored frame is shown at (a p + c q + x, b p + d q + y), x right and y down.
    """
    a, b, _, c, d = display_matrix[:5]
    across, down = a, d
    if abs(b) + abs(c) > abs(a) + abs(d):
        image = image.transpose(1, 0, 2)
        across, down = c, b
    return np.ascontiguousarray(image[:: -1 if down < 0 else 1, :: -1 if across < 0 else 1])


def _resized(image: Image, width: int, height: int) -> Image:
    return cv2.resize(image, (width, height), interpolation=cv2.INTER_LINEAR).astype(np.uint8, copy=False)


class Decoder:
    """The first video stream of a file or address.

    Raises av.error.FFmpegError (which its callers turn into a sentence) when it cannot be opened, and
    LookupError when it holds no frames at all.
    """

    def __init__(
        self,
        address: str,
        *,
        options: dict[str, str],
        timeout_s: float | None = None,
        low_delay: bool = False,
    ) -> None:
        # None: libav's messages go nowhere; faults reach the user as one sentence of ours.
        av.logging.set_level(None)
        timeout = None if timeout_s is None else (timeout_s, timeout_s)
        # Titles and the like need not be UTF-8, and are not looked at.
        self._container = av.open(
            address, mode="r", options=options, timeout=timeout, metadata_errors="replace"
        )
        try:
            if self._container.format.name in NOT_VIDEOS or not self._container.streams.video:
                raise LookupError("no video stream")
        except LookupError:
            self._container.close()
            raise
        self._stream = self._container.streams.video[0]
        # Threads over whole frames hold some back: good for videos, a delay for live streams.
        self._stream.thread_type = "SLICE" if low_delay else "AUTO"
        self.damaged = 0
        self._matrix: tuple[int, ...] | None = None
        self._matrix_known = False

    @property
    def rate_hz(self) -> float | None:
        """Frames per second as the source states it, None where it states none or nonsense."""
        for rate in (self._stream.guessed_rate, self._stream.average_rate):
            if rate is not None and RATE_HZ[0] <= float(rate) <= RATE_HZ[1]:
                return float(rate)
        return None

    @property
    def size_px(self) -> tuple[int, int]:
        """Width and height as the file states them, before anything is decoded."""
        return self._stream.codec_context.width, self._stream.codec_context.height

    @property
    def frame_count(self) -> int | None:
        return self._stream.frames or None

    @property
    def duration_s(self) -> float | None:
        if self._stream.duration is not None and self._stream.time_base is not None:
            return float(self._stream.duration * self._stream.time_base)
        if self._container.duration is not None:
            return self._container.duration / 1e6
        return None

    @property
    def format_name(self) -> str:
        return str(self._container.format.name)

    def seek(self, stamp_s: float) -> None:
        """To the last frame at or before a time stamp from which `frames` can go on; called afresh, it begins there.

        Raises
        ------
        av.error.FFmpegError
            Where the file cannot be gone through by its stamps.
        """
        if self._stream.time_base is not None:
            self._container.seek(int(stamp_s / self._stream.time_base), stream=self._stream)

    def frames(self) -> Generator[DecodedFrame, None, None]:
        """All frames in the order they are shown. Single damaged ones are left out and counted in
        `damaged`; av.error.FFmpegError where the source breaks off."""
        for packet in self._container.demux(self._stream):
            try:
                frames = packet.decode()
            except av.error.FFmpegError:
                self.damaged += 1
                continue
            for frame in frames:
                self._learn_matrix(frame)
                yield DecodedFrame(self._image(frame), frame.time)

    def close(self) -> None:
        self._container.close()

    def _image(self, frame: Any) -> Image:
        image: Image = to_usual_range(frame.to_ndarray(format="bgr24"), self._stream.codec_context.color_trc)
        height, width = image.shape[:2]
        if frame.interlaced_frame and height >= 2:
            # Two moments are woven together, which combs everything that moves: keep the first one.
            image = _resized(image[::2], width, height)
        shape = self._stream.sample_aspect_ratio
        if shape is not None and shape > 0 and shape != 1:
            # Angles need square pixels.
            image = _resized(image, max(1, round(width * shape)), height)
        return image if self._matrix is None else upright(image, self._matrix)

    def _learn_matrix(self, frame: Any) -> None:
        """The display matrix of the first frame, which is the container's and so that of all: each look at
        a frame's side data ties frame and side data into a cycle, which keeps the frame's memory until the
        garbage collector comes by."""
        if not self._matrix_known:
            self._matrix_known = True
            matrix = frame.side_data.get("DISPLAYMATRIX")
            self._matrix = None if matrix is None else struct.unpack("=9i", bytes(matrix))
