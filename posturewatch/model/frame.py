"""A frame: one image with its capture time."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass, field

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
    _scaled: dict[tuple[int, int], NDArray[np.uint8]] = field(
        default_factory=dict, init=False, repr=False, compare=False
    )
    _lock: threading.Lock = field(default_factory=threading.Lock, init=False, repr=False, compare=False)

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

    def scaled(
        self,
        width_px: int,
        height_px: int,
        scale: Callable[[NDArray[np.uint8], tuple[int, int]], NDArray[np.uint8]],
    ) -> NDArray[np.uint8]:
        """The image in another size, made once for the page and for clips, whoever asks first; from any thread.

        Parameters
        ----------
        width_px, height_px
            That size.
        scale
            Makes it of the image and (width, height).

        Returns
        -------
        (height_px, width_px, 3), not to be written to.
        """
        size = (width_px, height_px)
        with self._lock:
            if size not in self._scaled:
                self._scaled[size] = scale(self.image_bgr, size)
            return self._scaled[size]
