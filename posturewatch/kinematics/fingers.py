"""Joint angles of the fingers from 3-D hand landmarks: flexion +, hyperextension -.

Each joint is read as the wrist is (Wu et al. 2005: Cardan Z-X'-Y'', flexion about the proximal bone's radial
axis), bone by bone from the palm outwards, so that spreading the fingers does not count as bending them. The
hand's palmar direction gives the sign. Points may be in any unit and any right-handed axes; a mirrored
picture swaps the side.

The metacarpal is taken from the wrist landmark to the knuckle, which is off the real bone by up to about 10
degrees at the rim of the hand (its base lies beside the wrist's centre); what is called 0 at the knuckle
therefore differs from a goniometer's by a constant of the hand.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from posturewatch.kinematics.geometry import hand_frame, mirror_sign, unit
from posturewatch.model.observation import FINGERS, HAND_LANDMARKS, Side

__all__ = ["FingerFlexion", "finger_flexion", "joint_flexion_deg"]

Array = NDArray[np.float64]

_LITTLE = HAND_LANDMARKS["little_mcp"]


@dataclass(frozen=True)
class FingerFlexion:
    """Flexion of one finger's joints in degrees: metacarpophalangeal, proximal and distal interphalangeal, and
    for the thumb its only interphalangeal joint. None where the finger has no such joint, NaN where the points
    do not tell."""

    finger: str
    mcp_flexion_deg: float
    pip_flexion_deg: float | None
    dip_flexion_deg: float | None
    ip_flexion_deg: float | None


def finger_flexion(landmarks: Array, side: Side) -> tuple[FingerFlexion, ...]:
    """All five fingers of one hand (21, 3), thumb first. Raises ValueError for a wrong shape or side."""
    landmarks = np.asarray(landmarks, dtype=np.float64)
    if landmarks.shape != (21, 3):
        raise ValueError(f"hand landmarks need shape (21, 3), got {landmarks.shape}")
    angles = joint_flexion_deg(landmarks, side)
    found = []
    for finger, (first, second, third) in zip(FINGERS, angles.tolist(), strict=True):
        if finger == "thumb":
            found.append(FingerFlexion(finger, first, None, None, second))
        else:
            found.append(FingerFlexion(finger, first, second, third, None))
    return tuple(found)


def joint_flexion_deg(landmarks: Array, side: Side) -> Array:
    """Flexion in degrees (..., 5, 3) from landmarks (..., 21, 3): fingers thumb to little; joints MCP, PIP and
    DIP, for the thumb MCP, IP and NaN. Coincident points give NaN in the joints they belong to.

    Raises ValueError for a wrong shape or side.
    """
    frame = hand_frame(landmarks, side)
    landmarks = np.asarray(landmarks, dtype=np.float64)
    angles = np.full((*landmarks.shape[:-2], len(FINGERS), 3), np.nan)
    for place, finger in enumerate(FINGERS):
        if finger == "thumb":
            angles[..., place, :2] = _thumb(landmarks)
        else:
            angles[..., place, :] = _finger(landmarks, frame, finger, mirror_sign(side))
    return angles


def _finger(landmarks: Array, frame: Array, finger: str, mirror: float) -> Array:
    knuckle = HAND_LANDMARKS[f"{finger}_mcp"]
    chain = landmarks[..., [HAND_LANDMARKS["wrist"], *range(knuckle, knuckle + 4)], :]
    proximal = unit(chain[..., :-1, :] - chain[..., 1:, :])  # each bone's axis from its tip to its base
    y = proximal[..., 0, :]
    radial = frame[..., :, 2]
    z = unit(radial - y * np.sum(radial * y, axis=-1, keepdims=True))
    bone = np.stack([mirror * np.cross(y, z), y, z], axis=-1)
    angles = []
    for joint in range(1, 4):
        inside = np.einsum("...ij,...i->...j", bone, proximal[..., joint, :])
        flexion = np.arctan2(-inside[..., 0], inside[..., 1])
        angles.append(np.degrees(flexion))
        bone = bone @ _turn(flexion, np.arcsin(np.clip(inside[..., 2], -1.0, 1.0)))
    return np.stack(angles, axis=-1)


def _turn(flexion: Array, deviation: Array) -> Array:
    """Rz(flexion) Rx(deviation), (..., 3, 3), from radians."""
    cf, sf, cd, sd = np.cos(flexion), np.sin(flexion), np.cos(deviation), np.sin(deviation)
    zero = np.zeros_like(cf)
    rows = [[cf, -sf * cd, sf * sd], [sf, cf * cd, -cf * sd], [zero, sd, cd]]
    turn: Array = np.stack([np.stack(row, axis=-1) for row in rows], axis=-2)
    return turn


def _thumb(landmarks: Array) -> Array:
    """The thumb turns freely in its saddle joint, so its flexion plane is not known from the palm: the angle
    is the whole angle between bones, and its sign says whether the bend goes towards the little finger's
    knuckle, as flexion does in every position of the thumb, or away from it."""
    base = HAND_LANDMARKS["thumb_cmc"]
    bones = unit(np.diff(landmarks[..., base : base + 4, :], axis=-2))
    angles = []
    for joint in range(2):
        first, second = bones[..., joint, :], bones[..., joint + 1, :]
        bend = second - first * np.sum(first * second, axis=-1, keepdims=True)
        across = landmarks[..., _LITTLE, :] - landmarks[..., base + 1 + joint, :]
        size = np.degrees(np.arctan2(np.linalg.norm(bend, axis=-1), np.sum(first * second, axis=-1)))
        angles.append(np.where(np.sum(bend * across, axis=-1) < 0, -size, size))
    return np.stack(angles, axis=-1)
