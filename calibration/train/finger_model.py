"""The network that looks at the close crop, for the fingers: what it learns, and how well it did."""

from __future__ import annotations

from typing import Any

import numpy as np
import torch
from numpy.typing import NDArray
from torch.nn import functional

from calibration.dataset.table import Columns
from calibration.train.crop_model import Target, hand_error, sides_loss
from calibration.train.importance import wrist_importance
from calibration.train.keypoint_model import KeypointModel, Pointed, keypoint_losses
from posturewatch.model.estimator_outputs import LONG_FINGERS, OUTPUTS
from posturewatch.model.network_outputs import GUESS_UNIT, FingerOutputs
from posturewatch.tracking.crop import CLOSE

__all__ = ["loss_of", "model", "report", "targets"]

CHANNELS = (24, 56, 112, 224, 304)
PLACES = 29  # the joints, and points of the plane of the strings
CORNERS = slice(25, 29)  # among them those on the first and the last string
LIFTED_MM = 8.0  # from which a finger counts as lifted from the strings
LIFTS_AT = [OUTPUTS.index(f"{finger}_lift") for finger in LONG_FINGERS]
#: Lifts are what this network is for, and most of them are 0.
_WEIGHTS = [3.0 if name.endswith("_lift") else 2.0 if name.startswith("wrist") else 1.0 for name in OUTPUTS]
_NOWHERE = 99.0  # outside every crop


def model() -> KeypointModel:
    at = FingerOutputs.slices()
    return KeypointModel(CLOSE, CHANNELS, at["strings_spread"].start, PLACES, at["joints"], CORNERS)


def targets(columns: Columns, device: str) -> Target:
    """The columns of `calibration.dataset.crops` as tensors, unknown values as 0 with their weight at 0."""

    def tensor(values: NDArray[Any]) -> torch.Tensor:
        return torch.tensor(np.nan_to_num(values.astype(np.float32)), device=device)

    y = columns["y"]
    return {
        "hand": tensor(columns["valid"]),
        "axes": tensor(columns["axes"]),
        "joints": tensor(columns["joints"]),
        "places": tensor(np.nan_to_num(columns["places"], nan=_NOWHERE)),
        "guess": tensor(np.clip(y / GUESS_UNIT, -4, 4)),
        "guess_known": tensor(np.isfinite(y)),
        "guess_weight": tensor(
            np.column_stack([wrist_importance(y[:, :2], columns["fretting"]), np.ones_like(y[:, 2:])])
        ),
        "lifted": tensor(y[:, LIFTS_AT] > LIFTED_MM),
        "hand_visible": tensor(np.where(columns["valid"], columns["hand_visible"], 0.0)),
        "strings_visible": tensor(columns["strings_visible"]),
    }


def loss_of(said: tuple[torch.Tensor, Pointed], target: Target) -> torch.Tensor:
    """Laplace likelihood of every output, distances in space of the frame and the joints and in the crop of the
    places pointed at, cross-entropies of these, of what is lifted and what is in view."""
    part: FingerOutputs[torch.Tensor] = FingerOutputs.from_rows(said[0].float())
    axes = hand_error(part, target)
    joints = (part.joints - target["joints"].reshape_as(part.joints)).norm(dim=2).mean(1)
    log_scale = part.guess_log_scale.clamp(-4, 1)
    weights = torch.tensor(_WEIGHTS, device=part.guess.device)
    each = (part.guess - target["guess"]).abs() * torch.exp(-log_scale) + log_scale
    guess = (each * weights * target["guess_known"] * target["guess_weight"]).sum(1)
    known = target["guess_known"][:, LIFTS_AT]
    lifted = functional.binary_cross_entropy_with_logits(
        part.lifted_logits, target["lifted"], reduction="none"
    )
    strings = functional.binary_cross_entropy_with_logits(
        part.strings_logit, target["strings_visible"], reduction="none"
    )
    off, entropy = keypoint_losses(said[1], target["places"], CLOSE)
    of_hand = (
        2.0 * axes
        + 10.0 * joints
        + 15.0 * off
        + 0.3 * entropy
        + 0.4 * guess
        + (lifted * known).sum(1)
        + 0.4 * strings
    )
    angles = ((0.2 + 0.8 * target["hand_visible"]) * target["learnt"] * of_hand).mean()
    return angles + 0.5 * sides_loss(part.hand_logit, part.side_logit, target)


def report(name: str, output: torch.Tensor, target: Target) -> None:
    """Mean absolute errors of each kind of output, beside those of always saying the median."""
    said: FingerOutputs[torch.Tensor] = FingerOutputs.from_rows(output)
    guess, known = said.guess * GUESS_UNIT, target["guess_known"] > 0
    true = target["guess"] * GUESS_UNIT
    cells = []
    for ending in ("wrist_flexion", "wrist_ulnar_deviation", "_mcp", "_pip", "_dip", "_lift", "thumb_place"):
        at = [k for k, output_name in enumerate(OUTPUTS) if output_name.endswith(ending)]
        ours = torch.cat([(guess[:, k] - true[:, k]).abs()[known[:, k]] for k in at]).mean()
        constant = torch.cat(
            [(true[known[:, k], k] - true[known[:, k], k].median()).abs() for k in at]
        ).mean()
        cells.append(f"{ending.strip('_')} {ours:.1f} ({constant:.1f})")
    lifts = known[:, LIFTS_AT]
    logit = said.lifted_logits[lifts]
    truly = target["lifted"][lifts] > 0
    order = torch.cat([logit[truly], logit[~truly]]).argsort().argsort().double() + 1
    high, low = int(truly.sum()), int((~truly).sum())
    auc = (order[:high].sum() - high * (high + 1) / 2) / max(high * low, 1)
    print(
        f"{name}: {', '.join(cells)}; lifted or not, area under the curve {auc:.3f}; n={len(output)}",
        flush=True,
    )
