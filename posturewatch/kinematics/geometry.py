"""Exact wrist geometry: hand frame, forearm axis, and the ISB angles between them.

Source of the definition: Wu et al. 2005, J Biomech 38:981-992 (ISB recommendation for the wrist): Cardan
sequence Z-X'-Y'' of the third metacarpal relative to the radius. About Z flexion (+) and extension (-), about
the floating X' ulnar (+) and radial (-) deviation, about Y'' axial rotation.

Frames are *anatomical*: columns X volar, Y proximal, Z radial. In the right hand they form a right-handed
system, in the left hand its mirror image (determinant -1), which is ISB's mirroring of the left side written
once instead of in every formula; components along these axes therefore mean the same in both hands.

Points may be in any unit and any right-handed system, such as camera axes (x right, y down, z away).
A mirrored image is a left-handed system: swap the side.

What points can and cannot show. A hand frame needs only hand landmarks, but of the forearm only its long axis
is known, not its rotation about that axis. The two angles follow from that axis seen in the hand frame if the
axial rotation Y'' is zero, that is if the forearm's distal end (the radius) turns with the hand in pronation
and supination. That holds for the wrist, which has hardly any axial rotation of its own; pronation of the
whole forearm is then invisible, as it should be. Any rotation within the wrist puts the deviation off by about that
rotation times the tangent of the flexion. Where a full forearm frame is known (rendered bodies, motion
capture), `angles_between` needs no such assumption.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from posturewatch.model.arrays import Array
from posturewatch.model.observation import HAND_LANDMARKS, Side

__all__ = [
    "WristAngles",
    "angles_between",
    "angles_from_axis",
    "hand_frame",
    "mirror_sign",
    "unit",
    "wrist_angles",
]


_WRIST = HAND_LANDMARKS["wrist"]
_INDEX = HAND_LANDMARKS["index_mcp"]
_MIDDLE = HAND_LANDMARKS["middle_mcp"]
_LITTLE = HAND_LANDMARKS["little_mcp"]

#: Shorter than this share of the hand's own size counts as no direction at all (sine of 0.0006 degrees).
_DEGENERATE = 1e-5


class WristAngles(NamedTuple):
    """flexion_deg: flexion +, extension -. ulnar_deviation_deg: ulnar +, radial -. NaN where undefined."""

    flexion_deg: float
    ulnar_deviation_deg: float


def unit(vectors: Array, scale: Array | float = 0.0) -> Array:
    """Vectors (..., 3) at length 1; NaN where they are no longer than `scale` (...), or not finite."""
    length = np.linalg.norm(vectors, axis=-1, keepdims=True)
    usable = np.isfinite(length) & (length > np.asarray(scale)[..., None])
    return np.where(usable, vectors / np.where(usable, length, 1.0), np.nan)


def mirror_sign(side: Side) -> float:
    """+1 for the right hand, -1 for the left, whose anatomical axes are mirrored; unknown sides raise."""
    if side == "right":
        return 1.0
    if side == "left":
        return -1.0
    raise ValueError(f"a side is 'left' or 'right', got {side!r}")


def _trailing(name: str, array: Array, shape: tuple[int, ...]) -> Array:
    array = np.asarray(array, dtype=np.float64)
    if array.shape[-len(shape) :] != shape:
        wanted = ", ".join(str(size) for size in shape)
        raise ValueError(f"{name} needs shape (..., {wanted}), got {array.shape}")
    return array


def hand_frame(landmarks: Array, side: Side) -> Array:
    """Anatomical frame of the hand from its landmarks.

    Y runs from the middle knuckle to the wrist. Z is the direction from the little to the index knuckle, made
    orthogonal to Y.

    Parameters
    ----------
    landmarks
        (..., 21, 3) in any right-handed axes and any unit.
    side
        Anatomical.

    Returns
    -------
    (..., 3, 3) with the columns X volar, Y proximal, Z radial, in the landmarks' own axes; NaN where points
    coincide or lie on one line.

    Raises
    ------
    ValueError
        A wrong shape or side.
    """
    landmarks = _trailing("hand landmarks", landmarks, (21, 3))
    mirror = mirror_sign(side)
    proximal = landmarks[..., _WRIST, :] - landmarks[..., _MIDDLE, :]
    across = landmarks[..., _INDEX, :] - landmarks[..., _LITTLE, :]
    size = np.linalg.norm(proximal, axis=-1) + np.linalg.norm(across, axis=-1)
    y = unit(proximal, _DEGENERATE * size)
    z = unit(across - y * np.sum(across * y, axis=-1, keepdims=True), _DEGENERATE * size)
    x = mirror * np.cross(y, z)
    return np.stack([x, y, z], axis=-1)


def angles_from_axis(frame: Array, forearm_axis: Array) -> tuple[Array, Array]:
    """Flexion and ulnar deviation of a hand frame against the forearm's long axis alone.

    With R = Rz(f) Rx(d) the hand's rotation relative to the forearm, the forearm's proximal axis in the hand
    frame is R^T e_y = (sin f, cos f cos d, -cos f sin d). Of the two angle pairs that give the same axis the
    one with the deviation within +-90 degrees is returned, as Cardan angles are defined; flexion covers the
    whole circle. Mirroring is already in the frame, so the side does not appear.

    Parameters
    ----------
    frame
        (..., 3, 3) anatomical (see the module).
    forearm_axis
        (..., 3) from wrist to elbow in the same axes, of any length.

    Returns
    -------
    Both (...), degrees; flexion and ulnar deviation positive.

    Raises
    ------
    ValueError
        A wrong shape.
    """
    frame = _trailing("hand frame", frame, (3, 3))
    axis = unit(_trailing("forearm axis", forearm_axis, (3,)))
    volar, proximal, radial = np.moveaxis(np.einsum("...ij,...i->...j", frame, axis), -1, 0)
    cos_flexion = np.where(proximal < 0, -1.0, 1.0) * np.hypot(proximal, radial)
    flexion = np.arctan2(volar, cos_flexion)
    deviation = np.arctan2(np.where(proximal < 0, radial, -radial), np.abs(proximal))
    return np.degrees(flexion), np.degrees(deviation)


def angles_between(forearm_frame: Array, frame: Array) -> tuple[Array, Array]:
    """Flexion and ulnar deviation of a hand frame against a whole forearm frame.

    The first two angles of the full ISB decomposition R = Rz(flexion) Rx(deviation) Ry(rotation) of
    R = forearm^T hand; the third, axial rotation within the wrist, is none of the quantities.

    Parameters
    ----------
    forearm_frame, frame
        (..., 3, 3) both anatomical (see the module), in the same axes.

    Returns
    -------
    Both (...), degrees; flexion and ulnar deviation positive.

    Raises
    ------
    ValueError
        A frame has another shape.
    """
    forearm_frame = _trailing("forearm frame", forearm_frame, (3, 3))
    frame = _trailing("hand frame", frame, (3, 3))
    R = np.einsum("...ji,...jk->...ik", forearm_frame, frame)
    flexion = np.arctan2(-R[..., 0, 1], R[..., 1, 1])
    deviation = np.arcsin(np.clip(R[..., 2, 1], -1.0, 1.0))
    return np.degrees(flexion), np.degrees(deviation)


def wrist_angles(hand_landmarks: Array, elbow: Array, side: Side) -> WristAngles:
    """ISB wrist angles from points.

    The forearm's long axis runs from the elbow to the wrist landmark; see the module for the one assumption (no axial
    rotation within the wrist).

    Parameters
    ----------
    hand_landmarks
        (21, 3).
    elbow
        (3,) in the same right-handed axes (camera axes are: x right, y down, z away) and the same unit.
    side
        Anatomical.

    Returns
    -------
    Degrees; NaN where points coincide.

    Raises
    ------
    ValueError
        A wrong shape or side.
    """
    hand_landmarks = np.asarray(hand_landmarks, dtype=np.float64)
    elbow = np.asarray(elbow, dtype=np.float64)
    if hand_landmarks.shape != (21, 3):
        raise ValueError(f"hand landmarks need shape (21, 3), got {hand_landmarks.shape}")
    if elbow.shape != (3,):
        raise ValueError(f"an elbow needs shape (3,), got {elbow.shape}")
    hand_size = float(np.linalg.norm(hand_landmarks[_WRIST] - hand_landmarks[_MIDDLE]))
    forearm = unit(elbow - hand_landmarks[_WRIST], _DEGENERATE * hand_size)
    flexion, deviation = angles_from_axis(hand_frame(hand_landmarks, side), forearm)
    return WristAngles(float(flexion), float(deviation))
