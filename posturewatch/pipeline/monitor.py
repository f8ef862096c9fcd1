"""The one loop, for live pictures and for films: frame, observation, measurement, verdict, reading."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Literal, Protocol

from posturewatch.kinematics.one_euro import OneEuro
from posturewatch.model.frame import Frame
from posturewatch.model.measurement import FrameMeasurement
from posturewatch.model.observation import Observation, Side
from posturewatch.model.quantities import QUANTITY_NAMES
from posturewatch.model.reading import Reading
from posturewatch.model.verdict import Excursion, Verdict

__all__ = ["Ending", "FrameSource", "Measurer", "Monitor", "Observer", "Outcome", "Sink", "Watcher"]

Ending = Literal["stopped", "film ended", "time reached", "failed"]

#: How long one wait for a picture lasts; the stop flag and the source's notices are looked at in between.
_WAIT_S = 0.25

_SIDES: tuple[Side, ...] = ("left", "right")


class TakenFrame(Protocol):
    @property
    def frame(self) -> Frame: ...
    @property
    def taken_s(self) -> float: ...


class FrameSource(Protocol):
    """What the loop asks of a source; see `posturewatch.capture`."""

    @property
    def dropped(self) -> int: ...
    @property
    def ended(self) -> bool: ...
    def read(self, timeout_s: float) -> TakenFrame | None: ...


class Observer(Protocol):
    def observe(self, frame: Frame) -> Observation: ...


class Measurer(Protocol):
    def measure(self, observation: Observation) -> FrameMeasurement: ...


class Watcher(Protocol):
    def update(self, measurement: FrameMeasurement) -> Verdict: ...
    def finish(self, time_s: float) -> tuple[Excursion, ...]: ...


class Sink(Protocol):
    """Takes readings. `put` returns at once whatever happens behind it: the loop waits for nobody."""

    def put(self, reading: Reading) -> None: ...


@dataclass(frozen=True)
class Outcome:
    """How a run ended: why, at which session time, after how many frames, and what was still open then."""

    ending: Ending
    end_s: float
    frames: int
    closed: tuple[Excursion, ...]


@dataclass
class DisplayFilter:
    """One Euro smoothing per hand and quantity, for the eye alone; a refusal drops all state."""

    make: Callable[[], OneEuro] = OneEuro
    _filters: dict[tuple[Side, str], OneEuro] = field(default_factory=dict)

    def update(self, measurement: FrameMeasurement) -> dict[tuple[Side, str], float]:
        shown: dict[tuple[Side, str], float] = {}
        for side in _SIDES:
            for name in QUANTITY_NAMES:
                value = measurement.hand(side).values[name].value
                key = (side, name)
                if value is None:
                    self._filters.pop(key, None)
                    continue
                shown[key] = float(self._filters.setdefault(key, self.make())(value, measurement.time_s))
        return shown


class Monitor:
    """Runs one session's loop in the calling thread until the source ends or `stop` is set.

    The source decides the frame policy (a live one keeps the newest picture only, a film drops nothing); the
    loop itself knows no difference. Sinks never block it.
    """

    def __init__(
        self,
        *,
        source: FrameSource,
        tracker: Observer,
        estimator: Measurer,
        watch: Watcher,
        sinks: Sequence[Sink],
        display: Callable[[], OneEuro] = OneEuro,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._source = source
        self._tracker = tracker
        self._estimator = estimator
        self._watch = watch
        self._sinks = tuple(sinks)
        self._clock = clock
        self._display = DisplayFilter(display)
        self._now_s = 0.0
        self._seen_at: float | None = None

    @property
    def now_s(self) -> float:
        """The session's time now: that of the newest frame plus what has passed since it was read."""
        if self._seen_at is None:
            return 0.0
        return self._now_s + (self._clock() - self._seen_at if not self._source.ended else 0.0)

    @property
    def frame_s(self) -> float:
        """The session time of the newest frame read."""
        return self._now_s

    def run(self, stop: threading.Event, limit_s: float | None = None) -> Outcome:
        frames = 0
        ending: Ending = "stopped"
        while not stop.is_set():
            taken = self._source.read(_WAIT_S)
            if taken is None:
                if self._source.ended:
                    ending = "film ended"
                    break
                if limit_s is not None and self.now_s >= limit_s:
                    ending = "time reached"
                    break
                continue
            if limit_s is not None and taken.frame.time_s >= limit_s:
                ending = "time reached"
                break
            self._now_s, self._seen_at = taken.frame.time_s, self._clock()
            reading = self.step(taken.frame, taken.taken_s)
            for sink in self._sinks:
                sink.put(reading)
            frames += 1
        return Outcome(ending, self._now_s, frames, self._watch.finish(self._now_s))

    def step(self, frame: Frame, taken_s: float) -> Reading:
        """One frame through the whole measurement; used by `run` and by the benchmark."""
        observation = self._tracker.observe(frame)
        measurement = self._estimator.measure(observation)
        verdict = self._watch.update(measurement)
        return Reading(
            frame=frame,
            observation=observation,
            measurement=measurement,
            verdict=verdict,
            display=self._display.update(measurement),
            taken_s=taken_s,
            dropped=self._source.dropped,
        )
