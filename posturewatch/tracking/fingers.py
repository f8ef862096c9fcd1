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
        """What the network says of each hand; hands: see `CropNet.start`."""
        if not hands:
            return []
        self.start(image_bgr, hands)
        return self.wait()

    def wait(self) -> list[FingerOutputs[Array]]:
        """What the network says of each hand that it was started on."""
        return [self.read(row, FingerOutputs) for row in self.rows()]
