"""The form that both networks have which look at a cutting, and the variations of their training pictures."""

from __future__ import annotations

import math

import torch
from torch import nn
from torch.nn import functional

from posturewatch.tracking.cutting import Cutting

__all__ = ["CuttingModel", "Target", "augment"]

Target = dict[str, torch.Tensor]

#: Targets that turn with the cutting, with the length of their vectors, whose first two coordinates lie in it.
_TURNED = {"direction": 2, "axes": 3, "forearm_radial": 3, "elbow": 2, "joints": 3}


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


class CuttingModel(nn.Module):
    """One cutting (3, size, size) in -1..1 to that many numbers. channels: of the five stages."""

    def __init__(self, size_px: int, channels: tuple[int, int, int, int, int], outputs: int) -> None:
        super().__init__()
        a, b, c, d, e = channels
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
            nn.Linear(48 * (size_px // 32) ** 2, 256),
            nn.ReLU(),
            nn.Linear(256, outputs),
        )

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        return self.body(x)  # type: ignore[no-any-return]


def augment(
    x: torch.Tensor, target: Target, cutting: Cutting, generator: torch.Generator
) -> tuple[torch.Tensor, Target]:
    """Turns, scales and shifts the cutting about the wrist (the tracker's landmarks jitter), and varies its colours.

    x: (n, 3, size, size) in -1..1. The target's directions are turned along, the elbow's place scaled too.
    """
    n, device = len(x), x.device

    def rand(*shape: int) -> torch.Tensor:
        return torch.rand(*shape, device=device, generator=generator)

    angle = (rand(n) - 0.5) * math.radians(44)
    scale = torch.exp((rand(n) - 0.5) * 0.5)
    shift = (rand(n, 2) - 0.5) * 0.14
    cos, sin = torch.cos(angle), torch.sin(angle)
    wrist_y = 2 * cutting.wrist_at[1] - 1
    theta = torch.zeros(n, 2, 3, device=device)
    theta[:, 0, 0], theta[:, 0, 1] = cos / scale, sin / scale
    theta[:, 1, 0], theta[:, 1, 1] = -sin / scale, cos / scale
    theta[:, 0, 2] = -theta[:, 0, 1] * wrist_y + shift[:, 0]
    theta[:, 1, 2] = wrist_y - theta[:, 1, 1] * wrist_y + shift[:, 1]
    grid = functional.affine_grid(theta, list(x.shape), align_corners=False)
    x = functional.grid_sample(x, grid, align_corners=False, padding_mode="zeros")

    turned = {}
    for name, length in _TURNED.items():
        if name in target:
            v = target[name].reshape(n, -1, length)
            first = cos[:, None] * v[..., 0] - sin[:, None] * v[..., 1]
            second = sin[:, None] * v[..., 0] + cos[:, None] * v[..., 1]
            v = torch.cat([first[..., None], second[..., None], v[..., 2:]], dim=2)
            turned[name] = v.reshape(n, -1)
    if "elbow" in turned:
        turned["elbow"] = turned["elbow"] * scale[:, None]
    return _recoloured(x, generator), target | turned


def _recoloured(x: torch.Tensor, generator: torch.Generator) -> torch.Tensor:
    n, device = len(x), x.device
    size = x.shape[-1]

    def uniform(*shape: int) -> torch.Tensor:
        return torch.rand(*shape, device=device, generator=generator)

    x = x * (0.6 + 0.8 * uniform(n, 3, 1, 1)) + (uniform(n, 1, 1, 1) - 0.5) * 0.5
    grey = (uniform(n, 1, 1, 1) < 0.15).to(x.dtype)
    x = x * (1 - grey) + x.mean(1, keepdim=True) * grey
    blur = (uniform(n, 1, 1, 1) < 0.25).to(x.dtype)
    x = x * (1 - blur) + functional.avg_pool2d(x, 3, 1, 1) * blur
    coarse = (uniform(n, 1, 1, 1) < 0.2).to(x.dtype)  # small hands are enlarged
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
