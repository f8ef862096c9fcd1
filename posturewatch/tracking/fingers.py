"""The fingers: what the network says of the close crop, where they have twice the pixels of the wide one."""

from __future__ import annotations

from collections.abc import Sequence

from posturewatch.model.arrays import Array, Image
from posturewatch.model.network_outputs import FingerOutputs
from posturewatch.model.observation import Side
from posturewatch.tracking.crop import CLOSE, CropNet

__all__ = ["FingerNet"]


class FingerNet(CropNet):
    """The network that looks at fingers."""

    crop = CLOSE

    def measure(self, image_bgr: Image, hands: Sequence[tuple[Array, Side]]) -> list[FingerOutputs[Array]]:
        """What the network says of each hand; hands: see `CropNet.look`."""
        return [self.read(row, FingerOutputs) for row in self.look(image_bgr, hands)[0]] if hands else []
