"""Figures of the store: an hour with two hands, a long practice, and a year of daily hours.
`python -m posturewatch.bench.practice_log`.

A year is written into a temporary folder (several hundred megabytes, a minute or two); --days makes it shorter.
"""

from __future__ import annotations

import argparse
import datetime as dt
import json
import math
import multiprocessing
import platform
import statistics
import tempfile
import time
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from posturewatch.config.limit_profiles import DEFAULT_PROFILE, load_profile
from posturewatch.model.observation import SIDES
from posturewatch.model.outcome import Outcome
from posturewatch.model.quantities import QUANTITIES
from posturewatch.review.derived import open_store
from posturewatch.review.entries import PassageChange
from posturewatch.review.practice_log import PracticeLog
from posturewatch.review.trends import local_today
from posturewatch.storage import writer as session_writer
from posturewatch.storage.records import PassageBegin, SessionStart
from posturewatch.storage.samples.batch import SeriesKey
from posturewatch.storage.samples.codec import Samples
from posturewatch.storage.store import Store

__all__ = ["Figure", "main", "write_hours"]

_RATE_HZ = 30.0
_HOUR_S = 3600.0

#: Opened so often; the median counts, since a machine has other things to do as well.
_TIMES = 7

_PIECES = ("Scales", "Nocturne sketch", "Study in thirds")


@dataclass(frozen=True)
class Figure:
    """What was measured, with what is promised of it."""

    name: str
    value: float
    unit: str
    promised: float | None = None

    def line(self) -> str:
        """The figure as one line of the report."""
        if self.promised is None:
            return f"{self.name:<52}{self.value:>10.1f} {self.unit}"
        kept = "kept" if self.value <= self.promised else "NOT KEPT"
        return f"{self.name:<52}{self.value:>10.1f} {self.unit:<4} (promised {self.promised:g}: {kept})"


def write_hours(store: Store, days: int, *, today: dt.date | None = None, length_s: float = _HOUR_S) -> None:
    """Sessions of an hour, or of another length, one a day up to today, of both hands, each with six passages."""
    today = local_today() if today is None else today
    limits = load_profile(DEFAULT_PROFILE)
    random = np.random.default_rng(5)
    variants = [_practice(random, length_s) for _ in range(min(4, days))]
    for place in range(days):
        day = today - dt.timedelta(days=days - 1 - place)
        started = dt.datetime.combine(day, dt.time(12), dt.timezone.utc)
        recorder = store.begin(
            SessionStart(
                "camera 0", "camera", "0", limits, started_at=started.isoformat(timespec="milliseconds")
            )
        )
        with store.writing() as connection:
            (number,) = connection.execute(
                "SELECT number FROM session WHERE id = ?", (recorder.session_id,)
            ).fetchone()
            for samples in _blocks(variants[place % len(variants)], length_s):
                session_writer.save_samples(connection, number, samples)
                session_writer.merge_chunks(connection, number)
            begins = [
                PassageBegin(length_s / 6 * k, _PIECES[k % 3], f"bars {8 * k + 1}-{8 * k + 8}")
                for k in range(6)
            ]
            session_writer.save_events(connection, number, begins)
        recorder.finish(Outcome("stopped", length_s, 0, ()))


def _blocks(several: Mapping[SeriesKey, Samples], length_s: float) -> Iterator[dict[SeriesKey, Samples]]:
    """The samples in stretches as long as those that become one block while a practice is recorded."""
    for start_ms in range(0, round(1000 * length_s) + 1, 1000 * session_writer.MERGE_AT):
        found = {}
        for key, one in several.items():
            inside = slice(
                *np.searchsorted(one.time_ms, (start_ms, start_ms + 1000 * session_writer.MERGE_AT))
            )
            found[key] = Samples(one.time_ms[inside], one.value[inside], one.sd[inside], one.refusal[inside])
        yield found


def _practice(random: np.random.Generator, length_s: float) -> dict[SeriesKey, Samples]:
    """As noisy from frame to frame as the measurement's own deviation allows, which packs worst."""
    count = round(length_s * _RATE_HZ)
    time_ms = np.round(1000 * np.arange(count) / _RATE_HZ + random.normal(0, 2, count)).astype(np.int64)
    time_ms = np.maximum.accumulate(np.maximum(time_ms, 0))
    refusal = np.where(np.sin(time_ms / 6500) > 0.9, 1, 0).astype(np.uint8)
    found: dict[SeriesKey, Samples] = {}
    for side in SIDES:
        for entry in QUANTITIES:
            kept = np.arange(count) if entry.kept_hz is None else _first_of_each(time_ms, entry.kept_hz)
            value = 18 * np.sin(time_ms / random.uniform(1000, 60000)) + random.normal(0, 5, count)
            sd = np.round((6.0 + random.normal(0, 0.5, count)) / entry.sd_step).astype(np.int64)
            found[side, entry.name] = Samples(
                time_ms[kept],
                np.where(refusal, 0, np.round(value / entry.value_step)).astype(np.int64)[kept],
                np.where(refusal, 0, sd)[kept],
                refusal[kept],
            )
    return found


def _first_of_each(time_ms: NDArray[np.int64], rate_hz: float) -> NDArray[np.int64]:
    """Places of the frames that are kept at this rate."""
    first: NDArray[np.int64] = np.unique(np.floor(time_ms / 1000 * rate_hz), return_index=True)[1]
    return first


def _median_ms(act: Callable[[], object]) -> float:
    taken = []
    for _ in range(_TIMES):
        began = time.perf_counter()
        json.dumps(act())
        taken.append(1000 * (time.perf_counter() - began))
    return statistics.median(taken)


def _hour_figures(folder: Path) -> list[Figure]:
    with open_store(folder) as store:
        write_hours(store, 1)
        (info,) = store.sessions()
    bytes_on_disk = sum(path.stat().st_size for path in folder.iterdir())
    with open_store(folder) as store:
        log = PracticeLog(store)
        return [
            Figure("an hour on the disk", bytes_on_disk / 1e6, "MB", 5.0),
            Figure("its summary opens in", _median_ms(lambda: log.summary(info.id)), "ms", 150.0),
            Figure(
                "its page (exposures, finding) opens in",
                _median_ms(lambda: log.session(info.id)),
                "ms",
                150.0,
            ),
            Figure("its trace of 600 bins opens in", _median_ms(lambda: log.trace(info.id, 600)), "ms"),
            Figure("30 s of its samples open in", _median_ms(lambda: log.samples(info.id, 1800, 1830)), "ms"),
            Figure("its page after passages were changed", _after_change_ms(log, info.id), "ms"),
        ]


def _after_change_ms(log: PracticeLog, session_id: str) -> float:
    first = log.session(session_id)["passages"][0]

    def change() -> object:
        log.change_passage(first["id"], PassageChange.read({"bars": "bars 1-4"}))
        return log.session(session_id)

    return _median_ms(change)


def _long_figures(folder: Path, hours: float) -> list[Figure]:
    """Of a long practice's exports, each in a process of its own: what it adds to that one's memory."""
    with open_store(folder) as store:
        write_hours(store, 1, length_s=_HOUR_S * hours)
    found = []
    for ending in ("json", "csv"):
        with ProcessPoolExecutor(1, mp_context=multiprocessing.get_context("spawn")) as process:
            seconds, memory_mb, text_mb = process.submit(_export, folder, ending).result()
        name = f"{hours:g} hours as {ending.upper()}"
        found += [
            Figure(f"{name} ({text_mb:.0f} MB of text) in", seconds, "s"),
            Figure(f"{name}, memory for that", memory_mb, "MB", 50.0),
        ]
    return found


def _export(folder: Path, ending: str) -> tuple[float, float, float]:
    """Seconds, megabytes by which the most memory ever in use grew, and megabytes of text."""
    with open_store(folder) as store:
        log = PracticeLog(store)
        (info,) = store.sessions()
        log.session(info.id)
        export = log.export_json if ending == "json" else log.export_csv
        before_mb, began, size = _most_memory_mb(), time.perf_counter(), 0
        for text in export(info.id):
            size += len(text.encode())
        return time.perf_counter() - began, _most_memory_mb() - before_mb, size / 1e6


def _most_memory_mb() -> float:
    """The most that this process ever had in memory; NaN where the system does not say."""
    status = Path("/proc/self/status")
    if not status.exists():
        return math.nan
    # Of proc_pid_status(5); the resource module's figure is that of whoever began this process, where that is larger.
    (most,) = (line for line in status.read_text(encoding="ascii").splitlines() if line.startswith("VmHWM:"))
    return int(most.split()[1]) * 1024 / 1e6


def _year_figures(folder: Path, days: int) -> list[Figure]:
    with open_store(folder) as store:
        began = time.perf_counter()
        write_hours(store, days)
        each_ms = 1000 * (time.perf_counter() - began) / days
    bytes_on_disk = sum(path.stat().st_size for path in folder.iterdir())
    with open_store(folder) as store:
        log = PracticeLog(store)
        piece = int(log.pieces()[0]["id"])
        return [
            Figure(f"{days} daily hours on the disk", bytes_on_disk / 1e6, "MB"),
            Figure("each closed, with summary and exposures, in", each_ms, "ms"),
            Figure("trends open in", _median_ms(lambda: log.trends(weeks=53)), "ms", 500.0),
            Figure("the list of sessions opens in", _median_ms(log.sessions), "ms"),
            Figure("the list of pieces opens in", _median_ms(log.pieces), "ms"),
            Figure("the page of a piece opens in", _median_ms(lambda: log.piece(piece)), "ms"),
            Figure("where the data lie opens in", _median_ms(log.data), "ms"),
        ]


def main() -> int:
    """Prints the figures; 1 where one is not what is promised."""
    parser = argparse.ArgumentParser(description="Figures of the store, in a temporary folder.")
    parser.add_argument("--days", type=int, default=365, help="hours kept, one a day (default: 365)")
    parser.add_argument("--hours", type=float, default=8.0, help="length of the long practice (default: 8)")
    args = parser.parse_args()
    print(f"{platform.platform()}, Python {platform.python_version()}, median of {_TIMES}")
    missed = 0
    for measure in (
        _hour_figures,
        lambda folder: _long_figures(folder, args.hours),
        lambda folder: _year_figures(folder, args.days),
    ):
        with tempfile.TemporaryDirectory(prefix="posturewatch-") as folder:
            for figure in measure(Path(folder)):
                print(figure.line(), flush=True)
                missed += figure.promised is not None and figure.value > figure.promised
    return 1 if missed else 0


if __name__ == "__main__":
    raise SystemExit(main())
