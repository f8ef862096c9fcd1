"""Videos: how time is used, fitted on the calibration videos and scored on the test videos.

    python -m calibration.evaluate.videos --data DIR

prints the rules for `kinematics.temporal_estimator.TimeRules` that fit the calibration videos (`calvideo-*.npz`) best.
"""

from __future__ import annotations

import argparse
import itertools
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from calibration.dataset.rows import FRAMES_A_VIDEO
from calibration.dataset.table import Columns, makers_hfov_deg, observation_of, read
from calibration.evaluate.weights import read_weights
from posturewatch.comfort.rules import WatchRules
from posturewatch.comfort.watch import Watch
from posturewatch.config.limit_profiles import load_profile
from posturewatch.kinematics.estimator import Estimator, RefusalRules
from posturewatch.kinematics.network import COVERAGE_Z, Ensemble
from posturewatch.kinematics.temporal_estimator import KalmanBank, TimeRules
from posturewatch.model.arrays import Array
from posturewatch.model.measurement import FrameMeasurement, HandMeasurement, Measurement, Refusal
from posturewatch.model.observation import SIDES, Side
from posturewatch.model.quantities import QUANTITY_NAMES, Quantity, in_group, quantity
from posturewatch.model.verdict import Excursion

__all__ = ["IN_VIEW", "Run", "held", "runs", "told_at_best", "video_report"]

IN_VIEW = 0.8  # share of a hand's landmarks in the picture and unhidden, from which it counts as in view
_EXACT_SD = 0.2  # of what is taken for known exactly
EITHER: frozenset[Side] = frozenset({"left", "right"})


@dataclass(frozen=True)
class Run:
    """One hand through one video. time_s (n,); in_view (n,) whether a camera can be asked for it; true, value, sd
    (n, FOLLOWED): degrees and millimetres, NaN where nothing is known, or was reported. hand_frame: (n, 3, 3) how the
    camera saw the hand (`features.hand_frame`), NaN where it is not known."""

    side: str
    fretting: bool
    time_s: Array
    in_view: NDArray[np.bool_]
    true: Array
    value: Array
    sd: Array
    hand_frame: Array | None = None

    def frames(self) -> Array:
        """(n, 3, 3) `hand_frame`, whether it is known or not."""
        return np.full((len(self.time_s), 3, 3), np.nan) if self.hand_frame is None else self.hand_frame


#: What is scored on videos, in the order of a run's columns.
FOLLOWED: tuple[Quantity, ...] = (
    *in_group("wrist"),
    *(entry for entry in in_group("finger") if entry.family == "finger_lift"),
)
WRIST, LIFTS = slice(0, 2), slice(2, 6)


def _single(columns: Columns, estimator: Estimator, stated: bool) -> dict[int, Array]:
    """(FOLLOWED, 2) value and sd of each row that is a found hand and not refused outright. stated: whether the
    camera's field of view is known."""
    out = {}
    hfov_deg = makers_hfov_deg(columns)
    for row in np.flatnonzero(columns["found"]):
        observation = observation_of(columns, int(row))
        looking = estimator.through(float(hfov_deg[row])) if stated else estimator
        estimate = looking.estimate(observation, observation.hands[0])
        if estimate.refusal is None:
            out[int(row)] = np.array(
                [estimate.values.get(entry.output, (np.nan, np.nan)) for entry in FOLLOWED]
            )
    return out


def runs(columns: Columns, estimator: Estimator, stated: bool = False) -> Iterator[Run]:
    """estimator: one for which every hand may fret (`EITHER`), so that lifts are among what it gives.

    Each hand of each video, frame by frame; a hand under the wrong side counts as measured there, as it would be."""
    single = _single(columns, estimator, stated)
    at = {
        (int(frame), int(side)): int(row)
        for row, (frame, side, found) in enumerate(
            zip(columns["frame"], columns["side"], columns["found"], strict=True)
        )
        if found
    }
    video_of = columns["t_frame"] // FRAMES_A_VIDEO
    for video in np.unique(video_of):
        for side in (0, 1):
            rows = np.flatnonzero((video_of == video) & (columns["t_side"] == side))
            rows = rows[np.argsort(columns["t_frame"][rows])]
            values = np.full((len(rows), len(FOLLOWED), 2), np.nan)
            for k, frame in enumerate(columns["t_frame"][rows]):
                row = at.get((int(frame), side))
                if row is not None and row in single:
                    values[k] = single[row]
            fretting = bool(columns["t_fretting"][rows[0]])
            if not fretting:  # lifts from the strings are those of the fretting hand
                values[:, LIFTS] = np.nan
            lifts = columns["t_lifts"][rows] if fretting else np.full((len(rows), 4), np.nan)
            true = np.concatenate([columns["t_angles"][rows], lifts], axis=1).astype(float)
            time_s = columns["t_time_s"][rows].astype(float)
            in_view = columns["t_visible"][rows] >= IN_VIEW
            yield Run(SIDES[side], fretting, time_s, in_view, true, values[..., 0], values[..., 1])


def joined(run: Run, rules: TimeRules) -> Run:
    """The same run with time used."""
    value, sd = np.full_like(run.value, np.nan), np.full_like(run.sd, np.nan)
    bank = KalmanBank(rules, [entry.output for entry in FOLLOWED])
    for n, time_s in enumerate(run.time_s):
        value[n], sd[n] = bank.update(run.value[n], run.sd[n], float(time_s))
    return replace(run, value=value, sd=sd)


def _reported(run: Run, rules: RefusalRules) -> NDArray[np.bool_]:
    """(n, FOLLOWED) whether a number is reported."""
    most = np.array([rules.max_sd(entry) for entry in FOLLOWED])
    return np.isfinite(run.value) & (run.sd <= most)


def _line(name: str, some: list[Run], rules: RefusalRules, which: slice) -> str:
    """Of all numbers of some quantities with a known truth: share reported of those in view, errors and coverage."""
    error = np.concatenate([np.abs(run.value - run.true)[:, which] for run in some])
    sd = np.concatenate([run.sd[:, which] for run in some])
    known = np.isfinite(np.concatenate([run.true[:, which] for run in some]))
    reported = np.concatenate([_reported(run, rules)[:, which] for run in some]) & known
    asked = known & np.concatenate([run.in_view for run in some])[:, None]
    cells = []
    columns = {"flexion": [0], "deviation": [1]} if which == WRIST else {"lift": [0, 1, 2, 3]}
    for what, at in columns.items():
        e, s = error[:, at][reported[:, at]], sd[:, at][reported[:, at]]
        if len(e):
            inside = (e <= COVERAGE_Z * s).mean()
            cells.append(
                f"{what} {e.mean():5.1f} {np.median(e):5.1f} {np.percentile(e, 90):5.1f}  in 90 % {inside:5.1%}"
            )
    share = (reported & asked).sum() / max(asked.sum(), 1)
    return f"{name:24s} {share:6.1%} of {asked.sum():6d}  {'  '.join(cells)}"


def excursions(run: Run, reported: NDArray[np.bool_]) -> list[Excursion]:
    """The excursions beyond an extreme limit that the player would be warned of, were fingers warned of too."""
    watch = Watch(load_profile("carpal-pressure"), _rules())
    closed: list[Excursion] = []
    for n, time_s in enumerate(run.time_s):
        values = {name: Measurement.refused(Refusal.HAND_NOT_SEEN) for name in QUANTITY_NAMES}
        for k, entry in enumerate(FOLLOWED):
            if reported[n, k]:
                values[entry.name] = Measurement.of(run.value[n, k], run.sd[n, k])
        this = HandMeasurement(run.side, values)  # type: ignore[arg-type]
        other_side: Side = "right" if run.side == "left" else "left"
        other = HandMeasurement.refused(other_side, QUANTITY_NAMES, Refusal.HAND_NOT_SEEN)
        left, right = (this, other) if run.side == "left" else (other, this)
        closed.extend(watch.update(FrameMeasurement(n, float(time_s), left, right)).closed)
    closed.extend(watch.finish(float(run.time_s[-1])))
    return [one for one in closed if one.warned_s is not None]


def _rules() -> WatchRules:
    return WatchRules(warn_sides=SIDES, warn_groups=("wrist", "finger"))


def _overlap(a: Excursion, b: Excursion) -> bool:
    same = (a.quantity, a.direction) == (b.quantity, b.direction)
    return same and min(a.end_s or 0, b.end_s or 0) - max(a.start_s, b.start_s) > 0


def _exact(run: Run) -> Run:
    return replace(run, value=run.true, sd=np.full_like(run.true, _EXACT_SD))


def held(some: list[Run], rules: RefusalRules, group: str) -> str:
    """A true hold is one that would be warned of if everything were known exactly while the hand is in view; a warning
    is true where the true value was beyond the limit for most of its excursion."""
    names = [entry.name for entry in FOLLOWED]
    warned = right = holds = caught = 0
    for run in some:
        true, seen = _exact(run), np.isfinite(run.true) & run.in_view[:, None]
        exact = [e for e in excursions(true, seen) if quantity(e.quantity).group == group]
        ours = [e for e in excursions(run, _reported(run, rules)) if quantity(e.quantity).group == group]
        warned += len(ours)
        holds += len(exact)
        caught += sum(any(_overlap(one, other) for other in ours) for one in exact)
        for one in ours:
            during = (run.time_s >= one.start_s) & (run.time_s <= (one.end_s or 0))
            sign = quantity(one.quantity).sign(one.direction)
            values = sign * run.true[during, names.index(one.quantity)]
            right += bool(np.nanmean(values > one.limit) > 0.5)
    return (
        f"{warned} warnings, {right} of them true (precision {right / max(warned, 1):.2f}); "
        f"{holds} true holds, {caught} warned of (recall {caught / max(holds, 1):.2f})"
    )


def told_at_best(some: list[Run], rules: RefusalRules, group: str) -> str:
    """As `held`, were every number that is given the true one: what no better measurement of these frames could tell
    is held where there is no number."""
    best = []
    for run in some:
        given = _reported(run, rules)
        best.append(
            replace(run, value=np.where(given, run.true, np.nan), sd=np.where(given, _EXACT_SD, np.nan))
        )
    return held(best, rules, group)


def video_report(
    folder: Path, split: str, ensemble: Ensemble, rules: RefusalRules, stated: bool = False
) -> None:
    """Errors on videos, frame by frame and with time used, and what was held. stated: whether the camera's field of
    view is known."""
    all_runs = list(runs(read(folder, split), Estimator(ensemble, rules=rules, fretting=EITHER), stated))
    print(
        "\nVideos: share reported of what is in view, then mean, median, 90th percentile of the absolute error, and "
        "interval coverage"
    )
    for name, fretting in (("fretting", True), ("plucking", False)):
        some = [run for run in all_runs if run.fretting == fretting]
        if not some:
            continue
        timed = [joined(run, TimeRules()) for run in some]
        for which in (WRIST, LIFTS) if fretting else (WRIST,):
            print(_line(f"{name}, frame by frame", some, rules, which))
            print(_line(f"{name}, with time", timed, rules, which))
        print(f"{name}, held extreme angles: {held(timed, rules, 'wrist')}")
        print(
            f"{name}, held extreme angles, were every number that is given true: {told_at_best(timed, rules, 'wrist')}"
        )
        if fretting:
            print(f"{name}, fingers held high: {held(timed, rules, 'finger')}")


def fit(some: list[Run]) -> TimeRules:
    """The rules with the least mean absolute error, then the factors that make 90 % intervals hold 90 %."""
    best: tuple[float, TimeRules] | None = None
    for share, speed in itertools.product((0.1, 0.2, 0.35, 0.5, 0.7), (15.0, 25.0, 40.0, 60.0, 90.0)):
        rules = TimeRules(jitter_share=share, speed=speed, factor=1.0, lift_factor=1.0)
        timed = [joined(run, rules) for run in some]
        error = np.abs(np.concatenate([run.value - run.true for run in timed]))
        sd = np.concatenate([run.sd for run in timed])
        mean = float(np.nanmean(error[:, WRIST]))
        if best is None or mean < best[0]:
            factors = [
                float(np.nanquantile(error[:, k] / sd[:, k], 0.9)) / COVERAGE_Z for k in (WRIST, LIFTS)
            ]
            best = (mean, replace(rules, factor=factors[0], lift_factor=factors[1]))
            print(f"mean error {mean:.2f} deg with {best[1]}")
    if best is None:
        raise SystemExit("There are no videos to fit.")
    return best[1]


def main() -> None:

    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--data", type=Path, required=True)
    parser.add_argument("--weights", type=Path)
    args = parser.parse_args()
    estimator = Estimator(Ensemble(read_weights(args.weights)), fretting=EITHER)
    fit(list(runs(read(args.data, "calvideo"), estimator)))


if __name__ == "__main__":
    main()
