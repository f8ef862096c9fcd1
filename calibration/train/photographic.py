"""What cameras, light and things in the way do to a crop, for training: none of it moves anything in the picture.

Each variation is drawn for every crop of a batch by itself. Dear ones are done to a slice of the batch, whose crops
were drawn at random anyway; the slices of two variations begin at different crops, so that they meet in all
combinations.
"""

from __future__ import annotations

import math

import torch
from torch.nn import functional

__all__ = ["photographed"]

#: Luminance and the two colour differences of JFIF, from RGB.
_YCC = ((0.299, 0.587, 0.114), (-0.168736, -0.331264, 0.5), (0.5, -0.418688, -0.081312))
#: The quantisation tables of ITU-T T.81, annex K, rows one after the other.
_LUMINANCE = (
    16, 11, 10, 16, 24, 40, 51, 61, 12, 12, 14, 19, 26, 58, 60, 55, 14, 13, 16, 24, 40, 57, 69, 56,
    14, 17, 22, 29, 51, 87, 80, 62, 18, 22, 37, 56, 68, 109, 103, 77, 24, 35, 55, 64, 81, 104, 113, 92,
    49, 64, 78, 87, 103, 121, 120, 101, 72, 92, 95, 98, 112, 100, 103, 99,
)  # fmt: skip
_CHROMINANCE = (
    17, 18, 24, 47, 99, 99, 99, 99, 18, 21, 26, 66, 99, 99, 99, 99, 24, 26, 56, 99, 99, 99, 99, 99,
    47, 66, 99, 99, 99, 99, 99, 99, *(99,) * 32,
)  # fmt: skip
_BLUR_PX = 9  # side of the kernels


class _Dice:
    """Random numbers for the crops of a batch."""

    def __init__(self, x: torch.Tensor) -> None:
        self._device = x.device

    def uniform(self, *shape: int, low: float = 0.0, high: float = 1.0) -> torch.Tensor:
        return low + (high - low) * torch.rand(*shape, device=self._device)

    def normal(self, *shape: int) -> torch.Tensor:
        return torch.randn(*shape, device=self._device)

    def chance(self, n: int, share: float) -> torch.Tensor:
        """(n, 1, 1, 1) true for so many."""
        return self.uniform(n, 1, 1, 1) < share


def photographed(x: torch.Tensor) -> torch.Tensor:
    """The crops (n, 3, size, size), RGB in -1..1, as other cameras in other light might have taken them, with things in
    front of some. The size is a multiple of 32."""
    dice = _Dice(x)
    x = _covered(x, dice)
    x = _lit(x * 0.5 + 0.5, dice)
    n = len(x)
    parts = list(x.roll(int(n * 0.37), 0).split(max(1, n // 8)))
    parts = [_blurred(part, dice) if k == 0 else part for k, part in enumerate(parts)]
    x = _noisy(torch.cat(parts), dice)
    parts = list(x.roll(int(n * 0.23), 0).split(max(1, n // 8)))
    for k, shrink in ((0, 1.0), (1, 2.0), (2, 4.0)):
        if k < len(parts):
            parts[k] = _compressed(parts[k], shrink, dice)
    if len(parts) > 3:
        parts[3] = _sharpened(parts[3], dice)
    # Back in the order of the targets.
    x = torch.cat(parts).roll(-int(n * 0.23) - int(n * 0.37), 0)
    return x.clamp(0, 1) * 2 - 1


def _lit(x: torch.Tensor, dice: _Dice) -> torch.Tensor:
    """Exposure, white balance, contrast, gamma, saturation, and light that falls off across the crop; x in 0..1."""
    n, size = len(x), x.shape[-1]
    cast = torch.exp(0.12 * dice.normal(n, 3, 1, 1)) * torch.exp(0.28 * dice.normal(n, 1, 1, 1))
    at = torch.linspace(-1, 1, size, device=x.device)
    slope = 0.25 * dice.normal(n, 2, 1, 1) * dice.chance(n, 0.4)
    slope = slope[:, :1] * at[None, None, :, None] + slope[:, 1:] * at[None, None, None, :]
    x = (x * cast * torch.exp(slope)).clamp(0, 1)
    x = x.clamp(min=1e-3) ** torch.exp(0.22 * dice.normal(n, 1, 1, 1))
    middle = x.mean((2, 3), keepdim=True)
    x = middle + (x - middle) * torch.exp(0.18 * dice.normal(n, 1, 1, 1))
    grey = x.mean(1, keepdim=True)
    saturation = torch.where(dice.chance(n, 0.12), 0.0, dice.uniform(n, 1, 1, 1, low=0.5, high=1.5))
    x = grey + (x - grey) * saturation
    return x + 0.08 * dice.normal(n, 1, 1, 1) * dice.chance(n, 0.5)


def _noisy(x: torch.Tensor, dice: _Dice) -> torch.Tensor:
    """The sensor's noise, which grows with the light, and the coarser one that denoising and video codecs leave."""
    n, size = len(x), x.shape[-1]
    level = 0.05 * dice.uniform(n, 1, 1, 1) ** 2 * dice.chance(n, 0.5)
    x = x + level * (0.4 + x.clamp(0, 1)).sqrt() * dice.normal(*x.shape)
    coarse = functional.interpolate(
        dice.normal(n, 3, size // 4, size // 4), size=size, mode="bilinear", align_corners=False
    )
    return x + 0.05 * dice.uniform(n, 1, 1, 1) ** 2 * dice.chance(n, 0.25) * coarse


def _blurred(x: torch.Tensor, dice: _Dice) -> torch.Tensor:
    """Out of focus, or moved while the shutter was open: a Gaussian for each crop that is wider along one way."""
    n = len(x)
    at = torch.arange(_BLUR_PX, device=x.device) - _BLUR_PX // 2
    way = dice.uniform(n, 1, 1, high=math.pi)
    along = at[None, None, :] * torch.cos(way) + at[None, :, None] * torch.sin(way)
    across = at[None, :, None] * torch.cos(way) - at[None, None, :] * torch.sin(way)
    narrow = dice.uniform(n, 1, 1, low=0.3, high=1.6)
    wide = torch.where(dice.uniform(n, 1, 1) < 0.5, narrow, dice.uniform(n, 1, 1, low=1.0, high=3.5))
    kernel = torch.exp(-0.5 * ((along / wide.maximum(narrow)) ** 2 + (across / narrow) ** 2))
    kernel = kernel / kernel.sum((1, 2), keepdim=True)
    kernel = kernel[:, None].expand(-1, 3, -1, -1).reshape(3 * n, 1, _BLUR_PX, _BLUR_PX)
    padded = functional.pad(x, (_BLUR_PX // 2,) * 4, mode="replicate").reshape(
        1, 3 * n, *(x.shape[2] + 8,) * 2
    )
    return functional.conv2d(padded, kernel, groups=3 * n).reshape(x.shape)


def _sharpened(x: torch.Tensor, dice: _Dice) -> torch.Tensor:
    """With the halos that webcams' sharpening leaves."""
    return x + dice.uniform(len(x), 1, 1, 1, high=1.5) * (x - functional.avg_pool2d(x, 5, 1, 2))


def _compressed(x: torch.Tensor, shrink: float, dice: _Dice) -> torch.Tensor:
    """As a hand that was so many times smaller would look when enlarged, after JPEG of some quality."""
    size = x.shape[-1]
    if shrink > 1:
        x = functional.interpolate(x, size=8 * round(size / shrink / 8), mode="area")
    x = _jpeg(x, dice.uniform(len(x), 1, 1, 1, low=15, high=90))
    return x if shrink == 1 else functional.interpolate(x, size=size, mode="bilinear", align_corners=False)


def _jpeg(x: torch.Tensor, quality: torch.Tensor) -> torch.Tensor:
    """What baseline JPEG of that quality (n, 1, 1, 1) leaves, colours at half the resolution where they have room."""
    n, size = len(x), x.shape[-1]
    matrix = torch.tensor(_YCC, device=x.device)
    ycc = torch.einsum("kc,nchw->nkhw", matrix, x.clamp(0, 1) * 255 - 128)
    half = size % 16 == 0
    colours = functional.avg_pool2d(ycc[:, 1:], 2) if half else ycc[:, 1:]
    # As in libjpeg: below 50 the steps grow with one over the quality, above they shrink evenly.
    scale = torch.where(quality < 50, 50 / quality, 2 - quality / 50)
    bright = _quantised(ycc[:, :1], _LUMINANCE, scale)
    colours = _quantised(colours, _CHROMINANCE, scale)
    if half:
        colours = functional.interpolate(colours, scale_factor=2.0, mode="bilinear", align_corners=False)
    ycc = torch.cat([bright, colours], 1)
    return (torch.einsum("kc,nchw->nkhw", torch.linalg.inv(matrix), ycc) + 128).reshape(
        n, 3, size, size
    ) / 255


def _quantised(planes: torch.Tensor, table: tuple[int, ...], scale: torch.Tensor) -> torch.Tensor:
    """planes (n, k, h, w), cosine-transformed in blocks of eight, rounded to the table's steps, and back."""
    n, k, height, width = planes.shape
    step = torch.tensor(table, dtype=planes.dtype, device=planes.device).reshape(8, 8)
    steps = (step * scale.reshape(n, 1, 1, 1, 1, 1)).round().clamp(1, 255)
    at = torch.arange(8, device=planes.device, dtype=planes.dtype)
    cosines = torch.cos((2 * at[None] + 1) * at[:, None] * math.pi / 16) / 2
    cosines[0] = math.sqrt(1 / 8)
    blocks = planes.reshape(n, k, height // 8, 8, width // 8, 8).permute(0, 1, 2, 4, 3, 5)
    rounded = torch.round(cosines @ blocks @ cosines.T / steps) * steps
    back = cosines.T @ rounded @ cosines
    return back.permute(0, 1, 2, 4, 3, 5).reshape(n, k, height, width)


def _covered(x: torch.Tensor, dice: _Dice) -> torch.Tensor:
    """Boxes and bars in front, of one colour or of what another crop of the batch shows there."""
    n, size = len(x), x.shape[-1]
    at = torch.arange(size, device=x.device)
    for share, narrow, wide in ((0.25, 0.06, 0.31), (0.2, 0.06, 0.31), (0.15, 0.02, 0.9)):
        width = dice.uniform(n, 2, low=narrow, high=wide) * size
        if wide > 0.5:  # a bar: thin one way
            width[:, 0] = dice.uniform(n, low=0.02, high=0.08) * size
            width = torch.where(dice.uniform(n, 1) < 0.5, width, width.flip(1))
        first = dice.uniform(n, 2) * (size - width)
        inside = [(at >= first[:, k, None]) & (at < (first + width)[:, k, None]) for k in (0, 1)]
        box = inside[0][:, None, :, None] & inside[1][:, None, None, :] & dice.chance(n, share)
        plain = dice.uniform(n, 3, 1, 1, low=-1, high=1).expand_as(x)
        x = torch.where(box, torch.where(dice.chance(n, 0.5), plain, x.roll(1, 0).flip(2)), x)
    return x
