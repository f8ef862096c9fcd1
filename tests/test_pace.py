"""Keeping pace with a camera: a loop that falls behind saves in the stated order, and only for as long as it must."""

from __future__ import annotations

import itertools
import threading
from collections.abc import Callable, Sequence
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest

from posturewatch.capture import Taken
from posturewatch.model.frame import Frame
from posturewatch.model.observation import Observation
from posturewatch.model.reading import Reading
from posturewatch.model.savings import SAVINGS, savings_sentence
from posturewatch.pipeline.monitor import Monitor
from posturewatch.pipeline.pace import PaceControl, PaceRules

#: As the project's goal lists them.
ORDER = ["body", "forearm", "second hand", "picture", "clips"]
RATE_HZ = 30.0


def played(
    control: PaceControl, cost_s: Callable[[float, int], float], seconds: float, start_s: float = 0.0
) -> list[tuple[float, int, float]]:
    """A camera that keeps its newest frame only and a loop that takes cost_s(time, level) for each: time, level and
    age of the frame when it is done."""
    now_s, next_frame, dropped, seen = start_s, 0, 0, []
    while now_s < start_s + seconds:
        newest = int((now_s - start_s) * RATE_HZ + 1e-6)
        if newest < next_frame:
            now_s = start_s + next_frame / RATE_HZ  # it waits for the camera
            newest = next_frame
        dropped += newest - next_frame
        next_frame = newest + 1
        busy_s = cost_s(now_s, control.level)
        now_s += busy_s
        control.frame(now_s, dropped, busy_s)
        seen.append((now_s, control.level, now_s - start_s - newest / RATE_HZ))
    return seen


def fixed(*costs_ms: float) -> Callable[[float, int], float]:
    """So many milliseconds at each level, the last from there on."""
    return lambda now_s, level: costs_ms[min(level, len(costs_ms) - 1)] / 1000


def test_savings_are_made_in_the_stated_order() -> None:
    assert [one.name for one in SAVINGS] == ORDER
    control = PaceControl()
    levels = [level for _, level, _ in played(control, fixed(60.0), 30.0)]
    assert levels == sorted(levels)
    assert levels[-1] == len(ORDER)
    for level in range(len(ORDER) + 1):
        control.level = level
        assert control.savings == set(ORDER[:level])


def test_a_loop_that_keeps_pace_saves_nothing() -> None:
    assert {level for _, level, _ in played(PaceControl(), fixed(31.0), 60.0)} == {0}


def test_a_single_hiccup_saves_nothing() -> None:
    hiccup = lambda now_s, level: 0.09 if 5.0 <= now_s < 5.05 else 0.02  # noqa: E731
    control = PaceControl(PaceRules(behind=0.05))
    assert {level for _, level, _ in played(control, hiccup, 20.0)} == {0}


def test_the_first_search_for_hands_saves_nothing() -> None:
    """A machine that is quick enough is slow for a moment at the start of each practice."""
    slow_start = lambda now_s, level: 0.08 if now_s < 2.5 else 0.02  # noqa: E731
    assert {level for _, level, _ in played(PaceControl(), slow_start, 20.0)} == {0}
    assert max(level for _, level, _ in played(PaceControl(PaceRules(start_s=0.0)), slow_start, 20.0)) > 0


def test_it_saves_no_more_than_it_must() -> None:
    levels = [level for _, level, _ in played(PaceControl(), fixed(50.0, 45.0, 40.0, 30.0), 60.0)]
    assert levels[-1] == max(levels) == 3


def test_it_falls_behind_for_seconds_and_not_for_longer() -> None:
    """After the first seconds, two seconds of looking for each saving: three savings take six."""
    seen = played(PaceControl(), fixed(50.0, 45.0, 40.0, 30.0), 60.0)
    settled_s = next(now_s for now_s, level, _ in seen if level == 3)
    assert settled_s < PaceRules().start_s + 3 * PaceRules().window_s + 0.5
    # A source that keeps its newest frame only is never older than one of its frames and one of the loop's.
    assert max(age_s for _, _, age_s in seen) <= 0.050 + 1 / RATE_HZ + 1e-9


def test_all_is_taken_back_when_the_machine_is_free_again() -> None:
    busy_until_20 = lambda now_s, level: 0.05 if now_s < 20.0 else 0.02  # noqa: E731
    seen = played(PaceControl(), busy_until_20, 120.0)
    assert max(level for _, level, _ in seen) == len(ORDER)
    assert seen[-1][1] == 0


def test_a_saving_that_is_needed_again_at_once_is_tried_ever_less_often() -> None:
    """It looks as if there were room, at half the cost, whenever the last saving is made."""
    seen = played(PaceControl(), fixed(40.0, 18.0), 1200.0)
    changes = [now_s for (now_s, a, _), (_, b, _) in itertools.pairwise(seen) if a != b]
    back_s = np.array(changes[1::2])
    waits = np.diff(back_s)
    assert (np.diff(waits)[:3] > 0).all()
    assert waits.max() <= PaceRules().longest_calm_s + 2 * PaceRules().window_s + 2.0
    assert len(changes) < 40


def test_thresholds_hold_of_seconds_and_not_of_frames() -> None:
    """Half the source's rate, half the frames: the first saving comes at the same time."""
    first = []
    for rate in (1, 2):
        control, now_s, dropped = PaceControl(), 0.0, 0
        while control.level == 0:
            now_s, dropped = now_s + 0.05 * rate, dropped + 1
            control.frame(now_s, dropped, 0.05 * rate)
        first.append(now_s)
    assert first[0] == pytest.approx(first[1], abs=0.1)


@pytest.mark.parametrize(
    ("names", "said"), [((), None), (("clips", "body"), "the body, the pictures of clips")]
)
def test_the_player_is_told_in_one_sentence(names: Sequence[str], said: str | None) -> None:
    sentence = savings_sentence(frozenset(names))
    assert sentence is None if said is None else said in str(sentence)


class TwoFrames:
    dropped = 7
    ended = False

    def __init__(self) -> None:
        self.left = 2

    def read(self, timeout_s: float) -> Taken | None:
        self.left -= 1
        self.ended = self.left < 0
        return (
            None if self.ended else Taken(Frame(0, 0.1 * (2 - self.left), np.zeros((9, 9, 3), np.uint8)), 0.0)
        )


class Stub:
    """Looks, measures and watches: nothing."""

    def observe(self, frame: Frame) -> Observation:
        return Observation(frame.index, frame.time_s, 9, 9, (), None)

    def measure(self, observation: Observation) -> Any:
        hand = SimpleNamespace(values=AllRefused())
        return SimpleNamespace(hand=lambda side: hand, time_s=0.0)

    def update(self, measurement: Any) -> None:
        return None

    def finish(self, time_s: float) -> tuple[()]:
        return ()


class AllRefused:
    def __getitem__(self, name: str) -> Any:
        return SimpleNamespace(value=None)


def test_the_loop_says_how_long_a_frame_took_and_readings_carry_the_savings() -> None:
    asked: list[tuple[float, int, float]] = []

    class Always:
        def frame(self, now_s: float, dropped: int, busy_s: float) -> frozenset[str]:
            asked.append((now_s, dropped, busy_s))
            return frozenset({"body"})

    readings: list[Reading] = []
    sink = type("Sink", (), {"put": staticmethod(readings.append)})()
    clock = iter(range(100))
    part = cast(Any, Stub())
    monitor = Monitor(
        source=TwoFrames(), tracker=part, measurer=part, watch=part, sinks=[sink], smoother=cast(Any, None),
        pace=Always(), clock=lambda: float(next(clock)),
    )  # fmt: skip
    monitor.run(threading.Event())
    assert [one.savings for one in readings] == [frozenset(), frozenset({"body"})]
    assert [(dropped, busy_s) for _, dropped, busy_s in asked] == [(7, 1.0), (7, 1.0)]
    assert monitor.savings == {"body"}
