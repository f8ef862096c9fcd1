"""The network that looks at the wide crop, for the forearm: what it learns, and how well it did."""

from __future__ import annotations

from typing import Any

import numpy as np
import torch
from numpy.typing import NDArray
from torch.nn import functional

from calibration.dataset.table import Columns
from calibration.train.crop_model import CropModel, Target, hand_error, sides_loss
from calibration.train.importance import wrist_importance
from posturewatch.model.network_outputs import GUESS_UNIT, ForearmOutputs
from posturewatch.tracking.crop import WIDE

__all__ = ["axis_error_deg", "loss_of", "model", "report", "targets"]

CHANNELS = (24, 56, 112, 224, 304)


def model() -> CropModel:
    return CropModel(WIDE.size_px, CHANNELS, sum(ForearmOutputs.widths().values()))


def targets(columns: Columns, device: str) -> Target:
    """The columns of `calibration.dataset.crops` as tensors, unknown values as 0 with their weight at 0."""

    def tensor(values: NDArray[Any]) -> torch.Tensor:
        return torch.tensor(np.nan_to_num(values.astype(np.float32)), device=device)

    usable = columns["valid"] & np.isfinite(columns["direction"]).all(1)
    seen = np.where(usable, columns["forearm_visible"], 0.0)
    wrist = columns["y"][:, :2]
    return {
        "hand": tensor(columns["valid"]),
        "direction": tensor(np.where(usable[:, None], columns["direction"], [0.0, 1.0])),
        "slope": tensor(np.clip(columns["slope"][:, 0], -4, 4)),
        "axes": tensor(columns["axes"]),
        "forearm_radial": tensor(columns["forearm_radial"]),
        "elbow": tensor(columns["elbow"]),
        "elbow_known": tensor(np.isfinite(columns["elbow"]).all(1)),
        "guess": tensor(np.clip(wrist / GUESS_UNIT, -4, 4)),
        "guess_known": tensor(np.isfinite(wrist)),
        "guess_weight": tensor(wrist_importance(wrist, columns["fretting"])),
        "forearm_visible": tensor(seen),
        "hand_visible": tensor(columns["hand_visible"]),
        "strings_visible": tensor(columns["strings_visible"]),
    }


def _in_space(direction: torch.Tensor, slope: torch.Tensor) -> torch.Tensor:
    """(n, 3) unit vectors from directions in the picture (n, 2) and depth slopes (n,)."""
    flat = functional.normalize(direction, dim=1)
    return functional.normalize(torch.cat([flat, slope[:, None]], dim=1), dim=1)


def loss_of(output: torch.Tensor, target: Target) -> torch.Tensor:
    """Laplace likelihood of the axis, distances in space of the frames, absolute errors of the rest."""
    said: ForearmOutputs[torch.Tensor] = ForearmOutputs.from_rows(output.float())
    direction, seen, hand_seen = target["direction"], target["forearm_visible"], target["hand_visible"]
    raw = said.direction
    cross = raw[:, 0] * direction[:, 1] - raw[:, 1] * direction[:, 0]
    angle = torch.atan2(cross, (raw * direction).sum(1) + 1e-6).abs()
    log_scale = said.direction_log_scale.clamp(-5, 1)
    axis = angle * torch.exp(-log_scale) + log_scale
    norm = (raw.norm(dim=1) - 1).square()
    slope_scale = said.depth_slope_log_scale.clamp(-4, 2)
    slope = (said.depth_slope - target["slope"]).abs() * torch.exp(-slope_scale) + slope_scale
    # The same in space: what the wrist's angles are made of. A forearm that points at the camera has no sure
    # direction in the picture, and needs none.
    space = (_in_space(raw, said.depth_slope) - _in_space(direction, target["slope"])).norm(dim=1)
    radial = (said.forearm_radial - target["forearm_radial"]).norm(dim=1)
    elbow = functional.smooth_l1_loss(said.elbow, target["elbow"], reduction="none").sum(1)
    hand = hand_error(said, target)
    guess = (said.wrist_guess - target["guess"]).abs() * target["guess_known"] * target["guess_weight"]
    forearm = (0.15 + 0.85 * seen) * (
        axis + 0.2 * norm + 0.5 * slope + 3.0 * space + radial + 0.4 * elbow * target["elbow_known"]
    )
    of_hand = (0.2 + 0.8 * hand_seen) * (2.0 * hand + 3.0 * guess.sum(1))
    logits = functional.binary_cross_entropy_with_logits(said.forearm_logit, seen, reduction="none")
    neck = functional.binary_cross_entropy_with_logits(
        said.strings_logit, target["strings_visible"], reduction="none"
    )
    angles = (target["learnt"] * (forearm + of_hand + 0.2 * logits + 0.4 * neck)).mean()
    return angles + 0.5 * sides_loss(None, said.side_logit, target)


def axis_error_deg(said: ForearmOutputs[torch.Tensor], direction: torch.Tensor) -> torch.Tensor:
    """(n,) unsigned angle between the measured and the true axis (n, 2) in the picture."""
    measured = said.direction
    cross = measured[:, 0] * direction[:, 1] - measured[:, 1] * direction[:, 0]
    return torch.rad2deg(torch.atan2(cross, (measured * direction).sum(1)).abs())


def report(name: str, output: torch.Tensor, target: Target) -> None:
    said: ForearmOutputs[torch.Tensor] = ForearmOutputs.from_rows(output)
    error = axis_error_deg(said, target["direction"])
    seen = target["forearm_visible"] > 0.5
    space = _in_space(said.direction, said.depth_slope) - _in_space(target["direction"], target["slope"])
    guess = (said.wrist_guess - target["guess"]).abs() * GUESS_UNIT
    print(
        f"{name}: axis median {error[seen].median():.1f} p90 {error[seen].quantile(0.9):.1f} deg where visible, "
        f"in space mean {torch.rad2deg(2 * torch.asin((space.norm(dim=1) / 2).clamp(max=1)))[seen].mean():.1f}; "
        f"first guess of flexion {guess[:, 0].mean():.1f} deviation {guess[:, 1].mean():.1f} deg MAE; "
        f"n={len(output)}",
        flush=True,
    )
