"""The program's own parts with a stopwatch in hand: each stage of a frame begins when the one before it has ended."""

from __future__ import annotations

import functools
from collections.abc import Callable, Collection, Sequence
from typing import Any

import cv2
import numpy as np

from posturewatch.bench.stages import Stepper, Stopwatch
from posturewatch.clips.encoder import Encoder
from posturewatch.comfort.watch import Watch
from posturewatch.kinematics.hand_size import HandSize
from posturewatch.kinematics.lift import Lifts
from posturewatch.kinematics.one_euro import OneEuro
from posturewatch.kinematics.temporal_estimator import TemporalEstimator
from posturewatch.model.arrays import Array, Image
from posturewatch.model.frame import Frame
from posturewatch.model.measurement import FrameMeasurement
from posturewatch.model.observation import BodyObservation, Observation, Side
from posturewatch.model.outcome import Outcome
from posturewatch.model.reading import Reading
from posturewatch.model.verdict import Excursion, Verdict
from posturewatch.pipeline.build import Parts, fingers_path, forearm_path, load_estimator
from posturewatch.pipeline.monitor import Measurer, Monitor, Watcher
from posturewatch.pipeline.practice import SessionRecorder
from posturewatch.server.feed import LiveFeed
from posturewatch.storage.store import Store
from posturewatch.tracking import FingerNet, ForearmNet, Tracker
from posturewatch.tracking.crop import CropNet
from posturewatch.tracking.effort import VIDEO
from posturewatch.tracking.hands import Detection
from posturewatch.tracking.video import VideoFinder

__all__ = ["make_stages"]

_MESSAGE_S = 5.0


class _NoSource:
    """The benchmark hands each frame to the monitor itself."""

    dropped = 0
    ended = True
    notice: str | None = None

    def describe(self) -> dict[str, Any]:
        return {"name": "benchmark", "kind": "video file"}

    def close(self) -> None:
        return

    def read(self, timeout_s: float) -> None:
        return


class _TimedFinder(VideoFinder):
    def __init__(self, mirrored: bool, watch: Stopwatch) -> None:
        super().__init__(mirrored, VIDEO)
        self._watch = watch

    def find(
        self, image_bgr: Image, time_s: float
    ) -> tuple[list[tuple[Side, float, Detection]], BodyObservation | None]:
        with self._watch.timed("hands followed"):
            return super().find(image_bgr, time_s)

    def _look_for_body(self, image: Image, time_s: float) -> BodyObservation | None:
        with self._watch.timed("body"):
            return super()._look_for_body(image, time_s)


class _TimedCrops(CropNet):
    """Cuts where the network is started, and computes where it is waited for."""

    watch: Stopwatch
    stage: str

    def start(self, image_bgr: Image, hands: Sequence[tuple[Array, Side]]) -> None:
        with self.watch.timed("crops"):
            self._affines = [self.crop.transform(*hand) for hand in hands]
            self._crops = [self.crop.cut(image_bgr, affine) for affine in self._affines]

    def rows(self) -> Array:
        with self.watch.timed(self.stage):
            self._begin([functools.partial(np.copyto, src=crop) for crop in self._crops])
            return super().rows()


class _TimedForearm(_TimedCrops, ForearmNet):
    stage = "forearm network"


class _TimedFingers(_TimedCrops, FingerNet):
    stage = "finger network"


class _TimedMeasurer:
    def __init__(self, measurer: Measurer, watch: Stopwatch) -> None:
        self._measurer, self._watch = measurer, watch

    def measure(self, observation: Observation) -> FrameMeasurement:
        with self._watch.timed("estimator"):
            return self._measurer.measure(observation)

    def reset(self) -> None:
        self._measurer.reset()


class _TimedWatch:
    def __init__(self, watcher: Watcher, watch: Stopwatch) -> None:
        self._watcher, self._watch = watcher, watch

    def update(self, measurement: FrameMeasurement) -> Verdict:
        with self._watch.timed("watch"):
            return self._watcher.update(measurement)

    def finish(self, time_s: float) -> tuple[Excursion, ...]:
        return self._watcher.finish(time_s)

    def warn(self, sides: Collection[Side]) -> None:
        self._watcher.warn(sides)


class _Sinks:
    """Record, picture for the page and clips, each done before the next begins."""

    def __init__(self, recorder: SessionRecorder, feed: LiveFeed, watch: Stopwatch) -> None:
        self._recorder, self._feed, self._watch = recorder, feed, watch
        self._encoder: Encoder | None = None
        self._seq = 0

    def record(self, reading: Reading) -> None:
        with self._watch.timed("record"):
            self._recorder.put(reading)

    def picture(self, reading: Reading) -> None:
        with self._watch.timed("picture for the page"):
            self._feed.put(reading)
            message = self._feed.latest(self._seq, _MESSAGE_S)
        if message is not None:
            self._seq = message.seq

    def clip(self, reading: Reading) -> None:
        frame: Frame = reading.frame
        with self._watch.timed("clips"):
            if self._encoder is None:
                self._encoder = Encoder(frame.width_px, frame.height_px)
            self._encoder.encode(self._encoder.fitted(frame), frame.time_s)


def make_stages(
    parts: Parts, store: Store, watch: Stopwatch
) -> tuple[Stepper, Sequence[Callable[[Reading], None]], Callable[[], None]]:
    """The parts as `posturewatch.bench.stages.measure_stages` takes them; the session goes to the store."""
    cv2.setNumThreads(1)
    settings = parts.settings
    forearm, fingers = _TimedForearm(forearm_path()), _TimedFingers(fingers_path())
    forearm.watch = fingers.watch = watch
    mirrored = settings.camera.mirrored
    tracker = Tracker(
        "video", forearm=forearm, fingers=fingers, mirrored=mirrored, finder=_TimedFinder(mirrored, watch)
    )
    estimator = load_estimator(settings.camera.hfov_deg, settings.fretting)
    lifts = Lifts(settings.fretting, HandSize.of(settings.player.hand_length_mm))
    shown = settings.display
    monitor = Monitor(
        source=_NoSource(),
        tracker=tracker,
        measurer=_TimedMeasurer(TemporalEstimator(estimator, lifts), watch),
        watch=_TimedWatch(Watch(parts.limits, parts.rules, settings.fretting), watch),
        sinks=(),
        smoother=lambda: OneEuro(shown.min_cutoff_hz, shown.beta),
    )
    recorder, feed = store.begin(parts.session_start(_NoSource())), LiveFeed(parts.limits)
    sinks = _Sinks(recorder, feed, watch)

    def end() -> None:
        feed.close()
        tracker.close()
        recorder.finish(Outcome("stopped", 0.0, 0, ()))

    return monitor, (sinks.record, sinks.picture, sinks.clip), end
