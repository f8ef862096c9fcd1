"""How much a held neutral takes off the error, on rendered players.

    python -m calibration.evaluate.neutral

In each rendered video the three seconds nearest to a straight wrist are taken for the held neutral, and those nearest
to either end of the video's movement for end positions known from before. The player is taken to hold straight to 5
degrees and to know the ends to 6, by chance numbers; the error is that of all other frames. The rules were chosen on
videos of even number. DIR as for `calibration.evaluate`.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from calibration.dataset.table import read
from calibration.evaluate.shown import shown_runs
from calibration.evaluate.videos import EITHER, Run
from calibration.evaluate.weights import read_weights
from posturewatch.comfort.own_range import End
from posturewatch.comfort.personal import limits_from_range
from posturewatch.config.limit_profiles import DEFAULT_PROFILE, load_profile
from posturewatch.config.resources import calibration_dir
from posturewatch.kinematics.estimator import Estimator
from posturewatch.kinematics.network import COVERAGE_Z, Ensemble
from posturewatch.kinematics.view_bias import STRAIGHT_SD_DEG, Reference, ViewBias
from posturewatch.model.arrays import Array
from posturewatch.model.measurement import Measurement

__all__ = ["Removed", "lines", "removed_biases"]

HOLD_S, END_SD_DEG, TRIES = 3.0, 6.0, 5
_STEADY_DEG, _LEAST_FRAMES = 25.0, 20

#: A player who bends less than this in a video shows no end.
_LEAST_END_DEG = 10.0


@dataclass(frozen=True)
class Removed:
    """One wrist angle of one hand of one video: mean absolute and constant error, and coverage of 90 % intervals,
    before, with the neutral, and with the ends too."""

    video: int
    error: tuple[float, float, float]
    constant: tuple[float, float, float]
    inside: tuple[float, float, float]


def _windows(run: Run, place: int) -> Iterator[NDArray[np.bool_]]:
    """Holds with numbers in most of their frames, in which the true angle stays about the same."""
    known = np.isfinite(run.value[:, place]) & np.isfinite(run.true[:, place])
    for start_s in run.time_s[run.time_s <= run.time_s[-1] - HOLD_S]:
        inside = (run.time_s >= start_s) & (run.time_s < start_s + HOLD_S)
        if known[inside].mean() >= 0.7 and np.ptp(run.true[inside & known, place]) <= _STEADY_DEG:
            yield inside & known


def _reference(
    run: Run, place: int, rows: NDArray[np.bool_], sd_deg: float, rng: np.random.Generator
) -> Reference:
    true = float(run.true[rows, place].mean()) + float(rng.normal(0, sd_deg))
    return Reference(
        true, sd_deg, float(run.value[rows, place].mean()), float(np.median(run.sd[rows, place]))
    )


def removed_biases(runs: Sequence[Run], tries: int = TRIES) -> Iterator[Removed]:
    """Every wrist angle with a hold, several times with other chance numbers. Runs come in pairs, a video's hands."""
    rng = np.random.default_rng(1)
    for number, run in enumerate(runs):
        for place in (0, 1):
            windows = list(_windows(run, place))
            known = np.isfinite(run.value[:, place]) & np.isfinite(run.true[:, place])
            if not windows:
                continue
            means = [float(run.true[rows, place].mean()) for rows in windows]
            neutral, low, high = (
                windows[int(np.argmin(by))] for by in (np.abs(means), means, np.negative(means))
            )
            rest = known & ~neutral & ~low & ~high
            if rest.sum() < _LEAST_FRAMES:
                continue
            for _ in range(tries):
                straight = _reference(run, place, neutral, STRAIGHT_SD_DEG, rng)
                ends = [_reference(run, place, rows, END_SD_DEG, rng) for rows in (low, high)]
                ways = (None, ViewBias([straight]), ViewBias([straight, *ends]))
                yield Removed(number // 2, *_scored(run, place, rest, ways))


Three = tuple[float, float, float]


def _scored(
    run: Run, place: int, rest: NDArray[np.bool_], ways: Sequence[ViewBias | None]
) -> tuple[Three, Three, Three]:
    error, constant, inside = [], [], []
    for bias in ways:
        made = [
            Measurement.of(value, sd) if bias is None else bias.removed(Measurement.of(value, sd))
            for value, sd in zip(run.value[rest, place], run.sd[rest, place], strict=True)
        ]
        off: Array = np.array([one.value for one in made], float) - run.true[rest, place]
        error.append(float(np.abs(off).mean()))
        constant.append(abs(float(off.mean())))
        inside.append(float((np.abs(off) <= COVERAGE_Z * np.array([one.sd for one in made], float)).mean()))
    return tuple(error), tuple(constant), tuple(inside)  # type: ignore[return-value]


def lines(found: Sequence[Removed]) -> list[str]:
    """Means over all wrist angles: as measured, with the neutral, with the ends too."""
    out = []
    for name, some in (
        ("all videos", found),
        ("those that the rules were chosen on", [one for one in found if one.video % 2 == 0]),
        ("the others", [one for one in found if one.video % 2 == 1]),
    ):
        error, constant, inside = (
            np.mean([getattr(one, what) for one in some], axis=0) for what in ("error", "constant", "inside")
        )
        out.append(
            f"{name}: {len(some) // TRIES} wrist angles; as measured, with the neutral, with the ends too"
        )
        out.append(f"  mean error {error[0]:.2f} {error[1]:.2f} {error[2]:.2f} degrees")
        out.append(f"  constant part of it {constant[0]:.2f} {constant[1]:.2f} {constant[2]:.2f} degrees")
        out.append(f"  truth inside the 90 % interval {inside[0]:.1%} {inside[1]:.1%} {inside[2]:.1%}")
    return out


def limit_lines(runs: Sequence[Run], players: int = 3) -> list[str]:
    """Personal limits of some rendered players: from the ends of flexion and extension as measured, and as they are."""
    profile, out = load_profile(DEFAULT_PROFILE), []
    for number, run in enumerate(runs):
        means = {
            direction: [
                (float(sign * run.value[rows, 0].mean()), float(sign * run.true[rows, 0].mean()))
                for rows in _windows(run, 0)
            ]
            for direction, sign in (("flexion", 1), ("extension", -1))
        }
        ends = {direction: max(some, key=lambda pair: pair[1]) for direction, some in means.items() if some}
        if len(ends) < 2 or min(pair[1] for pair in ends.values()) < _LEAST_END_DEG:
            continue
        for direction, pair in ends.items():
            measured, true = (
                limits_from_range(profile, [End("left", "wrist_flexion", direction, value, 5.0, "")])[
                    "wrist_flexion", direction, "extreme"
                ]
                for value in pair
            )
            published = profile.limit("wrist_flexion", direction, "extreme")
            most = float("inf") if published is None else published.value
            out.append(
                f"  player {number}: {direction} up to {pair[0]:.0f} degrees measured, {pair[1]:.0f} true; extreme "
                f"limit {min(measured, most):.1f}, with the truth {min(true, most):.1f}, published {most:.1f}"
            )
        if len(out) >= 2 * players:
            break
    return ["personal limits of rendered players, 70 % of the largest hold in their videos", *out]


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--data", type=Path, default=calibration_dir() / "evaluate" / "data")
    args = parser.parse_args()
    estimator = Estimator(Ensemble(read_weights(None)), fretting=EITHER)
    runs = list(shown_runs(read(args.data, "testvideo"), estimator))
    print("\n".join([*lines(list(removed_biases(runs))), *limit_lines(runs)]))


if __name__ == "__main__":
    main()
