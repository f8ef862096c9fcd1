"""Where the time of a frame goes: every stage by itself, one after the other, so that none hides behind another."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from posturewatch.bench.figures import CHUNK
from posturewatch.bench.probes import cpu_seconds
from posturewatch.capture.decoding import Decoder
from posturewatch.errors import UnavailableError
from posturewatch.model.frame import Frame
from posturewatch.model.reading import Reading

__all__ = ["REST", "STAGES", "Stage", "Stepper", "Stopwatch", "measure_stages"]

#: The stages of a frame, in their order; the last is what belongs to none of the others.
REST = "the loop itself"
STAGES = (
    "decoding",
    "body",
    "hands followed",
    "crops",
    "forearm network",
    "finger network",
    "estimator",
    "watch",
    "record",
    "picture for the page",
    "clips",
    REST,
)


@dataclass(frozen=True)
class Stage:
    """Milliseconds a frame of one stage; processor time is that of all threads."""

    name: str
    wall_ms: float
    cpu_ms: float


class Stopwatch:
    """Adds up time and processor time by stage. What is timed within another stage is not that one's.

    Processor time is the whole process's, so nothing else may be at work in it.
    """

    def __init__(
        self, wall: Callable[[], float] = time.perf_counter, cpu: Callable[[], float] = cpu_seconds
    ) -> None:
        self._clocks = (wall, cpu)
        self._open: list[str] = []
        self._last = (wall(), cpu())
        self._spent: dict[str, tuple[float, float]] = {}

    def restart(self) -> None:
        """Forgets all but what is being timed now."""
        self._switch()
        self._spent.clear()

    @contextmanager
    def timed(self, name: str) -> Iterator[None]:
        """Times what is done in it."""
        self._switch()
        self._open.append(name)
        try:
            yield
        finally:
            self._switch()
            self._open.pop()

    def stages(self, frames: int) -> tuple[Stage, ...]:
        """All stages, for each of so many frames."""
        self._switch()
        each = 1000 / frames
        spent = {name: self._spent.get(name, (0.0, 0.0)) for name in STAGES}
        return tuple(Stage(name, each * wall_s, each * cpu_s) for name, (wall_s, cpu_s) in spent.items())

    def _switch(self) -> None:
        now = (self._clocks[0](), self._clocks[1]())
        name = self._open[-1] if self._open else REST
        wall_s, cpu_s = self._spent.get(name, (0.0, 0.0))
        self._spent[name] = (wall_s + now[0] - self._last[0], cpu_s + now[1] - self._last[1])
        self._last = now


class Stepper(Protocol):
    """Takes frames one by one through all stages."""

    def step(self, frame: Frame, taken_s: float) -> Reading: ...


def measure_stages(
    make: Callable[[Stopwatch], tuple[Stepper, Sequence[Callable[[Reading], None]], Callable[[], None]]],
    video: Path,
    *,
    frames: int = 150,
) -> tuple[Stage, ...]:
    """The stages of a video's frames.

    Parameters
    ----------
    make
        From the stopwatch to what goes through them with it, what takes each reading, and what ends it.
    video
        Its frames are taken as fast as they go.
    frames
        So many, after a turn that warms the models up.

    Raises
    ------
    UnavailableError
        The video has too few frames.
    """
    watch = Stopwatch()
    stepper, sinks, end = make(watch)
    decoder = Decoder(str(video), options={})
    done = 0
    try:
        decoded = decoder.frames()
        while done < CHUNK + frames:
            if done == CHUNK:
                watch.restart()
            with watch.timed("decoding"):
                one = next(decoded, None)
            if one is None:
                break
            reading = stepper.step(Frame(done, done / 30, one.image_bgr), time.monotonic())
            for put in sinks:
                put(reading)
            done += 1
        if done <= CHUNK:
            raise UnavailableError(f"The video {video} has too few frames for a benchmark; use a longer one.")
        return watch.stages(done - CHUNK)
    finally:
        decoder.close()
        end()
