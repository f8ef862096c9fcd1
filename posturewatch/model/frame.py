"""A frame: one image with its capture time."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Frame"]


@dataclass(frozen=True)
class Frame:
    """One image of a source.

    Attributes
    ----------
    index
        Count of images the source has produced, dropped ones included, so that gaps show.
    time_s
        Capture time from the source in seconds, monotonic, 0 at the first frame.
    image_bgr
        (height, width, 3) uint8, upright (rotation metadata applied), not mirrored by us.

    Raises
    ------
    ValueError
        The image has another shape or type.
    """

    index: int
    time_s: float
    image_bgr: NDArray[np.uint8]

    def __post_init__(self) -> None:
        shape = self.image_bgr.shape
        if len(shape) != 3 or shape[2] != 3 or self.image_bgr.dtype != np.uint8:
            raise ValueError(
                f"a frame needs a (height, width, 3) uint8 image, got {shape} {self.image_bgr.dtype}"
            )

    @property
    def width_px(self) -> int:
        """Of the image, pixels."""
        return int(self.image_bgr.shape[1])

    @property
    def height_px(self) -> int:
        """Of the image, pixels."""
        return int(self.image_bgr.shape[0])
