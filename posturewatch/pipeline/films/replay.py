"""A film that has been measured, once more through the loop: verdicts, samples and clips follow from the measurements
as they do live, and know nothing of the parts in which the film was measured."""

from __future__ import annotations

import itertools
import threading
import time
from collections.abc import Iterator, Sequence

import numpy as np

from posturewatch.capture import Taken, VideoFileSource
from posturewatch.comfort.watch import Watch
from posturewatch.model.frame import Frame
from posturewatch.model.measurement import FrameMeasurement
from posturewatch.model.observation import Observation
from posturewatch.model.outcome import Outcome
from posturewatch.pipeline.build import Parts
from posturewatch.pipeline.films.measured import MeasuredPart
from posturewatch.pipeline.monitor import FrameSource, Monitor, Sink

__all__ = ["replay"]

#: Stands where nobody looks at the image.
_NO_IMAGE = np.zeros((1, 1, 3), np.uint8)

_WAIT_S = 0.25


def replay(
    measured: Sequence[MeasuredPart],
    parts: Parts,
    sinks: Sequence[Sink],
    *,
    shift_s: float = 0.0,
    film: VideoFileSource | None = None,
    stop: threading.Event | None = None,
) -> Outcome:
    """Runs the loop over what was measured.

    Parameters
    ----------
    measured
        The film's parts in order.
    shift_s
        The film's second that is second 0 here.
    film
        The same stretch of the film, for sinks that want its images; without it they get none.
    stop
        Ends it early.
    """
    remembered = _Remembered(measured, shift_s)
    source: FrameSource = remembered if film is None else _Pictures(film, remembered)
    monitor = Monitor(
        source=source,
        tracker=_NobodyLooks(),
        measurer=remembered,
        watch=Watch(parts.limits, parts.rules, parts.settings.fretting),
        sinks=sinks,
        smoother=lambda: lambda value, time_s: value,
    )
    return monitor.run(threading.Event() if stop is None else stop)


class _Remembered:
    """The measurements as frames without images, and as their measurer."""

    dropped = 0

    def __init__(self, measured: Sequence[MeasuredPart], shift_s: float) -> None:
        firsts = itertools.accumulate((len(one.time_s) for one in measured), initial=0)
        self._coming: Iterator[FrameMeasurement] = itertools.chain.from_iterable(
            one.measurements(first, shift_s) for first, one in zip(firsts, measured, strict=False)
        )
        self._next = next(self._coming, None)
        self._now: FrameMeasurement | None = None

    @property
    def ended(self) -> bool:
        return self._next is None

    @property
    def time_s(self) -> float | None:
        """Of the frame that comes next."""
        return None if self._next is None else self._next.time_s

    def take(self, image: np.ndarray | None) -> Taken | None:  # type: ignore[type-arg]
        """The next frame, with this image."""
        self._now, self._next = self._next, next(self._coming, None)
        if self._now is None:
            return None
        shown = _NO_IMAGE if image is None else image
        return Taken(Frame(self._now.frame_index, self._now.time_s, shown), time.monotonic())

    def read(self, timeout_s: float) -> Taken | None:
        return self.take(None)

    def measure(self, observation: Observation) -> FrameMeasurement:
        assert self._now is not None
        return self._now

    def reset(self) -> None:
        raise NotImplementedError("what was measured cannot be measured anew")


class _Pictures:
    """The film's own images beside the measurements of the same frames."""

    dropped = 0

    def __init__(self, film: VideoFileSource, remembered: _Remembered) -> None:
        self._film = film
        self._remembered = remembered

    @property
    def ended(self) -> bool:
        return self._remembered.ended

    def read(self, timeout_s: float) -> Taken | None:
        taken = self._film.read(_WAIT_S)
        if taken is None:
            # The film broke off earlier than when it was measured: what was measured counts.
            return self._remembered.take(None) if self._film.ended else None
        return self._remembered.take(taken.frame.image_bgr)


class _NobodyLooks:
    """Observes nothing, since all is measured already."""

    def observe(self, frame: Frame) -> Observation:
        return Observation(frame.index, frame.time_s, frame.width_px, frame.height_px, (), None)
