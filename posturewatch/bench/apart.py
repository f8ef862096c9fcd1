"""A live run in a process of its own: its memory, threads and handles are those of the program alone."""

from __future__ import annotations

import multiprocessing
import tempfile
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from posturewatch.bench.benchmark import measure_live
from posturewatch.bench.figures import LiveFigures
from posturewatch.bench.program import make_bench, with_clips
from posturewatch.pipeline.build import load_parts
from posturewatch.review.derived import open_store

__all__ = ["LiveRun", "measure_apart"]


@dataclass(frozen=True)
class LiveRun:
    """What is played, how long, and with what.

    Attributes
    ----------
    settings, profile
        As `posturewatch.pipeline.build.load_parts` takes them.
    video
        Played as a live camera.
    seconds
        After warming up.
    clips
        Whether clips are kept.
    """

    settings: Path | None
    profile: str | None
    video: Path
    seconds: float
    clips: bool


def measure_apart(run: LiveRun) -> LiveFigures:
    """The run's figures, from a fresh process on the cores that this one may use.

    Raises
    ------
    UnavailableError
        Where the session fails.
    """
    with ProcessPoolExecutor(1, mp_context=multiprocessing.get_context("spawn")) as process:
        return process.submit(_measure, run).result()


def _measure(run: LiveRun) -> LiveFigures:
    parts = load_parts(run.settings, run.profile)
    with tempfile.TemporaryDirectory(prefix="posturewatch-") as folder, open_store(Path(folder)) as store:
        bench = make_bench(parts, store)
        if run.clips:
            bench = with_clips(bench, parts, store)
        return measure_live(bench, run.video, seconds=run.seconds)
