"""Trains the network that looks at the forearm and the hand in a cutting around the wrist.

    python -m calibration.train_forearm --data DIR --out calibration/weights/forearm.onnx

DIR holds the `traincut-*.npz` that `calibration.dataset --cuttings` wrote for the training identities; the pictures
that the angle estimator is fitted on must be others, so that it learns how good the network is on pictures it has not
seen. It may begin while these are still being rendered, and takes them in as they come. A GPU makes it minutes
instead of days. With `cal-*.npz` or `test-*.npz` beside them it says how good it became.
"""

from __future__ import annotations

import argparse
import copy
import math
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import cv2
import numpy as np
import torch
from torch import nn

from calibration.forearm_model import (
    DIRECT_AT,
    OUTPUT_COUNT,
    UNIT,
    ForearmModel,
    augment,
    axis_error_deg,
    loss_of,
)
from calibration.table import read_shards
from posturewatch.tracking.forearm import CROP_PX

KEEP = 0.998  # share of the running mean of the weights that a step leaves
RISE = 0.12  # share of the training over which the learning rate rises


class Cuttings:
    """Training cuttings on the device, taken in as `calibration.dataset` writes them."""

    def __init__(self, folder: Path, device: str, room: int) -> None:
        self.crops = torch.empty((room, 3, CROP_PX, CROP_PX), dtype=torch.uint8, device=device)
        self.target: dict[str, torch.Tensor] = {}
        self.count = 0
        self._folder, self._device = folder, device
        self._known: set[Path] = set()

    def take_in(self) -> bool:
        """Reads what is new; whether there was anything. The rows up to `count` are always whole."""
        new = [p for p in sorted(self._folder.glob("traincut-*.npz")) if p not in self._known]
        new = [p for p in new if not p.name.endswith(".tmp.npz")]
        for path in new:
            self._known.add(path)
            columns = dict(np.load(path))
            crops, target = read_crops(columns, self._device), targets(columns, self._device)
            first, last = self.count, min(self.count + len(crops), len(self.crops))
            self.crops[first:last] = crops[: last - first]
            for name, values in target.items():
                if name not in self.target:
                    shape = (len(self.crops), *values.shape[1:])
                    self.target[name] = torch.zeros(shape, device=self._device)
                self.target[name][first:last] = values[: last - first]
            self.count = last
        return bool(new)


def train(data: Cuttings, *, seconds: float, batch: int, seed: int, peak: float, out: Path) -> ForearmModel:
    """Trains for so long, the learning rate following the share of it that is over. Returns the running mean of the
    weights; writes it at three quarters too."""
    torch.manual_seed(seed)
    device = data.crops.device
    torch.backends.cudnn.benchmark = True
    generator = torch.Generator(device=device)
    generator.manual_seed(seed)
    model = ForearmModel().to(device, memory_format=torch.channels_last)
    mean = copy.deepcopy(model)
    optimiser = torch.optim.AdamW(model.parameters(), peak, weight_decay=2e-2)
    began, done, running, kept_early = time.monotonic(), 0, torch.zeros((), device=device), False
    while (share := (time.monotonic() - began) / seconds) < 1:
        rate = share / RISE if share < RISE else 0.5 + 0.5 * math.cos(math.pi * (share - RISE) / (1 - RISE))
        for group in optimiser.param_groups:
            group["lr"] = peak * max(rate, 1e-3)
        picked = torch.randint(0, data.count, (batch,), device=device, generator=generator)
        now = {name: values[picked] for name, values in data.target.items()}
        with torch.no_grad():
            x, now = augment(data.crops[picked].float() / 127.5 - 1, now, generator)
        x = x.contiguous(memory_format=torch.channels_last)
        with torch.autocast(device.type, dtype=torch.bfloat16):
            output = model(x)
        loss = loss_of(output.float(), now)
        optimiser.zero_grad()
        loss.backward()
        nn.utils.clip_grad_norm_(model.parameters(), 5.0)
        optimiser.step()
        _follow(mean, model, min(KEEP, done / (done + 20)))
        running = loss.detach() if done == 0 else 0.99 * running + 0.01 * loss.detach()
        done += 1
        if done % 400 == 0:
            print(f"  step {done}, {share:.0%}: loss {running.item():.3f}, {data.count} cuttings", flush=True)
        if share > 0.75 and not kept_early:
            kept_early = True
            export(mean, out)
    return mean.eval()


@torch.no_grad()
def _follow(mean: nn.Module, model: nn.Module, keep: float) -> None:
    for ours, new in zip(mean.parameters(), model.parameters(), strict=True):
        ours.lerp_(new, 1 - keep)
    for kept, new in zip(mean.buffers(), model.buffers(), strict=True):
        kept.copy_(new)


@torch.no_grad()
def predict(model: ForearmModel, crops: torch.Tensor) -> torch.Tensor:
    parts = [model(part.float() / 127.5 - 1) for part in crops.split(512)]
    return torch.cat(parts) if parts else torch.zeros(0, OUTPUT_COUNT, device=crops.device)


def export(model: ForearmModel, path: Path) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    model = copy.deepcopy(model).cpu().eval().to(memory_format=torch.contiguous_format)
    torch.onnx.export(
        model,
        (torch.zeros(1, 3, CROP_PX, CROP_PX),),
        str(path),
        input_names=["crop"],
        output_names=["forearm"],
        dynamic_axes={"crop": {0: "n"}, "forearm": {0: "n"}},
        opset_version=13,
        dynamo=False,
    )


@torch.no_grad()
def report(name: str, output: torch.Tensor, target: dict[str, torch.Tensor]) -> None:
    error = axis_error_deg(output, target["direction"])
    seen = target["forearm_visible"] > 0.5
    angles = (output[:, DIRECT_AT] - target["direct"]).abs() * UNIT
    sure = output[:, 2].argsort()[: int(0.8 * len(output))]
    print(
        f"{name}: axis median {error[seen].median():.1f} p90 {error[seen].quantile(0.9):.1f} deg where visible, "
        f"surest 80 % median {error[sure].median():.1f} p90 {error[sure].quantile(0.9):.1f}; "
        f"first guess of flexion {angles[seen, 0].mean():.1f} deviation {angles[seen, 1].mean():.1f} deg MAE; "
        f"n={len(output)}",
        flush=True,
    )


def read_crops(columns: dict[str, np.ndarray], device: str) -> torch.Tensor:
    """(n, 3, CROP_PX, CROP_PX) uint8 RGB cuttings of all rows."""
    ends = np.cumsum(columns["crop_length"].astype(np.int64))
    out = torch.empty((len(ends), CROP_PX, CROP_PX, 3), dtype=torch.uint8)
    view = out.numpy()

    def decode(k: int) -> None:
        data = columns["crop_bytes"][ends[k] - columns["crop_length"][k] : ends[k]]
        view[k] = cv2.imdecode(data, cv2.IMREAD_COLOR)[:, :, ::-1]

    with ThreadPoolExecutor(4) as pool:
        list(pool.map(decode, range(len(ends))))
    return out.to(device).permute(0, 3, 1, 2)


def targets(columns: dict[str, np.ndarray], device: str) -> dict[str, torch.Tensor]:
    """The columns of `calibration.cuttings` as tensors, unknown values as 0 with their weight at 0."""

    def tensor(values: np.ndarray) -> torch.Tensor:
        return torch.tensor(np.nan_to_num(values.astype(np.float32)), device=device)

    usable = columns["valid"] & np.isfinite(columns["direction"]).all(1)
    seen = np.where(usable, columns["forearm_visible"], 0.0)
    return {
        "direction": tensor(np.where(usable[:, None], columns["direction"], [0.0, 1.0])),
        "slope": tensor(np.clip(columns["slope"][:, 0], -4, 4)),
        "axes": tensor(columns["axes"]),
        "forearm_radial": tensor(columns["forearm_radial"]),
        "elbow": tensor(columns["elbow"]),
        "elbow_known": tensor(np.isfinite(columns["elbow"]).all(1)),
        "direct": tensor(np.clip(columns["y"] / UNIT, -4, 4)),
        "known": tensor(np.isfinite(columns["y"])),
        "forearm_visible": tensor(seen),
        "hand_visible": tensor(columns["hand_visible"]),
        "strings_visible": tensor(columns["strings_visible"]),
    }


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--data", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--seconds", type=float, default=420, help="how long to train")
    parser.add_argument("--room", type=int, default=160_000, help="most cuttings to hold on the device")
    parser.add_argument("--batch", type=int, default=1024)
    parser.add_argument("--peak", type=float, default=4e-3, help="highest learning rate")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--device", default="cuda" if torch.cuda.is_available() else "cpu")
    args = parser.parse_args()
    data = Cuttings(args.data, args.device, args.room)
    if not data.take_in():
        raise SystemExit(f"There are no traincut-*.npz in {args.data}; run calibration.dataset --cuttings.")
    print(f"begins with {data.count} cuttings", flush=True)
    over = threading.Event()

    def follow_the_folder() -> None:
        while not over.wait(2):
            data.take_in()

    threading.Thread(target=follow_the_folder, daemon=True).start()
    model = train(
        data,
        seconds=args.seconds,
        batch=args.batch,
        seed=args.seed,
        peak=args.peak,
        out=args.out,
    )
    over.set()
    torch.save(model.state_dict(), str(args.out) + ".pt")
    export(model, args.out)
    print(f"wrote {args.out} ({args.out.stat().st_size / 1e6:.1f} MB)")
    for split in ("cal", "test"):
        if any(args.data.glob(f"{split}-*.npz")):
            other = read_shards(args.data, split)
            known = torch.tensor(other["valid"], device=args.device)
            output = predict(model, read_crops(other, args.device))[known]
            report(split, output, {k: v[known] for k, v in targets(other, args.device).items()})


if __name__ == "__main__":
    main()
