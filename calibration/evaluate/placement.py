"""Whether what is said of a view is true: grades and advice against the errors on rendered players.

    python -m calibration.evaluate.placement
    python -m calibration.evaluate.placement --real FOLDER

Each rendered video is looked through for its first seconds, as before a practice; then the grade of each wrist angle is
compared with its mean error over the whole video, and videos with an advice with those without. The bounds of the
grades were chosen on videos of even number, so those of odd number are told apart. DIR as for `calibration.evaluate`.
"""

from __future__ import annotations

import argparse
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.stats import spearmanr

from calibration.dataset.rows import FRAMES_A_VIDEO
from calibration.dataset.table import Columns, load, observation_of, read
from calibration.evaluate.real.report import sessions_of
from calibration.evaluate.report import score
from calibration.evaluate.shown import video_observations
from calibration.evaluate.videos import EITHER
from calibration.evaluate.weights import read_weights
from posturewatch.comfort.looks import FAIR_ERROR, WELL_ERROR, Advice, Grade, Help, PlacementRules
from posturewatch.comfort.placement import PlacementCheck, grade
from posturewatch.config.resources import calibration_dir
from posturewatch.kinematics.estimator import Estimator, RefusalRules
from posturewatch.kinematics.network import Ensemble
from posturewatch.kinematics.temporal_estimator import TemporalEstimator
from posturewatch.kinematics.viewpoint import towards_head_deg
from posturewatch.model.observation import SIDES, Side
from posturewatch.model.quantities import in_group
from posturewatch.pipeline.view.placement_watch import look_of

__all__ = ["Judged", "judged_videos", "lines"]

_WRIST = tuple(entry.name for entry in in_group("wrist"))

#: A video in which fewer frames have a number has no error to speak of.
_LEAST_NUMBERS = 10

#: Of one place of a real person fewer are enough, since there are few.
_LEAST_TRUTHS = 5


@dataclass(frozen=True)
class Judged:
    """One wrist angle of one hand of one video: what was said of it, and how far it was off on average, degrees."""

    video: int
    side: Side
    name: str
    grade: Grade
    sd: float | None
    error: float
    advice: Advice | None


def judged_videos(columns: Columns, estimator: Estimator) -> Iterator[Judged]:
    """Every wrist angle that has numbers in its video."""
    rules = PlacementRules(
        min_rate_hz=0.0
    )  # the videos are kept at a few frames a second, whatever the camera's rate
    for video in np.unique(columns["t_frame"] // FRAMES_A_VIDEO).tolist():
        rows = columns["t_frame"] // FRAMES_A_VIDEO == video
        of = {side: rows & (columns["t_side"] == place) for place, side in enumerate(SIDES)}
        fretting = frozenset(side for side in SIDES if columns["t_fretting"][of[side]].any())
        order = [*fretting, *(side for side in SIDES if side not in fretting)]
        check = PlacementCheck(dict.fromkeys(order, _WRIST), rules)
        measurer = TemporalEstimator(estimator)
        errors: dict[tuple[Side, str], list[float]] = {(side, name): [] for side in SIDES for name in _WRIST}
        truths = {
            side: dict(zip(columns["t_frame"][of[side]].tolist(), columns["t_angles"][of[side]], strict=True))
            for side in SIDES
        }
        placement = None
        for observation in video_observations(columns, video):
            measurement = measurer.measure(observation)
            if observation.time_s <= rules.window_s:
                check.add(look_of(observation, measurement, fretting))
                placement = check.result()
            for side in SIDES:
                for place, name in enumerate(_WRIST):
                    value = measurement.hand(side).values[name].value
                    truth = truths[side].get(observation.frame_index)
                    if value is not None and truth is not None and np.isfinite(truth[place]):
                        errors[side, name].append(abs(value - float(truth[place])))
        for one in () if placement is None else placement.graded:
            off = errors[one.side, one.name]
            if len(off) >= _LEAST_NUMBERS and placement is not None:
                mean = float(np.mean(off))
                yield Judged(video, one.side, one.name, one.grade, one.sd, mean, placement.advice)


def lines(judged: Sequence[Judged]) -> list[str]:
    """Rank correlation, what each grade promises and keeps, and videos with and without advice."""
    out = []
    for what, some in (
        ("all videos", judged),
        ("videos that the bounds were chosen on", [one for one in judged if one.video % 2 == 0]),
        ("the others", [one for one in judged if one.video % 2 == 1]),
    ):
        known = [one for one in some if one.sd is not None]
        rank = spearmanr([one.sd for one in known], [one.error for one in known]).statistic
        out.append(
            f"{what}: {len(some)} wrist angles; rank correlation of deviation and true error {rank:.2f}"
        )
        for which in Grade:
            errors = np.array([one.error for one in some if one.grade is which])
            if len(errors):
                out.append(
                    f"  {which.value:7s} {len(errors):4d}  mean error {errors.mean():5.1f}; within {WELL_ERROR:g} "
                    f"degrees {(errors <= WELL_ERROR).mean():4.0%}, within {FAIR_ERROR:g} degrees "
                    f"{(errors <= FAIR_ERROR).mean():4.0%}"
                )
    out.append("hands of which advice was given, and of which none was; mean error over both wrist angles")
    groups: dict[str, list[float]] = {}
    for one in judged:
        named = one.advice is not None and one.advice.side in (None, one.side)
        key = one.advice.help.value if named and one.advice is not None else "no advice"
        groups.setdefault(key, []).append(one.error)
    out += [f"  {key:14s} {len(off):4d}  {np.mean(off):5.1f}" for key, off in sorted(groups.items())]
    return out


def instruction_lines(folder: Path, ensemble: Ensemble) -> list[str]:
    """Errors of single pictures by where the shoulders say that the camera stands, and by whether the forearm is in
    the picture: what a player gains who follows the instruction."""
    table = load(folder, "test", 0.0)
    scored = score(ensemble, table, RefusalRules())
    columns, rules = table.columns, PlacementRules()
    size, told, truth = np.abs(scored.error), [], []
    inside: list[bool | None] = []
    for row in range(len(table.y)):
        observation = observation_of(columns, row)
        hand = observation.hands[0]
        head: Side = hand.side if columns["fretting"][row] else ("left" if hand.side == "right" else "right")
        body = observation.body
        angle = None if body is None else towards_head_deg(body, head)
        told.append(np.nan if angle is None else angle)
        truth.append(float(columns["azimuth_deg"][row]) * (1 if head == "left" else -1))
        inside.append(float(columns["forearm_visible"][row]) >= 0.9)
    at, true, forearm = np.array(told), np.array(truth), np.array(inside)
    good = table.valid & columns["found"] & scored.reported
    upper = good & np.isfinite(at) & (columns["framing"] == 0)
    off = np.abs(at - true)[upper]
    low, high = rules.good_deg
    out = [
        f"where the camera stands, told from the shoulders, upper body in view: {len(off)} hands, half of them within "
        f"{np.median(off):.0f} degrees, nine of ten within {np.percentile(off, 90):.0f}",
        "mean error of flexion and deviation, and share of truths within 10 degrees in both",
    ]
    for name, rows in (
        (f"{Help.TOWARDS_HEAD.value} is said (below {low:g})", upper & (at < low)),
        ("the camera may stay", upper & (at >= low) & (at <= high)),
        (f"{Help.TOWARDS_FRONT.value} is said (beyond {high:g})", upper & (at > high)),
        ("forearm not in the picture", good & ~forearm),
        ("forearm in the picture", good & forearm),
    ):
        some = size[rows]
        if len(some):
            out.append(
                f"  {name:36s} {len(some):5d}  {some[:, 0].mean():5.1f} {some[:, 1].mean():5.1f}  "
                f"{(some <= FAIR_ERROR).all(axis=1).mean():4.0%}"
            )
    return out


def real_lines(folder: Path, ensemble: Ensemble, cache: Path, every: int) -> list[str]:
    """One person before several cameras: grade and error of each place, against what the other cameras say.

    Pictures are looked at one by one there, so that the deviations are those of single pictures.
    """
    out, known = [], []
    for session in sessions_of(folder, cache, Estimator(ensemble), ensemble, every=every, fresh=False):
        out.append(session.name)
        places = sorted({(view.camera, view.side) for view in session.views})
        for camera, side in places:
            views = [one for one in session.views if (one.camera, one.side) == (camera, side) and one.in_view]
            for place, name in enumerate(_WRIST):
                found = session.measured[camera]
                told = [
                    (found.sd[one.row, place], abs(found.value[one.row, place] - one.truth.angles_deg[place]))
                    for one in views
                    if one.row is not None and one.truth is not None and found.reported[one.row, place]
                ]
                told = [pair for pair in told if np.isfinite(pair[1])]
                given = [
                    found.sd[one.row, place]
                    for one in views
                    if one.row is not None and found.reported[one.row, place]
                ]
                share = len(given) / max(len(views), 1)
                sd = float(np.median(given)) if given else None
                error = float(np.mean([pair[1] for pair in told])) if told else float("nan")
                if sd is not None and len(told) >= _LEAST_TRUTHS:
                    known.append((sd, error))
                out.append(
                    f"  camera {camera} {side:5s} {name:21s} {grade(sd, share, 'deg').value:7s} of {len(views):3d} "
                    f"{share:4.0%} with a number, deviation {sd or float('nan'):4.1f}; {len(told):2d} with a truth, "
                    f"off by {error:5.1f}"
                )
    if len(known) > 2:
        rank = spearmanr(*zip(*known, strict=True)).statistic
        out.append(f"rank correlation of deviation and error over {len(known)} places and angles: {rank:.2f}")
    return out


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--data", type=Path, default=calibration_dir() / "evaluate" / "data")
    parser.add_argument("--real", type=Path, help="tell of one real person before several cameras instead")
    parser.add_argument("--cache", type=Path, default=Path(tempfile.gettempdir()) / "posturewatch-real")
    parser.add_argument("--every", type=int, default=3, help="of multi-view videos, one moment in so many")
    args = parser.parse_args()
    ensemble = Ensemble(read_weights(None))
    if args.real is not None:
        print("\n".join(real_lines(args.real, ensemble, args.cache, args.every)))
        return
    judged = list(judged_videos(read(args.data, "testvideo"), Estimator(ensemble, fretting=EITHER)))
    print("\n".join([*lines(judged), *instruction_lines(args.data, ensemble)]))


if __name__ == "__main__":
    main()
