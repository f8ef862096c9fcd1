"""Frames to H.264 packets, one by one, without delay."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Any

import av
import av.error
import cv2
import numpy as np

from posturewatch.model.arrays import Image
from posturewatch.model.frame import Frame

__all__ = ["TICKS_PER_S", "Encoder", "EncoderSettings", "Packet", "encoder_fault"]


#: Ticks of a clip's time stamps: the usual 90 kHz clock of video (ITU-T H.222.0), 0.011 ms.
TICKS_PER_S = 90_000

#: AV_CODEC_FLAG_GLOBAL_HEADER of libavcodec: the stream's header apart, as MP4 wants it.
_GLOBAL_HEADER = 1 << 22


def encoder_fault() -> str | None:
    """Why no clips can be made on this machine, in one sentence, or None."""
    if "libx264" in av.codecs_available:
        return None
    return (
        "Clips are off, since the installed PyAV has no H.264 encoder (libx264); "
        'install its own build with "pip install --force-reinstall av".'
    )


@dataclass(frozen=True)
class EncoderSettings:
    """widest_px: wider frames are made this wide. keyframe_s: time between keyframes, from which a clip can
    begin. quality: x264's constant rate factor (0 best, 51 worst). most_bits_per_s: the rate is held below
    this, so that a noisy camera does not eat up the memory. preset: x264's, from "ultrafast" on."""

    widest_px: int = 960
    keyframe_s: float = 1.0
    quality: int = 25
    most_bits_per_s: int = 4_000_000
    preset: str = "ultrafast"


@dataclass(frozen=True)
class Packet:
    """One encoded frame. ticks: its session time in ticks."""

    ticks: int
    data: bytes
    keyframe: bool

    @property
    def time_s(self) -> float:
        """Session time in seconds."""
        return self.ticks / TICKS_PER_S


class Encoder:
    """Encodes frames of one size; those of another size are fitted into the first one's, on black.

    Colour is written as BT.601 limited range, and the stream says so. Used by one thread at a time.

    Raises
    ------
    av.error.FFmpegError
        Where libx264 cannot be had or fails.
    """

    def __init__(self, width_px: int, height_px: int, settings: EncoderSettings | None = None) -> None:
        """width_px, height_px: of the frames to come."""
        self.settings = EncoderSettings() if settings is None else settings
        scale = min(1.0, self.settings.widest_px / width_px)
        # 4:2:0 halves both directions: even sizes only.
        self.width_px = max(2, round(width_px * scale / 2) * 2)
        self.height_px = max(2, round(height_px * scale / 2) * 2)
        self._last_key: int | None = None
        self._last: int | None = None
        self._codec = self._open()
        #: The stream's parameters (H.264 sequence and picture parameter sets), which no packet repeats.
        self.header = bytes(self._codec.extradata)

    def _open(self) -> Any:
        settings = self.settings
        options = {
            "preset": settings.preset,
            "tune": "zerolatency",
            "crf": str(settings.quality),
            "maxrate": str(settings.most_bits_per_s),
            "bufsize": str(settings.most_bits_per_s),
            # Keyframes come by time, set on each frame; none by count or change of scene.
            "x264-params": "scenecut=0:keyint=infinite:"
            "colorprim=bt709:transfer=bt709:colormatrix=smpte170m:range=tv",
        }
        codec = av.CodecContext.create("libx264", "w")
        codec.width, codec.height, codec.pix_fmt = self.width_px, self.height_px, "yuv420p"
        codec.time_base = Fraction(1, TICKS_PER_S)
        # Only a first guess for the rate's control: each frame carries its own time.
        codec.framerate = Fraction(30)
        codec.options = options
        codec.flags |= _GLOBAL_HEADER
        # One thread: the others are needed for measuring, and one is several times fast enough.
        codec.thread_count = 1
        codec.open()
        return codec

    def encode(self, image_bgr: Image, time_s: float) -> list[Packet]:
        """The packets of a frame at this session time; none for one that is not later than the last."""
        ticks = round(time_s * TICKS_PER_S)
        if self._last is not None and ticks <= self._last:
            return []
        key = self._last_key is None or ticks - self._last_key >= self.settings.keyframe_s * TICKS_PER_S
        yuv = np.asarray(cv2.cvtColor(self._fitted(image_bgr), cv2.COLOR_BGR2YUV_I420), dtype=np.uint8)
        frame = av.VideoFrame.from_ndarray(yuv, format="yuv420p")
        frame.pts = ticks
        frame.time_base = Fraction(1, TICKS_PER_S)
        kind = av.video.frame.PictureType
        frame.pict_type = kind.I if key else kind.NONE
        self._last = ticks
        if key:
            self._last_key = ticks
        return [
            Packet(int(packet.pts), bytes(packet), bool(packet.is_keyframe))
            for packet in self._codec.encode(frame)
            if packet.pts is not None
        ]

    def want_keyframe(self) -> None:
        """Makes the next frame a keyframe."""
        self._last_key = None

    def fitted(self, frame: Frame) -> Image:
        """A frame's image as it is encoded: scaled once for all who want it of that size, see `Frame.scaled`."""
        size = self._inside(frame.width_px, frame.height_px)
        if size == (self.width_px, self.height_px) != (frame.width_px, frame.height_px):
            return frame.scaled(*size, _scaled)
        return self._fitted(frame.image_bgr)

    def _inside(self, width: int, height: int) -> tuple[int, int]:
        """Width and height that such an image is scaled to."""
        scale = min(self.width_px / width, self.height_px / height)
        fitted = (
            min(self.width_px, max(1, round(width * scale))),
            min(self.height_px, max(1, round(height * scale))),
        )
        # Rounding to even sizes is no reason for an edge.
        if self.width_px - fitted[0] < 4 and self.height_px - fitted[1] < 4:
            return self.width_px, self.height_px
        return fitted

    def _fitted(self, image: Image) -> Image:
        height, width = image.shape[:2]
        fitted = self._inside(width, height)
        if fitted != (width, height):
            image = _scaled(image, fitted)
        if fitted == (self.width_px, self.height_px):
            return image
        whole = np.zeros((self.height_px, self.width_px, 3), np.uint8)
        x, y = (self.width_px - fitted[0]) // 2, (self.height_px - fitted[1]) // 2
        whole[y : y + fitted[1], x : x + fitted[0]] = image
        return whole


def _scaled(image: Image, size: tuple[int, int]) -> Image:
    # Averaging costs more, and differs to the eye only where frames shrink a lot.
    way = cv2.INTER_AREA if 2 * size[0] <= image.shape[1] else cv2.INTER_LINEAR
    return cv2.resize(image, size, interpolation=way).astype(np.uint8, copy=False)
