"""Many short films through one worker and through two: `python -m posturewatch.bench.many_films --films 200`.

The films are cut out of the bundled one by ffmpeg, which has to be installed. They are measured in blocks, by one
process and by two in turns, so that both have the machine as it is; told are films a minute, the ratio, and whether the
memory of this process and of its workers grows over the films.
"""

from __future__ import annotations

import argparse
import shutil
import statistics
import tempfile
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from posturewatch.bench.film_kinds import cut
from posturewatch.bench.probes import memory_mb
from posturewatch.pipeline.build import Parts, load_parts
from posturewatch.pipeline.films.run import FilmWish, analyse_films
from posturewatch.pipeline.films.workers import Processes

__all__ = ["main"]

#: Films that are cut out; more are the same ones again.
_CUTS = 12

#: Films that one number of workers measures before the other's turn.
_BLOCK = 10


@dataclass
class _Measured:
    """minutes, films: by each turn; own_mb, workers_mb: after each film."""

    minutes: list[float] = field(default_factory=list)
    films: list[int] = field(default_factory=list)
    own_mb: list[float] = field(default_factory=list)
    workers_mb: list[float] = field(default_factory=list)

    @property
    def per_minute(self) -> list[float]:
        return [films / minutes for films, minutes in zip(self.films, self.minutes, strict=True)]


def _measure(parts: Parts, runner: Processes, films: Sequence[Path], folder: Path, into: _Measured) -> None:
    began = time.monotonic()
    for result in analyse_films(films, FilmWish(folder=folder, several=True), parts, runner):
        if result.fault is not None:
            raise result.fault
        own, workers = memory_mb(), _workers_mb(runner)
        if own is not None:
            into.own_mb.append(own)
        if workers is not None:
            into.workers_mb.append(workers)
    into.minutes.append((time.monotonic() - began) / 60)
    into.films.append(len(films))


def _workers_mb(runner: Processes) -> float | None:
    """Of the largest worker; None where the system does not say."""
    found = []
    for identity in runner.process_ids:
        status = Path(f"/proc/{identity}/status")
        if status.exists():
            lines = status.read_text(encoding="ascii").splitlines()
            found += [int(line.split()[1]) * 1024 / 1e6 for line in lines if line.startswith("VmRSS:")]
    return max(found, default=None)


def _turn(found: Mapping[int, _Measured]) -> str:
    """How it went up to now."""
    said = [
        f"{jobs}: {one.per_minute[-1]:.1f} a minute, {one.own_mb[-1]:.0f} + {one.workers_mb[-1]:.0f} MB"
        for jobs, one in found.items()
        if one.own_mb and one.workers_mb
    ]
    return f"{sum(found[1].films):>5} films   " + "   ".join(said)


def _growth(name: str, seen: Sequence[float]) -> str:
    """MB at the beginning and end, and MB for each further hundred films (a line through all but the first tenth)."""
    late = seen[len(seen) // 10 :]
    if len(late) < 3:
        return f"  {name}: too few films to say"
    slope, _ = statistics.linear_regression(range(len(late)), late)
    return (
        f"  {name}: {late[0]:.0f} MB, {late[-1]:.0f} MB at the end, {100 * slope:+.1f} MB for a hundred films"
    )


def main(argv: Sequence[str] | None = None) -> int:
    """Prints the figures; 1 where ffmpeg is not there."""
    parser = argparse.ArgumentParser(description="Throughput and memory of many short films.")
    parser.add_argument("--films", type=int, default=200, help="by each number of workers (default: 200)")
    parser.add_argument("--seconds", type=float, default=2.0, help="length of each (default: 2)")
    args = parser.parse_args(argv)
    if shutil.which("ffmpeg") is None:
        print("ffmpeg has to be installed for this.")
        return 1
    parts = load_parts(None, None)
    found = {1: _Measured(), 2: _Measured()}
    with tempfile.TemporaryDirectory(prefix="posturewatch-") as name:
        folder = Path(name)
        films = _films(folder, args.films, args.seconds)
        runners = {jobs: Processes(jobs) for jobs in found}
        try:
            for jobs, runner in runners.items():
                # The models' first loading, which takes many times as long as all later ones.
                _measure(parts, runner, films[:jobs], folder / f"warm {jobs}", _Measured())
            for start in range(0, len(films), _BLOCK):
                for jobs, runner in runners.items():
                    out = folder / f"{jobs} {start}"
                    _measure(parts, runner, films[start : start + _BLOCK], out, found[jobs])
                    shutil.rmtree(out)
                print(_turn(found), flush=True)
        finally:
            for runner in runners.values():
                runner.close()
    for jobs, one in found.items():
        count = sum(one.films)
        print(f"workers: {jobs}; films: {count}, {count / sum(one.minutes):.1f} a minute")
        print(_growth("this process", one.own_mb))
        print(_growth("largest worker", one.workers_mb))
    ratios = [two / one for one, two in zip(found[1].per_minute, found[2].per_minute, strict=True)]
    print(
        f"two workers against one, in the middle of {len(ratios)} turns: {statistics.median(ratios):.2f} times"
    )
    return 0


def _films(folder: Path, count: int, seconds: float) -> list[Path]:
    cuts = []
    for number in range(min(_CUTS, count)):
        cuts.append(folder / f"cut {number}.mp4")
        cut(cuts[-1], 3.0 * number, 3.0 * number + seconds)
    films = []
    for number in range(count):
        films.append(folder / f"film {number:04d}.mp4")
        shutil.copyfile(cuts[number % len(cuts)], films[-1])
    return films


if __name__ == "__main__":
    raise SystemExit(main())
