"""The forearm network's form, its loss, and the variations of its training pictures."""

from __future__ import annotations

import math

import torch
from torch import nn
from torch.nn import functional

from posturewatch.kinematics.outputs import OUTPUTS
from posturewatch.tracking.forearm import CROP_PX, WRIST_AT

__all__ = ["DIRECT_AT", "OUTPUT_COUNT", "UNIT", "ForearmModel", "augment", "axis_error_deg", "loss_of"]

#: Where the network's outputs lie; see `posturewatch.tracking.forearm`.
AXES_AT, RADIAL_AT, ELBOW_AT = slice(7, 13), slice(13, 16), slice(16, 18)
DIRECT_AT = slice(18, 18 + len(OUTPUTS))
OUTPUT_COUNT = 18 + len(OUTPUTS)
#: The estimator's outputs are first guessed in these units (degrees or millimetres).
UNIT = 30.0

Target = dict[str, torch.Tensor]


class _Separable(nn.Module):
    """Depthwise and pointwise convolution, with a bypass where the shape stays."""

    def __init__(self, channels_in: int, channels_out: int, stride: int = 1) -> None:
        super().__init__()
        self.body = nn.Sequential(
            nn.Conv2d(channels_in, channels_in, 3, stride, 1, groups=channels_in, bias=False),
            nn.BatchNorm2d(channels_in),
            nn.ReLU(),
            nn.Conv2d(channels_in, channels_out, 1, bias=False),
            nn.BatchNorm2d(channels_out),
        )
        self.bypass = stride == 1 and channels_in == channels_out

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        y = self.body(x)
        return functional.relu(x + y if self.bypass else y)


class ForearmModel(nn.Module):
    """One cutting (3, CROP_PX, CROP_PX) in -1..1 to OUTPUT_COUNT numbers."""

    def __init__(self) -> None:
        super().__init__()
        a, b, c, d, e = 32, 72, 144, 288, 384
        self.body = nn.Sequential(
            nn.Conv2d(3, a, 5, 2, 2, bias=False),
            nn.BatchNorm2d(a),
            nn.ReLU(),
            _Separable(a, b, 2),
            _Separable(b, b),
            _Separable(b, c, 2),
            _Separable(c, c),
            _Separable(c, c),
            _Separable(c, d, 2),
            *(_Separable(d, d) for _ in range(5)),
            _Separable(d, e, 2),
            _Separable(e, e),
            _Separable(e, e),
            nn.Conv2d(e, 48, 1),
            nn.ReLU(),
            nn.Flatten(),
            nn.Dropout(0.2),
            nn.Linear(48 * (CROP_PX // 32) ** 2, 256),
            nn.ReLU(),
            nn.Linear(256, OUTPUT_COUNT),
        )

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        return self.body(x)  # type: ignore[no-any-return]


def augment(x: torch.Tensor, target: Target, generator: torch.Generator) -> tuple[torch.Tensor, Target]:
    """Turns, scales and shifts the cutting about the wrist (the tracker's landmarks jitter), and varies its colours.

    x: (n, 3, CROP_PX, CROP_PX) in -1..1. The target's directions are turned along, the elbow's place scaled too.
    """
    n, device = len(x), x.device

    def rand(*shape: int) -> torch.Tensor:
        return torch.rand(*shape, device=device, generator=generator)

    angle = (rand(n) - 0.5) * math.radians(44)
    scale = torch.exp((rand(n) - 0.5) * 0.5)
    shift = (rand(n, 2) - 0.5) * 0.14
    cos, sin = torch.cos(angle), torch.sin(angle)
    wrist_y = 2 * WRIST_AT[1] - 1
    theta = torch.zeros(n, 2, 3, device=device)
    theta[:, 0, 0], theta[:, 0, 1] = cos / scale, sin / scale
    theta[:, 1, 0], theta[:, 1, 1] = -sin / scale, cos / scale
    theta[:, 0, 2] = -theta[:, 0, 1] * wrist_y + shift[:, 0]
    theta[:, 1, 2] = wrist_y - theta[:, 1, 1] * wrist_y + shift[:, 1]
    grid = functional.affine_grid(theta, list(x.shape), align_corners=False)
    x = functional.grid_sample(x, grid, align_corners=False, padding_mode="zeros")

    def turned(v: torch.Tensor) -> torch.Tensor:
        return torch.cat(
            [
                (cos * v[:, 0] - sin * v[:, 1])[:, None],
                (sin * v[:, 0] + cos * v[:, 1])[:, None],
                v[:, 2:],
            ],
            dim=1,
        )

    axes = target["axes"]
    target = target | {
        "direction": turned(target["direction"]),
        "axes": torch.cat([turned(axes[:, :3]), turned(axes[:, 3:])], dim=1),
        "forearm_radial": turned(target["forearm_radial"]),
        "elbow": turned(target["elbow"]) * scale[:, None],
    }
    return _recoloured(x, generator), target


def _recoloured(x: torch.Tensor, generator: torch.Generator) -> torch.Tensor:
    n, device = len(x), x.device
    size = x.shape[-1]

    def uniform(*shape: int) -> torch.Tensor:
        return torch.rand(*shape, device=device, generator=generator)

    x = x * (0.6 + 0.8 * uniform(n, 3, 1, 1)) + (uniform(n, 1, 1, 1) - 0.5) * 0.5
    grey = (uniform(n, 1, 1, 1) < 0.15).float()
    x = x * (1 - grey) + x.mean(1, keepdim=True) * grey
    blur = (uniform(n, 1, 1, 1) < 0.25).float()
    x = x * (1 - blur) + functional.avg_pool2d(x, 3, 1, 1) * blur
    coarse = (uniform(n, 1, 1, 1) < 0.2).float()  # small hands are enlarged
    small = functional.interpolate(
        functional.avg_pool2d(x, 3), size=size, mode="bilinear", align_corners=False
    )
    x = x * (1 - coarse) + small * coarse
    x = x + torch.randn(x.shape, device=device, generator=generator) * 0.08 * uniform(n, 1, 1, 1)
    at = torch.arange(size, device=device)
    for _ in range(2):
        width = (0.06 + 0.25 * uniform(n, 2)) * size
        first = uniform(n, 2) * (size - width)
        inside = [(at >= first[:, k, None]) & (at < (first + width)[:, k, None]) for k in (0, 1)]
        box = (inside[0][:, None, :, None] & inside[1][:, None, None, :]) & (uniform(n, 1, 1, 1) < 0.3)
        x = torch.where(box, uniform(n, 3, 1, 1) * 2 - 1, x)
    return x


def _in_space(direction: torch.Tensor, slope: torch.Tensor) -> torch.Tensor:
    """(n, 3) unit vectors from directions in the picture (n, 2) and depth slopes (n,)."""
    flat = functional.normalize(direction, dim=1)
    return functional.normalize(torch.cat([flat, slope[:, None]], dim=1), dim=1)


def loss_of(output: torch.Tensor, target: Target) -> torch.Tensor:
    """Laplace likelihood of the axis, distances in space of the frames, absolute errors of the rest."""
    direction, seen, hand_seen = target["direction"], target["forearm_visible"], target["hand_visible"]
    raw = output[:, :2]
    cross = raw[:, 0] * direction[:, 1] - raw[:, 1] * direction[:, 0]
    angle = torch.atan2(cross, (raw * direction).sum(1) + 1e-6).abs()
    log_scale = output[:, 2].clamp(-5, 1)
    axis = angle * torch.exp(-log_scale) + log_scale
    norm = (raw.norm(dim=1) - 1).square()
    slope_scale = output[:, 4].clamp(-4, 2)
    slope = (output[:, 3] - target["slope"]).abs() * torch.exp(-slope_scale) + slope_scale
    # The same in space: what the wrist's angles are made of. A forearm that points at the camera has no sure
    # direction in the picture, and needs none.
    space = (_in_space(raw, output[:, 3]) - _in_space(direction, target["slope"])).norm(dim=1)
    radial = (output[:, RADIAL_AT] - target["forearm_radial"]).norm(dim=1)
    elbow = functional.smooth_l1_loss(output[:, ELBOW_AT], target["elbow"], reduction="none").sum(1)
    off = output[:, AXES_AT] - target["axes"]
    hand = off[:, :3].norm(dim=1) + off[:, 3:].norm(dim=1)
    direct = (output[:, DIRECT_AT] - target["direct"]).abs() * target["known"]
    forearm = (0.15 + 0.85 * seen) * (
        axis + 0.2 * norm + 0.5 * slope + 3.0 * space + radial + 0.4 * elbow * target["elbow_known"]
    )
    of_hand = (0.2 + 0.8 * hand_seen) * (2.0 * hand + 3.0 * direct[:, :2].sum(1) + 0.4 * direct[:, 2:].sum(1))
    logits = functional.binary_cross_entropy_with_logits(output[:, 5], seen)
    neck = functional.binary_cross_entropy_with_logits(output[:, 6], target["strings_visible"])
    return (forearm + of_hand).mean() + 0.2 * (logits + neck)


def axis_error_deg(output: torch.Tensor, direction: torch.Tensor) -> torch.Tensor:
    """(n,) unsigned angle between the measured and the true axis in the picture."""
    cross = output[:, 0] * direction[:, 1] - output[:, 1] * direction[:, 0]
    return torch.rad2deg(torch.atan2(cross, (output[:, :2] * direction).sum(1)).abs())
