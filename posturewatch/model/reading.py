"""A reading: all that is known of one frame, as the monitor hands it to the session and to the live feed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from posturewatch.model.frame import Frame
from posturewatch.model.measurement import FrameMeasurement
from posturewatch.model.observation import Observation, Side
from posturewatch.model.verdict import Verdict

__all__ = ["Reading"]


@dataclass(frozen=True)
class Reading:
    """All that is known of one frame.

    Attributes
    ----------
    frame, observation, measurement, verdict
        Of the same image.
    display
        Smoothed values for the eye alone, by side and quantity; statistics use `measurement`.
    taken_s
        The monotonic clock's seconds when the frame left the source, for the latency that the benchmark shows.
    dropped
        How many frames the source has skipped so far.
    savings
        The names (`posturewatch.model.savings`) of what is done less often for now, to keep up with the source.
    """

    frame: Frame
    observation: Observation
    measurement: FrameMeasurement
    verdict: Verdict
    display: Mapping[tuple[Side, str], float]
    taken_s: float
    dropped: int
    savings: frozenset[str] = frozenset()
