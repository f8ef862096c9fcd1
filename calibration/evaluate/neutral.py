"""How much a held neutral takes off the error, on rendered players and on a real person before several cameras.

    python -m calibration.evaluate.neutral [--real FOLDER --cache DIR]

In each rendered video the three seconds nearest to a straight wrist are taken for the held neutral, and those nearest
to either end of the video's movement for end positions known from before; of a real hand in a camera's view the single
moments. The player is taken to hold straight to 5 degrees and to know the ends to 6, by chance numbers; the error is
that of all other frames. The rules were chosen on videos of even number and on the first of the real sessions.
"""

from __future__ import annotations

import argparse
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from calibration.dataset.table import observation_of, read
from calibration.evaluate.real.multiview import Session
from calibration.evaluate.real.report import sessions_of
from calibration.evaluate.shown import shown_runs
from calibration.evaluate.videos import EITHER, Run, held, told_at_best
from calibration.evaluate.weights import read_weights
from posturewatch.comfort.own_range import End
from posturewatch.comfort.personal import limits_from_range
from posturewatch.config.limit_profiles import DEFAULT_PROFILE, load_profile
from posturewatch.config.resources import calibration_dir
from posturewatch.kinematics.estimator import Estimator, RefusalRules
from posturewatch.kinematics.features import hand_frame
from posturewatch.kinematics.network import COVERAGE_Z, Ensemble
from posturewatch.kinematics.view_bias import STRAIGHT_SD_DEG, BiasRules, Reference, ViewBias
from posturewatch.model.arrays import Array
from posturewatch.model.measurement import Measurement
from posturewatch.model.quantities import in_group

__all__ = ["Angle", "Removed", "angles_of_runs", "angles_of_sessions", "lines", "removed_biases"]

HOLD_S, END_SD_DEG, TRIES = 3.0, 6.0, 5
_STEADY_DEG, _LEAST_FRAMES, _LEAST_MOMENTS = 25.0, 20, 8
WAYS = "as measured, with the neutral, with the ends too"

#: A player who bends less than this in a video, or seems to, shows no end.
_LEAST_END_DEG = 10.0

Rows = NDArray[np.bool_]


@dataclass(frozen=True)
class Angle:
    """One wrist angle of one hand in one view, where there is a number and a truth: value, sd and true (n,), degrees,
    and hand_frame (n, 3, 3), NaN where it is not known. held: the postures that may have been held, each as the rows
    of it. chosen_on: whether the rules were chosen on it."""

    kind: str
    name: str
    chosen_on: bool
    value: Array
    sd: Array
    true: Array
    hand_frame: Array
    held: Sequence[Rows]

    def reference(self, rows: Rows, sd_deg: float, rng: np.random.Generator) -> Reference:
        """What a player who knows the angle to sd_deg leaves behind."""
        true = float(self.true[rows].mean()) + float(rng.normal(0, sd_deg))
        middle = np.flatnonzero(rows)[rows.sum() // 2]
        value, sd = float(self.value[rows].mean()), float(np.median(self.sd[rows]))
        return Reference(true, sd_deg, value, sd, self.hand_frame[middle])

    def references(self) -> tuple[Rows, Rows, Rows]:
        """What is nearest to a straight wrist, and to either end."""
        means = [float(self.true[rows].mean()) for rows in self.held]
        neutral, low, high = (
            self.held[int(np.argmin(by))] for by in (np.abs(means), means, np.negative(means))
        )
        return neutral, low, high


@dataclass(frozen=True)
class Removed:
    """Of one angle: mean absolute and constant error, and coverage of 90 % intervals, before, with the neutral, and
    with the ends too."""

    of: Angle
    error: tuple[float, float, float]
    constant: tuple[float, float, float]
    inside: tuple[float, float, float]


def angles_of_runs(runs: Sequence[Run]) -> Iterator[Angle]:
    """Those with a hold. Runs come in pairs, a video's hands."""
    for number, run in enumerate(runs):
        for place, entry in enumerate(in_group("wrist")):
            known = np.isfinite(run.value[:, place]) & np.isfinite(run.true[:, place])
            windows = [rows[known] for rows in _windows(run, place)]
            if windows:
                yield Angle(
                    kind="rendered, fretting hand" if run.fretting else "rendered, plucking hand",
                    name=entry.name,
                    chosen_on=number // 2 % 2 == 0,
                    value=run.value[known, place],
                    sd=run.sd[known, place],
                    true=run.true[known, place],
                    hand_frame=run.frames()[known],
                    held=windows,
                )


def angles_of_sessions(sessions: Sequence[Session]) -> Iterator[Angle]:
    """Of every hand in every camera's view, against what the other cameras say."""
    for number, session in enumerate(sessions):
        for camera, side in sorted({(view.camera, view.side) for view in session.views}):
            found = session.measured[camera]
            for place, entry in enumerate(in_group("wrist")):
                rows, true = [], []
                for view in session.views:
                    mine = (view.camera, view.side) == (camera, side) and view.in_view
                    if not mine or view.row is None or view.truth is None:
                        continue
                    angle = float(view.truth.angles_deg[place])
                    if found.reported[view.row, place] and np.isfinite(angle):
                        rows.append(view.row)
                        true.append(angle)
                if len(rows) < _LEAST_MOMENTS:
                    continue
                hands = [observation_of(session.columns[camera], row).hands[0] for row in rows]
                frames = [hand_frame(hand) for hand in hands]
                yield Angle(
                    "one real person",
                    entry.name,
                    number == 0,
                    found.value[rows, place],
                    found.sd[rows, place],
                    np.array(true),
                    np.stack([np.full((3, 3), np.nan) if one is None else one for one in frames]),
                    list(np.eye(len(rows), dtype=bool)),
                )


def _windows(run: Run, place: int) -> Iterator[Rows]:
    """Holds with numbers in most of their frames, in which the true angle stays about the same."""
    known = np.isfinite(run.value[:, place]) & np.isfinite(run.true[:, place])
    for start_s in run.time_s[run.time_s <= run.time_s[-1] - HOLD_S]:
        inside = (run.time_s >= start_s) & (run.time_s < start_s + HOLD_S)
        if known[inside].mean() >= 0.7 and np.ptp(run.true[inside & known, place]) <= _STEADY_DEG:
            yield inside & known


def ways_of(angle: Angle, rng: np.random.Generator, rules: BiasRules | None = None) -> list[ViewBias | None]:
    """Without, with the neutral, with the ends too."""
    neutral, low, high = angle.references()
    straight = angle.reference(neutral, STRAIGHT_SD_DEG, rng)
    ends = [angle.reference(rows, END_SD_DEG, rng) for rows in (low, high)]
    return [None, ViewBias([straight], rules), ViewBias([straight, *ends], rules)]


def removed_biases(
    angles: Sequence[Angle], tries: int = TRIES, rules: BiasRules | None = None
) -> Iterator[Removed]:
    """Every angle with enough frames beside those that were held, several times with other chance numbers."""
    rng = np.random.default_rng(1)
    for angle in angles:
        neutral, low, high = angle.references()
        rest = ~(neutral | low | high)
        if rest.sum() < (_LEAST_FRAMES if angle.kind.startswith("rendered") else _LEAST_MOMENTS - 3):
            continue
        for _ in range(tries):
            scores = [_scored(angle, rest, bias) for bias in ways_of(angle, rng, rules)]
            yield Removed(angle, *zip(*scores, strict=True))


def _scored(angle: Angle, rest: Rows, bias: ViewBias | None) -> tuple[float, float, float]:
    value, sd = _without(angle, bias)
    off = (value - angle.true)[rest]
    inside = np.abs(off) <= COVERAGE_Z * sd[rest]
    return float(np.abs(off).mean()), abs(float(off.mean())), float(inside.mean())


def _without(angle: Angle, bias: ViewBias | None) -> tuple[Array, Array]:
    """Value and deviation (n,) with the bias taken off."""
    if bias is None:
        return angle.value, angle.sd
    made = [
        bias.removed(Measurement.of(value, sd), frame)
        for value, sd, frame in zip(angle.value, angle.sd, angle.hand_frame, strict=True)
    ]
    return np.array([one.value for one in made], float), np.array([one.sd for one in made], float)


def lines(found: Sequence[Removed]) -> list[str]:
    """Means over all angles of a kind."""
    out = []
    for kind in sorted({one.of.kind for one in found}, reverse=True):
        for name, chosen_on in (
            ("all", None),
            ("those that the rules were chosen on", True),
            ("the others", False),
        ):
            some = [one for one in found if one.of.kind == kind and chosen_on in (None, one.of.chosen_on)]
            out.append(f"{kind}, {name}: {len(some) // TRIES} wrist angles; {WAYS}")
            error, constant, inside = (
                np.mean([getattr(one, what) for one in some], axis=0)
                for what in ("error", "constant", "inside")
            )
            each = "".join(
                f", {entry.label} {' '.join(f'{value:.1f}' for value in of)}"
                for entry in in_group("wrist")
                for of in [np.mean([one.error for one in some if one.of.name == entry.name], axis=0)]
            )
            out.append(f"  mean error {' '.join(f'{value:.1f}' for value in error)} degrees{each}")
            out.append(f"  constant part of it {' '.join(f'{value:.1f}' for value in constant)} degrees")
            out.append(f"  truth inside the 90 % interval {' '.join(f'{value:.1%}' for value in inside)}")
    return out


def held_lines(runs: Sequence[Run]) -> list[str]:
    """What of held extreme angles would be warned of."""
    rules, rng = RefusalRules(), np.random.default_rng(1)
    ways = [[*runs] for _ in range(3)]
    places = {entry.name: place for place, entry in enumerate(in_group("wrist"))}
    for number, run in enumerate(runs):
        for angle in angles_of_runs([run]):
            place = places[angle.name]
            known = np.isfinite(run.value[:, place]) & np.isfinite(run.true[:, place])
            for way, bias in zip(ways, ways_of(angle, rng), strict=True):
                value, sd = way[number].value.copy(), way[number].sd.copy()
                value[known, place], sd[known, place] = _without(angle, bias)
                way[number] = replace(way[number], value=value, sd=sd)
    names = WAYS.split(", ")
    return [
        "held extreme angles of the rendered videos",
        *(f"  {name}: {held(way, rules, 'wrist')}" for name, way in zip(names, ways, strict=True)),
        f"  were every number that is given true: {told_at_best([*runs], rules, 'wrist')}",
    ]


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
        if len(ends) < 2 or min(min(pair) for pair in ends.values()) < _LEAST_END_DEG:
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
    parser.add_argument("--real", type=Path, help="the folder of real people's videos")
    parser.add_argument("--cache", type=Path, default=Path(tempfile.gettempdir()) / "posturewatch-real")
    args = parser.parse_args()
    ensemble = Ensemble(read_weights(None))
    runs = list(shown_runs(read(args.data, "testvideo"), Estimator(ensemble, fretting=EITHER)))
    angles = list(angles_of_runs(runs))
    if args.real is not None:
        sessions = list(sessions_of(args.real, args.cache, Estimator(ensemble), ensemble))
        angles += angles_of_sessions(sessions)
    print("\n".join([*lines(list(removed_biases(angles))), *held_lines(runs), *limit_lines(runs)]))


if __name__ == "__main__":
    main()
