"""Trains one of the two networks that look at crops around a hand.

    python -m calibration.train.network forearm --data DIR --out calibration/weights/forearm.onnx
    python -m calibration.train.network fingers --data DIR --out calibration/weights/fingers.onnx

DIR holds the `traincrops-*.npz` that `calibration.dataset.tracked --crops` wrote for the training identities (in
DIR/forearm and DIR/fingers where it was told `--raw`); the pictures that the angle estimator is fitted on must be
others, so that it learns how good the networks are on pictures they have not seen. It may begin while these are still
being rendered, and takes them in as they come. A GPU makes it minutes instead of days; several of one machine share the
work where `torchrun --nproc-per-node N -m` stands instead of `python -m`. With `--state` a training that was cut short
goes on where it was. With `cal-*.npz` or `test-*.npz` beside them it says how good it became.
"""

from __future__ import annotations

import argparse
import copy
import math
import os
import threading
import time
import zlib
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType

import cv2
import numpy as np
import torch
from torch import distributed, nn
from torch.nn.parallel import DistributedDataParallel

from calibration.dataset.crop_jitter import padded_crop_of, read_crop_jitter
from calibration.dataset.table import Columns, read_shards
from calibration.train import finger_model, forearm_model
from calibration.train.crop_model import CropModel, Target, augment, fold
from calibration.train.restore import restore
from posturewatch.tracking.crop import CLOSE, WIDE, Crop

KEEP = 0.998  # share of the running mean of the weights that a step leaves
RISE = 0.1  # share of the training over which the learning rate rises
CHECKPOINTS = (0.3, 0.45, 0.6, 0.75, 0.9)  # shares of the training at which the weights are written too
STATE_EVERY_S = 60.0
RESTORED_FROM = 768  # crops, by which a network is made of an ONNX file


@dataclass(frozen=True)
class Kind:
    """What one network is made of. padded_crop: what its crops are taken from in training; columns: prefix of their
    columns; learning: its model, targets, loss and report."""

    name: str
    crop: Crop
    padded_crop: Crop
    columns: str
    learning: ModuleType


JITTERS = read_crop_jitter()
KINDS = {
    "forearm": Kind("forearm", WIDE, padded_crop_of(WIDE, JITTERS), "crop", forearm_model),
    "fingers": Kind("fingers", CLOSE, padded_crop_of(CLOSE, JITTERS), "close", finger_model),
}


class Crops:
    """Training crops on the device, taken in as `calibration.dataset.tracked` writes them. share: of how many
    devices this is which one; each takes its share of the files. consume: files are deleted once they are taken in.
    Where there is no more room the oldest crops make way."""

    def __init__(
        self,
        kind: Kind,
        folder: Path,
        device: str,
        room: int,
        share: tuple[int, int] = (0, 1),
        consume: bool = False,
    ) -> None:
        size = kind.padded_crop.size_px
        self.kind = kind
        self.pictures = torch.empty((room, 3, size, size), dtype=torch.uint8, device=device)
        self.target: dict[str, torch.Tensor] = {}
        self.jitters = torch.tensor(JITTERS, dtype=torch.float32, device=device)
        self.count = 0
        self.lock = threading.Lock()  # while crops and their targets are written, or drawn
        self._at = 0
        self._folder, self._device = folder, device
        self._share, self._consume = share, consume
        self._known: set[Path] = set()

    def take_in(self) -> bool:
        """Reads what is new; whether there was anything. The rows up to `count` are always whole."""
        places = (self._folder, self._folder / self.kind.name)
        found = [p for folder in places for p in sorted(folder.glob("traincrops-*.npz"))]
        new = [p for p in found if p not in self._known]
        for path in new:
            self._known.add(path)
            if zlib.crc32(path.name.encode()) % self._share[1] != self._share[0]:
                continue
            columns = dict(np.load(path))
            if not {f"{self.kind.columns}_pixels", f"{self.kind.columns}_bytes"} & columns.keys():
                continue  # its crops lie in the networks' own folders
            pictures = read_crops(columns, self.kind.columns, self.kind.padded_crop, self._device)
            target = self.kind.learning.targets(columns, self._device)
            with self.lock:
                self._write(pictures, target)
            if self._consume:
                path.unlink()
        return bool(new)

    def _write(self, pictures: torch.Tensor, target: Target) -> None:
        room = len(self.pictures)
        rows = (self._at + torch.arange(len(pictures), device=self._device)) % room
        self.pictures[rows] = pictures
        for name, values in target.items():
            if name not in self.target:
                self.target[name] = torch.zeros((room, *values.shape[1:]), device=self._device)
            self.target[name][rows] = values
        self._at = (self._at + len(pictures)) % room
        self.count = min(self.count + len(pictures), room)


@dataclass(frozen=True)
class Plan:
    """seconds: how long to train, the learning rate following the share of it that is over; peak: its highest value;
    state: where to keep, and find, what a training that is cut short goes on from."""

    seconds: float
    batch: int
    seed: int
    peak: float
    out: Path
    state: Path | None = None


def train(data: Crops, model: CropModel, plan: Plan) -> CropModel:
    """Returns the running mean of the weights; writes it on the way too."""
    rank = distributed.get_rank() if distributed.is_initialized() else 0
    device = data.pictures.device
    torch.backends.cudnn.benchmark = True
    torch.manual_seed(plan.seed + rank)
    model = model.to(device).train()
    mean = copy.deepcopy(model)
    taught = DistributedDataParallel(model) if distributed.is_initialized() else model
    varied = augment
    if device.type == "cuda":
        # On an H200 that was rendering too, a forearm step of 1,024 crops took 55 ms compiled and 107 as it stands with
        # channels last, a finger step 68 and 102; on a processor compiling takes longer than it saves.
        varied, taught = torch.compile(augment), torch.compile(taught)
    optimiser = torch.optim.AdamW(model.parameters(), plan.peak, weight_decay=2e-2)
    done, before_s = _resume(plan.state, model, mean, optimiser)
    running = torch.zeros((), device=device)
    began = kept = time.monotonic()
    checkpoints = list(CHECKPOINTS)
    while (share := _agreed((before_s + time.monotonic() - began) / plan.seconds)) < 1:
        for group in optimiser.param_groups:
            group["lr"] = plan.peak * learning_rate(share)
        x, now = _batch(data, plan.batch, varied)
        with torch.autocast(device.type, dtype=torch.bfloat16):
            output = taught(x)
        loss = data.kind.learning.loss_of(output, now)
        optimiser.zero_grad()
        loss.backward()
        nn.utils.clip_grad_norm_(model.parameters(), 5.0)
        optimiser.step()
        _follow(mean, model, min(KEEP, done / (done + 20)))
        running = loss.detach() if done == 0 else 0.99 * running + 0.01 * loss.detach()
        done += 1
        if done % 250 == 0 and rank == 0:
            print(f"  step {done}, {share:.0%}: loss {running.item():.3f}, {data.count} crops", flush=True)
        if checkpoints and share > checkpoints[0]:
            checkpoints.pop(0)
            if rank == 0:
                export(mean, data.kind, plan.out)
        if plan.state is not None and rank == 0 and time.monotonic() - kept > STATE_EVERY_S:
            kept = time.monotonic()
            _keep(plan.state, model, mean, optimiser, done, before_s + kept - began)
    mean.eval()
    return mean


def learning_rate(share: float) -> float:
    """Of the highest one: a straight rise, then half a cosine down to a thousandth."""
    if share < RISE:
        return max(share / RISE, 1e-3)
    return max(0.5 + 0.5 * math.cos(math.pi * (share - RISE) / (1 - RISE)), 1e-3)


@torch.no_grad()
def _batch(
    data: Crops, batch: int, varied: Callable[..., tuple[torch.Tensor, Target]] = augment
) -> tuple[torch.Tensor, Target]:
    """Crops (n, 3, size, size) and their targets, drawn anew and varied."""
    device = data.pictures.device
    with data.lock:
        picked = torch.randint(0, data.count, (batch,), device=device)
        now = {name: values[picked] for name, values in data.target.items()}
        x = data.pictures[picked].float() / 127.5 - 1
    placed = data.jitters[torch.randint(0, len(data.jitters), (batch,), device=device)]
    return varied(x, now, data.kind.crop, data.kind.padded_crop, placed)


def _keep(
    path: Path, model: nn.Module, mean: nn.Module, optimiser: torch.optim.Optimizer, done: int, spent_s: float
) -> None:
    partial = path.with_name(path.name + ".tmp")
    states = {"model": model.state_dict(), "mean": mean.state_dict(), "optimiser": optimiser.state_dict()}
    torch.save({**states, "done": done, "spent_s": spent_s}, partial)
    partial.replace(path)


def _resume(
    path: Path | None, model: nn.Module, mean: nn.Module, optimiser: torch.optim.Optimizer
) -> tuple[int, float]:
    """Steps done and seconds spent by the training whose state lies there; none where there is none."""
    if path is None or not path.exists():
        return 0, 0.0
    state = torch.load(path, map_location=next(model.parameters()).device)
    for module, name in ((model, "model"), (mean, "mean")):
        module.load_state_dict(state[name])
    optimiser.load_state_dict(state["optimiser"])
    return int(state["done"]), float(state["spent_s"])


def _agreed(value: float) -> float:
    """What the first of several devices says."""
    if not distributed.is_initialized():
        return value
    said = torch.tensor([value])
    distributed.broadcast(said, 0)
    return float(said)


@torch.no_grad()
def _follow(mean: nn.Module, model: nn.Module, keep: float) -> None:
    torch._foreach_lerp_(list(mean.parameters()), list(model.parameters()), 1 - keep)
    torch._foreach_copy_(list(mean.buffers()), list(model.buffers()))


@torch.no_grad()
def between(before: CropModel, after: CropModel, share: float) -> CropModel:
    """The network that lies so far, 0 to 1, on the way from one to the other. One that went on learning from other
    pictures got better on these and a little worse on the first; one between them keeps most of both (Wortsman et al.
    2022, arXiv:2109.01903). Raises ValueError for another share."""
    if not 0 <= share <= 1:
        raise ValueError(f"the share must be 0 to 1, not {share}")
    first, last = before.state_dict(), after.state_dict()
    weights = {
        name: torch.lerp(first[name].to(values), values, share) if values.is_floating_point() else values
        for name, values in last.items()
    }
    middle = copy.deepcopy(after)
    middle.load_state_dict(weights)
    return middle


@torch.no_grad()
def predict(model: CropModel, pictures: torch.Tensor) -> torch.Tensor:
    return torch.cat([model(part.float() / 127.5 - 1) for part in pictures.split(512)])


def export(model: CropModel, kind: Kind, path: Path) -> None:
    """The network as ONNX, and its weights as they are beside it."""
    path.parent.mkdir(parents=True, exist_ok=True)
    model = copy.deepcopy(model).cpu().eval().to(memory_format=torch.contiguous_format)
    torch.save(model.state_dict(), f"{path}.pt")
    fold(model)
    torch.onnx.export(
        model,
        (torch.zeros(1, 12, kind.crop.size_px // 2, kind.crop.size_px // 2),),
        str(path),
        input_names=["crop"],
        output_names=["seen"],
        dynamic_axes={"crop": {0: "n"}, "seen": {0: "n"}},
        opset_version=13,
        dynamo=False,
    )


def begun(kind: Kind, start: Path | None, data: Crops) -> CropModel:
    """A new network, or one that goes on from weights that were written before it: blocks added since change nothing at
    first, and outputs added since are at zero. Of an ONNX file it must be the very same network."""
    model: CropModel = kind.learning.model()
    if start is not None and start.suffix == ".onnx":
        torch.manual_seed(1)
        crops, _ = _batch(data, min(RESTORED_FROM, data.count))
        restore(model.to(data.pictures.device), start, crops)
    elif start is not None:
        state, own = torch.load(start, map_location="cpu"), model.state_dict()
        for name, values in state.items():
            if own[name].shape == values.shape:
                own[name] = values
            else:
                own[name].zero_()
                own[name][: len(values)] = values
        model.load_state_dict(own)
    return model


def read_crops(columns: Columns, prefix: str, crop: Crop, device: str) -> torch.Tensor:
    """(n, 3, size, size) uint8 RGB crops of all rows."""
    if f"{prefix}_pixels" in columns:
        return torch.from_numpy(columns[f"{prefix}_pixels"]).to(device).flip(3).permute(0, 3, 1, 2)
    lengths, data, size = columns[f"{prefix}_length"], columns[f"{prefix}_bytes"], crop.size_px
    ends = np.cumsum(lengths.astype(np.int64))
    out = torch.empty((len(ends), size, size, 3), dtype=torch.uint8)
    view = out.numpy()

    def decode(k: int) -> None:
        view[k] = cv2.imdecode(data[ends[k] - lengths[k] : ends[k]], cv2.IMREAD_COLOR)[:, :, ::-1]

    with ThreadPoolExecutor(4) as pool:
        list(pool.map(decode, range(len(ends))))
    return out.to(device).permute(0, 3, 1, 2)


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("network", choices=sorted(KINDS))
    parser.add_argument("--data", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--seconds", type=float, default=1200, help="how long to train")
    parser.add_argument("--room", type=int, default=320_000, help="most crops to hold on the device")
    parser.add_argument("--batch", type=int, default=1024)
    parser.add_argument("--peak", type=float, default=4e-3, help="highest learning rate")
    parser.add_argument(
        "--start", type=Path, help="go on from these weights (an earlier network, or the .pt beside it)"
    )
    parser.add_argument(
        "--share",
        type=float,
        default=1.0,
        help="how far to go from the weights of --start to those learned, 0 to 1",
    )
    parser.add_argument("--state", type=Path, help="keep here what is needed to go on, and go on from it")
    parser.add_argument("--consume", action="store_true", help="delete files once they are taken in")
    parser.add_argument("--begin-with", type=int, default=1, help="wait until there are so many crops")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--device", default="cuda" if torch.cuda.is_available() else "cpu")
    return parser


def main() -> None:
    args = _parser().parse_args()
    if args.share < 1 and args.start is None:
        raise SystemExit("--share says how far to go from the weights of --start, which is missing.")
    kind = KINDS[args.network]
    share = (int(os.environ.get("RANK", 0)), int(os.environ.get("WORLD_SIZE", 1)))  # as torchrun says
    if share[1] > 1 and args.device == "cuda":
        torch.cuda.set_device(share[0])
        args.device = f"cuda:{share[0]}"
    if share[1] > 1:
        distributed.init_process_group("gloo" if args.device == "cpu" else "cpu:gloo,cuda:nccl")
    data = Crops(kind, args.data, args.device, args.room, share, args.consume)
    if not data.take_in() and args.begin_with < 2:
        raise SystemExit(
            f"There are no traincrops-*.npz in {args.data}; run calibration.dataset.tracked --crops."
        )
    while data.count < args.begin_with:
        time.sleep(1)
        data.take_in()
    print(f"begins with {data.count} crops", flush=True)
    over = threading.Event()

    def follow_the_folder() -> None:
        while not over.wait(2):
            data.take_in()

    threading.Thread(target=follow_the_folder, daemon=True).start()
    plan = Plan(args.seconds, args.batch, args.seed, args.peak, args.out, args.state)
    before = begun(kind, args.start, data)
    model = between(before, train(data, copy.deepcopy(before), plan), args.share)
    over.set()
    if share[1] > 1:
        distributed.destroy_process_group()
    if share[0] > 0:
        return
    export(model, kind, args.out)
    print(f"wrote {args.out} ({args.out.stat().st_size / 1e6:.1f} MB)", flush=True)
    for split in ("cal", "test"):
        if any(args.data.glob(f"{split}-*.npz")):
            other = read_shards(args.data, split)
            known = torch.tensor(other["valid"], device=args.device)
            output = predict(model, read_crops(other, kind.columns, kind.crop, args.device))[known]
            target = {k: v[known] for k, v in kind.learning.targets(other, args.device).items()}
            kind.learning.report(split, output, target)


if __name__ == "__main__":
    main()
