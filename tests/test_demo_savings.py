"""The demo video with every saving made: the player is still warned of what is held, and of nothing else."""

from __future__ import annotations

import threading

import pytest
from test_demo_end_to_end import NEAR_S, held

from posturewatch.capture import VideoFileSource, demo_video
from posturewatch.comfort.rules import WatchRules
from posturewatch.comfort.watch import Watch
from posturewatch.config.settings import Settings
from posturewatch.kinematics.one_euro import OneEuro
from posturewatch.model.reading import Reading
from posturewatch.model.savings import SAVINGS
from posturewatch.pipeline.build import build
from posturewatch.pipeline.monitor import Monitor

ALL = frozenset(one.name for one in SAVINGS)


class Pressed:
    """A machine that has no room at all."""

    def frame(self, now_s: float, dropped: int, busy_s: float) -> frozenset[str]:
        return ALL


class Warned:
    def __init__(self) -> None:
        self.fired: list[tuple[str, str, float]] = []

    def put(self, reading: Reading) -> None:
        self.fired += [(one.side, one.quantity, one.fired_s) for one in reading.verdict.fired]


@pytest.mark.models
def test_warnings_come_on_time_with_every_saving_made() -> None:
    settings, warned = Settings(), Warned()
    built, source = build("video", settings), VideoFileSource(demo_video())
    assert built.ease is not None
    built.ease(ALL)
    try:
        Monitor(
            source=source,
            tracker=built.tracker,
            measurer=built.measurer,
            watch=Watch(settings.limit_profile(), settings.rules(), settings.fretting),
            sinks=[warned],
            smoother=OneEuro,
            pace=Pressed(),
        ).run(threading.Event())
    finally:
        source.close()
        built.release()
    due = [start_s + WatchRules().hold_s for start_s, _ in held()]
    assert [(side, quantity) for side, quantity, _ in warned.fired] == [("left", "wrist_flexion")] * len(due)
    assert [fired_s for *_, fired_s in warned.fired] == pytest.approx(due, abs=NEAR_S)
