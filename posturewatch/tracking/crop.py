"""Crops around a hand, always the same view of it, and the small networks that look at them.

In a crop the hand points up, has a set size, its wrist lies at a set place, and a right hand is mirrored to look
like a left one. There are two: a wide one, with the forearm in it, and a close one, for the fingers.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

from posturewatch.errors import UnavailableError
from posturewatch.model.arrays import Array, Image
from posturewatch.model.network_outputs import Outputs
from posturewatch.model.observation import SIDES, Side
from posturewatch.tracking.engine import Network

__all__ = [
    "CLOSE",
    "WIDE",
    "Crop",
    "CropNet",
    "hand_angle_rad",
    "hand_scale_px",
    "moved_along",
    "palm_scale_px",
]


_KNUCKLES = (5, 9, 13, 17)


def hand_scale_px(landmarks_px: Array) -> float:
    """Length of the palm, wrist to middle knuckle, as it would look unforeshortened: the *hand scale*.

    The largest of the four wrist-knuckle distances, 1.5 times the breadth of the knuckles and 1.7 times the
    longest first finger bone, which varies less with the view than the palm alone.

    Parameters
    ----------
    landmarks_px
        (21, 2) or (21, 3).

    Returns
    -------
    Pixels.
    """
    points = landmarks_px[:, :2]
    phalanx = max(math.dist(points[k], points[k + 1]) for k in _KNUCKLES)
    return max(palm_scale_px(landmarks_px), 1.7 * phalanx)


def palm_scale_px(landmarks_px: Array) -> float:
    """The same from the palm alone: the greater of its length and 1.5 times its breadth."""
    points = landmarks_px[:, :2]
    length = max(math.dist(points[0], points[k]) for k in _KNUCKLES)
    return max(length, 1.5 * math.dist(points[5], points[17]))


def hand_angle_rad(landmarks_px: Array) -> float:
    """Clockwise from the image's upward direction to the hand's, wrist to the middle of the knuckles."""
    dx, dy = landmarks_px[list(_KNUCKLES), :2].mean(axis=0) - landmarks_px[0, :2]
    return math.atan2(dx, -dy)


def moved_along(points_px: Array, before_px: Array, after_px: Array) -> Array:
    """Points moved, turned and scaled as others were, in the least squares sense.

    Parameters
    ----------
    points_px
        (n, 2) in the image, or (n, 3) with depth in the same scale.
    before_px, after_px
        (m, 2) the others, before and after.

    Returns
    -------
    As points_px.
    """
    # In the plane of complex numbers that is one product and one sum.
    source, target = before_px[:, 0] + 1j * before_px[:, 1], after_px[:, 0] + 1j * after_px[:, 1]
    middle, there = source.mean(), target.mean()
    centred = source - middle
    turn = np.vdot(centred, target - there) / max(float(np.vdot(centred, centred).real), 1e-9)
    moved = there + turn * (points_px[:, 0] + 1j * points_px[:, 1] - middle)
    return np.column_stack([moved.real, moved.imag, points_px[:, 2:] * abs(turn)])


@dataclass(frozen=True)
class Crop:
    """A kind of crop around a hand.

    Attributes
    ----------
    size_px
        Its side.
    hands_across
        Its width in hand scales.
    wrist_at
        Where in it the wrist lies, x and y in shares of its side.
    """

    size_px: int
    hands_across: float
    wrist_at: tuple[float, float]

    @property
    def hand_px(self) -> float:
        """One hand scale, in the crop's pixels."""
        return self.size_px / self.hands_across

    @property
    def wrist_px(self) -> Array:
        """(2,) where the wrist lies, in the crop's pixels."""
        return np.array(self.wrist_at, dtype=np.float64) * self.size_px

    def transform(self, landmarks_px: Array, side: Side) -> Array:
        """The way from the image to the crop, for `cv2.warpAffine`.

        Parameters
        ----------
        landmarks_px
            (21, 2) or (21, 3).
        side
            The side the hand looks like in the image, which is the anatomical one unless the image is mirrored.

        Returns
        -------
        (2, 3) affine.

        Raises
        ------
        ValueError
            An unknown side, or a hand without extent.
        """
        if side not in SIDES:
            raise ValueError(f"a side is 'left' or 'right', got {side!r}")
        scale_px = hand_scale_px(landmarks_px)
        if not (math.isfinite(scale_px) and scale_px > 0):
            raise ValueError("the hand's landmarks have no extent")
        wrist = landmarks_px[0, :2]
        angle = hand_angle_rad(landmarks_px)
        c, s = math.cos(angle), math.sin(angle)
        turn = np.array([[c, s], [-s, c]])
        if side == "right":
            turn[0] = -turn[0]
        linear = turn * (self.hand_px / scale_px)
        return np.column_stack([linear, self.wrist_px - linear @ wrist])

    def cut(self, image: Image, affine: Array, out: Image | None = None) -> Image:
        """The crop (size_px, size_px, 3), in the image's colour order; black outside the image. Written to `out` where
        that is given."""
        size = (self.size_px, self.size_px)
        return np.asarray(
            cv2.warpAffine(image, affine, size, dst=out, flags=cv2.INTER_LINEAR), dtype=np.uint8
        )


#: The hand and most of the forearm.
WIDE = Crop(192, 5.0, (0.5, 0.4))

#: The hand alone, from the wrist to stretched fingertips.
CLOSE = Crop(160, 2.4, (0.5, 0.82))


#: So many crops are looked at at once: the hands of a frame. A hand alone takes as long as two, which is less than two
#: take otherwise; a second network for hands alone would take 50 MB.
_TOGETHER = len(SIDES)


@functools.lru_cache(maxsize=8)
def _network(source: bytes | Path, size_px: int) -> Network:
    """Compiled once a process, for one session after the other."""
    return Network(source, crop_px=size_px, images=_TOGETHER)


class CropNet:
    """A network that looks at crops of one kind.

    It takes crops as RGB with each two by two pixels behind one another (see `engine.Network`); its output is (n, k).

    Parameters
    ----------
    source
        An ONNX file, or its bytes.

    Raises
    ------
    UnavailableError
        The file is missing, or is no network.
    """

    crop: Crop

    def __init__(self, source: bytes | str | Path) -> None:
        data = source if isinstance(source, bytes) else Path(source)
        self._request = _network(data, self.crop.size_px).request()
        self._affines: list[Array] = []
        self._fills: list[Callable[[Image], object]] = []

    def start(self, image_bgr: Image, hands: Sequence[tuple[Array, Side]]) -> None:
        """Starts looking at hands, and returns at once.

        Parameters
        ----------
        image_bgr
            What they are in; not to be changed until they were waited for.
        hands
            Each as landmarks (21, 3) in pixels and the side it looks like in the image.
        """
        self._affines = [self.crop.transform(landmarks_px, side) for landmarks_px, side in hands]
        self._begin([functools.partial(self.crop.cut, image_bgr, affine) for affine in self._affines])

    def rows(self) -> Array:
        """Waits for what was started: (n, k) raw outputs."""
        rows: list[Array] = []
        while self._fills:
            if rows:
                self._start()
            found = self._request.wait()[0][: len(self._fills)]
            rows.append(np.asarray(found, dtype=np.float64))
            self._fills = self._fills[_TOGETHER:]  # they hold the image
        return np.concatenate(rows) if rows else np.zeros((0, 0))

    def outputs(self, crops_bgr: Sequence[Image]) -> Array:
        """(n, k) raw outputs for n BGR crops (size, size, 3)."""
        self._begin([functools.partial(np.copyto, src=crop) for crop in crops_bgr])
        return self.rows()

    def _begin(self, fills: list[Callable[[Image], object]]) -> None:
        """Starts on what each of these writes to the array that it is handed, as many at a time as there may be."""
        self._fills = fills
        if fills:
            self._start()

    def _start(self) -> None:
        for image, fill in zip(self._request.images, self._fills, strict=False):
            fill(image)
        self._request.start()

    def look(self, image_bgr: Image, hands: Sequence[tuple[Array, Side]]) -> tuple[Array, list[Array]]:
        """(n, k) raw outputs, and the transforms (2, 3) of the hands' crops; parameters as of `start`."""
        self.start(image_bgr, hands)
        return self.rows(), self._affines

    @staticmethod
    def read(row: Array, kind: type[Outputs]) -> Outputs:
        """What one row says; raises UnavailableError where the network says something else."""
        try:
            return kind.from_rows(row)
        except ValueError as error:
            raise UnavailableError(
                f"A network of posturewatch is not the one that belongs to this version ({error}); "
                "install posturewatch again."
            ) from error
