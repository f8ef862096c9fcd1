"""Films of a few seconds for the tests of `posturewatch analyse`, measured by a stand-in that remembers what it saw."""

from __future__ import annotations

import csv
import json
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from capture_videos import write_film

from posturewatch.config.settings import Settings
from posturewatch.model.frame import Frame
from posturewatch.model.measurement import FrameMeasurement, HandMeasurement, Measurement, Refusal
from posturewatch.model.observation import Observation
from posturewatch.model.quantities import QUANTITY_NAMES
from posturewatch.pipeline import build as assembly
from posturewatch.pipeline.build import Built, Mode, Parts
from posturewatch.pipeline.films.measured import MeasuredPart
from posturewatch.pipeline.films.part import FilmPart, measure_part
from posturewatch.pipeline.films.run import FilmResult, FilmWish, analyse_films
from posturewatch.pipeline.films.work import FilmTask


@dataclass
class Forgetful:
    """Measures how bright the picture is, smoothed over the last second: what it says of a frame hangs on those before
    it, as the real one's words do. The left hand's flexion is 100 degrees times the brightness; the right is not seen.
    `at_frame` is called with each frame's time."""

    at_frame: Callable[[float], None] = lambda time_s: None

    def build(self, mode: Mode, settings: Settings) -> Built:
        one = _Looking(self.at_frame)
        return Built(one, one, lambda: None)


class _Looking:
    def __init__(self, at_frame: Callable[[float], None]) -> None:
        self._at_frame = at_frame
        self._seen: list[tuple[float, float]] = []

    def observe(self, frame: Frame) -> Observation:
        self._at_frame(frame.time_s)
        self._seen.append((frame.time_s, float(frame.image_bgr.mean()) / 255))
        return Observation(frame.index, frame.time_s, frame.width_px, frame.height_px, (), None)

    def measure(self, seen: Observation) -> FrameMeasurement:
        light = float(np.mean([light for time_s, light in self._seen if time_s > seen.time_s - 1.0]))
        left = HandMeasurement("left", dict.fromkeys(QUANTITY_NAMES, Measurement.of(100 * light, 3.0)))
        right = HandMeasurement.refused("right", QUANTITY_NAMES, Refusal.HAND_NOT_SEEN)
        return FrameMeasurement(seen.frame_index, seen.time_s, left, right)

    def reset(self) -> None:
        self._seen.clear()


def lit_film(path: Path, light: Sequence[float], rate_hz: float = 10.0, **more: Any) -> Path:
    """A film of even pictures, each so bright (0 to 1)."""
    pictures = [np.full((64, 96, 3), round(255 * one), np.uint8) for one in light]
    return write_film(path, [index / rate_hz for index in range(len(light))], pictures=pictures, **more)


def swelling(seconds: float, rate_hz: float = 10.0) -> list[float]:
    """Brightness of a film that is beyond every limit for a while, over and over."""
    times = np.arange(round(seconds * rate_hz)) / rate_hz
    return [float(one) for one in 0.4 + 0.35 * np.sin(2 * np.pi * times / 8.0)]


class Threads:
    """Measures parts beside each other, as processes do; `dies` is asked before each, and may say that its worker is
    gone."""

    def __init__(
        self,
        at_once: int,
        build: Callable[[Mode, Settings], Built],
        dies: Callable[[FilmPart], Exception | None] = lambda part: None,
    ) -> None:
        self.at_once = at_once
        self.renewed = 0
        self._build = build
        self._dies = dies
        self._pool = ThreadPoolExecutor(at_once)

    def submit(self, task: FilmTask, part: FilmPart, settings: Settings) -> Future[MeasuredPart]:
        return self._pool.submit(self._measure, task.path, part, settings)

    def _measure(self, path: Path, part: FilmPart, settings: Settings) -> MeasuredPart:
        death = self._dies(part)
        if death is not None:
            raise death
        # Through the bytes in which parts wait and travel.
        measured = measure_part(path, part, settings, self._build)
        return MeasuredPart.from_bytes(measured.to_bytes())

    def renew(self) -> None:
        self.renewed += 1

    def close(self) -> None:
        self._pool.shutdown()


def settings_and_parts(build: Callable[[Mode, Settings], Built]) -> Parts:
    settings = Settings()
    return Parts(settings, settings.limit_profile(), settings.rules(), build)


def run(
    paths: Sequence[Path], runner: Any, build: Callable[[Mode, Settings], Built], wish: FilmWish, **more: Any
) -> list[FilmResult]:
    found: Iterator[FilmResult] = analyse_films(paths, wish, settings_and_parts(build), runner, **more)
    return list(found)


def rows(folder: Path) -> list[dict[str, str]]:
    with (folder / "samples.csv").open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def summary(folder: Path) -> dict[str, Any]:
    """Without the moment at which it was written."""
    document: dict[str, Any] = json.loads((folder / "summary.json").read_text(encoding="utf-8"))
    del document["analysed_at"]
    return document


def use(monkeypatch: Any, hands: Forgetful) -> Forgetful:
    """From now on the commands look through these."""
    monkeypatch.setattr(assembly, "build", lambda mode, settings, **_: hands.build(mode, settings))
    return hands
