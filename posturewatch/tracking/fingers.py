"""The fingers: what the network says of the close crop, where they have twice the pixels of the wide one."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np

from posturewatch.model.arrays import Array, Image
from posturewatch.model.network_outputs import FingerOutputs
from posturewatch.model.observation import Side
from posturewatch.tracking.crop import CLOSE, CropNet

__all__ = ["FingerNet", "joints_px"]


def joints_px(outputs: FingerOutputs[Array], landmarks_px: Array, side: Side) -> Array | None:
    """Where in the image the network points at the joints.

    Parameters
    ----------
    outputs
        What it says of one hand.
    landmarks_px, side
        By which the hand's crop was placed, and the side that it looks like.

    Returns
    -------
    (21, 2) joints 0 to 20; None of a network that does not point.
    """
    if not np.isfinite(outputs.places).all():
        return None
    back = cv2.invertAffineTransform(CLOSE.transform(landmarks_px, side))
    return np.asarray(outputs.places * CLOSE.size_px @ back[:, :2].T + back[:, 2])


class FingerNet(CropNet):
    """The network that looks at fingers."""

    crop = CLOSE

    def measure(self, image_bgr: Image, hands: Sequence[tuple[Array, Side]]) -> list[FingerOutputs[Array]]:
        """What the network says of each hand; hands: see `CropNet.start`."""
        if not hands:
            return []
        self.start(image_bgr, hands)
        return self.wait()

    def wait(self) -> list[FingerOutputs[Array]]:
        """What the network says of each hand that it was started on."""
        return [self.read(row, FingerOutputs) for row in self.rows()]
