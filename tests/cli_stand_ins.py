"""What the commands' tests hand in instead of models: hands that move by script, and films made on the spot."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from capture_videos import write_film

from posturewatch.model.frame import Frame
from posturewatch.model.measurement import FrameMeasurement, HandMeasurement, Measurement, Refusal
from posturewatch.model.observation import Observation, Side
from posturewatch.model.quantities import QUANTITY_NAMES
from posturewatch.pipeline import build as parts

#: From a time to the left hand's flexion in degrees, or why it is not measured.
Script = Callable[[float], "float | Refusal"]

SD_DEG = 3.0


@dataclass
class ScriptedHands:
    """Tracker and measurer in one: the left hand's flexion follows the script, its deviation is 5 degrees; the
    right hand is not seen. `at_frame` is called with each frame's index before it is looked at."""

    script: Script
    at_frame: Callable[[int], None] = lambda index: None
    released: int = field(default=0)

    def observe(self, frame: Frame) -> Observation:
        self.at_frame(frame.index)
        return Observation(frame.index, frame.time_s, frame.width_px, frame.height_px, (), None)

    def measure(self, observation: Observation) -> FrameMeasurement:
        said = self.script(observation.time_s)
        left = {
            name: Measurement.refused(said)
            if isinstance(said, Refusal)
            else Measurement.of(said if name == "wrist_flexion" else 5.0, SD_DEG)
            for name in QUANTITY_NAMES
        }
        right: Side = "right"
        return FrameMeasurement(
            observation.frame_index,
            observation.time_s,
            HandMeasurement("left", left),
            HandMeasurement.refused(right, QUANTITY_NAMES, Refusal.HAND_NOT_SEEN),
        )

    def reset(self) -> None:
        pass

    def _release(self) -> None:
        self.released += 1

    def use(self, monkeypatch: pytest.MonkeyPatch) -> ScriptedHands:
        """From now on the commands look through these."""
        monkeypatch.setattr(
            parts, "build", lambda mode, settings, **_: parts.Built(self, self, self._release)
        )
        return self


def film(path: Path, seconds: float, rate_hz: float = 10.0) -> Path:
    """A short film of grey pictures."""
    return write_film(path, [index / rate_hz for index in range(round(seconds * rate_hz))])
