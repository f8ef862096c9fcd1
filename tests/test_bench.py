"""The benchmark's figures, and its probes on a real feed and server with quick stand-ins for the models."""

from __future__ import annotations

import json
import os
import threading
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, cast

import numpy as np
import pytest
from capture_videos import write_film
from page_stand_ins import OneSummary

from posturewatch.bench.benchmark import Bench, LoopedVideo, measure_live, measure_per_frame
from posturewatch.bench.figures import CHUNK, PerFrame, live_figures
from posturewatch.bench.one_core import can_hold_to_one_core, cores, one_core
from posturewatch.bench.probes import Arrival, Put
from posturewatch.bench.report import Findings, report, to_json
from posturewatch.bench.stage_parts import make_stages
from posturewatch.bench.stages import REST, STAGES, Stage, Stopwatch, measure_stages
from posturewatch.bench.trend import Trend
from posturewatch.capture import VideoFileSource, demo_video
from posturewatch.comfort.rules import WatchRules
from posturewatch.comfort.watch import Watch
from posturewatch.config.limit_profiles import load_profile
from posturewatch.config.resources import web_dir
from posturewatch.config.settings import Settings
from posturewatch.errors import UnavailableError
from posturewatch.kinematics.one_euro import OneEuro
from posturewatch.model.frame import Frame
from posturewatch.model.measurement import FrameMeasurement, HandMeasurement, Refusal
from posturewatch.model.observation import Observation
from posturewatch.model.outcome import Outcome
from posturewatch.model.quantities import QUANTITY_NAMES
from posturewatch.model.reading import Reading
from posturewatch.pipeline.build import Parts, build
from posturewatch.pipeline.monitor import FrameSource, Monitor, Sink
from posturewatch.pipeline.practice import OpenSource, Practice
from posturewatch.review.derived import open_store
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


def test_savings_are_told_as_shares_of_the_frames() -> None:
    made = [frozenset({"body"})] * 30 + [frozenset({"body", "forearm"})] * 10 + [frozenset[str]()] * 60
    run = [replace(put, savings=names) for put, names in zip(puts(100), made, strict=True)]
    figures = live_figures(run, [], None, warm_up_s=0.0)
    assert figures.savings == pytest.approx({"body": 0.4, "forearm": 0.1})
    found = Findings(2, PerFrame(90, (30.0,), (33.0,), 50.0, 55.0), figures)
    assert "body in 40%, forearm in 10%" in report(found)
    assert to_json(found)["live"]["savings"] == figures.savings


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
    live = replace(live, memory_mb=Trend(500.0, 502.0, 510.0, 1.25, 0.5), threads=Trend(26.0, 27.0, 28.0))
    per_frame = PerFrame(90, (30.0,), (33.0,), 50.0, 55.0)
    slow = replace(live, measured_hz=12.3)
    found = Findings(2, per_frame, live, live, slow, (Stage("crops", 1.25, 2.5), Stage("watch", 1.0, 0.75)))
    text = report(found)
    for words in ("30.0 ms", "33.0 ms", "1.10", "30.0 ", "9.1%", "20.0 ms p50", "30.0 ms p95", "1.50 cores"):
        assert words in text
    assert "500 MB, 502 MB" in text
    for words in ("crops", "1.25 ms", "2.25 ms", "3.25 ms", "with clips, held to one core", "12.3 "):
        assert words in text
    again = json.loads(json.dumps(to_json(found)))
    assert again["per_frame"]["cpu_ratio"] == pytest.approx(55 / 50)
    assert again["stages"][0] == {"name": "crops", "wall_ms": 1.25, "cpu_ms": 2.5}
    assert again["one_core"]["measured_hz"] == 12.3


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
    assert figures.memory_mb is not None
    assert figures.memory_mb.most >= figures.memory_mb.start > 20.0


def test_failing_session_is_said(tmp_path: Path) -> None:
    with pytest.raises(UnavailableError, match="There is no video"):
        measure_live(quick_bench(), tmp_path / "nowhere.mp4", seconds=1.0)


def test_stopwatch_gives_each_stage_its_own_time_alone() -> None:
    now = [0.0, 0.0]
    watch = Stopwatch(lambda: now[0], lambda: now[1])

    def passes(wall_s: float, cpu_s: float) -> None:
        now[0] += wall_s
        now[1] += cpu_s

    passes(9.0, 9.0)
    watch.restart()
    for _ in range(2):
        passes(0.001, 0.0)
        with watch.timed("hands followed"):
            passes(0.010, 0.012)
            with watch.timed("body"):
                passes(0.004, 0.003)
            passes(0.001, 0.002)
    stages = {one.name: (one.wall_ms, one.cpu_ms) for one in watch.stages(2)}
    assert tuple(stages) == STAGES
    assert stages["hands followed"] == pytest.approx((11.0, 14.0))
    assert stages["body"] == pytest.approx((4.0, 3.0))
    assert stages[REST] == pytest.approx((1.0, 0.0))
    assert stages["clips"] == (0.0, 0.0)


def test_stages_are_those_of_the_frames_after_the_warm_up(tmp_path: Path) -> None:
    path = write_film(tmp_path / "f.mkv", [i / 25 for i in range(CHUNK + 6)])
    seen: list[int] = []
    ended: list[bool] = []

    def make(watch: Stopwatch) -> Any:
        monitor, _ = _monitor("video", cast(Any, None), ())
        monitor._source = cast(Any, NoFrames())
        return monitor, [lambda reading: seen.append(reading.frame.index)], lambda: ended.append(True)

    stages = measure_stages(make, path, frames=4)
    assert seen == list(range(CHUNK + 4))
    assert ended == [True]
    spent = {one.name: one.wall_ms for one in stages}
    assert spent["decoding"] > 0
    assert spent[REST] > 0
    with pytest.raises(UnavailableError, match="too few frames"):
        measure_stages(make, write_film(tmp_path / "g.mkv", [i / 25 for i in range(9)]))


class NoFrames:
    dropped = 0
    ended = True


@pytest.mark.skipif(not can_hold_to_one_core(), reason="no way to hold a running program to a core here")
def test_every_thread_is_held_to_one_core_and_let_go() -> None:
    before = os.sched_getaffinity(0)
    go, seen = threading.Event(), []

    def look() -> None:
        go.wait()
        seen.append(os.sched_getaffinity(0))

    running = threading.Thread(target=look)
    running.start()
    with one_core():
        go.set()
        running.join()
        started = threading.Thread(target=look)
        started.start()
        started.join()
        assert cores() == 1
    assert [len(one) for one in seen] == [1, 1]
    assert os.sched_getaffinity(0) == before
    assert cores() == len(before)


@pytest.mark.models
def test_every_stage_of_the_program_takes_time(tmp_path: Path) -> None:
    with open_store(tmp_path / "data") as store:
        settings = Settings()
        parts = Parts(settings, settings.limit_profile(), settings.rules(), build)
        stages = measure_stages(lambda watch: make_stages(parts, store, watch), demo_video(), frames=4)
        assert store.find("last")
    # The forearm network rests in two of three frames.
    assert [one.name for one in stages if one.wall_ms <= 0 or one.cpu_ms < 0] == []
