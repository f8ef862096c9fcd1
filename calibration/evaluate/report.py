"""Prints how good the angles are, on rendered players and scenes that were never trained on.

    python -m calibration.evaluate --data DIR
    python -m calibration.evaluate --real FOLDER

DIR holds `test-*.npz` (stills) and `testvideo-*.npz` (videos) as `calibration.dataset.tracked` writes them; without it
the small set that is shipped with the project is used. Truth is exact: the angles that the players were posed with.
"""

from __future__ import annotations

import argparse
import hashlib
import itertools
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calibration.dataset.table import Columns, Table, load, observation_of, read, read_shards
from calibration.evaluate.real.report import real_report
from calibration.evaluate.shown import share, shown_lines, shown_runs
from calibration.evaluate.videos import IN_VIEW, video_report
from calibration.evaluate.weights import read_weights
from calibration.scene.view import FRAMINGS
from posturewatch.config.resources import calibration_dir
from posturewatch.kinematics.estimator import Estimator, RefusalRules
from posturewatch.kinematics.geometry import wrist_angles
from posturewatch.kinematics.network import COVERAGE_Z, Ensemble
from posturewatch.kinematics.temporal_estimator import TimeRules
from posturewatch.model.arrays import FloatArray
from posturewatch.model.estimator_outputs import LONG_FINGERS, OUTPUTS
from posturewatch.model.network_outputs import ForearmOutputs
from posturewatch.model.observation import BODY_LANDMARKS, SIDES

COMFORT_MM, HIGH_MM = 15.0, 25.0  # common practice for a finger held far, and too far, from the strings


@dataclass(frozen=True)
class Scored:
    """Errors of the measured rows. error: (n, 2) measured minus true, degrees; sd: (n, 2); reported: (n,) whether a
    number was reported at all."""

    error: FloatArray
    sd: FloatArray
    reported: NDArray[np.bool_]


def raw_errors(table: Table) -> FloatArray:
    """(n, 2) errors of the exact formula on the tracker's own 3-D points, hand and body as they come; NaN where
    the body was not seen."""
    out = np.full((len(table.y), 2), np.nan)
    for row in range(len(table.y)):
        if not table.columns["has_body"][row] or not table.valid[row]:
            continue
        observation = observation_of(table.columns, row, with_forearm=False)
        hand, body = observation.hands[0], observation.body
        if body is None:
            continue
        towards = (
            body.landmarks_m[BODY_LANDMARKS[f"{hand.side}_elbow"]]
            - body.landmarks_m[BODY_LANDMARKS[f"{hand.side}_wrist"]]
        )
        angles = wrist_angles(hand.landmarks_m, hand.landmarks_m[0] + towards, hand.side)
        out[row] = [angles.flexion_deg - table.y[row, 0], angles.ulnar_deviation_deg - table.y[row, 1]]
    return out


def estimates(ensemble: Ensemble, table: Table) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """As `Ensemble.estimate`, with the standard deviations (n, outputs) that the program states of a first frame."""
    means, sd, hand_presence, ood_score = ensemble.estimate(table.x)
    return means, sd * TimeRules().factors(OUTPUTS), hand_presence, ood_score


def score(ensemble: Ensemble, table: Table, rules: RefusalRules) -> Scored:
    means, sd, hand_presence, ood_score = estimates(ensemble, table)
    reported = (
        (hand_presence >= rules.min_hand_presence)
        & (ood_score <= rules.max_ood_score)
        & (sd[:, :2] <= rules.max_sd_deg).all(1)
        & table.columns["found"]  # rows entered under the other side are for training alone
    )
    return Scored((means - table.y)[:, :2].astype(float), sd[:, :2].astype(float), reported)


def _line(name: str, error: FloatArray, inside: FloatArray | None = None) -> str:
    size = np.abs(error[np.isfinite(error).all(1)])
    if len(size) == 0:
        return f"{name:28s} no rows"
    cells = []
    for k in (0, 1):
        e = size[:, k]
        cover = "" if inside is None else f"  in 90 % {inside[:, k].mean():5.1%}"
        cells.append(f"{e.mean():5.1f} {np.median(e):5.1f} {np.percentile(e, 90):5.1f}{cover}")
    return f"{name:28s} {len(size):6d}  flexion {cells[0]}  deviation {cells[1]}"


def groups(columns: Columns) -> Iterator[tuple[str, NDArray[np.bool_]]]:
    """(name, rows) by framing, by view and by hand."""
    everything = np.ones(len(columns["side"]), bool)
    yield "all", everything
    for k, name in enumerate(FRAMINGS):
        yield f"framing {name}", columns["framing"] == k
    azimuth, elevation = columns["azimuth_deg"], columns["elevation_deg"]
    edges = (-180.0, 0.0, 25.0, 50.0, 180.0)
    for low, high in itertools.pairwise(edges):
        for above in (False, True):
            rows = (azimuth >= low) & (azimuth < high) & ((elevation >= 8) == above)
            yield f"azimuth {low:.0f}..{high:.0f} {'high' if above else 'low'}", rows
    for k, name in enumerate(SIDES):
        yield f"{name} hand", columns["side"] == k
    yield "fretting hand", columns["fretting"]
    yield "plucking hand", columns["matched"] & ~columns["fretting"]


def report(table: Table, ensemble: Ensemble, rules: RefusalRules, truths: Columns) -> None:
    scored = score(ensemble, table, rules)
    raw = raw_errors(table)
    constant = np.nanmedian(table.y[table.valid, :2], axis=0) - table.y[:, :2]
    print("Single pictures: rows, then mean, median and 90th percentile of the absolute error in degrees")
    for name, rows in groups(table.columns):
        true = rows & table.valid & table.columns["found"]
        print(_line(f"{name}: constant", constant[true]))
        print(_line(f"{name}: raw landmarks", raw[true]))
        kept = true & scored.reported
        inside = np.abs(scored.error[kept]) <= COVERAGE_Z * scored.sd[kept]
        print(_line(f"{name}: ours", scored.error[kept], inside))
    _shares(table, scored, truths)
    _axis(table)


def shares_reported(
    table: Table, scored: Scored, truths: Columns
) -> Iterator[tuple[str, str, float, float, int]]:
    """(framing, role, share found, share that gets both numbers, count) of the hands in view."""
    measured = _keys(table.columns, "")[table.valid & scored.reported]
    got = np.isin(_keys(truths, "t_"), measured)
    in_view = truths["t_visible"] >= IN_VIEW
    for k, framing in enumerate(FRAMINGS):
        for role, fretting in (("fretting", True), ("plucking", False)):
            rows = in_view & (truths["t_framing"] == k) & (truths["t_fretting"] == fretting)
            if rows.any():
                found = truths["t_found"][rows].mean()
                yield framing, role, float(found), float(got[rows].mean()), int(rows.sum())


def _keys(columns: Columns, prefix: str) -> NDArray[np.int64]:
    """One number for each hand of each picture."""
    return columns[f"{prefix}frame"].astype(np.int64) * 2 + columns[f"{prefix}side"]


def _shares(table: Table, scored: Scored, truths: Columns) -> None:
    """Of the hands in view, how many get a number, and how many numbers are reported where no hand is."""
    print("\nHands in view: share found, and share that gets both numbers")
    for framing, role, seen, reported, count in shares_reported(table, scored, truths):
        print(f"  {framing:9s} {role}: {seen:6.1%} {reported:6.1%}  n={count}")
    found = table.columns["found"]
    numbers = scored.reported[found].sum()
    print(
        f"  numbers reported of no hand, or under the wrong side: {(scored.reported & ~table.valid).sum()} of {numbers}"
    )
    sides = table.valid[found & table.columns["matched"]]
    print(f"  hands found on their side: {share(sides)} of {len(sides)}")


def fingers(ensemble: Ensemble, table: Table, rules: RefusalRules) -> None:
    """Lifts and joints of the fretting hand, by framing, by finger and by whether the strings are in view."""
    means, sd, hand_presence, ood_score = estimates(ensemble, table)
    asked = table.valid & table.columns["found"] & table.columns["fretting"]
    asked &= hand_presence >= rules.min_hand_presence
    asked &= ood_score <= rules.max_ood_score
    error = np.abs(means - table.y).astype(float)
    seen = table.columns["strings_visible"] >= 0.5
    for place, whose in enumerate(("fretting hands", "other hands")):
        names = [
            name for name, one in zip(OUTPUTS, ensemble.skill[place], strict=True) if one >= rules.min_skill
        ]
        print(f"\nReported of {whose}, since clearly better known than a constant: {', '.join(names)}")
    print(
        "\nFretting fingers, before that rule: numbers certain enough of those known, then mean, median, 90th "
        "percentile of the error"
    )

    def line(name: str, rows: NDArray[np.bool_], ending: str | tuple[str, ...], most: float) -> None:
        at = [k for k, output in enumerate(OUTPUTS) if output.endswith(ending)]
        known = np.isfinite(error[rows][:, at])
        reported = known & (sd[rows][:, at] <= most)
        e, s = error[rows][:, at][reported], sd[rows][:, at][reported]
        if len(e):
            print(
                f"  {name:38s} {reported.sum() / known.sum():6.1%} of {known.sum():5d}  {e.mean():5.1f} "
                f"{np.median(e):5.1f} {np.percentile(e, 90):5.1f}  in 90 % {(e <= COVERAGE_Z * s).mean():5.1%}"
            )

    lift = rules.max_lift_sd_mm
    line("lift (mm)", asked, "_lift", lift)
    good = tuple(
        name
        for name, one in zip(OUTPUTS, ensemble.skill[0], strict=True)
        if name.endswith("_lift") and one >= rules.min_skill
    )
    if good:
        line("lift of the fingers that are reported", asked, good, lift)
        _high(table.y[asked], means[asked], sd[asked], good)
        for k, name in enumerate(FRAMINGS):
            framing = asked & (table.columns["framing"] == k)
            line(f"the same, {name}, strings in view", framing & seen, good, lift)
            line(f"the same, {name}, not in view", framing & ~seen, good, lift)
        _by_truth(table.y[asked], means[asked], sd[asked], good, lift)
    for finger in LONG_FINGERS:
        line(f"lift, {finger}, strings in view", asked & seen, f"{finger}_lift", lift)
    for ending, what in (("_mcp", "knuckles"), ("_pip", "middle joints"), ("_dip", "end joints")):
        line(f"{what} (deg)", asked, ending, rules.max_joint_sd_deg)
    line("little finger's spread (deg)", asked, "little_spread", rules.max_joint_sd_deg)
    line("thumb's place (mm)", asked, "thumb_place", rules.max_place_sd_mm)
    if "forearm" in table.columns:
        said: ForearmOutputs[Any] = ForearmOutputs.from_rows(table.columns["forearm"])
        logit = said.strings_logit
        right = ((logit >= 0) == seen)[asked & np.isfinite(logit)]
        print(f"  strings told to be in view or not, rightly: {share(right)} of {len(right)}")


def _by_truth(
    true: FloatArray, said: FloatArray, sd: FloatArray, names: tuple[str, ...], most: float
) -> None:
    """How often the interval holds lifts that are small and large, and how many of those said to be within
    comfort are not; all (n, outputs)."""
    at = [k for k, name in enumerate(OUTPUTS) if name in names]
    y, v, s = true[:, at], said[:, at], sd[:, at]
    known = np.isfinite(y) & (s <= most)
    inside = np.abs(v - y) <= COVERAGE_Z * s
    cells = []
    edges = (-100.0, 5.0, COMFORT_MM, HIGH_MM, 100.0)
    for low, high in itertools.pairwise(edges):
        rows = known & (y >= low) & (y < high)
        cells.append(f"{max(low, 0):.0f} to {high:.0f} mm {share(inside[rows], 0)} of {rows.sum()}")
    print(f"  in 90 %, by what is true: {', '.join(cells)}")
    plain = known & (v + s <= COMFORT_MM)
    print(
        f"  one deviation below {COMFORT_MM:.0f} mm or more are {share(plain[known], 0)}; truly above it are "
        f"{share(y[plain] > COMFORT_MM)} of these, above {HIGH_MM:.0f} mm {share(y[plain] > HIGH_MM)}"
    )


def _high(true: FloatArray, said: FloatArray, sd: FloatArray, names: tuple[str, ...]) -> None:
    """What is said of lifted fingers; all (n, outputs)."""
    at = [k for k, name in enumerate(OUTPUTS) if name in names]
    high = true[:, at] > HIGH_MM
    if not high.any():
        return
    low, middle, top = np.percentile(said[:, at][high], [10, 50, 90])
    print(
        f"  always saying that those are down: off by {np.nanmean(np.abs(true[:, at])):.1f} mm; of {high.sum()} truly "
        f"above {HIGH_MM:.0f} mm the middle one is said to be at {middle:.0f}, four fifths at {low:.0f} to "
        f"{top:.0f} mm, with a deviation of {np.median(sd[:, at][high]):.0f} in the middle"
    )


def _axis(table: Table) -> None:
    if "forearm" not in table.columns:
        return
    print("\nForearm axis in the picture, degrees: median, 90th percentile, inside its stated 90 % interval")
    along = table.columns["axis_towards_elbow_px"].astype(float) - table.columns["axis_wrist_px"]
    measured = np.arctan2(along[:, 1], along[:, 0])
    true = table.columns["picture_direction_rad"].astype(float)
    error = np.degrees(np.abs((measured - true + np.pi) % (2 * np.pi) - np.pi))
    for k, name in enumerate(FRAMINGS):
        rows = (
            table.valid
            & (table.columns["framing"] == k)
            & (table.columns["forearm_visible"] > 0.5)
            & np.isfinite(error)
        )
        if rows.any():
            inside = (error[rows] <= COVERAGE_Z * table.columns["axis_sd_deg"][rows]).mean()
            median, tail = np.percentile(error[rows], [50, 90])
            print(f"  {name:9s} {median:5.1f} {tail:5.1f} {inside:6.1%}  n={rows.sum()}")


def fingerprints(estimator: Path | None = None) -> str:
    """The files that are measured with, each with the beginning of its SHA-256."""
    folder = calibration_dir() / "weights"
    files = (folder / "forearm.onnx", folder / "fingers.onnx", estimator or folder / "estimator.npz")
    return "\n".join(f"{file.name} {hashlib.sha256(file.read_bytes()).hexdigest()[:16]}" for file in files)


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--data", type=Path, default=calibration_dir() / "evaluate" / "data")
    parser.add_argument("--weights", type=Path)
    parser.add_argument("--split", default="test", choices=("train", "cal", "test"))
    parser.add_argument(
        "--field-of-view",
        choices=("unknown", "stated"),
        default="unknown",
        help="whether the settings state the camera's (default: unknown)",
    )
    parser.add_argument("--real", type=Path, help="tell of real people instead, from this folder")
    parser.add_argument("--cache", type=Path, default=Path(tempfile.gettempdir()) / "posturewatch-real")
    parser.add_argument("--fresh", action="store_true", help="track the real pictures again")
    parser.add_argument(
        "--every", type=int, default=3, help="of multi-view videos, one moment in so many (default: 3)"
    )
    parser.add_argument("--pictures", type=Path, help="folder for the best, typical and worst real views")
    args = parser.parse_args()
    print(f"{fingerprints(args.weights)}\n")
    ensemble = Ensemble(read_weights(args.weights))
    rules = RefusalRules()
    if args.real is not None:
        real_report(
            args.real,
            Estimator(ensemble, rules=rules),
            ensemble,
            cache=args.cache,
            pictures=args.pictures,
            every=args.every,
            fresh=args.fresh,
        )
        return
    stated = args.field_of_view == "stated"
    table = load(args.data, args.split, 1.0 if stated else 0.0)
    report(table, ensemble, rules, read_shards(args.data, args.split))
    fingers(ensemble, table, rules)
    if any(args.data.glob(f"{args.split}video-*.npz")):
        video_report(args.data, f"{args.split}video", ensemble, rules, stated)
        videos = read(args.data, f"{args.split}video")
        print("\n".join(shown_lines(list(shown_runs(videos, Estimator(ensemble, rules=rules), stated)))))


if __name__ == "__main__":
    main()
