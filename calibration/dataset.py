"""What the real tracker sees of rendered players, with the truth beside it.

    python -m calibration.dataset --bodies BODIES.npz --split train --count 20000 --seed 1 --out DIR --workers 16

Every picture is rendered, goes through `posturewatch.tracking` as a single picture, and leaves one row for each
hand that was found: landmarks, body, the truth of the hand it lies on, and the cuttings for the two networks. One
row in five of a true hand is entered a second time under the wrong side and with `valid` at 0, and so is every
hand found where none is, so that the estimator learns to tell. `--told` looks where the true hands are instead of
searching for them, which is six times as fast: for training rows, beside others that were searched for. `--films`
renders short films instead and tracks them as films; `--cuttings` gives what the networks' training cuttings are taken
from, around the true hands and around places without one, without tracking. Pictures are not kept.
"""

from __future__ import annotations

import argparse
import multiprocessing
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.cuttings import TARGETS, elsewhere, outputs_of, targets_of
from calibration.placement import canvas_of, read_placements
from calibration.told import ToldFinder, told_places
from posturewatch.frames import Frame
from posturewatch.kinematics.outputs import OUTPUTS
from posturewatch.observation import HandObservation, Observation, Side, other_side
from posturewatch.tracking import FingerNet, ForearmNet, Tracker
from posturewatch.tracking.cutting import CLOSE, WIDE, Cutting

if TYPE_CHECKING:
    from calibration.scenes import Still

__all__ = ["SHARD", "match", "rows_of", "truth_row"]

#: The cuttings of a hand that are kept, by the prefix of their columns.
CUTTINGS = {"crop": WIDE, "close": CLOSE}
#: What the networks' training cuttings are taken from, by the same.
CANVASES = {name: canvas_of(cutting, read_placements()) for name, cutting in CUTTINGS.items()}
#: Pictures of one shard; shards are what workers take.
SHARD = 100
CUT_FROM = 0.4  # share of a hand in view from which its cutting is of use
SMALLEST_PX = 25
_MATCHED = 0.6  # mean landmark distance, in palm lengths, up to which a found hand is that true hand
_WRONG_SIDE_SHARE = 0.2
_ELSEWHERE_SHARE = 0.3

Row = dict[str, Any]


def match(hand: HandObservation, truths: Sequence[dict[str, Any]]) -> dict[str, Any] | None:
    """The true hand that the found one lies on, or None."""
    best: tuple[float, dict[str, Any]] | None = None
    for truth in truths:
        points = np.asarray(truth["joints_px"], float)
        palm = np.linalg.norm(points[[5, 9, 13, 17]] - points[0], axis=1).max()
        apart = np.linalg.norm(hand.landmarks_px[:, :2] - points, axis=1).mean()
        if apart < _MATCHED * max(palm, 10.0) and (best is None or apart < best[0]):
            best = (float(apart), truth)
    return None if best is None else best[1]


def rows_of(
    observation: Observation,
    image_bgr: NDArray[np.uint8],
    label: dict[str, Any],
    frame: int,
    rng: np.random.Generator,
) -> Iterator[Row]:
    """A row for each found hand, and further ones under the wrong side."""
    for hand in observation.hands:
        truth = match(hand, label["hands"])
        right_side = truth is not None and truth["side"] == hand.side
        yield {**_row(observation, image_bgr, label, frame, hand, truth, right_side), "found": np.bool_(True)}
        if truth is not None and (not right_side or rng.random() < _WRONG_SIDE_SHARE):
            turned = HandObservation(
                side=other_side(hand.side),
                side_confidence=1 - hand.side_confidence,
                score=hand.score,
                landmarks_px=hand.landmarks_px,
                landmarks_m=hand.landmarks_m,
                label_agrees=not hand.label_agrees,
                forearm=None,
            )
            row = _row(observation, image_bgr, label, frame, turned, truth, not right_side)
            yield {**row, "found": np.bool_(False)}


def _row(
    observation: Observation,
    image_bgr: NDArray[np.uint8],
    label: dict[str, Any],
    frame: int,
    hand: HandObservation,
    truth: dict[str, Any] | None,
    valid: bool,
) -> Row:
    body = observation.body
    return {
        "landmarks_px": hand.landmarks_px.astype(np.float32),
        "landmarks_m": hand.landmarks_m.astype(np.float32),
        "side": np.int8(hand.side == "right"),
        "side_confidence": np.float32(hand.side_confidence),
        "score": np.float32(hand.score),
        "label_agrees": np.bool_(hand.label_agrees),
        "size": np.array([observation.width_px, observation.height_px], np.int16),
        "has_body": np.bool_(body is not None),
        "body_px": np.zeros((33, 3), np.float32) if body is None else body.landmarks_px.astype(np.float32),
        "body_m": np.zeros((33, 3), np.float32) if body is None else body.landmarks_m.astype(np.float32),
        "body_visibility": np.zeros(33, np.float32) if body is None else body.visibility.astype(np.float32),
        "body_age_s": np.float32(0 if body is None else observation.time_s - body.time_s),
        "valid": np.bool_(valid),
        "matched": np.bool_(truth is not None),
        **_truth(truth, WIDE.transform(hand.landmarks_px, hand.side)),
        "frame": np.int32(frame),
        "time_s": np.float32(observation.time_s),
        **_scene(label),
        **cuttings_of(image_bgr, hand.landmarks_px, hand.side),
    }


def cuttings_of(
    image_bgr: NDArray[np.uint8], landmarks_px: NDArray[Any], side: Side, kinds: dict[str, Cutting] = CUTTINGS
) -> Row:
    """Both cuttings of a hand, as JPEG."""
    return {
        name: _encoded(cutting.cut(image_bgr, cutting.transform(landmarks_px, side)))
        for name, cutting in kinds.items()
    }


def _encoded(cutting: NDArray[np.uint8]) -> NDArray[np.uint8]:
    good, encoded = cv2.imencode(".jpg", cutting, [cv2.IMWRITE_JPEG_QUALITY, 88])
    if not good:
        raise RuntimeError("OpenCV could not encode a cutting")
    return np.asarray(encoded.ravel(), np.uint8)


def _truth(truth: dict[str, Any] | None, affine: NDArray[Any]) -> Row:
    """What is known of the hand that was found, NaN where it is none."""
    if truth is None:
        return {
            "y": np.full(len(OUTPUTS), np.nan, np.float32),
            "fretting": np.bool_(False),
            **{name: np.full(length, np.nan, np.float32) for name, length in TARGETS.items()},
            "picture_direction_rad": np.float32(np.nan),
            "true_joints_m": np.full((21, 3), np.nan, np.float32),
            **{name: np.float32(0) for name in ("forearm_visible", "hand_visible", "strings_visible")},
        }
    in_picture = np.arctan2(truth["forearm_direction_px"][1], truth["forearm_direction_px"][0])
    return {
        "y": outputs_of(truth),
        "fretting": np.bool_(truth["role"] == "fretting"),
        **targets_of(truth, affine),
        "picture_direction_rad": np.float32(in_picture),
        "true_joints_m": np.asarray(truth["joints_m"], np.float32),
        **{name: np.float32(truth[name]) for name in ("forearm_visible", "hand_visible", "strings_visible")},
    }


def cutting_rows(
    image_bgr: NDArray[np.uint8], label: dict[str, Any], rng: np.random.Generator
) -> Iterator[Row]:
    """Rows for the networks alone: the canvases of each true hand in view, and now and then one of a place without a
    hand."""
    for truth in label["hands"]:
        points = np.asarray(truth["joints_px"], float) if truth["hand_visible"] > CUT_FROM else None
        if points is None or not np.isfinite(points).all() or np.ptp(points, axis=0).max() < SMALLEST_PX:
            continue
        yield {
            **_truth(truth, WIDE.transform(points, truth["side"])),
            **_scene(label),
            "valid": np.bool_(True),
            **cuttings_of(image_bgr, points, truth["side"], CANVASES),
        }
        place = elsewhere(points, label, rng) if rng.random() < _ELSEWHERE_SHARE / 2 else None
        if place is not None:
            yield {
                **_truth(None, WIDE.transform(points, "left")),
                **_scene(label),
                "valid": np.bool_(False),
                **cuttings_of(image_bgr, place, "left", CANVASES),
            }


def _scene(label: dict[str, Any]) -> Row:
    return {
        "framing": np.int8(("upper", "headless", "close").index(label["framing"])),
        "azimuth_deg": np.float32(label["azimuth_deg"]),
        "elevation_deg": np.float32(label["elevation_deg"]),
        "hfov_deg": np.float32(label["hfov_deg"]),
        "identity": np.int32(label["identity"]),
    }


def truth_row(label: dict[str, Any], truth: dict[str, Any], found: HandObservation | None, frame: int) -> Row:
    """One true hand in view, found or not: what the shares of measured hands are counted on."""
    return {
        "t_frame": np.int32(frame),
        "t_side": np.int8(truth["side"] == "right"),
        "t_fretting": np.bool_(truth["role"] == "fretting"),
        "t_time_s": np.float32(label.get("time_s", 0.0)),
        "t_angles": np.array([truth["flexion_deg"], truth["ulnar_deviation_deg"]], np.float32),
        "t_lifts": np.array(
            [np.nan if v is None else v for v in truth["finger_lift_mm"].values()], np.float32
        ),
        "t_strings_visible": np.float32(truth["strings_visible"]),
        "t_visible": np.float32(truth["hand_visible"]),
        "t_found": np.bool_(found is not None),
        "t_framing": np.int8(("upper", "headless", "close").index(label["framing"])),
    }


def pack(rows: list[Row], truths: list[Row]) -> dict[str, NDArray[Any]]:
    """Columns of many rows; the cuttings' bytes end to end with their lengths."""
    out: dict[str, NDArray[Any]] = {}
    for table in (rows, truths):
        for name in table[0] if table else ():
            if name not in CUTTINGS:
                out[name] = np.stack([row[name] for row in table])
    for name in CUTTINGS:
        out[f"{name}_bytes"] = np.concatenate([row[name] for row in rows]) if rows else np.zeros(0, np.uint8)
        out[f"{name}_length"] = np.array([len(row[name]) for row in rows], np.int32)
    return out


class Worker:
    """One process's renderer and trackers; made once, used for many shards."""

    current: Worker | None = None

    def __init__(self, bodies: Path, device: int | None = None, networks: Path | None = None) -> None:
        from calibration.bodies import load_bodies
        from calibration.render import Renderer
        from calibration.scenes import Studio

        loaded = load_bodies(bodies)
        self.studio = Studio(loaded, Renderer(loaded, device=device))
        nets: dict[str, Any] = {}
        if networks is not None:
            nets["forearm"] = ForearmNet(networks / "forearm.onnx")
            nets["fingers"] = FingerNet(networks / "fingers.onnx")
        self._nets = nets
        self.still = Tracker("still", **nets)
        self._told = ToldFinder(mirrored=False)
        self.told = Tracker("still", finder=self._told)

    def _stills(self, task: Task) -> Iterator[tuple[int, Still]]:
        for k in range(0, task.count, task.views):
            number = task.first + k
            seed = task.seed * 10_000_000 + number
            try:
                views = self.studio.views(seed, task.framing, task.split, min(task.views, task.count - k))
                for n, still in enumerate(views):
                    yield number + n, still
            except RuntimeError:  # no plausible pose for this seed
                continue

    def stills(self, task: Task) -> dict[str, NDArray[Any]]:
        rows: list[Row] = []
        truths: list[Row] = []
        tracker = self.told if task.kind == "told" else self.still
        for number, still in self._stills(task):
            image, label = still.image_bgr, still.label
            self._told.places = told_places(label, np.random.default_rng([number, task.seed]))
            self._note(tracker.observe(Frame(number, 0.0, image)), image, label, number, rows, truths)
        return pack(rows, truths)

    def cuttings(self, task: Task) -> dict[str, NDArray[Any]]:
        rows: list[Row] = []
        for number, still in self._stills(task):
            rng = np.random.default_rng([number, task.seed])
            rows.extend(cutting_rows(still.image_bgr, still.label, rng))
        return pack(rows, [])

    def film(self, task: Task) -> dict[str, NDArray[Any]]:
        """One film of `count` frames."""
        rows: list[Row] = []
        truths: list[Row] = []
        frames = self.studio.film(
            task.seed * 10_000_000 + task.first,
            split=task.split,
            framing=task.framing,
            frames=task.count,
            rate_hz=task.rate_hz,
        )
        with Tracker("film", **self._nets) as tracker:
            for k, (time_s, image, label) in enumerate(frames):
                observation = tracker.observe(Frame(k, time_s, image))
                self._note(observation, image, label, task.first * 10_000 + k, rows, truths)
        return pack(rows, truths)

    def _note(
        self,
        observation: Observation,
        image: NDArray[np.uint8],
        label: dict[str, Any],
        number: int,
        rows: list[Row],
        truths: list[Row],
    ) -> None:
        rng = np.random.default_rng(number)
        rows.extend(rows_of(observation, image, label, number, rng))
        matched = [(hand, match(hand, label["hands"])) for hand in observation.hands]
        for truth in label["hands"]:
            found = next((hand for hand, known in matched if known is truth), None)
            truths.append(truth_row(label, truth, found, number))


Kind = Literal["stills", "told", "cuttings", "films"]


@dataclass(frozen=True)
class Task:
    """A shard's share of the work."""

    split: str
    framing: str | None
    seed: int
    first: int
    count: int
    kind: Kind
    out: Path
    views: int = 1
    rate_hz: float = 30.0


def _start(bodies: Path, devices: int, networks: Path | None) -> None:
    cv2.setNumThreads(1)
    number = int(multiprocessing.current_process()._identity[0]) if multiprocessing.parent_process() else 0
    Worker.current = Worker(bodies, None if devices == 0 else number % devices, networks)


def _do(task: Task) -> int:
    worker = Worker.current
    if worker is None:
        raise RuntimeError("the worker was not started")
    make = {"films": worker.film, "cuttings": worker.cuttings}.get(task.kind, worker.stills)
    columns = make(task)
    partial = task.out.with_suffix(".tmp.npz")
    np.savez(partial, **columns)  # type: ignore[arg-type]
    partial.replace(task.out)
    return task.count


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--bodies", type=Path, required=True, help="identities baked by calibration.bodies")
    parser.add_argument("--split", choices=("train", "cal", "test"), required=True)
    parser.add_argument("--count", type=int, required=True, help="pictures, or films with --films")
    kinds = parser.add_mutually_exclusive_group()
    kinds.add_argument("--films", action="store_true")
    kinds.add_argument("--told", action="store_true", help="look where the true hands are")
    kinds.add_argument(
        "--cuttings", action="store_true", help="cuttings around the true hands only, not tracked"
    )
    parser.add_argument("--views", type=int, default=1, help="pictures of each pose")
    parser.add_argument("--frames", type=int, default=60, help="frames of each film")
    parser.add_argument("--rate-hz", type=float, default=30.0, help="of the films")
    parser.add_argument(
        "--framing", choices=("upper", "headless", "close"), help="all of them, where left out"
    )
    parser.add_argument(
        "--networks", type=Path, help="folder of both networks, by which the tracker tells the sides"
    )
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument(
        "--gpus", type=int, default=0, help="graphics processors to share the rendering between"
    )
    parser.add_argument(
        "--limit-s", type=float, default=float("inf"), help="begin no further shard after this"
    )
    args = parser.parse_args()
    args.out.mkdir(parents=True, exist_ok=True)
    kind: Kind = "films" if args.films else "cuttings" if args.cuttings else "told" if args.told else "stills"
    step = 1 if args.films else SHARD
    name = args.split + {"films": "film", "cuttings": "cut", "stills": "", "told": ""}[kind]
    tasks = [
        Task(
            args.split,
            args.framing,
            args.seed,
            first,
            args.frames if args.films else min(SHARD, args.count - first),
            kind,
            args.out / f"{name}-{args.framing or 'all'}-{args.seed:04d}-{first:07d}.npz",
            args.views,
            args.rate_hz,
        )
        for first in range(0, args.count, step)
    ]
    tasks = [task for task in tasks if not task.out.exists()]
    began = time.monotonic()
    done = 0
    context = multiprocessing.get_context("spawn")
    with context.Pool(args.workers, _start, (args.bodies, args.gpus, args.networks)) as pool:
        for count in pool.imap_unordered(_do, tasks):
            done += count
            if time.monotonic() - began > args.limit_s:
                pool.terminate()
                break
    print(f"{name}: {done} pictures in {time.monotonic() - began:.0f} s", flush=True)


if __name__ == "__main__":
    main()
