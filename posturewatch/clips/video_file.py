"""Writing a clip: stored packets, and sound, into an MP4 that browsers play and seek in."""

from __future__ import annotations

import heapq
import io
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import av.error
import numpy as np

from posturewatch.clips.encoder import TICKS_PER_S, Packet
from posturewatch.clips.sound import SoundPiece

__all__ = ["EncodedVideo", "write_video"]

#: The last frame is shown for as long as the one before it; for this long where it is the only one.
_LONE_S = 1 / 30

#: A frame is never shown for longer than this at the end of a video: a longer interval was a gap.
_LONGEST_LAST_S = 0.25

#: Samples in one AAC frame (ISO/IEC 14496-3).
_AAC_SAMPLES = 1024


@dataclass(frozen=True)
class EncodedVideo:
    """Encoded frames in order, the first a keyframe, and the header of the encoder they come from."""

    packets: tuple[Packet, ...]
    header: bytes

    def __post_init__(self) -> None:
        if not self.packets or not self.packets[0].keyframe:
            raise ValueError("a video begins with a keyframe")

    @property
    def start_s(self) -> float:
        """Session time of the first frame, which is second 0 of the written video."""
        return self.packets[0].time_s

    @property
    def end_s(self) -> float:
        """Session time at which the last frame ends."""
        return (self.packets[-1].ticks + self._last_ticks) / TICKS_PER_S

    @property
    def _last_ticks(self) -> int:
        if len(self.packets) < 2:
            return round(_LONE_S * TICKS_PER_S)
        interval = self.packets[-1].ticks - self.packets[-2].ticks
        return min(interval, round(_LONGEST_LAST_S * TICKS_PER_S))

    @property
    def size_bytes(self) -> int:
        """Of all packets together."""
        return sum(len(packet.data) for packet in self.packets)

    def durations(self) -> Iterator[tuple[Packet, int]]:
        """Each packet with its duration in ticks."""
        for packet, following in zip(self.packets, self.packets[1:], strict=False):
            yield packet, following.ticks - packet.ticks
        yield self.packets[-1], self._last_ticks


def write_video(path: Path, video: EncodedVideo, sound: SoundPiece | None = None) -> None:
    """Writes an MP4 with its index in front.

    The frames are not encoded again; their times are kept, counted from the first one. Sound is laid where it
    belongs and encoded as AAC.

    Raises
    ------
    OSError, av.error.FFmpegError
        Where the file cannot be written whole; what there is of it is then the caller's to delete.
    """
    # "file:": a folder's name must not be taken for an address.
    with (
        av.open(io.BytesIO(video.header + video.packets[0].data), "r", format="h264") as sample,
        av.open(f"file:{path}", "w", format="mp4", options={"movflags": "+faststart"}) as out,
    ):
        # opaque: the packets are copied, so no encoder is wanted.
        frames = out.add_stream_from_template(sample.streams.video[0], opaque=True)
        frames.time_base = Fraction(1, TICKS_PER_S)
        streams = [_frame_packets(video, frames)]
        if sound is not None:
            streams.append(_sound_packets(sound, video.start_s, out))
        # In order of time, so that the muxer never holds one stream's packets back for the other's.
        for _, packet in heapq.merge(*streams, key=lambda timed: timed[0]):
            out.mux(packet)
    _check(path, len(video.packets))


def _frame_packets(video: EncodedVideo, stream: Any) -> Iterator[tuple[float, Any]]:
    first = video.packets[0].ticks
    for stored, duration in video.durations():
        packet = av.Packet(stored.data)
        packet.pts = packet.dts = stored.ticks - first
        packet.duration = duration
        packet.time_base = Fraction(1, TICKS_PER_S)
        packet.is_keyframe = stored.keyframe
        packet.stream = stream
        yield (stored.ticks - first) / TICKS_PER_S, packet


def _sound_packets(sound: SoundPiece, start_s: float, out: Any) -> Iterator[tuple[float, Any]]:
    """The sound from start_s on, silence before its beginning, as AAC packets."""
    channels = sound.samples.shape[0]
    layout = "mono" if channels == 1 else "stereo"
    stream = out.add_stream("aac", rate=sound.rate_hz, layout=layout)
    stream.time_base = Fraction(1, sound.rate_hz)
    offset = round((sound.start_s - start_s) * sound.rate_hz)
    samples = sound.samples[:, max(0, -offset) :]
    samples = np.pad(samples, ((0, 0), (max(0, offset), 0)))
    return _encode_sound(samples, stream, sound.rate_hz, layout)


def _encode_sound(samples: Any, stream: Any, rate_hz: int, layout: str) -> Iterator[tuple[float, Any]]:
    for first in range(0, samples.shape[1], _AAC_SAMPLES):
        block = np.ascontiguousarray(samples[:, first : first + _AAC_SAMPLES], dtype=np.float32)
        frame = av.AudioFrame.from_ndarray(block, format="fltp", layout=layout)
        frame.sample_rate = rate_hz
        frame.pts = first
        frame.time_base = Fraction(1, rate_hz)
        for packet in stream.encode(frame):
            yield first / rate_hz, packet
    for packet in stream.encode(None):
        yield samples.shape[1] / rate_hz, packet


def _check(path: Path, frames: int) -> None:
    """A disk that fills up at the very end goes unnoticed by the muxer: count what can be read back."""
    with av.open(f"file:{path}", "r") as written:
        found = sum(1 for packet in written.demux(video=0) if packet.size)
    if found != frames:
        raise OSError(f"only {found} of {frames} frames were written")
