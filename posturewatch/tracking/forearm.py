"""The forearm's midline near the wrist: what the network says of the wide crop, mapped back to the picture."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from posturewatch.model.observation import ForearmAxis, Side
from posturewatch.tracking.crop import WIDE, CropNet

__all__ = ["NECK_AT", "SIDE_AT", "SIDE_FEATURE", "ForearmNet", "axis_of", "default_sd_deg"]

Array = NDArray[np.float64]
Image = NDArray[np.uint8]

#: The network's outputs, in the crop's own picture (x right, y down, z away from the camera, right hands mirrored):
#: 0-1 direction towards the elbow, 2 log of the direction's Laplace scale in radians, 3 depth slope, 4 its log
#: scale, 5 logit of the forearm being seen, 6 logit of the strings beside the fingers being seen, 7-9 proximal and
#: 10-12 radial direction of the hand, 13-15 radial direction of the forearm, 16-17 place of the elbow from the wrist
#: in hand scales, 18-19 a first guess at flexion and ulnar deviation, 20 logit of the hand being of the side it was cut
#: for.
NECK_AT = 6
SIDE_AT = 20
#: Where the further features of a `ForearmAxis` begin among them, and where the last of these lies there.
_FEATURES_FROM = 4
SIDE_FEATURE = SIDE_AT - _FEATURES_FROM


def default_sd_deg(log_scale: float) -> float:
    """Standard deviation of the axis's angle, degrees, from the log scale (radians) of its Laplace distribution."""
    return math.degrees(math.sqrt(2) * math.exp(min(log_scale, 0.5)))


def axis_of(row: Array, affine: Array, sd_deg: Callable[[float], float] = default_sd_deg) -> ForearmAxis:
    """The axis in the picture from one row of the network's outputs and its crop's transform.

    row: (k,) the network's outputs; its angles are those of a camera that looks straight at the wrist.
    """
    back = cv2.invertAffineTransform(affine)
    direction = row[:2] / max(float(np.hypot(row[0], row[1])), 1e-6)
    towards = WIDE.wrist_px + WIDE.hand_px * direction
    return ForearmAxis(
        wrist_px=back[:, :2] @ WIDE.wrist_px + back[:, 2],
        towards_elbow_px=back[:, :2] @ towards + back[:, 2],
        sd_deg=float(sd_deg(float(row[2]))),
        depth_slope=float(row[3]),
        features=np.array(row[_FEATURES_FROM:], dtype=np.float64),
        strings_visible=1 / (1 + math.exp(-float(np.clip(row[NECK_AT], -30, 30)))),
    )


class ForearmNet(CropNet):
    """sd_deg: turns the third output into degrees (calibrated at training)."""

    crop = WIDE

    def __init__(self, source: bytes | str | Path, sd_deg: Callable[[float], float] = default_sd_deg) -> None:
        super().__init__(source)
        self._sd_deg = sd_deg

    def measure(self, image_bgr: Image, hands: Sequence[tuple[Array, Side]]) -> list[ForearmAxis]:
        """The axis of each hand, given as (landmarks_px (21, 3), side it looks like in the picture)."""
        if not hands:
            return []
        rows, affines = self.look(image_bgr, hands)
        return [axis_of(row, affine, self._sd_deg) for row, affine in zip(rows, affines, strict=True)]
