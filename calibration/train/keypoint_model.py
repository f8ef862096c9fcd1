"""A network that points at places in the crop, and makes its numbers of what it sees there."""

from __future__ import annotations

from typing import NamedTuple

import torch
from torch import nn
from torch.nn import functional

from calibration.train.crop_model import CropModel, Separable
from posturewatch.tracking.crop import Crop

__all__ = ["KeypointModel", "Pointed", "keypoint_losses"]

FINE = 48  # channels of the pictures that are brought back to a fine grid
JOINED = 384  # what is made of all that was seen
_CELL_PX = 4
_OUTSIDE = 0.02  # how far outside the crop, in shares of its side, a place is still learned


class Pointed(NamedTuple):
    """Where a network points. at: (n, places, 2) in shares of the crop's side; log_chances: (n, places, cells) of
    the place being in each cell of the grid, row by row."""

    at: torch.Tensor
    log_chances: torch.Tensor


class KeypointModel(CropModel):
    """Places are found by a chance for each cell of a fine grid, and its mean. Numbers read off the coarse grid alone
    put fingertips a tenth of a palm off, and lost next to nothing on crops of a third of the size.

    joints: the numbers that are places 1 to 20 in space as seen from place 0; their first two coordinates follow what
    is pointed at. plane: the places by which it tells how well it knows where the plane of the strings lies: their
    spread in hand scales, as one more number; after it come the places of the joints, the first of all, in shares of
    the crop's side. While training the places follow the numbers instead.
    """

    grid: torch.Tensor

    def __init__(
        self,
        crop: Crop,
        channels: tuple[int, int, int, int, int],
        outputs: int,
        places: int,
        joints: slice,
        plane: slice,
    ) -> None:
        super().__init__(crop.size_px, channels, outputs)
        self.sideways = nn.ModuleList(nn.Conv2d(of, FINE, 1) for of in channels[1:])
        self.back = nn.ModuleList(Separable(FINE, FINE) for _ in channels[1:-1])
        self.chances = nn.Conv2d(FINE, places, 1)
        self.joined = nn.Sequential(
            nn.Dropout(0.1),
            nn.Linear(256 + places * (4 + FINE), JOINED),
            nn.ReLU(),
            nn.Linear(JOINED, JOINED),
            nn.ReLU(),
            nn.Linear(JOINED, outputs + 1),
        )
        nn.init.zeros_(self.joined[-1].weight)  # adds nothing at first, as further blocks do
        nn.init.zeros_(self.joined[-1].bias)
        side = crop.size_px // _CELL_PX
        at = (torch.arange(side) + 0.5) / side
        x, y = at.repeat(side), at.repeat_interleave(side)
        self.register_buffer("grid", torch.stack([x, y, x * x, y * y], dim=1), persistent=False)
        self.places, self.cells, self.outputs, self.joints = places, side * side, outputs, joints
        self.plane, self.hands_across = plane, crop.hands_across

    def forward(self, x: torch.Tensor) -> torch.Tensor | tuple[torch.Tensor, Pointed]:
        x = self.first(x)
        seen = []
        for stage in self.stages:
            x = stage(x)
            seen.append(x)
        coarse = self.head[:-1](x)
        fine = self.sideways[-1](seen[-1])
        for k in (2, 1, 0):
            fine = self.back[k](functional.interpolate(fine, scale_factor=2.0) + self.sideways[k](seen[k]))
        logits = self.chances(fine)
        with torch.autocast(x.device.type, enabled=False):  # places want all their digits
            logits = logits.float().reshape(-1, self.places, self.cells)
            chances = torch.softmax(logits, dim=2)
            moments = torch.matmul(chances, self.grid)
        at, square = moments[:, :, :2], moments[:, :, 2:]
        spread = (square - at * at).clamp(min=1e-6).sqrt()
        # The smaller of the two is turned: that costs as much as the product.
        there = torch.matmul(fine.reshape(-1, FINE, self.cells), chances.transpose(1, 2))
        where = torch.cat([4 * (at - 0.5), 10 * spread], dim=2)
        everything = [coarse, where.reshape(-1, 4 * self.places), there.reshape(-1, FINE * self.places)]
        joined = self.joined(torch.cat(everything, dim=1)).float()
        numbers = self._following(self.head[-1](coarse).float(), joined, at)
        if self.training:
            return numbers, Pointed(at, torch.log_softmax(logits, dim=2))
        of_plane = spread[:, self.plane].reshape(-1, 2 * (self.plane.stop - self.plane.start))
        count = 1 + (self.joints.stop - self.joints.start) // 3
        of_joints = at[:, :count].reshape(-1, 2 * count)
        return torch.cat([numbers, self.hands_across * of_plane.mean(dim=1, keepdim=True), of_joints], dim=1)

    def _following(self, numbers: torch.Tensor, joined: torch.Tensor, at: torch.Tensor) -> torch.Tensor:
        first, last = self.joints.start, self.joints.stop
        count = (last - first) // 3
        # Flat, since OpenCV does not multiply (n, 1, 1) by (n, count, 2) for n beyond 1.
        from_wrist = ((at[:, 1 : 1 + count] - at[:, :1]) * self.hands_across).reshape(-1, 2 * count)
        sized = (torch.exp(joined[:, self.outputs :]) * from_wrist).reshape(-1, count, 2)
        own = joined[:, first:last].reshape(-1, count, 3)
        away = own[:, :, 2:] + numbers[:, first:last].reshape(-1, count, 3)[:, :, 2:]
        joints = torch.cat([own[:, :, :2] + sized, away], dim=2)
        both = numbers + joined[:, : self.outputs]
        return torch.cat([both[:, :first], joints.reshape(-1, 3 * count), both[:, last:]], dim=1)


def keypoint_losses(pointed: Pointed, places: torch.Tensor, crop: Crop) -> tuple[torch.Tensor, torch.Tensor]:
    """(n,) mean distance in hand scales of what is pointed at from where it is, and mean cross-entropy in nats of the
    chances, the true place being shared between the four cells around it. places: (n, 2 k) hand scales from the wrist;
    those outside the crop do not count.

    The mean of the chances alone can be right while they are spread wide; see Nibali et al. 2018, arXiv:1801.07372.
    """
    n, side = len(places), round(pointed.log_chances.shape[2] ** 0.5)
    wrist = torch.tensor(crop.wrist_at, device=places.device)
    true = wrist + places.reshape(n, -1, 2) / crop.hands_across
    inside = ((true > -_OUTSIDE) & (true < 1 + _OUTSIDE)).all(dim=2)
    count = inside.sum(1).clamp(min=1)
    off = (pointed.at - true).norm(dim=2) * crop.hands_across
    cell = (true * side - 0.5).clamp(0, side - 1)
    low = cell.floor()
    high_share = cell - low
    entropy = torch.zeros_like(off)
    for right in (0, 1):
        for down in (0, 1):
            step = torch.tensor([right, down], device=places.device)
            at = (low + step).clamp(max=side - 1).long()
            share = torch.where(step > 0, high_share, 1 - high_share).prod(dim=2)
            index = at[:, :, 1] * side + at[:, :, 0]
            entropy = entropy - share * pointed.log_chances.gather(2, index[:, :, None])[:, :, 0]
    return (off * inside).sum(1) / count, (entropy * inside).sum(1) / count
