"""What every source of frames offers, whether camera, video or stream."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any, Literal, Protocol

from posturewatch.model.frame import Frame

__all__ = ["WHOLE", "Kind", "Pace", "Source", "SourceInfo", "Stretch", "Taken", "describe"]

Kind = Literal["camera", "film", "stream"]

#: How a video is played. "asap": as fast as it is read; "steady": in real time, dropping nothing;
#: "camera": in real time as if a live camera filmed it, keeping only the newest frame.
Pace = Literal["asap", "steady", "camera"]


@dataclass(frozen=True)
class Stretch:
    """A part of a video, in its own seconds: from start_s up to but not including end_s, None for its end.

    seeks: whether its time stamps allow to go there at once (see `posturewatch.capture.scan`); otherwise all before it
    is decoded as well.
    """

    start_s: float = 0.0
    end_s: float | None = None
    seeks: bool = False


WHOLE = Stretch()


@dataclass(frozen=True)
class SourceInfo:
    """What a source turned out to be.

    name: words for the user (a path's last part, "camera 0", scheme, host and port of an address).
    width_px, height_px: size of the frames as delivered, upright.
    rate_hz: frames per second as stated by the source, None when it states none.
    requested: what a camera was asked for, in words; None for others.
    duration_s, frame_count: of a video whose file states them, None otherwise.
    """

    name: str
    kind: Kind
    width_px: int
    height_px: int
    rate_hz: float | None
    requested: str | None = None
    duration_s: float | None = None
    frame_count: int | None = None


@dataclass(frozen=True)
class Taken:
    """A frame and the monotonic clock's time in seconds at which it left the device or the decoder."""

    frame: Frame
    taken_s: float


class Source(Protocol):
    """A source of frames with increasing times. One reader; `close` may be called from any thread.

    live: whether what is late is dropped (and counted in `dropped`) instead of kept.
    notice: a sentence for the user while something is wrong that may pass (camera unplugged), else None.
    ended: nothing more will come.
    """

    @property
    def info(self) -> SourceInfo: ...

    @property
    def live(self) -> bool: ...

    @property
    def dropped(self) -> int: ...

    @property
    def notice(self) -> str | None: ...

    @property
    def ended(self) -> bool: ...

    def describe(self) -> dict[str, Any]:
        """What it is, in JSON's types: the fields of `info` and `live`."""
        ...

    def read(self, timeout_s: float) -> Taken | None:
        """The next frame, or None when none came within timeout_s or the source has ended."""
        ...

    def close(self) -> None:
        """Releases the device or file. May be called twice."""
        ...


def describe(info: SourceInfo, *, live: bool) -> dict[str, Any]:
    """The fields of `info` and `live`, in JSON's types."""
    return {**asdict(info), "live": live}
