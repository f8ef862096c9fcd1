"""The benchmark's figures, and its probes on a real feed and server with quick stand-ins for the models."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, cast

import numpy as np
import pytest
from capture_videos import write_film
from page_stand_ins import OneSummary

from posturewatch.bench.benchmark import Bench, LoopedVideo, measure_live, measure_per_frame
from posturewatch.bench.figures import CHUNK, LiveFigures, PerFrame, live_figures, report
from posturewatch.bench.probes import Arrival, Put, memory_mb
from posturewatch.capture import VideoFileSource
from posturewatch.comfort.rules import WatchRules
from posturewatch.comfort.watch import Watch
from posturewatch.config.limit_profiles import load_profile
from posturewatch.config.resources import web_dir
from posturewatch.errors import UnavailableError
from posturewatch.kinematics.one_euro import OneEuro
from posturewatch.model.frame import Frame
from posturewatch.model.measurement import FrameMeasurement, HandMeasurement, Refusal
from posturewatch.model.observation import Observation
from posturewatch.model.outcome import Outcome
from posturewatch.model.quantities import QUANTITY_NAMES
from posturewatch.model.reading import Reading
from posturewatch.pipeline.monitor import FrameSource, Monitor, Sink
from posturewatch.pipeline.practice import OpenSource, Practice
from posturewatch.server.admission import Admission
from posturewatch.server.app import create_app
from posturewatch.server.feed import LiveFeed
from posturewatch.server.serving import PageServer, listen

LIMITS = load_profile("carpal-pressure")


class QuickTracker:
    """Sees nothing, at once."""

    def __init__(self, mode: str) -> None:
        assert mode in ("video", "live")
        self.frames: list[int] = []

    def observe(self, frame: Frame) -> Observation:
        self.frames.append(frame.index)
        return Observation(frame.index, frame.time_s, frame.width_px, frame.height_px, (), None)

    def close(self) -> None:
        return


class Refuser:
    def measure(self, observation: Observation) -> FrameMeasurement:
        left, right = (
            HandMeasurement.refused(side, QUANTITY_NAMES, Refusal.HAND_NOT_SEEN) for side in ("left", "right")
        )
        return FrameMeasurement(observation.frame_index, observation.time_s, left, right)

    def reset(self) -> None:
        return


class NoRecord:
    session_id = "none"
    fault = None

    def put(self, reading: Reading) -> None:
        return

    def mark(self, time_s: float, note: str | None = None) -> None:
        return

    def finish(self, outcome: Outcome) -> None:
        return


def _begin(source: OpenSource) -> NoRecord:
    return NoRecord()


def _monitor(mode: str, source: FrameSource, sinks: Sequence[Sink]) -> tuple[Monitor, Callable[[], None]]:
    tracker = QuickTracker(mode)
    watch = Watch(LIMITS, WatchRules())
    return Monitor(
        source=source, tracker=tracker, measurer=Refuser(), watch=watch, sinks=sinks, smoother=OneEuro
    ), tracker.close


def _serve(practice: Practice, feed: LiveFeed) -> tuple[int, Admission, Callable[[], None]]:
    listener = listen(0)
    port = int(listener.getsockname()[1])
    admission = Admission(port)
    app = create_app(
        practice=practice,
        feed=feed,
        log=OneSummary({}, ids=()),
        vocabulary={},
        web_dir=web_dir(),
        port=port,
        admission=admission,
    )
    server = PageServer(app, listener)
    server.start()
    return port, admission, server.close


def quick_bench(*, with_page: bool = False) -> Bench:
    return Bench(
        make_bare=QuickTracker,
        make_monitor=_monitor,
        make_feed=lambda: LiveFeed(LIMITS),
        begin=cast(Any, _begin),
        serve=_serve if with_page else None,
    )


def puts(count: int, *, every_s: float = 1 / 30, start_s: float = 100.0) -> list[Put]:
    return [
        Put(
            at_s=start_s + i * every_s,
            taken_s=start_s + i * every_s - 0.02,
            dropped=i // 10,
            hands=1 + i % 2,
            cpu_s=1.5 * i * every_s,
        )
        for i in range(count)
    ]


def test_live_figures_of_a_known_run() -> None:
    ready = [Arrival(200.0 + i, 200.0 + i - 0.001 * (i + 1)) for i in range(100)]
    figures = live_figures(puts(301), ready, None, warm_up_s=0.0)
    assert figures.measured_hz == pytest.approx(30.0)
    assert figures.seconds == pytest.approx(10.0)
    assert figures.share_dropped == pytest.approx(30 / 330)
    assert figures.share_both_hands == pytest.approx(150 / 301)
    assert figures.cpu_cores == pytest.approx(1.5)
    assert figures.measured is not None
    assert figures.measured.p95_ms == pytest.approx(20.0)
    assert figures.ready is not None
    waits = [i + 1.0 for i in range(100)]
    assert (figures.ready.p50_ms, figures.ready.p95_ms) == pytest.approx(
        (np.percentile(waits, 50), np.percentile(waits, 95))
    )
    assert figures.page is None


def test_warm_up_is_left_out() -> None:
    slow, quick = puts(10, every_s=0.5), puts(91, start_s=105.0)
    late = [Arrival(101.0, 90.0), Arrival(106.0, 105.95)]
    figures = live_figures([*slow, *quick], late, late, warm_up_s=5.0)
    assert figures.frames == 91
    assert figures.measured_hz == pytest.approx(30.0)
    assert figures.page is not None
    assert (figures.page.count, figures.page.p95_ms) == pytest.approx((1, 50.0))


@pytest.mark.parametrize("count", [0, 1])
def test_run_without_frames_is_said(count: int) -> None:
    with pytest.raises(UnavailableError):
        live_figures(puts(count), [], None, warm_up_s=0.0)


def test_ratio_is_the_median_of_the_turns() -> None:
    per_frame = PerFrame(90, (10.0, 20.0, 10.0), (11.0, 22.0, 90.0), 10.0, 11.0)
    assert per_frame.ratio == pytest.approx(1.1)


def test_report_names_every_figure() -> None:
    live = live_figures(puts(301), [Arrival(101.0, 100.98)], [Arrival(101.0, 100.97)], warm_up_s=0.0)
    live = LiveFigures(
        **{**vars(live), "memory_start_mb": 500.0, "memory_end_mb": 502.0, "memory_peak_mb": 510.0}
    )
    text = report(PerFrame(90, (30.0,), (33.0,), 50.0, 55.0), live)
    for words in ("30.0 ms", "33.0 ms", "1.10", "30.0 ", "9.1%", "20.0 ms p50", "30.0 ms p95", "1.50 cores"):
        assert words in text
    assert "500 MB, 502 MB" in text


def test_memory_of_this_process_is_plausible() -> None:
    memory = memory_mb()
    assert memory is not None
    before = memory
    block = np.ones(25_000_000)  # 200 MB, written to and so in memory
    after = memory_mb()
    assert after is not None
    assert 150 < after - before < 300
    assert block.size


def test_looped_film_goes_on_where_it_ended(tmp_path: Path) -> None:
    path = write_film(tmp_path / "f.mkv", [i / 25 for i in range(8)])
    film = LoopedVideo(lambda: VideoFileSource(path))
    frames: list[Frame] = []
    while len(frames) < 20:
        taken = film.read(1.0)
        if taken is not None:
            frames.append(taken.frame)
    film.close()
    assert [frame.index for frame in frames] == list(range(20))
    assert [frame.time_s for frame in frames] == pytest.approx([i / 25 for i in range(20)], abs=2e-3)
    assert film.dropped == 0
    assert not film.ended


def test_trackers_and_monitor_take_turns_over_the_same_frames(tmp_path: Path) -> None:
    path = write_film(tmp_path / "f.mkv", [i / 25 for i in range(4 * CHUNK + 5)])
    bare = QuickTracker("video")
    bench = quick_bench()
    bench = Bench(lambda mode: bare, bench.make_monitor, bench.make_feed, bench.begin, None)
    per_frame = measure_per_frame(bench, path, frames=2 * CHUNK)
    assert per_frame.frames == 2 * CHUNK
    assert len(per_frame.bare_ms) == len(per_frame.whole_ms) == 2
    assert bare.frames == list(range(3 * CHUNK)), "the first turn warms up"
    assert min(per_frame.whole_ms) > 0


def test_film_too_short_for_a_turn_is_said(tmp_path: Path) -> None:
    path = write_film(tmp_path / "f.mkv", [i / 25 for i in range(CHUNK)])
    with pytest.raises(UnavailableError, match="too few frames"):
        measure_per_frame(quick_bench(), path)


def test_live_run_reaches_the_page(tmp_path: Path) -> None:
    path = write_film(tmp_path / "f.mkv", [i / 25 for i in range(12)])
    figures = measure_live(quick_bench(with_page=True), path, seconds=3.0, warm_up_s=0.4)
    assert figures.frames > 0
    for latency in (figures.measured, figures.ready, figures.page):
        assert latency is not None
        assert latency.count > 0
        assert 0 <= latency.p50_ms <= latency.p95_ms
    assert figures.memory_start_mb is not None


def test_failing_session_is_said(tmp_path: Path) -> None:
    with pytest.raises(UnavailableError, match="There is no video"):
        measure_live(quick_bench(), tmp_path / "nowhere.mp4", seconds=1.0)
