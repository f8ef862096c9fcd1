"""What the real tracker sees of rendered players, with the truth beside it.

    python -m calibration.dataset.tracked --bodies BODIES.npz --split train --count 20000 --seed 1 --out DIR
    --workers 16

Every picture is rendered, goes through `posturewatch.tracking` as a single picture, and leaves one row for each
hand that was found: landmarks, body, the truth of the hand it lies on, and the crops for the two networks. One
row in five of a true hand is entered a second time under the wrong side and with `valid` at 0, and so is every
hand found where none is, so that the estimator learns to tell. `--true-regions` looks where the true hands are
instead of searching for them, which is six times as fast: for training rows, beside others that were searched for.
`--videos` renders short videos instead and tracks them as videos; `--crops` gives what the networks' training crops are
taken from, around the true hands and around places without one, without tracking. Pictures are not kept.

`--looks` names how the pictures look, shard by shard in turn: plain, as the first networks were taught by, or photo, as
photographed. `--raw` keeps crops as pixels instead of JPEG, those of `--crops` for each network in a folder of its own:
twenty times as much, but a training that takes them in as they come (and deletes them, with `--consume`) need not
decode them, and they are exactly what the program cuts.
"""

from __future__ import annotations

import argparse
import multiprocessing
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.dataset.ground_truth_regions import GroundTruthFinder, ground_truth_regions
from calibration.dataset.rows import Row, crop_rows, match, pack, rows_of, truth_row, video_frame
from calibration.scene.view import FRAMINGS
from posturewatch.model.frame import Frame
from posturewatch.model.observation import Observation
from posturewatch.tracking import FingerNet, ForearmNet, Tracker

if TYPE_CHECKING:
    from calibration.dataset.scenes import Still

__all__ = ["SHARD"]

SHARD = 100  # pictures of one shard, where nothing else is asked for; shards are what workers take
LOOKS = ("plain", "photo")
POSES = ("single", "playing")  # each of its own, or taken out of playing
#: Which network is given the crops of which prefix.
NETWORKS = {"crop": "forearm", "close": "fingers"}


class Worker:
    """One process's renderer and trackers; made once, used for many shards."""

    current: Worker | None = None

    def __init__(self, bodies: Path, device: int | None = None, networks: Path | None = None) -> None:
        from calibration.body.bodies import load_bodies
        from calibration.dataset.scenes import Studio
        from calibration.render.render import Renderer

        loaded = load_bodies(bodies)
        renderer = Renderer(loaded, device=device)
        self.studios = {look: Studio(loaded, renderer, look) for look in LOOKS}
        nets: dict[str, Any] = {}
        if networks is not None:
            nets["forearm"] = ForearmNet(networks / "forearm.onnx")
            nets["fingers"] = FingerNet(networks / "fingers.onnx")
        self._nets = nets
        self.still = Tracker("still", **nets)
        self._finder = GroundTruthFinder(mirrored=False)
        self.at_regions = Tracker("still", finder=self._finder)

    def _stills(self, task: Task) -> Iterator[tuple[int, Still]]:
        for k in range(0, task.count, task.views):
            number = task.first + k
            seed = task.seed * 10_000_000 + number
            try:
                studio = self.studios[task.look]
                count = min(task.views, task.count - k)
                if task.poses == "playing":
                    stills = studio.moments(seed, task.framing, task.split, count, task.of_each)
                else:
                    stills = studio.views(seed, task.framing, task.split, count)
                for n, still in enumerate(stills):
                    yield number + n, still
            except RuntimeError:  # no plausible pose for this seed
                continue

    def stills(self, task: Task) -> dict[str, NDArray[Any]]:
        rows: list[Row] = []
        truths: list[Row] = []
        tracker = self.at_regions if task.kind == "true_regions" else self.still
        for number, still in self._stills(task):
            image, label = still.image_bgr, still.label
            self._finder.places = ground_truth_regions(label, np.random.default_rng([number, task.seed]))
            observation = tracker.observe(Frame(number, 0.0, image))
            self._note(observation, image, label, number, rows, truths, task.raw)
        return pack(rows, truths)

    def crops(self, task: Task) -> dict[str, NDArray[Any]]:
        rows: list[Row] = []
        for number, still in self._stills(task):
            rng = np.random.default_rng([number, task.seed])
            rows.extend(crop_rows(still.image_bgr, still.label, rng, task.raw))
        return pack(rows, [])

    def video(self, task: Task) -> dict[str, NDArray[Any]]:
        """One video of `count` frames."""
        rows: list[Row] = []
        truths: list[Row] = []
        frames = self.studios[task.look].video(
            task.seed * 10_000_000 + task.first,
            split=task.split,
            framing=task.framing,
            frames=task.count,
            rate_hz=task.rate_hz,
        )
        with Tracker("video", **self._nets) as tracker:
            for k, (time_s, image, label) in enumerate(frames):
                observation = tracker.observe(Frame(k, time_s, image))
                number = video_frame(task.seed, task.first, k)
                self._note(observation, image, label, number, rows, truths, task.raw)
        return pack(rows, truths)

    def _note(
        self,
        observation: Observation,
        image: NDArray[np.uint8],
        label: dict[str, Any],
        number: int,
        rows: list[Row],
        truths: list[Row],
        raw: bool,
    ) -> None:
        rng = np.random.default_rng(number)
        rows.extend(rows_of(observation, image, label, number, rng, raw))
        matched = [(hand, match(hand, label["hands"])) for hand in observation.hands]
        for truth in label["hands"]:
            found = next((hand for hand, known in matched if known is truth), None)
            truths.append(truth_row(label, truth, found, number))


Kind = Literal["stills", "true_regions", "crops", "videos"]


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
    look: str = "photo"
    raw: bool = False
    poses: str = "single"
    of_each: int = 1


def _start(bodies: Path, devices: int, networks: Path | None) -> None:
    cv2.setNumThreads(1)
    number = int(multiprocessing.current_process()._identity[0]) if multiprocessing.parent_process() else 0
    Worker.current = Worker(bodies, None if devices == 0 else number % devices, networks)


def _do(task: Task) -> int:
    worker = Worker.current
    if worker is None:
        raise RuntimeError("the worker was not started")
    make = {"videos": worker.video, "crops": worker.crops}.get(task.kind, worker.stills)
    columns = make(task)
    if task.raw and task.kind == "crops":
        for name, network in NETWORKS.items():
            others = {f"{other}_pixels" for other in NETWORKS if other != name}
            own = {key: values for key, values in columns.items() if key not in others}
            _write(task.out.parent / network / task.out.name, own)
        columns = {"frames": np.array(task.count)}  # that it was made
    _write(task.out, columns)
    return task.count


def _write(path: Path, columns: dict[str, NDArray[Any]]) -> None:
    partial = path.with_suffix(".partial")
    with partial.open("wb") as file:
        np.savez(file, **columns)
    partial.replace(path)


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument(
        "--bodies", type=Path, required=True, help="identities baked by calibration.body.bodies"
    )
    parser.add_argument("--split", choices=("train", "cal", "test"), required=True)
    parser.add_argument("--count", type=int, required=True, help="pictures, or videos with --videos")
    kinds = parser.add_mutually_exclusive_group()
    kinds.add_argument("--videos", action="store_true")
    kinds.add_argument("--true-regions", action="store_true", help="look where the true hands are")
    kinds.add_argument("--crops", action="store_true", help="crops around the true hands only, not tracked")
    parser.add_argument("--views", type=int, default=1, help="pictures of each pose or player")
    parser.add_argument("--frames", type=int, default=60, help="frames of each video")
    parser.add_argument("--rate-hz", type=float, default=30.0, help="of the videos")
    parser.add_argument("--framing", choices=FRAMINGS, help="all of them, where left out")
    parser.add_argument(
        "--networks", type=Path, help="folder of both networks, by which the tracker tells the sides"
    )
    parser.add_argument("--looks", nargs="+", choices=LOOKS, default=["photo"], help="of the shards, in turn")
    parser.add_argument(
        "--poses", nargs="+", choices=POSES, default=["single"], help="of the shards, in turn"
    )
    parser.add_argument("--of-each", type=int, default=1, help="pictures of each moment of playing")
    parser.add_argument("--raw", action="store_true", help="keep crops as pixels instead of JPEG")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--shard", type=int, default=SHARD, help="pictures of one file")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument(
        "--gpus", type=int, default=0, help="graphics processors to share the rendering between"
    )
    parser.add_argument(
        "--limit-s", type=float, default=float("inf"), help="begin no further shard after this"
    )
    return parser


def _tasks(args: argparse.Namespace) -> list[Task]:
    """The shards that are not there yet; those that are were made by an earlier call."""
    asked: tuple[Kind, ...] = ("videos", "crops", "true_regions")
    kind: Kind = next((one for one in asked if getattr(args, one)), "stills")
    step = 1 if args.videos else args.shard
    name = args.split + {"videos": "video", "crops": "crops", "stills": "", "true_regions": ""}[kind]
    tasks = (
        Task(
            args.split,
            args.framing,
            args.seed,
            first,
            args.frames if args.videos else min(step, args.count - first),
            kind,
            args.out / f"{name}-{args.framing or 'all'}-{args.seed:04d}-{first:07d}.npz",
            args.views,
            args.rate_hz,
            args.looks[first // step % len(args.looks)],
            args.raw,
            args.poses[first // step % len(args.poses)],
            args.of_each,
        )
        for first in range(0, args.count, step)
    )
    return [task for task in tasks if not task.out.exists()]


def main() -> None:
    args = _parser().parse_args()
    for folder in ("", *NETWORKS.values()) if args.raw and args.crops else ("",):
        (args.out / folder).mkdir(parents=True, exist_ok=True)
    began = time.monotonic()
    done = 0
    for count in _carry_out(_tasks(args), args.workers, (args.bodies, args.gpus, args.networks)):
        done += count
        if time.monotonic() - began > args.limit_s:
            break
    print(f"{args.split}: {done} pictures in {time.monotonic() - began:.0f} s", flush=True)


def _carry_out(tasks: list[Task], workers: int, start: tuple[Path, int, Path | None]) -> Iterator[int]:
    """Pictures of each shard, as shards are finished; a single worker is this process itself."""
    if workers == 1 and tasks:
        _start(*start)
        yield from map(_do, tasks)
    elif tasks:
        with multiprocessing.get_context("spawn").Pool(workers, _start, start) as pool:
            yield from pool.imap_unordered(_do, tasks)


if __name__ == "__main__":
    main()
