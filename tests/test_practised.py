"""The clock of a running practice: it stands while the camera is away."""

from __future__ import annotations

import threading
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pytest
from cli_stand_ins import ScriptedHands
from page_stand_ins import limits

from posturewatch.comfort.rules import WatchRules
from posturewatch.comfort.watch import Watch
from posturewatch.kinematics.one_euro import OneEuro
from posturewatch.model.frame import Frame
from posturewatch.pipeline.monitor import Monitor


@dataclass(frozen=True)
class Taken:
    frame: Frame
    taken_s: float


class Frames:
    dropped = 0

    def __init__(self, times: Sequence[float]) -> None:
        self._times = list(times)
        self.now_s = 0.0

    @property
    def ended(self) -> bool:
        return not self._times

    def read(self, timeout_s: float) -> Taken | None:
        if not self._times:
            return None
        self.now_s = self._times.pop(0)
        return Taken(Frame(0, self.now_s, np.zeros((4, 4, 3), np.uint8)), self.now_s)


def test_what_the_camera_missed_is_no_practice() -> None:
    """Ten seconds with pictures, fifty without, and ten more; of the gap the two seconds count that tell it."""
    source = Frames([0.1 * k for k in range(101)] + [60.0 + 0.1 * k for k in range(101)])
    hands = ScriptedHands(lambda time_s: 10.0)
    monitor = Monitor(source=source, tracker=hands, measurer=hands, watch=Watch(limits(), WatchRules()), sinks=(),
                      smoother=OneEuro, clock=lambda: source.now_s)  # fmt: skip
    monitor.run(threading.Event())
    assert monitor.frame_s == pytest.approx(70.0)
    assert monitor.practised_s == pytest.approx(22.0)
