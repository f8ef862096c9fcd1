"""Trains the network that measures the forearm's axis in a crop around the wrist.

    python -m calibration.train_forearm --data DIR --out calibration/weights/forearm.onnx

DIR holds what `calibration.dataset` wrote for the training identities. A GPU makes it minutes instead of hours.
The network is trained three times: on either half of the identities, to predict the other half (so that the
angle estimator is fitted on predictions for bodies the network has not seen), and on all of them, to be kept.

Outputs, in the crop's own picture (x right, y down, right hands mirrored): 0-1 direction towards the elbow, 2 log of
the direction's Laplace scale in radians, 3 depth slope, 4 its log scale, 5-6 flexion and ulnar deviation in units of
30 degrees (coarse, a feature for the estimator), 7 logit of the forearm being visible.
"""

from __future__ import annotations

import argparse
import math
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import cv2
import numpy as np
import torch
from torch import nn
from torch.nn import functional

from calibration.table import read_shards

OUTPUTS = 8
WRIST_Y = 0.4  # where the crop puts the wrist, as a share of its height


def _block(channels_in: int, channels_out: int, stride: int = 1) -> nn.Sequential:
    return nn.Sequential(
        nn.Conv2d(channels_in, channels_in, 3, stride, 1, groups=channels_in, bias=False),
        nn.BatchNorm2d(channels_in),
        nn.ReLU(),
        nn.Conv2d(channels_in, channels_out, 1, bias=False),
        nn.BatchNorm2d(channels_out),
        nn.ReLU(),
    )


class ForearmModel(nn.Module):
    """About 27 million multiplications for one 128-pixel crop: 1-2 ms on a CPU core."""

    def __init__(self) -> None:
        super().__init__()
        self.body = nn.Sequential(
            nn.Conv2d(3, 16, 3, 2, 1, bias=False),
            nn.BatchNorm2d(16),
            nn.ReLU(),
            _block(16, 32, 2),
            _block(32, 64),
            _block(64, 64),
            _block(64, 128, 2),
            _block(128, 128),
            _block(128, 128),
            _block(128, 192, 2),
            _block(192, 192),
            _block(192, 192),
            nn.Conv2d(192, 32, 1),
            nn.ReLU(),
            nn.Flatten(),
            nn.Dropout(0.25),
            nn.Linear(32 * 64, 128),
            nn.ReLU(),
            nn.Linear(128, OUTPUTS),
        )

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        return self.body(x)  # type: ignore[no-any-return]


def augment(
    x: torch.Tensor, direction: torch.Tensor, generator: torch.Generator
) -> tuple[torch.Tensor, torch.Tensor]:
    """Turns, scales and shifts the crop about the wrist (the tracker's landmarks jitter), and varies its colours.

    x: (n, 3, 128, 128) in -1..1; direction: (n, 2) turned along.
    """
    n, device = len(x), x.device

    def rand(*shape: int) -> torch.Tensor:
        return torch.rand(*shape, device=device, generator=generator)

    angle = (rand(n) - 0.5) * math.radians(44)
    scale = torch.exp((rand(n) - 0.5) * 0.5)
    shift = (rand(n, 2) - 0.5) * 0.14
    cos, sin = torch.cos(angle), torch.sin(angle)
    wrist_y = 2 * WRIST_Y - 1
    theta = torch.zeros(n, 2, 3, device=device)
    theta[:, 0, 0], theta[:, 0, 1] = cos / scale, sin / scale
    theta[:, 1, 0], theta[:, 1, 1] = -sin / scale, cos / scale
    theta[:, 0, 2] = -theta[:, 0, 1] * wrist_y + shift[:, 0]
    theta[:, 1, 2] = wrist_y - theta[:, 1, 1] * wrist_y + shift[:, 1]
    grid = functional.affine_grid(theta, list(x.shape), align_corners=False)
    x = functional.grid_sample(x, grid, align_corners=False, padding_mode="zeros")
    turned = torch.stack(
        [cos * direction[:, 0] - sin * direction[:, 1], sin * direction[:, 0] + cos * direction[:, 1]], dim=1
    )
    x = x * (0.6 + 0.8 * rand(n, 3, 1, 1)) + (rand(n, 1, 1, 1) - 0.5) * 0.5
    grey = (rand(n, 1, 1, 1) < 0.15).float()
    x = x * (1 - grey) + x.mean(1, keepdim=True) * grey
    blur = (rand(n, 1, 1, 1) < 0.25).float()
    x = x * (1 - blur) + functional.avg_pool2d(x, 3, 1, 1) * blur
    x = x + torch.randn(x.shape, device=device, generator=generator) * 0.08 * rand(n, 1, 1, 1)
    for _ in range(2):
        width = int(torch.randint(8, 40, (1,)).item())
        chosen = (rand(n) < 0.35).nonzero().flatten()
        top, left = (int(v) for v in torch.randint(0, 128 - width, (2,)))
        x[chosen, :, top : top + width, left : left + width] = rand(len(chosen), 3, 1, 1) * 2 - 1
    return x, turned


def _in_space(direction: torch.Tensor, slope: torch.Tensor) -> torch.Tensor:
    """(n, 3) unit vectors from directions in the picture (n, 2) and depth slopes (n,)."""
    flat = functional.normalize(direction, dim=1)
    return functional.normalize(torch.cat([flat, slope[:, None]], dim=1), dim=1)


def loss_of(output: torch.Tensor, target: dict[str, torch.Tensor]) -> torch.Tensor:
    direction = target["direction"]
    visible = target["visible"]
    raw = output[:, :2]
    cross = raw[:, 0] * direction[:, 1] - raw[:, 1] * direction[:, 0]
    dot = (raw * direction).sum(1)
    angle = torch.atan2(cross, dot + 1e-6).abs()
    log_scale = output[:, 2].clamp(-5, 1)
    axis = angle * torch.exp(-log_scale) + log_scale
    norm = (raw.norm(dim=1) - 1).square()
    slope_scale = output[:, 4].clamp(-4, 2)
    slope = (output[:, 3] - target["slope"]).abs() * torch.exp(-slope_scale) + slope_scale
    # The same in space: what the wrist's angles are made of. A forearm that points at the camera has no sure
    # direction in the picture, and needs none.
    space = (_in_space(raw, output[:, 3]) - _in_space(direction, target["slope"])).norm(dim=1)
    angles = functional.huber_loss(output[:, 5:7], target["angles"], reduction="none").sum(1)
    seen = functional.binary_cross_entropy_with_logits(output[:, 7], visible)
    weight = 0.15 + 0.85 * visible
    return (weight * (axis + 0.2 * norm + 0.5 * slope + 3.0 * space + 0.5 * angles)).mean() + 0.2 * seen


def train(
    crops: torch.Tensor,
    target: dict[str, torch.Tensor],
    rows: torch.Tensor,
    *,
    steps: int,
    batch: int,
    seed: int,
    limit_s: float,
) -> ForearmModel:
    """crops: (n, 3, 128, 128) uint8 on the device; rows: which of them to train on."""
    torch.manual_seed(seed)
    device = crops.device
    generator = torch.Generator(device=device)
    generator.manual_seed(seed)
    model = ForearmModel().to(device)
    optimiser = torch.optim.AdamW(model.parameters(), 1e-3, weight_decay=2e-2)
    schedule = torch.optim.lr_scheduler.OneCycleLR(optimiser, 4e-3, total_steps=steps)
    began = time.monotonic()
    done = 0
    while done < steps:
        order = rows[torch.randperm(len(rows), device=device, generator=generator)]
        for start in range(0, len(order) - batch + 1, batch):
            picked = order[start : start + batch]
            x, direction = augment(crops[picked].float() / 127.5 - 1, target["direction"][picked], generator)
            now = {name: values[picked] for name, values in target.items()}
            now["direction"] = direction
            loss = loss_of(model(x), now)
            optimiser.zero_grad()
            loss.backward()
            nn.utils.clip_grad_norm_(model.parameters(), 5.0)
            optimiser.step()
            schedule.step()
            done += 1
            if done >= steps:
                break
        if time.monotonic() - began > limit_s:
            print(f"stopped after {done} of {steps} steps for want of time", flush=True)
            break
    return model.eval()


@torch.no_grad()
def predict(model: ForearmModel, crops: torch.Tensor, rows: torch.Tensor) -> torch.Tensor:
    parts = [model(crops[part].float() / 127.5 - 1) for part in rows.split(512)]
    return torch.cat(parts) if parts else torch.zeros(0, OUTPUTS, device=crops.device)


def axis_error_deg(output: torch.Tensor, direction: torch.Tensor) -> torch.Tensor:
    """(n,) unsigned angle between the measured and the true axis in the picture."""
    cross = output[:, 0] * direction[:, 1] - output[:, 1] * direction[:, 0]
    return torch.rad2deg(torch.atan2(cross, (output[:, :2] * direction).sum(1)).abs())


def export(model: ForearmModel, path: Path) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    model = model.cpu().eval()
    torch.onnx.export(
        model,
        (torch.zeros(1, 3, 128, 128),),
        str(path),
        input_names=["crop"],
        output_names=["forearm"],
        dynamic_axes={"crop": {0: "n"}, "forearm": {0: "n"}},
        opset_version=13,
        dynamo=False,
    )


def report(name: str, output: torch.Tensor, target: dict[str, torch.Tensor]) -> None:
    error = axis_error_deg(output, target["direction"])
    seen = target["visible"] > 0.5
    angles = (output[:, 5:7] - target["angles"]).abs() * 30
    sure = output[:, 2].argsort()[: int(0.8 * len(output))]
    print(
        f"{name}: axis median {error[seen].median():.1f} p90 {error[seen].quantile(0.9):.1f} deg where visible, "
        f"surest 80 % median {error[sure].median():.1f} p90 {error[sure].quantile(0.9):.1f}; "
        f"direct flexion {angles[seen, 0].mean():.1f} deviation {angles[seen, 1].mean():.1f} deg MAE; n={len(output)}",
        flush=True,
    )


def read_crops(columns: dict[str, np.ndarray], device: str) -> torch.Tensor:
    """(n, 3, 128, 128) uint8 RGB cuttings of all rows."""
    ends = np.cumsum(columns["crop_length"])
    out = np.empty((len(ends), 128, 128, 3), np.uint8)

    def decode(k: int) -> None:
        data = columns["crop_bytes"][ends[k] - columns["crop_length"][k] : ends[k]]
        out[k] = cv2.imdecode(data, cv2.IMREAD_COLOR)[:, :, ::-1]

    with ThreadPoolExecutor() as pool:
        list(pool.map(decode, range(len(ends)), chunksize=512))
    return torch.from_numpy(out).to(device).permute(0, 3, 1, 2).contiguous()


def targets_of(columns: dict[str, np.ndarray], device: str) -> dict[str, torch.Tensor]:
    def tensor(values: np.ndarray) -> torch.Tensor:
        return torch.tensor(np.nan_to_num(values.astype(np.float32)), device=device)

    usable = columns["valid"] & np.isfinite(columns["direction"]).all(1)
    direction = np.where(usable[:, None], columns["direction"], [0.0, 1.0])
    return {
        "direction": tensor(direction),
        "slope": tensor(np.clip(columns["slope"], -4, 4)),
        "angles": tensor(np.clip(columns["y"][:, :2] / 30, -3, 3)),
        "visible": tensor(np.where(usable, columns["forearm_visible"], 0.0)),
    }


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--data", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--steps", type=int, default=9000)
    parser.add_argument("--batch", type=int, default=256)
    parser.add_argument(
        "--limit-s", type=float, default=float("inf"), help="per training, stops early after this"
    )
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    device = "cuda" if torch.cuda.is_available() else "cpu"
    columns = read_shards(args.data, "train")
    crops, target = read_crops(columns, device), targets_of(columns, device)
    half = torch.tensor(columns["identity"] % 2 == 1, device=device)
    usable = torch.tensor(columns["valid"], device=device)
    options = {"batch": args.batch, "seed": args.seed, "limit_s": args.limit_s}
    held_out = torch.zeros(len(crops), OUTPUTS, device=device)
    for side in (False, True):
        rows = (half == side).nonzero().flatten()
        model = train(
            crops, target, ((half != side) & usable).nonzero().flatten(), steps=args.steps * 2 // 3, **options
        )
        held_out[rows] = predict(model, crops, rows)
        known = rows[usable[rows]]
        report(f"half {int(side)}", held_out[known], {name: values[known] for name, values in target.items()})
    np.savez(args.data / "forearm-train.npz", output=held_out.cpu().numpy())
    model = train(crops, target, usable.nonzero().flatten(), steps=args.steps, **options)
    for split in ("cal", "test"):
        if not any(args.data.glob(f"{split}-*.npz")):
            continue
        other = read_shards(args.data, split)
        other_crops, other_target = read_crops(other, device), targets_of(other, device)
        output = predict(model, other_crops, torch.arange(len(other_crops), device=device))
        known = torch.tensor(other["valid"], device=device)
        report(split, output[known], {name: values[known] for name, values in other_target.items()})
        np.savez(args.data / f"forearm-{split}.npz", output=output.cpu().numpy())
    export(model, args.out)
    print(f"wrote {args.out} ({args.out.stat().st_size / 1e6:.1f} MB)")


if __name__ == "__main__":
    main()
