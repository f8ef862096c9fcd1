"""Sound for a clip: where it comes from, and the sound of a video that is its own source."""

from __future__ import annotations

import logging
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

import av
import av.error
import numpy as np
from numpy.typing import NDArray

__all__ = ["Sound", "SoundPiece", "VideoFileSound"]

_LOG = logging.getLogger(__name__)

#: What sound is brought to: the usual rate of video sound, understood by every AAC decoder.
RATE_HZ = 48_000


@dataclass(frozen=True)
class SoundPiece:
    """samples: (channels, n) float32 from -1 to 1, one or two channels; the first at start_s, in seconds of the
    session, the others evenly at rate_hz."""

    start_s: float
    rate_hz: int
    samples: NDArray[np.float32]

    def __post_init__(self) -> None:
        shape = self.samples.shape
        if len(shape) != 2 or shape[0] not in (1, 2) or self.samples.dtype != np.float32:
            raise ValueError(f"sound needs (1 or 2, n) float32 samples, got {shape} {self.samples.dtype}")


class Sound(Protocol):
    """Gives the sound of a stretch of the session, or None where there is none. Called in the clips' thread;
    may take as long as reading a file, never raises."""

    def between(self, start_s: float, end_s: float) -> SoundPiece | None:
        """The sound of [start_s, end_s), seconds of the session; None where there is none."""


class VideoFileSound:
    """The sound of a video that is the session's source: the session's time is the video's own, 0 at its first
    frame. True for videos whose time stamps do not start anew on the way; where they do, the sound of the
    part behind is left out or shifted by that jump."""

    def __init__(self, path: Path, from_s: float = 0.0) -> None:
        """from_s: the video's second that is the session's 0."""
        self._path = path
        self._from_s = from_s

    def between(self, start_s: float, end_s: float) -> SoundPiece | None:
        """The file's sound of [start_s, end_s), seconds of the session; None where there is none."""
        try:
            with av.open(f"file:{self._path}", "r", options={"protocol_whitelist": "file"}) as video:
                if not video.streams.audio or not video.streams.video:
                    return None
                zero_s = _first_frame_s(video) + self._from_s
                pieces = _decode(video, start_s + zero_s, end_s + zero_s)
        except (OSError, av.error.FFmpegError, ValueError) as error:
            _LOG.warning("a clip is without sound: %s", error)
            return None
        return _laid_out(pieces, start_s + zero_s, end_s + zero_s, zero_s)


def _first_frame_s(video: Any) -> float:
    """The time stamp of the video's first frame, which is the session's 0."""
    for frame in video.decode(video=0):
        return 0.0 if frame.time is None else float(frame.time)
    return 0.0


def _decode(video: Any, start_s: float, end_s: float) -> list[tuple[float, NDArray[np.float32]]]:
    """Pieces of sound with the video's own times, those around [start_s, end_s) included."""
    stream = video.streams.audio[0]
    # A little earlier: the first frames behind a jump only warm the decoder up.
    video.seek(max(0, int((start_s - 0.5) * av.time_base)), backward=True)
    layout = "mono" if stream.codec_context.channels == 1 else "stereo"
    resampler = av.AudioResampler(format="fltp", layout=layout, rate=RATE_HZ)
    pieces: list[tuple[float, NDArray[np.float32]]] = []
    for frame in video.decode(stream):
        if frame.time is None:
            continue
        if frame.time >= end_s:
            break
        for piece in resampler.resample(frame):
            if piece.time is not None:
                pieces.append((float(piece.time), np.asarray(piece.to_ndarray(), dtype=np.float32)))
    return pieces


def _laid_out(
    pieces: list[tuple[float, NDArray[np.float32]]], start_s: float, end_s: float, zero_s: float
) -> SoundPiece | None:
    """Each piece at its own time, silence where there is none; None where no piece lies within."""
    pieces = [(time_s, one) for time_s, one in pieces if time_s + one.shape[1] / RATE_HZ > start_s]
    if not pieces:
        return None
    length = round((end_s - start_s) * RATE_HZ)
    samples = np.zeros((pieces[0][1].shape[0], length), np.float32)
    for time_s, piece in pieces:
        first = round((time_s - start_s) * RATE_HZ)
        begin, end = max(0, first), min(length, first + piece.shape[1])
        if begin < end:
            samples[:, begin:end] = piece[:, begin - first : end - first]
    return SoundPiece(start_s - zero_s, RATE_HZ, samples)
