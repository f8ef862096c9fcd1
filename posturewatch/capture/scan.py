"""What can be known of a video without decoding it: how long it is, whether one can go to a moment of it, and when it
was filmed."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import av
import av.error

__all__ = ["FilmScan", "scan_film", "stated_duration_s"]

#: Cameras whose clock was never set say the first day of their calendar (1904 in QuickTime, 1970 in most others).
_FIRST_YEAR = 1990


@dataclass(frozen=True)
class FilmScan:
    """frames: how many the file holds. end_s: time of its last one, the first being at 0. orderly: every frame has a
    time stamp of its own and they never start anew, so that one can go to a moment. recorded_at: UTC, ISO 8601, of the
    first frame, as the file says; None where it does not."""

    frames: int
    end_s: float
    orderly: bool
    recorded_at: str | None


def scan_film(path: Path) -> FilmScan | None:
    """Reads the file through without decoding it; None where that cannot be done to its end."""
    try:
        with av.open(
            f"file:{path}", options={"protocol_whitelist": "file"}, metadata_errors="replace"
        ) as video:
            stream = video.streams.video[0]
            recorded_at = _recorded_at(dict(video.metadata) | dict(stream.metadata))
            stamps, orderly = _stamps(video, stream)
    except (av.error.FFmpegError, OSError, LookupError, ValueError):
        return None
    if not stamps or stream.time_base is None:
        return None
    end_s = float((max(stamps) - min(stamps)) * stream.time_base)
    return FilmScan(len(stamps), end_s, orderly and len(set(stamps)) == len(stamps), recorded_at)


def _stamps(video: Any, stream: Any) -> tuple[list[int], bool]:
    """The frames' time stamps in ticks as they come, and whether each has one and decoding goes forward."""
    stamps: list[int] = []
    orderly, before = True, None
    for packet in video.demux(stream):
        if packet.size == 0:
            continue
        orderly = orderly and packet.pts is not None and packet.dts is not None
        if packet.pts is not None:
            stamps.append(packet.pts)
        if packet.dts is not None:
            orderly = orderly and (before is None or packet.dts > before)
            before = packet.dts
    return stamps, orderly


def _recorded_at(metadata: dict[str, str]) -> str | None:
    """The moment that phones write into their films; None where it is missing or cannot be true."""
    # Apple's own entry has the zone; the general one is UTC (QuickTime File Format, "creation time").
    for name in ("com.apple.quicktime.creationdate", "creation_time"):
        try:
            moment = dt.datetime.fromisoformat(_iso(metadata[name]))
        except (KeyError, ValueError):
            continue
        if moment.tzinfo is None:
            moment = moment.replace(tzinfo=dt.timezone.utc)
        if moment.year >= _FIRST_YEAR:
            return moment.astimezone(dt.timezone.utc).isoformat(timespec="milliseconds")
    return None


def _iso(text: str) -> str:
    """As Python 3.10 reads it: no Z, and a colon in the zone."""
    text = text.strip().replace("Z", "+00:00")
    if len(text) > 5 and text[-5] in "+-" and text[-4:].isdigit():
        text = f"{text[:-2]}:{text[-2:]}"
    return text


def stated_duration_s(path: Path) -> float | None:
    """How long the file says that the video is; None where it does not, or is none."""
    try:
        with av.open(
            f"file:{path}", options={"protocol_whitelist": "file"}, metadata_errors="replace"
        ) as video:
            return None if video.duration is None else video.duration / 1e6
    except (av.error.FFmpegError, OSError, LookupError, ValueError):
        return None
