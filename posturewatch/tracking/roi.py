"""Crops: turned squares of the image that the networks look at, and the way back to the image. Pure.

The proportions are those of the library's own graphs (mediapipe 0.10.21, `hand_landmark_tracking_cpu` and
`pose_landmark_cpu`): the networks were trained on crops made like this.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np

from posturewatch.model.arrays import Array, Image
from posturewatch.tracking.networks import Found

__all__ = [
    "FAR",
    "NEAR",
    "Roi",
    "body_roi",
    "cut",
    "forearm_roi",
    "hand_roi",
    "palm_roi",
    "person_roi",
    "to_camera_m",
    "to_image_px",
]


#: Landmarks that bound a hand more steadily than its fingertips: wrist, thumb to its end joint, and for each
#: finger the knuckle and the next joint.
_STEADY = [0, 1, 2, 3, 5, 6, 9, 10, 13, 14, 17, 18]


#: Other crops at a place whose first one did not show the hand as it is: sizes as multiples of that one's, and
#: angles turned from it, in radians. Then those for where even the direction is a guess.
NEAR = [(size, turn) for size in (1.0, 0.75, 1.35) for turn in (0.0, 0.6, -0.6)][1:]
FAR = [*NEAR, *((size, turn) for size in (1.0, 0.75, 1.35) for turn in (1.2, -1.2))]


@dataclass(frozen=True)
class Roi:
    """A square region of the image.

    Attributes
    ----------
    centre_px
        x and y.
    size_px
        Its side.
    angle_rad
        By which its upward direction is turned clockwise, as seen, from the image's.
    """

    centre_px: tuple[float, float]
    size_px: float
    angle_rad: float = 0.0

    @property
    def turn(self) -> Array:
        """(2, 2): crop directions to image directions."""
        c, s = math.cos(self.angle_rad), math.sin(self.angle_rad)
        return np.array([[c, -s], [s, c]])

    def affine(self, side_px: int) -> Array:
        """(2, 3): from pixels of a crop with that many pixels a side to pixels of the image."""
        matrix = self.turn * (self.size_px / side_px)
        offset = np.asarray(self.centre_px) - matrix @ np.full(2, side_px / 2)
        return np.column_stack([matrix, offset])

    def grown(self, factor: float, turned_rad: float = 0.0) -> Roi:
        """The same place in another size, and turned further."""
        return Roi(self.centre_px, self.size_px * factor, self.angle_rad + turned_rad)


def cut(
    image_bgr: Image, roi: Roi, side_px: int, *, replicate: bool = True, out: Image | None = None
) -> Image:
    """A crop of the image.

    Parameters
    ----------
    image_bgr
        (height, width, 3).
    roi
        What of it.
    side_px
        The crop's side.
    replicate
        Whether the image's edge is repeated outside it; else all is black there.
    out
        Where the crop is written to, (side_px, side_px, 3); a new array where None.

    Returns
    -------
    (side_px, side_px, 3) RGB; `out` where that was given.
    """
    oversize = 2 if roi.size_px > 2 * side_px else 1  # bilinear sampling alone would skip image rows
    turned = cv2.warpAffine(
        image_bgr,
        roi.affine(side_px * oversize),
        (side_px * oversize, side_px * oversize),
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_REPLICATE if replicate else cv2.BORDER_CONSTANT,
    )
    if oversize > 1:
        turned = cv2.resize(turned, (side_px, side_px), interpolation=cv2.INTER_AREA)
    return np.asarray(cv2.cvtColor(turned, cv2.COLOR_BGR2RGB, dst=out), dtype=np.uint8)


def to_image_px(points_px: Array, roi: Roi, side_px: int) -> Array:
    """Landmarks in pixels of the image.

    Parameters
    ----------
    points_px
        (n, 3) in pixels of the crop, depth in the same scale.
    roi
        Where the crop lies.
    side_px
        Its side.

    Returns
    -------
    (n, 3); depth grows with the crop's scale.
    """
    affine = roi.affine(side_px)
    out = np.empty_like(points_px)
    out[:, :2] = points_px[:, :2] @ affine[:, :2].T + affine[:, 2]
    out[:, 2] = points_px[:, 2] * (roi.size_px / side_px)
    return out


def to_camera_m(points_m: Array, roi: Roi) -> Array:
    """Landmarks (n, 3) in metres, turned from the crop's axes to the camera's."""
    out = points_m.copy()
    out[:, :2] = points_m[:, :2] @ roi.turn.T
    return out


def _upward(start: Array, end: Array) -> float:
    """The angle of a crop in which end lies straight above start."""
    dx, dy = end - start
    return math.atan2(dx, -dy)


def _shifted(centre: Array, size_px: float, angle: float, up: float) -> Roi:
    """A square moved along its own upward direction by `up` pixels."""
    x, y = centre + up * np.array([math.sin(angle), -math.cos(angle)])
    return Roi((float(x), float(y)), float(size_px), angle)


def palm_roi(palm: Found, tile: Roi) -> Roi:
    """The hand's crop from a palm found in `tile`: 2.6 times the palm's box, moved half a box upwards."""
    keypoints = _from_unit(palm.keypoints, tile)
    centre = _from_unit(palm.box[None, :2] + palm.box[None, 2:] / 2, tile)[0]
    side = float(max(palm.box[2:])) * tile.size_px
    return _shifted(centre, 2.6 * side, _upward(keypoints[0], keypoints[2]), 0.5 * side)


def hand_roi(landmarks_px: Array) -> Roi:
    """The next crop from a hand's landmarks: twice the box of its steady points along the hand's direction,
    moved a tenth upwards."""
    points = landmarks_px[:, :2]
    knuckles = ((points[5] + points[13]) / 2 + points[9]) / 2
    angle = _upward(points[0], knuckles)
    turn = Roi((0, 0), 1, angle).turn
    steady = points[_STEADY] @ turn
    low, high = steady.min(axis=0), steady.max(axis=0)
    centre = turn @ ((low + high) / 2)
    height = float(high[1] - low[1])
    return _shifted(centre, 2 * float(max(high - low)), angle, 0.1 * height)


def forearm_roi(elbow_px: Array, wrist_px: Array, hand_px: float, bent_rad: float = 0.0) -> Roi:
    """A guess of a half-open hand's crop from the forearm.

    Parameters
    ----------
    elbow_px, wrist_px
        (2,) the hand goes on where these point.
    hand_px
        Length from wrist to fingertip.
    bent_rad
        By how much it is bent from there, clockwise as seen.
    """
    angle = _upward(elbow_px, wrist_px) + bent_rad
    return _shifted(np.asarray(wrist_px, dtype=np.float64), 2.0 * hand_px, angle, 0.45 * hand_px)


def person_roi(person: Found, tile: Roi) -> Roi:
    """The body's crop from a person found in `tile`."""
    return body_roi(_from_unit(person.keypoints[:2], tile))


def body_roi(spanning_px: Array) -> Roi:
    """The body's crop from two points (2, 2): its centre, and a point one radius above it."""
    centre, above = spanning_px[0, :2], spanning_px[1, :2]
    radius = float(np.hypot(*(above - centre)))
    return Roi((float(centre[0]), float(centre[1])), 2.5 * radius, _upward(centre, above))


def _from_unit(points: Array, tile: Roi) -> Array:
    out: Array = (points - 0.5) * tile.size_px @ tile.turn.T + np.asarray(tile.centre_px)
    return out
