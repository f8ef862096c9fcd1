"""How fast the program is, measured on itself: time per frame, and a video played as if a live camera."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Literal, Protocol

from posturewatch.bench.figures import (
    CHUNK,
    WARM_UP_S,
    LiveFigures,
    PerFrame,
    live_figures,
    with_usage,
)
from posturewatch.bench.one_core import can_hold_to_one_core, cores, one_core
from posturewatch.bench.probes import FeedProbe, MonitorProbe, PageProbe, UsageProbe, cpu_seconds
from posturewatch.bench.report import Findings
from posturewatch.bench.stages import Stage
from posturewatch.capture import Source, Taken, VideoFileSource
from posturewatch.errors import UnavailableError
from posturewatch.model.frame import Frame
from posturewatch.pipeline.monitor import FrameSource, Monitor, Observer, Sink
from posturewatch.pipeline.practice import OpenSource, Practice, SessionRecorder
from posturewatch.server.admission import Admission
from posturewatch.server.feed import LiveFeed

__all__ = ["Bench", "LoopedVideo", "measure_live", "measure_per_frame", "run_benchmark"]

Mode = Literal["video", "live"]

#: How often a live run is looked at, and more readings a second than a video played as a camera gives.
_LOOK_S, _ROWS_HZ = 0.5, 35.0


class ClosableObserver(Observer, Protocol):
    """A tracker that gives its models back."""

    def close(self) -> None: ...


@dataclass(frozen=True)
class Bench:
    """The program's parts as the benchmark needs them.

    Attributes
    ----------
    make_bare
        The trackers alone, for a mode.
    make_monitor
        (mode, source, sinks) to a monitor and what releases its models.
    make_feed
        A fresh live feed.
    begin
        Begins a session's record.
    serve
        (practice, feed) to the port of a running page server, whom it admits and what closes it, or None to measure
        without a page.
    """

    make_bare: Callable[[Mode], ClosableObserver]
    make_monitor: Callable[[Mode, FrameSource, Sequence[Sink]], tuple[Monitor, Callable[[], None]]]
    make_feed: Callable[[], LiveFeed]
    begin: Callable[[OpenSource], SessionRecorder]
    serve: Callable[[Practice, LiveFeed], tuple[int, Admission, Callable[[], None]]] | None


@dataclass(frozen=True)
class Spent:
    """Time and processor time of this process, in seconds."""

    wall_s: float
    cpu_s: float

    @classmethod
    def now(cls) -> Spent:
        """The clocks of this moment."""
        return cls(time.perf_counter(), cpu_seconds())

    def since(self, start: Spent) -> Spent:
        """What was spent since then."""
        return Spent(self.wall_s - start.wall_s, self.cpu_s - start.cpu_s)


class LoopedVideo:
    """A video as a live camera that begins anew when it ends, so that a run may last longer than the video."""

    live = True
    ended = False
    notice: str | None = None

    def __init__(self, open_video: Callable[[], Source]) -> None:
        self._open_video = open_video
        self._video = open_video()
        self.info = self._video.info
        self._dropped_before = 0
        self._index_before = 0
        self._time_before_s = 0.0
        self._last: Frame | None = None

    @property
    def dropped(self) -> int:
        return self._dropped_before + self._video.dropped

    def describe(self) -> dict[str, Any]:
        return self._video.describe()

    def read(self, timeout_s: float) -> Taken | None:
        taken = self._video.read(timeout_s)
        if taken is None:
            if self._video.ended:
                self._rewind()
            return None
        frame = taken.frame
        self._last = replace(
            frame, index=frame.index + self._index_before, time_s=frame.time_s + self._time_before_s
        )
        return Taken(self._last, taken.taken_s)

    def close(self) -> None:
        self._video.close()

    def _rewind(self) -> None:
        self._dropped_before += self._video.dropped
        self._video.close()
        self._video = self._open_video()
        if self._last is not None:
            self._index_before = self._last.index + 1
            self._time_before_s = self._last.time_s + 1.0 / (self.info.rate_hz or 30.0)


class _Turns:
    """A video for the whole monitor that stops every CHUNK frames to let the bare trackers have their turn, so
    that whatever else the machine does falls on both alike. Notes the time of each turn."""

    def __init__(self, source: Source, frames: int, bare_turn: Callable[[], Spent | None]) -> None:
        self._source = source
        self._frames = frames
        self._bare_turn = bare_turn
        self._given = 0
        self._since = Spent.now()
        self.bare: list[Spent] = []
        self.whole: list[Spent] = []

    @property
    def dropped(self) -> int:
        return self._source.dropped

    @property
    def ended(self) -> bool:
        return self._given >= self._frames or self._source.ended

    def read(self, timeout_s: float) -> Taken | None:
        if self._given and self._given % CHUNK == 0 and len(self.whole) < self._given // CHUNK:
            whole, bare = Spent.now().since(self._since), self._bare_turn()
            if bare is not None:
                self.whole.append(whole)
                self.bare.append(bare)
            else:
                self._frames = 0
            self._since = Spent.now()
        taken = None if self.ended else self._source.read(timeout_s)
        self._given += taken is not None
        return taken


class _BareTurns:
    """The trackers alone, CHUNK frames a turn, on frames decoded before the turn is timed."""

    def __init__(self, observer: Observer, source: Source) -> None:
        self._observer = observer
        self._source = source

    def __call__(self) -> Spent | None:
        """The time of one turn; None when the video has too few frames left."""
        frames: list[Frame] = []
        while len(frames) < CHUNK:
            taken = self._source.read(1.0)
            if taken is not None:
                frames.append(taken.frame)
            elif self._source.ended:
                return None
        start = Spent.now()
        for frame in frames:
            self._observer.observe(frame)
        return Spent.now().since(start)


def measure_per_frame(bench: Bench, video: Path, *, frames: int = 300) -> PerFrame:
    """Bare trackers and whole monitor over the same frames of a video, by turns, as fast as they go.

    Bare is the trackers' own time on frames already decoded. Whole is everything that is done to a frame,
    reading and decoding the video and recording the session included; no page is looking.
    """
    with ExitStack() as cleanup:
        bare_source = VideoFileSource(video)
        cleanup.callback(bare_source.close)
        observer = bench.make_bare("video")
        cleanup.callback(observer.close)
        source = VideoFileSource(video)
        cleanup.callback(source.close)
        feed = bench.make_feed()
        cleanup.callback(feed.close)
        turns = _Turns(source, frames + CHUNK, _BareTurns(observer, bare_source))
        recorder = bench.begin(source)
        monitor, release = bench.make_monitor("video", turns, (recorder, feed))
        cleanup.callback(release)
        recorder.finish(monitor.run(threading.Event()))
    # The first turn warms the models up.
    bare, whole = turns.bare[1:], turns.whole[1:]
    if not bare:
        raise UnavailableError(f"The video {video} has too few frames for a benchmark; use a longer one.")
    return PerFrame(
        frames=CHUNK * len(bare),
        bare_ms=tuple(1000 * one.wall_s / CHUNK for one in bare),
        whole_ms=tuple(1000 * one.wall_s / CHUNK for one in whole),
        bare_cpu_ms=1000 * sum(one.cpu_s for one in bare) / CHUNK / len(bare),
        whole_cpu_ms=1000 * sum(one.cpu_s for one in whole) / CHUNK / len(whole),
    )


def measure_live(bench: Bench, video: Path, *, seconds: float, warm_up_s: float = WARM_UP_S) -> LiveFigures:
    """Plays the video as a live camera through practice, monitor, recorder, feed and page, and watches.

    Raises
    ------
    UnavailableError
        Where the session fails.
    """
    length_s = seconds + warm_up_s
    rows = int(length_s * _ROWS_HZ)
    probe, usage = MonitorProbe(rows), UsageProbe(int(2 * length_s / _LOOK_S))
    with ExitStack() as cleanup:
        feed = bench.make_feed()
        cleanup.callback(feed.close)
        practice = Practice(
            open_source=lambda: LoopedVideo(lambda: VideoFileSource(video, pace="camera")),
            begin=bench.begin,
            make_monitor=lambda source, sinks: bench.make_monitor("live", source, sinks),
            sinks=(feed, probe),
            limit_s=length_s,
        )
        served: tuple[int, Admission] | None = None
        if bench.serve is not None:
            port, admission, close = bench.serve(practice, feed)
            served = (port, admission)
            cleanup.callback(close)
        practice.start()
        cleanup.callback(practice.stop)
        ready = FeedProbe(feed, rows)
        cleanup.callback(ready.close)
        page = None if served is None else PageProbe(*served, rows)
        if page is not None:
            cleanup.callback(page.close)
        while not practice.wait(_LOOK_S):
            usage.look()
        if practice.sentence is not None:
            raise UnavailableError(practice.sentence)
    figures = live_figures(
        probe.puts, ready.arrivals, None if page is None else page.arrivals, warm_up_s=warm_up_s
    )
    puts = probe.puts
    return with_usage(figures, usage.usage, puts[0].at_s + warm_up_s, puts[-1].at_s)


def run_benchmark(
    bench: Bench,
    video: Path,
    *,
    live: Callable[[bool], LiveFigures],
    frames: int = 300,
    stages: Callable[[], tuple[Stage, ...]] = tuple,
) -> Findings:
    """The whole benchmark.

    Parameters
    ----------
    bench
        The program's parts.
    video
        What is played.
    live
        Plays it as a live camera, with clips kept or without.
    frames
        How many frames are measured as fast as they go.
    stages
        Measures the stages.
    """
    without, kept = live(False), live(True)
    per_frame = measure_per_frame(bench, video, frames=frames)
    found = Findings(cores(), per_frame, without, kept, None, stages())
    if not can_hold_to_one_core():
        return found
    with one_core():
        return replace(found, one_core=live(True))
