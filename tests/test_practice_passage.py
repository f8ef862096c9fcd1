"""What is played: chosen before or during a session, told to its recorder with the session's time."""

from __future__ import annotations

import threading
from collections.abc import Collection, Iterator
from typing import Any, cast

import pytest

from posturewatch.model.outcome import Outcome
from posturewatch.pipeline.practice import Practice


class Source:
    notice = None
    dropped = 0

    def describe(self) -> dict[str, Any]:
        return {"name": "stand-in", "kind": "film"}

    def close(self) -> None:
        pass


class Recorder:
    session_id = "s1"
    fault = None

    def __init__(self) -> None:
        self.calls: list[tuple[Any, ...]] = []

    def put(self, reading: Any) -> None:
        pass

    def passage(self, time_s: float, piece: str | None, bars: str = "", tempo_bpm: Any = None) -> None:
        self.calls.append((time_s, piece, bars, tempo_bpm))

    def finish(self, outcome: Outcome) -> None:
        pass


class Monitor:
    now_s = frame_s = practised_s = 7.5

    def __init__(self, running: threading.Event) -> None:
        self._running = running
        self.warns: list[set[str]] = []

    def warn(self, sides: Collection[str]) -> None:
        self.warns.append(set(sides))

    def run(self, stop: threading.Event, limit_s: float | None) -> Outcome:
        self._running.set()
        stop.wait(20)
        return Outcome("stopped", self.now_s, 1, ())


Made = tuple[Practice, Recorder, threading.Event]


@pytest.fixture
def made() -> Iterator[Made]:
    running, recorder = threading.Event(), Recorder()
    practice = Practice(
        open_source=cast(Any, Source),
        begin=lambda source: cast(Any, recorder),
        make_monitor=lambda source, sinks: (cast(Any, Monitor(running)), lambda: None),
    )
    yield practice, recorder, running
    practice.stop()


def test_what_was_chosen_before_begins_with_the_session(made: Made) -> None:
    practice, recorder, running = made
    chosen: dict[str, Any] = {"piece": "Scales", "bars": "thirds", "tempo_bpm": 72.0}
    assert practice.passage(**chosen) == practice.now_played() == practice.state()["passage"] == chosen
    practice.start()
    assert running.wait(20)
    practice.passage("Study")
    practice.passage(None)
    practice.stop()
    practice.passage("Afterwards")
    assert recorder.calls == [
        (0.0, "Scales", "thirds", 72.0),
        (7.5, "Study", "", None),
        (7.5, None, "", None),
    ]


def test_hands_that_are_warned_of_are_switched_in_a_session_and_before_it() -> None:
    running = threading.Event()
    monitor = Monitor(running)
    practice = Practice(
        open_source=cast(Any, Source),
        begin=lambda source: cast(Any, Recorder()),
        make_monitor=lambda source, sinks: (cast(Any, monitor), lambda: None),
        warns=frozenset({"left"}),
    )
    assert practice.state()["warns"] == ["left"]
    practice.warn(("right", "left"))
    practice.start()
    assert running.wait(20)
    assert practice.warn(())["warns"] == []
    practice.stop()
    assert monitor.warns == [{"left", "right"}, set()]


def test_without_a_choice_nothing_is_told(made: Made) -> None:
    practice, recorder, running = made
    practice.start()
    assert running.wait(20)
    practice.stop()
    assert recorder.calls == []
    assert practice.state()["passage"] is None
