"""The fingers: what the network says of the close crop, where they have twice the pixels of the wide one."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from posturewatch.model.observation import Side
from posturewatch.tracking.crop import CLOSE, CropNet

__all__ = ["HAND_AT", "JOINTS_AT", "SIDE_AT", "FingerNet"]

Array = NDArray[np.float64]
Image = NDArray[np.uint8]


#: The outputs that are the joints beyond the wrist as seen from it, (20, 3) in the crop's axes.
JOINTS_AT = slice(55, 115)

#: The output that is the logit of there being a hand.
HAND_AT = 115

#: The output that is the logit of the hand being of the side it was cut for.
SIDE_AT = 116


class FingerNet(CropNet):
    """Most of its outputs are read by the estimator alone; see `kinematics.features` for their order."""

    crop = CLOSE

    def measure(self, image_bgr: Image, hands: Sequence[tuple[Array, Side]]) -> list[Array]:
        """(k,) outputs of each hand, given as (landmarks_px (21, 3), side it looks like in the picture)."""
        return list(self.look(image_bgr, hands)[0]) if hands else []
