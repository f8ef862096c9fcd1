"""The one loop, for cameras and for videos: frame, observation, measurement, verdict, reading."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, field
from typing import Protocol, SupportsFloat

from posturewatch.exposure.summary import PAUSE_S
from posturewatch.model.frame import Frame
from posturewatch.model.measurement import FrameMeasurement
from posturewatch.model.observation import SIDES, Observation, Side
from posturewatch.model.outcome import Ending, Outcome
from posturewatch.model.quantities import QUANTITY_NAMES
from posturewatch.model.reading import Reading
from posturewatch.model.verdict import Excursion, Verdict

__all__ = [
    "FrameSource",
    "Measurer",
    "Monitor",
    "Observer",
    "Pace",
    "Sink",
    "Smoother",
    "Watcher",
]

#: How long one wait for a frame lasts; the stop flag and the source's notices are looked at in between.
_WAIT_S = 0.25


class TakenFrame(Protocol):
    """A frame, and the monotonic clock's seconds when it left the source."""

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
    """Looks at frame after frame."""

    def observe(self, frame: Frame) -> Observation: ...


class Measurer(Protocol):
    """Measures frame after frame; `reset` makes the next one the first."""

    def measure(self, observation: Observation) -> FrameMeasurement: ...
    def reset(self) -> None: ...


class Smoother(Protocol):
    """Smooths one quantity of one hand for the eye, value after value."""

    def __call__(self, value: float, time_s: float) -> SupportsFloat: ...


class Pace(Protocol):
    """Decides from a frame's time what is done less often from the next one on; see `PaceControl.frame`."""

    def frame(self, now_s: float, dropped: int, busy_s: float) -> frozenset[str]: ...


class Watcher(Protocol):
    """Judges measurement after measurement; `finish` closes what is still open at a session's end. `warn` says which
    hands are warned of from the next one on."""

    def update(self, measurement: FrameMeasurement) -> Verdict: ...
    def finish(self, time_s: float) -> tuple[Excursion, ...]: ...
    def warn(self, sides: Collection[Side]) -> None: ...


class Sink(Protocol):
    """Takes readings. `put` returns at once whatever happens behind it: the loop waits for nobody."""

    def put(self, reading: Reading) -> None: ...


@dataclass
class DisplayFilter:
    """Smoothing of every hand and quantity, for the eye alone; a refusal drops all state.

    Attributes
    ----------
    make
        Makes a fresh smoother.
    """

    make: Callable[[], Smoother]
    _smoothers: dict[tuple[Side, str], Smoother] = field(default_factory=dict)

    def update(self, measurement: FrameMeasurement) -> dict[tuple[Side, str], float]:
        """The smoothed values of a frame by hand and quantity; what is refused is left out."""
        shown: dict[tuple[Side, str], float] = {}
        for side in SIDES:
            for name in QUANTITY_NAMES:
                value = measurement.hand(side).values[name].value
                key = (side, name)
                if value is None:
                    self._smoothers.pop(key, None)
                    continue
                smoother = self._smoothers.get(key)
                if smoother is None:
                    smoother = self._smoothers[key] = self.make()
                shown[key] = float(smoother(value, measurement.time_s))
        return shown


class Monitor:
    """Runs one session's loop in the calling thread until the source ends or `stop` is set.

    The source decides the frame policy (a live one keeps the newest frame only, a video drops nothing); the
    loop itself knows no difference. Sinks never block it.

    Parameters
    ----------
    source
        Where frames come from.
    tracker, measurer, watch
        What looks, measures and watches, in this order, at every frame.
    sinks
        Take every reading, in this order.
    smoother
        Makes what smooths one number of the display.
    pace
        Keeps pace with the source, where it is live; None where every frame has its time.
    clock
        Seconds that only grow, for `now_s`.
    """

    def __init__(
        self,
        *,
        source: FrameSource,
        tracker: Observer,
        measurer: Measurer,
        watch: Watcher,
        sinks: Sequence[Sink],
        smoother: Callable[[], Smoother],
        pace: Pace | None = None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._pace = pace
        self._savings: frozenset[str] = frozenset()
        self._source = source
        self._tracker = tracker
        self._measurer = measurer
        self._watch = watch
        self._sinks = tuple(sinks)
        self._clock = clock
        self._display = DisplayFilter(smoother)
        self._now_s = self._practised_s = 0.0
        self._seen_at: float | None = None

    @property
    def now_s(self) -> float:
        """The session's time now: that of the newest frame plus what has passed since it was read."""
        if self._seen_at is None:
            return 0.0
        return self._now_s + (self._clock() - self._seen_at if not self._source.ended else 0.0)

    @property
    def practised_s(self) -> float:
        """The seconds in which pictures came, as the summary counts them: while the camera is away, none."""
        return self._practised_s + min(PAUSE_S, self.now_s - self._now_s)

    @property
    def savings(self) -> frozenset[str]:
        """The names of what is done less often for now."""
        return self._savings

    @property
    def frame_s(self) -> float:
        """The session time of the newest frame read."""
        return self._now_s

    def warn(self, sides: Collection[Side]) -> None:
        """From the next frame on these hands are warned of, and no others; from any thread."""
        self._watch.warn(sides)

    def run(self, stop: threading.Event, limit_s: float | None = None) -> Outcome:
        """Takes frames until there is a reason to end.

        Parameters
        ----------
        stop
            Ends the run when it is set.
        limit_s
            Ends it at this time of the session, None for never.

        Returns
        -------
        Why it ended and what was open then.
        """
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
            if self._seen_at is not None:
                self._practised_s += min(PAUSE_S, max(0.0, taken.frame.time_s - self._now_s))
            self._now_s, self._seen_at = taken.frame.time_s, self._clock()
            reading = self.step(taken.frame, taken.taken_s)
            for sink in self._sinks:
                sink.put(reading)
            if self._pace is not None:
                now_s = self._clock()
                self._savings = self._pace.frame(now_s, self._source.dropped, now_s - self._seen_at)
            frames += 1
        return Outcome(ending, self._now_s, frames, self._watch.finish(self._now_s))

    def step(self, frame: Frame, taken_s: float) -> Reading:
        """One frame through the whole measurement; used by `run` and by the benchmark.

        Parameters
        ----------
        frame
            The next one.
        taken_s
            The monotonic clock's seconds when it left the source.
        """
        observation = self._tracker.observe(frame)
        measurement = self._measurer.measure(observation)
        verdict = self._watch.update(measurement)
        return Reading(
            frame=frame,
            observation=observation,
            measurement=measurement,
            verdict=verdict,
            display=self._display.update(measurement),
            taken_s=taken_s,
            dropped=self._source.dropped,
            savings=self._savings,
        )
