"""A session that is recorded, for the tests of what stores it."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

import pytest
from session_factories import LIMITS, Ended, make_reading

from posturewatch.storage import recorder as recorder_module
from posturewatch.storage.recorder import Recorder
from posturewatch.storage.records import SessionStart
from posturewatch.storage.store import Store

START = SessionStart(
    source_name="demo",
    source_kind="film",
    program_version="0.1.0",
    settings={"hold_s": 3.0},
    limits=LIMITS,
    instrument="guitar",
    started_at="2025-03-01T18:00:00.000+00:00",
)


@pytest.fixture
def quick_commits(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(recorder_module, "COMMIT_S", 0.02)


def wait_until(condition: Callable[[], object], seconds: float = 60.0) -> None:
    """A generous bound, so that a slow machine fails nothing."""
    end = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < end, "it did not happen"
        time.sleep(0.01)


def put_seconds(recorder: Recorder, seconds: float, rate_hz: float = 30.0, start_s: float = 0.0) -> None:
    for index in range(round(seconds * rate_hz)):
        time_s = start_s + index / rate_hz
        recorder.put(make_reading(index, time_s, {("left", "wrist_flexion"): (20.0 + index % 7, 6.0)}))


def recorded_folder(folder: Path, seconds: float = 60.0) -> str:
    with Store(folder) as store:
        recorder = store.begin(START)
        put_seconds(recorder, seconds)
        return recorder.finish(Ended(seconds))
