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
    """frame, observation, measurement and verdict belong to the same picture. `display` holds the smoothed
    values for the eye alone, by (side, quantity); statistics use `measurement`. taken_s is the monotonic
    clock's time when the picture left the source, for the latency shown by the benchmark; dropped counts the
    pictures the source has skipped so far."""

    frame: Frame
    observation: Observation
    measurement: FrameMeasurement
    verdict: Verdict
    display: Mapping[tuple[Side, str], float]
    taken_s: float
    dropped: int
