"""The forearm's midline near the wrist: a cutting around the wrist, and the small network that looks at it.

The cutting is always the same view: the hand points up, has a set size, its wrist lies at (0.5, 0.4), and a
right hand is mirrored to look like a left one. What the network says of it is mapped back to the picture.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from posturewatch.errors import UnavailableError
from posturewatch.observation import ForearmAxis, Side

__all__ = [
    "CROP_PX",
    "HANDS_ACROSS",
    "NECK_AT",
    "WRIST_AT",
    "ForearmNet",
    "crop",
    "crop_transform",
    "default_sd_deg",
    "hand_scale_px",
    "palm_scale_px",
]

Array = NDArray[np.float64]
Image = NDArray[np.uint8]

#: Side of the cutting in pixels, its width in hand scales, and where the wrist lies in it.
CROP_PX = 192
HANDS_ACROSS = 5.0
WRIST_AT = (0.5, 0.4)
_KNUCKLES = (5, 9, 13, 17)

#: The network's outputs, in the cutting's own picture (x right, y down, z away from the camera, right hands mirrored):
#: 0-1 direction towards the elbow, 2 log of the direction's Laplace scale in radians, 3 depth slope, 4 its log
#: scale, 5 logit of the forearm being seen, 6 logit of the strings beside the fingers being seen, 7-9 proximal and
#: 10-12 radial direction of the hand, 13-15 radial direction of the forearm, 16-17 place of the elbow from the wrist
#: in hand scales, then a first guess at each of the estimator's outputs.
NECK_AT = 6


def hand_scale_px(landmarks_px: Array) -> float:
    """Length of the palm, wrist to middle knuckle, as it would look unforeshortened; pixels.

    The largest of the four wrist-knuckle distances, 1.5 times the breadth of the knuckles and 1.7 times the
    longest first finger bone. Over 381 hands of real films turned at random, its spread is 20 % (palm alone
    28 %) and its 5th percentile 0.58 of the palm (palm alone 0.45).
    """
    points = landmarks_px[:, :2]
    phalanx = max(math.dist(points[k], points[k + 1]) for k in _KNUCKLES)
    return max(palm_scale_px(landmarks_px), 1.7 * phalanx)


def palm_scale_px(landmarks_px: Array) -> float:
    """The same from the palm alone: its length, or its breadth where that tells more."""
    points = landmarks_px[:, :2]
    length = max(math.dist(points[0], points[k]) for k in _KNUCKLES)
    return max(length, 1.5 * math.dist(points[5], points[17]))


def crop_transform(landmarks_px: Array, side: Side, size: int = CROP_PX) -> Array:
    """(2, 3) affine from the picture to the cutting, for `cv2.warpAffine`.

    landmarks_px: (21, 3) or (21, 2). side: the side the hand looks like in the picture, which is the
    anatomical one unless the picture is mirrored; an unknown side raises ValueError. A hand without extent
    raises ValueError.
    """
    if side not in ("left", "right"):
        raise ValueError(f"a side is 'left' or 'right', got {side!r}")
    scale_px = hand_scale_px(landmarks_px)
    if not (math.isfinite(scale_px) and scale_px > 0):
        raise ValueError("the hand's landmarks have no extent")
    wrist = landmarks_px[0, :2]
    dx, dy = landmarks_px[list(_KNUCKLES), :2].mean(axis=0) - wrist
    angle = math.atan2(dx, -dy)  # clockwise from the picture's upward direction to the hand's
    c, s = math.cos(angle), math.sin(angle)
    turn = np.array([[c, s], [-s, c]])
    if side == "right":
        turn[0] = -turn[0]
    linear = turn * (size / (HANDS_ACROSS * scale_px))
    offset = np.asarray(WRIST_AT) * size - linear @ wrist
    return np.column_stack([linear, offset])


def crop(image: Image, affine: Array, size: int = CROP_PX) -> Image:
    """The cutting (size, size, 3), in the picture's colour order; black outside the picture."""
    return np.asarray(cv2.warpAffine(image, affine, (size, size), flags=cv2.INTER_LINEAR), dtype=np.uint8)


def default_sd_deg(log_scale: float) -> float:
    """Standard deviation of the axis's angle, degrees, from the log scale (radians) of its Laplace distribution."""
    return math.degrees(math.sqrt(2) * math.exp(min(log_scale, 0.5)))


def axis_of(row: Array, affine: Array, sd_deg: Callable[[float], float] = default_sd_deg) -> ForearmAxis:
    """The axis in the picture from one row of the network's outputs and its cutting's transform.

    row: (k,) the network's outputs; its angles are those of a camera that looks straight at the wrist.
    """
    back = cv2.invertAffineTransform(affine)
    wrist = np.asarray(WRIST_AT) * CROP_PX
    direction = row[:2] / max(float(np.hypot(row[0], row[1])), 1e-6)
    reach = CROP_PX / HANDS_ACROSS  # one hand scale
    return ForearmAxis(
        wrist_px=back[:, :2] @ wrist + back[:, 2],
        towards_elbow_px=back[:, :2] @ (wrist + reach * direction) + back[:, 2],
        sd_deg=float(sd_deg(float(row[2]))),
        depth_slope=float(row[3]),
        features=np.array(row[4:], dtype=np.float64),
        neck_seen=1 / (1 + math.exp(-float(np.clip(row[NECK_AT], -30, 30)))),
    )


class ForearmNet:
    """The network, from an ONNX file or its bytes, run by OpenCV on the CPU.

    Input (n, 3, CROP_PX, CROP_PX) float32, RGB, value / 127.5 - 1. Output (n, k), see NECK_AT.
    sd_deg: turns the third output into degrees (calibrated at training).
    Raises UnavailableError where the file is missing or not such a network.
    """

    def __init__(self, source: bytes | str | Path, sd_deg: Callable[[float], float] = default_sd_deg) -> None:
        self._sd_deg = sd_deg
        try:
            data = source if isinstance(source, bytes) else Path(source).read_bytes()
            self._net = cv2.dnn.readNetFromONNX(np.frombuffer(data, dtype=np.uint8))
        except (OSError, cv2.error) as error:
            raise UnavailableError(
                "The forearm network of posturewatch cannot be read; install posturewatch again."
            ) from error

    def outputs(self, crops_rgb: NDArray[np.uint8]) -> Array:
        """(n, k) raw outputs for (n, CROP_PX, CROP_PX, 3) RGB cuttings."""
        blob = crops_rgb.astype(np.float32).transpose(0, 3, 1, 2) / 127.5 - 1
        self._net.setInput(np.ascontiguousarray(blob))
        return np.asarray(self._net.forward(), dtype=np.float64).reshape(len(crops_rgb), -1)

    def measure(self, image_bgr: Image, hands: Sequence[tuple[Array, Side]]) -> list[ForearmAxis]:
        """The axis of each hand, given as (landmarks_px (21, 3), side it looks like in the picture)."""
        if not hands:
            return []
        affines = [crop_transform(landmarks_px, side) for landmarks_px, side in hands]
        crops = np.stack([crop(image_bgr, affine)[:, :, ::-1] for affine in affines])
        rows = self.outputs(crops)
        return [axis_of(row, affine, self._sd_deg) for row, affine in zip(rows, affines, strict=True)]
