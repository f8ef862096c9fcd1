"""The form that both networks have which look at a crop, and the variations of their training pictures."""

from __future__ import annotations

import itertools

import torch
from torch import nn
from torch.nn import functional

from calibration.train.photographic import photographed
from posturewatch.model.network_outputs import FingerOutputs, ForearmOutputs
from posturewatch.tracking.crop import Crop

__all__ = [
    "CropModel",
    "Separable",
    "Target",
    "augment",
    "fold",
    "hand_error",
    "sides_loss",
]

Target = dict[str, torch.Tensor]

FURTHER_BLOCKS = (1, 3, 9, 4)  # in each of the later four stages, beside the one that halves the picture
MIRRORED = 0.12  # share of crops that are shown mirrored, to learn the sides by
FURTHER = (0.04, 0.04, 0.08, 0.08)  # spread of what is added to the crop jitters: palm lengths, radians, log
#: Targets that turn with the crop, with the length of their vectors, whose first two coordinates lie in it.
_TURNED = {"direction": 2, "axes": 3, "forearm_radial": 3, "elbow": 2, "joints": 3, "places": 2}
#: Those that are places in the crop, and move with it too.
_MOVED = ("elbow", "places")


class Separable(nn.Module):
    """Depthwise and pointwise convolution, with a bypass where the shape stays; there it changes nothing at first (the
    last normalisation starts at zero, as in Goyal et al. 2017, arXiv:1706.02677), so that a trained network can be
    made deeper and go on from where it was."""

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
        if self.bypass:
            nn.init.zeros_(self.body[-1].weight)

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        y = self.body(x)
        return functional.relu(x + y if self.bypass else y)


class CropModel(nn.Module):
    """One crop (3, size, size) in -1..1 to that many numbers. channels: of the five stages, each of which halves the
    picture."""

    def __init__(self, size_px: int, channels: tuple[int, int, int, int, int], outputs: int) -> None:
        super().__init__()
        self.first = nn.Sequential(
            nn.Conv2d(3, channels[0], 5, 2, 2, bias=False), nn.BatchNorm2d(channels[0]), nn.ReLU()
        )
        self.stages = nn.Sequential(
            *(
                nn.Sequential(Separable(before, after, 2), *(Separable(after, after) for _ in range(more)))
                for (before, after), more in zip(itertools.pairwise(channels), FURTHER_BLOCKS, strict=True)
            )
        )
        self.head = nn.Sequential(
            nn.Conv2d(channels[-1], 48, 1),
            nn.ReLU(),
            nn.Flatten(),
            nn.Dropout(0.2),
            nn.Linear(48 * (size_px // 32) ** 2, 256),
            nn.ReLU(),
            nn.Linear(256, outputs),
        )

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        return self.head(self.stages(self.first(x)))


@torch.no_grad()
def fold(model: CropModel) -> None:
    """Makes a model take its crops as `posturewatch.tracking.engine.Network` gives them, and say the same of them:
    the first convolution, five by five in steps of two, becomes one of three by three over twelve channels."""
    first = model.first[0]
    assert isinstance(first, nn.Conv2d)
    conv = nn.Conv2d(12, first.out_channels, 3, 1, 1, bias=False)
    conv.weight.zero_()
    for row in range(5):
        for column in range(5):
            channel = 3 * (2 * (row % 2) + column % 2)
            conv.weight[:, channel : channel + 3, row // 2, column // 2] = first.weight[:, :, row, column]
    model.first[0] = conv


def augment(
    x: torch.Tensor,
    target: Target,
    crop: Crop,
    padded_crop: Crop,
    jitters: torch.Tensor,
) -> tuple[torch.Tensor, Target]:
    """Takes the crops out of their padded crops as the tracker might place them, mirrors some, and varies how they were
    photographed.

    x: (n, 3, size, size) of the padded crop, in -1..1. jitters: (n, 4) as `calibration.dataset.crop_jitter`,
    which are varied a little more. The target's directions are turned along, its places moved and scaled too; a
    mirrored crop is one of the other side, and of its angles nothing is to be learned.
    """
    n, device = len(x), x.device
    spread = torch.tensor(FURTHER, device=device)
    q = jitters + spread * torch.randn(n, 4, device=device)
    scale = torch.exp(q[:, 3])
    cos, sin = torch.cos(q[:, 2]), torch.sin(q[:, 2])
    # From places in the crop, -1..1, to palm lengths around the wrist, and on to places in the padded crop.
    turn = torch.stack([torch.stack([cos, -sin], 1), torch.stack([sin, cos], 1)], 1) * scale[:, None, None]
    half = crop.hands_across / 2
    wrist = torch.tensor([2 * at - 1 for at in crop.wrist_at], device=device)
    padded_crop_half = padded_crop.hands_across / 2
    padded_crop_wrist = torch.tensor([2 * at - 1 for at in padded_crop.wrist_at], device=device)
    theta = torch.zeros(n, 2, 3, device=device)
    theta[:, :, :2] = turn * (half / padded_crop_half)
    theta[:, :, 2] = padded_crop_wrist + q[:, :2] / padded_crop_half - theta[:, :, :2] @ wrist
    grid = functional.affine_grid(theta, [n, 3, crop.size_px, crop.size_px], align_corners=False)
    # Beyond the padded crop, as beyond a picture, there is black, which is -1.
    x = functional.grid_sample(x + 1, grid, align_corners=False, padding_mode="zeros") - 1

    turned = {}
    for name, length in _TURNED.items():
        if name in target:
            v = target[name].reshape(n, -1, length)
            if name in _MOVED:
                v = (v - q[:, None, :2]) / scale[:, None, None]
            first = cos[:, None] * v[..., 0] + sin[:, None] * v[..., 1]
            second = cos[:, None] * v[..., 1] - sin[:, None] * v[..., 0]
            v = torch.cat([first[..., None], second[..., None], v[..., 2:]], dim=2)
            turned[name] = v.reshape(n, -1)
    mirrored = (torch.rand(n, device=device) < MIRRORED).to(x.dtype)
    x = torch.where(mirrored[:, None, None, None] > 0, x.flip(3), x)
    sides = {"right_side": 1 - mirrored, "learnt": target["hand"] * (1 - mirrored)}
    return photographed(x), target | turned | sides


def hand_error(
    said: ForearmOutputs[torch.Tensor] | FingerOutputs[torch.Tensor], target: Target
) -> torch.Tensor:
    """(n,) how far the hand's two directions in space are from the true ones."""
    proximal, radial = target["axes"].split(3, dim=1)
    return (said.hand_proximal - proximal).norm(dim=1) + (said.hand_radial - radial).norm(dim=1)


def sides_loss(hand: torch.Tensor | None, side: torch.Tensor, target: Target) -> torch.Tensor:
    """Cross-entropies of there being a hand at all (where the network says that), and of its being of the side it was
    cut for. hand, side: (n,) logits."""
    entropy = functional.binary_cross_entropy_with_logits
    of_side = (target["hand"] * entropy(side, target["right_side"], reduction="none")).mean()
    return of_side if hand is None else of_side + entropy(hand, target["hand"])
