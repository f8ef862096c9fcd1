"""A video file as a source."""

from __future__ import annotations

import logging
import os
import threading
from collections.abc import Generator, Iterator
from pathlib import Path
from typing import Any

import av.error

from posturewatch.capture.bounds import LONGEST_PX, check_size
from posturewatch.capture.clock import Clock, SystemClock
from posturewatch.capture.decoding import DecodedFrame, Decoder
from posturewatch.capture.handover import Handover
from posturewatch.capture.source import WHOLE, Pace, SourceInfo, Stretch, Taken, describe
from posturewatch.capture.timeline import VideoTimeline
from posturewatch.errors import InputError, SourceError
from posturewatch.model.frame import Frame

__all__ = ["VideoFileSource"]

_LOG = logging.getLogger(__name__)

#: Frames decoded ahead of the reader (2.8 MB each at 1280x720).
READ_AHEAD = 4

#: Taken for a video that states no rate and has frames without timestamps. Common practice of webcams.
DEFAULT_RATE_HZ = 30.0

#: So much less than a file states is common (edit lists, rounding) and worth no word.
_FEW_FRAMES = 5
_FEW_S = 1.0
_FEW_SHARE = 0.03

#: So much before a stretch one begins to decode, at least.
_SEEK_EARLIER_S = 1.0

#: How long closing waits for the decoder's thread, which holds no resource of the reader's.
JOIN_S = 2.0


class VideoFileSource:
    """Plays a video: at pace "asap" or "steady" every frame, at pace "camera" the newest one only.

    Time starts at the first `read` (a video played in real time does not run while models load).
    Raises InputError for a path that leads to no readable file, SourceError for a file that is no video.
    """

    def __init__(
        self,
        path: Path,
        *,
        pace: Pace = "asap",
        name: str | None = None,
        clock: Clock | None = None,
        stretch: Stretch = WHOLE,
    ) -> None:
        """stretch: the frames that are given; their times are those of the whole video all the same."""
        if pace not in ("asap", "steady", "camera"):
            raise ValueError(f"a video's pace is 'asap', 'steady' or 'camera', got {pace!r}")
        self._clock: Clock = SystemClock() if clock is None else clock
        self._pace = pace
        self._stretch = stretch
        # A file's name need not be UTF-8, what is kept is.
        self._name = os.fsencode(path.name).decode("utf-8", "replace") if name is None else name
        _check_file(path)
        #: The video's file.
        self.path = path
        self._decoder = _open(path)
        self._frames = self._decoder.frames()
        try:
            first = next(self._frames, None)
        except av.error.FFmpegError:
            first = None
        if first is None:
            self._decoder.close()
            raise SourceError(f"The video {path} contains no frames; choose another video.")
        self._info = self._describe(first)
        self._handover: Handover[Taken] = Handover(
            newest_only=pace == "camera", capacity=1 if pace == "camera" else READ_AHEAD
        )
        self._notice: str | None = None
        self._incomplete = False
        self._started = threading.Event()
        self._closed = threading.Event()
        self._thread = threading.Thread(
            target=self._run, args=(first,), name="posturewatch-video", daemon=True
        )
        self._thread.start()

    def _describe(self, first: DecodedFrame) -> SourceInfo:
        height, width = first.image_bgr.shape[:2]
        return SourceInfo(
            name=self._name,
            kind="film",
            width_px=int(width),
            height_px=int(height),
            rate_hz=self._decoder.rate_hz,
            duration_s=self._decoder.duration_s,
            frame_count=self._decoder.frame_count,
        )

    @property
    def info(self) -> SourceInfo:
        return self._info

    @property
    def live(self) -> bool:
        return self._pace == "camera"

    @property
    def dropped(self) -> int:
        return self._handover.dropped

    @property
    def notice(self) -> str | None:
        return self._notice

    @property
    def incomplete(self) -> bool:
        """Whether the file held less than it states, as `notice` then says; known once it has ended."""
        return self._incomplete

    @property
    def ended(self) -> bool:
        return self._handover.ended

    def describe(self) -> dict[str, Any]:
        return describe(self._info, live=self.live)

    def read(self, timeout_s: float) -> Taken | None:
        self._started.set()
        return self._handover.take(timeout_s)

    def close(self) -> None:
        self._closed.set()
        self._started.set()
        self._handover.close()
        if self._thread is not threading.current_thread():
            self._thread.join(JOIN_S)

    def _run(self, first: DecodedFrame) -> None:
        """The decoder's thread: owns the container, so that it is closed where it is used."""
        try:
            if self._pace != "asap":
                self._started.wait()
            self._play(first)
        # Whatever it is: a video that ends early is said to do so.
        except Exception:  # noqa: BLE001
            _LOG.exception("the video %s cannot be played on", self._name)
            self._incomplete = True
            self._notice = f"The video {self._name} could not be read to its end by a fault of the program."
        finally:
            self._handover.finish()
            self._frames.close()
            self._decoder.close()

    def _play(self, first: DecodedFrame) -> None:
        stretch = self._stretch
        frames = _chain(first, self._frames)
        zero_s = None
        if stretch.seeks and stretch.start_s > 0 and first.stamp_s is not None:
            zero_s = first.stamp_s
            # Some containers are sorted by the time of decoding, which is a little earlier than that of showing.
            self._decoder.seek(zero_s + max(0.0, stretch.start_s - _SEEK_EARLIER_S))
            frames = self._frames = self._decoder.frames()
        timeline = VideoTimeline(1.0 / (self._info.rate_hz or DEFAULT_RATE_HZ), zero_s)
        start_s = self._clock.now() - stretch.start_s
        time_s, index = 0.0, -1
        try:
            for frame in frames:
                time_s = timeline.place(frame.stamp_s)
                if stretch.end_s is not None and time_s >= stretch.end_s:
                    return
                if time_s < stretch.start_s:
                    continue
                index += 1
                if self._pace != "asap":
                    self._clock.wait(self._closed, start_s + time_s - self._clock.now())
                taken = Taken(Frame(index, time_s, frame.image_bgr), self._clock.now())
                if self._closed.is_set() or not self._handover.put(taken):
                    return
        except av.error.FFmpegError:
            self._incomplete = True
        self._compare(index + 1, time_s)

    def _compare(self, frames: int, time_s: float) -> None:
        """Notices where much less could be read than the file states."""
        stated, duration_s = self._info.frame_count, self._info.duration_s
        whole = self._stretch.start_s == 0
        short = whole and stated is not None and stated - frames > max(_FEW_FRAMES, _FEW_SHARE * stated)
        early = duration_s is not None and duration_s - time_s > max(_FEW_S, _FEW_SHARE * duration_s)
        if not (self._incomplete or short or early):
            return
        self._incomplete = True
        of_frames = "" if stated is None or not whole else f" of {stated}"
        of_s = "" if duration_s is None else f" of {duration_s:.1f}"
        self._notice = (
            f"Only {frames}{of_frames} frames ({time_s:.1f}{of_s} s) of the video {self._name} could be read: it is "
            "cut short or damaged. Copy or export it again for the rest."
        )


def _chain(first: DecodedFrame, rest: Iterator[DecodedFrame]) -> Generator[DecodedFrame, None, None]:
    yield first
    yield from rest


def _check_file(path: Path) -> None:
    """One clear sentence for each way in which a path leads to no readable file."""
    try:
        if path.is_dir():
            raise InputError(f"{path} is a folder, not a video; name a video file inside it.")
        if path.exists() and not path.is_file():
            raise InputError(f"{path} is neither a file nor a folder; name a video file.")
        with path.open("rb") as file:
            if not file.read(1):
                raise SourceError(f"The video {path} is empty (0 bytes); copy or record it again.")
    except FileNotFoundError as error:
        raise InputError(f"There is no video at {path}; check the path.") from error
    except PermissionError as error:
        raise InputError(f"The video {path} may not be read; change its permissions or copy it.") from error
    except (OSError, ValueError) as error:
        raise InputError(
            f"The video {path} cannot be read ({error}); check the path and the disk."
        ) from error


def _open(path: Path) -> Decoder:
    # "file:" and the whitelist: a play list or an odd file name must not make the machine fetch anything.
    try:
        decoder = Decoder(f"file:{path}", options={"protocol_whitelist": "file"})
    except (av.error.FFmpegError, LookupError) as error:
        raise SourceError(
            f"{path} is not a video that can be read; choose a video such as an MP4, MOV, MKV or AVI file."
        ) from error
    try:
        if decoder.format_name.endswith("_pipe") or decoder.format_name == "image2":
            raise SourceError(
                f"{path} is a picture, not a video; measure it with `posturewatch measure`, or choose a video."
            )
        check_size(path, decoder.size_px, LONGEST_PX)
    except (InputError, SourceError):
        decoder.close()
        raise
    return decoder
