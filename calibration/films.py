"""Films: how time is used, fitted on the calibration films and scored on the test films.

    python -m calibration.films --data DIR

prints the rules for `kinematics.over_time.TimeRules` that fit the calibration films (`calfilm-*.npz`) best.
"""

from __future__ import annotations

import argparse
import itertools
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from calibration.table import Columns, observation_of, read
from posturewatch.comfort.rules import WatchRules
from posturewatch.comfort.verdict import Excursion
from posturewatch.comfort.watch import Watch
from posturewatch.kinematics.estimator import Estimator, RefusalRules
from posturewatch.kinematics.network import COVERAGE_Z, Ensemble
from posturewatch.kinematics.over_time import Follower, TimeRules
from posturewatch.measurement import FrameMeasurement, HandMeasurement, Measurement, Refusal
from posturewatch.profiles import load_profile
from posturewatch.quantities import QUANTITY_NAMES, quantity

__all__ = ["Run", "film_report", "runs"]

FRAMES_A_FILM = 10_000  # how `calibration.dataset` numbers the frames of films
Array = NDArray[np.float64]
SIDES = ("left", "right")


@dataclass(frozen=True)
class Run:
    """One hand through one film. time_s (n,); true (n, 2) degrees; value, sd (n, 2), NaN where nothing was given."""

    side: str
    fretting: bool
    time_s: Array
    true: Array
    value: Array
    sd: Array


def _single(columns: Columns, estimator: Estimator) -> dict[int, tuple[float, float, float, float]]:
    """(flexion, sd, deviation, sd) of each row that is a found hand and not refused outright."""
    out = {}
    for row in np.flatnonzero(columns["found"]):
        observation = observation_of(columns, int(row))
        estimate = estimator.estimate(observation, observation.hands[0])
        if estimate.refusal is None:
            pairs = [estimate.values[name] for name in QUANTITY_NAMES[:2]]
            out[int(row)] = (*pairs[0], *pairs[1])
    return out


def runs(columns: Columns, estimator: Estimator) -> Iterator[Run]:
    """Each hand of each film, frame by frame; a hand under the wrong side counts as measured there, as it would be."""
    single = _single(columns, estimator)
    at = {
        (int(frame), int(side)): int(row)
        for row, (frame, side, found) in enumerate(
            zip(columns["frame"], columns["side"], columns["found"], strict=True)
        )
        if found
    }
    film_of = columns["t_frame"] // FRAMES_A_FILM
    for film in np.unique(film_of):
        for side in (0, 1):
            rows = np.flatnonzero((film_of == film) & (columns["t_side"] == side))
            rows = rows[np.argsort(columns["t_frame"][rows])]
            frames = columns["t_frame"][rows]
            values = np.full((len(rows), 4), np.nan)
            for k, frame in enumerate(frames):
                row = at.get((int(frame), side))
                if row is not None and row in single:
                    values[k] = single[row]
            yield Run(
                SIDES[side],
                bool(columns["t_fretting"][rows[0]]),
                columns["t_time_s"][rows].astype(float),
                columns["t_angles"][rows].astype(float),
                values[:, [0, 2]],
                values[:, [1, 3]],
            )


def joined(run: Run, rules: TimeRules) -> Run:
    """The same run with time used."""
    value, sd = np.full_like(run.value, np.nan), np.full_like(run.sd, np.nan)
    for k in (0, 1):
        follower = Follower(rules)
        for n in range(len(run.time_s)):
            if np.isfinite(run.value[n, k]):
                value[n, k], sd[n, k] = follower.update(run.value[n, k], run.sd[n, k], run.time_s[n])
    return Run(run.side, run.fretting, run.time_s, run.true, value, sd)


def _line(name: str, some: list[Run], max_sd_deg: float) -> str:
    error = np.concatenate([run.value - run.true for run in some])
    sd = np.concatenate([run.sd for run in some])
    kept = np.isfinite(error).all(1) & (sd <= max_sd_deg).all(1)
    cells = []
    for k, what in enumerate(("flexion", "deviation")):
        e = np.abs(error[kept, k])
        inside = (e <= COVERAGE_Z * sd[kept, k]).mean()
        cells.append(
            f"{what} {e.mean():5.1f} {np.median(e):5.1f} {np.percentile(e, 90):5.1f}  in 90 % {inside:5.1%}"
        )
    return f"{name:24s} {kept.mean():6.1%} of {len(kept):6d}  {'  '.join(cells)}"


def excursions(run: Run, value: Array, sd: Array, max_sd_deg: float) -> list[Excursion]:
    """The excursions beyond an extreme limit that the player would be warned of."""
    watch = Watch(load_profile("carpal-pressure"), _rules())
    closed: list[Excursion] = []
    for n, time_s in enumerate(run.time_s):
        values = {
            name: Measurement.of(value[n, k], sd[n, k])
            if k < 2 and np.isfinite(value[n, k]) and sd[n, k] <= max_sd_deg
            else Measurement.refused(Refusal.HAND_NOT_SEEN)
            for k, name in enumerate(QUANTITY_NAMES)
        }
        this = HandMeasurement(run.side, values)  # type: ignore[arg-type]
        other_side = "right" if run.side == "left" else "left"
        other = HandMeasurement.refused(other_side, QUANTITY_NAMES, Refusal.HAND_NOT_SEEN)
        left, right = (this, other) if run.side == "left" else (other, this)
        closed.extend(watch.update(FrameMeasurement(n, float(time_s), left, right)).closed)
    closed.extend(watch.finish(float(run.time_s[-1])))
    return [one for one in closed if one.warned_s is not None]


def _rules() -> WatchRules:
    return WatchRules(warn_sides=("left", "right"))


def _overlap(a: Excursion, b: Excursion) -> bool:
    same = (a.quantity, a.direction) == (b.quantity, b.direction)
    return same and min(a.end_s or 0, b.end_s or 0) - max(a.start_s, b.start_s) > 0


def _held(some: list[Run], max_sd_deg: float) -> tuple[int, int, int, int]:
    """(warned, of them true, true holds, of them warned). A true hold is one that would be warned of if the angles
    were known exactly; a warning is true where the true angle was beyond the limit for most of its excursion."""
    warned = right = holds = caught = 0
    for run in some:
        exact = excursions(run, run.true, np.full_like(run.true, 0.2), max_sd_deg)
        ours = excursions(run, run.value, run.sd, max_sd_deg)
        warned += len(ours)
        holds += len(exact)
        caught += sum(any(_overlap(one, other) for other in ours) for one in exact)
        for one in ours:
            k = QUANTITY_NAMES.index(one.quantity)
            during = (run.time_s >= one.start_s) & (run.time_s <= (one.end_s or 0))
            beyond = quantity(one.quantity).sign(one.direction) * run.true[during, k] > one.limit
            right += bool(beyond.mean() > 0.5)
    return warned, right, holds, caught


def film_report(folder: Path, split: str, ensemble: Ensemble, rules: RefusalRules) -> None:
    """Errors on films, frame by frame and with time used, and the held excursions."""
    all_runs = list(runs(read(folder, split), Estimator(ensemble, rules=rules)))
    print(
        "\nFilms: share measured, then mean, median, 90th percentile of the absolute error, and interval coverage"
    )
    both = [
        ("fretting", [r for r in all_runs if r.fretting]),
        ("plucking", [r for r in all_runs if not r.fretting]),
    ]
    for name, some in both:
        if not some:
            continue
        timed = [joined(run, TimeRules()) for run in some]
        print(_line(f"{name}, frame by frame", some, rules.max_sd_deg))
        print(_line(f"{name}, with time", timed, rules.max_sd_deg))
        warned, right, holds, caught = _held(timed, rules.max_sd_deg)
        print(
            f"{name}, held extreme angles: {warned} warnings, {right} of them true "
            f"(precision {right / max(warned, 1):.2f}); "
            f"{holds} true holds, {caught} warned of (recall {caught / max(holds, 1):.2f})"
        )


def fit(some: list[Run]) -> TimeRules:
    """The rules with the least mean absolute error, then the factor that makes 90 % intervals hold 90 %."""
    best: tuple[float, TimeRules] | None = None
    for share, speed in itertools.product((0.1, 0.2, 0.35, 0.5, 0.7), (15.0, 25.0, 40.0, 60.0, 90.0)):
        rules = TimeRules(jitter_share=share, speed=speed)
        timed = [joined(run, rules) for run in some]
        error = np.abs(np.concatenate([run.value - run.true for run in timed]))
        mean = float(np.nanmean(error))
        if best is None or mean < best[0]:
            ratio = (error / np.concatenate([run.sd for run in timed])).ravel()
            factor = float(np.nanquantile(ratio, 0.9)) / COVERAGE_Z
            best = (mean, TimeRules(jitter_share=share, speed=speed, factor=factor))
    if best is None:
        raise SystemExit("There are no films to fit.")
    print(f"least mean error {best[0]:.2f} deg with {best[1]}")
    return best[1]


def main() -> None:
    from calibration.evaluate import read_weights

    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--data", type=Path, required=True)
    parser.add_argument("--weights", type=Path)
    args = parser.parse_args()
    estimator = Estimator(Ensemble(read_weights(args.weights)))
    fit(list(runs(read(args.data, "calfilm"), estimator)))


if __name__ == "__main__":
    main()
