"""The forearm's midline near the wrist: what the network says of the wide crop, mapped back to the image."""

from __future__ import annotations

import math
from collections.abc import Sequence

import cv2
import numpy as np

from posturewatch.model.arrays import Array, Image
from posturewatch.model.network_outputs import ForearmOutputs
from posturewatch.model.observation import ForearmAxis, Side
from posturewatch.tracking.crop import WIDE, CropNet

__all__ = ["ForearmNet", "axis_of", "carried", "sd_deg_of"]

#: Root mean square of what a forearm's axis turns in the image, degrees per second: between neighbouring frames of the
#: demo video both players' arms were at 25, over longer times at less.
TURN_DEG_PER_S = 25.0


def sd_deg_of(log_scale: float) -> float:
    """Standard deviation of the axis's angle, degrees, from the log scale (radians) of its Laplace distribution."""
    return math.degrees(math.sqrt(2) * math.exp(min(log_scale, 0.5)))


def axis_of(outputs: ForearmOutputs[Array], affine: Array) -> ForearmAxis:
    """The forearm's axis in the image.

    Parameters
    ----------
    outputs
        What the network says of one hand.
    affine
        (2, 3) the transform of its crop.
    """
    back = cv2.invertAffineTransform(affine)
    x, y = outputs.direction
    direction = outputs.direction / max(float(np.hypot(x, y)), 1e-6)
    towards = WIDE.wrist_px + WIDE.hand_px * direction
    return ForearmAxis(
        wrist_px=back[:, :2] @ WIDE.wrist_px + back[:, 2],
        towards_elbow_px=back[:, :2] @ towards + back[:, 2],
        sd_deg=sd_deg_of(float(outputs.direction_log_scale)),
        outputs=outputs,
    )


def carried(axis: ForearmAxis, wrist_px: Array, age_s: float) -> ForearmAxis:
    """An axis seen a moment ago, taken along with the hand: the wrist is where it is now, and the forearm's direction
    in the image stays, since most of what a hand turns in so short a time is the wrist.

    Parameters
    ----------
    axis
        As the network saw it.
    wrist_px
        (2,) the hand's wrist now.
    age_s
        How long ago that was.
    """
    return ForearmAxis(
        wrist_px=wrist_px,
        towards_elbow_px=wrist_px + (axis.towards_elbow_px - axis.wrist_px),
        sd_deg=axis.sd_deg,
        outputs=axis.outputs,
        carried_sd_deg=TURN_DEG_PER_S * age_s,
    )


class ForearmNet(CropNet):
    """The network that looks for the forearm."""

    crop = WIDE

    def measure(self, image_bgr: Image, hands: Sequence[tuple[Array, Side]]) -> list[ForearmAxis]:
        """The axis of each hand; hands: see `CropNet.start`."""
        if not hands:
            return []
        self.start(image_bgr, hands)
        return self.wait()

    def wait(self) -> list[ForearmAxis]:
        """The axis of each hand that it was started on."""
        rows = self.rows()
        return [
            axis_of(self.read(row, ForearmOutputs), affine)
            for row, affine in zip(rows, self._affines, strict=True)
        ]
