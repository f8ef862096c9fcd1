"""Anatomical frames, ISB wrist rotations and the articulated hand.

An anatomical frame is a 3x3 matrix whose columns are the palmar, proximal and radial directions: the ISB axes
of the right hand in the anatomical position (Wu et al. 2005, J Biomech 38:981-992: x volar, y proximal,
z radial). On the left side the same columns form a mirrored (left-handed) matrix, so one formula serves both.
Flexion and ulnar deviation are positive; sequence Z-X'-Y'' of the hand relative to the forearm.

Segment axes: forearm from elbow joint to wrist joint; hand from wrist joint to the middle knuckle; the radial
direction from the little to the index knuckle, made perpendicular.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calibration.body.bodies import Body
from calibration.body.geometry import across, dot, rotation_x, rotation_y, rotation_z, turn_about, unit
from posturewatch.model.arrays import FloatArray
from posturewatch.model.observation import SIDES

RADIAL = np.array([0.0, 0.0, 1.0])  # in hand coordinates
FINGERS = ("index", "middle", "ring", "little")
# Flexed fingers converge towards the scaphoid: lean of each finger's plane about the hand's long axis.
CONVERGENCE_DEG = np.array([6.0, 1.0, -5.0, -11.0])
CUP_SHARE = np.array([0.0, 0.0, 0.5, 1.0])
TIP_RADIUS_M = 0.0065  # half the thickness of a fingertip, about the pad's distance from the bone's end
THUMB_RADIUS_M = 0.009


def side_sign(side: str) -> int:
    """+1 for the right, -1 for the left side. Raises ValueError for anything else."""
    if side not in SIDES:
        raise ValueError(f"side must be one of {SIDES}, not {side!r}")
    return 1 if side == "right" else -1


def bone_suffix(side: str) -> str:
    return ".R" if side_sign(side) > 0 else ".L"


def anatomical_frame(distal: FloatArray, radial: FloatArray, side: str) -> FloatArray:
    """Frame (..., 3, 3) from the direction of the segment and any direction with a radial part."""
    proximal = -unit(distal)
    radial = across(radial, proximal)
    palmar = side_sign(side) * np.cross(proximal, radial)
    return np.stack([palmar, proximal, radial], axis=-1)


def wrist_turn(flexion_deg: FloatArray | float, ulnar_deviation_deg: FloatArray | float) -> FloatArray:
    """Rotation (..., 3, 3) of the hand frame in the forearm frame: hand = forearm @ turn."""
    return rotation_z(np.radians(flexion_deg)) @ rotation_x(np.radians(ulnar_deviation_deg))


def wrist_angles_deg(forearm: FloatArray, hand: FloatArray) -> tuple[float, float, float]:
    """Flexion, ulnar deviation and axial rotation of a hand frame relative to a forearm frame."""
    turn = forearm.T @ hand
    ulnar = np.arcsin(np.clip(turn[2, 1], -1, 1))
    flexion = np.arctan2(-turn[0, 1], turn[1, 1])
    axial = np.arctan2(-turn[2, 0], turn[2, 2])
    return float(np.degrees(flexion)), float(np.degrees(ulnar)), float(np.degrees(axial))


@dataclass(frozen=True)
class Hand:
    """The hand of one body at rest, and its forward kinematics in hand coordinates.

    Hand coordinates: origin at the wrist joint, axes palmar, proximal, radial, in metres.
    Finger state, radians: (mcp flexion, abduction towards the little finger, pip flexion, dip flexion).
    cup: bend in radians of the little finger's metacarpal towards the palm, half of it the ring finger's: the arch of a
    hand that grips. The hand's frame stays that of the middle finger's.
    Thumb state, radians: (opposition, palmar-plane abduction, mcp flexion, ip flexion), relative to rest.
    """

    body: Body
    side: str
    cup: float = 0.0

    @cached_property
    def rest_frame(self) -> FloatArray:
        x = bone_suffix(self.side)
        head = self.body.head
        return anatomical_frame(
            head("finger3-1" + x) - head("wrist" + x),
            head("finger2-1" + x) - head("finger5-1" + x),
            self.side,
        )

    @cached_property
    def cup_turns(self) -> FloatArray:
        """(4, 3, 3) how the metacarpals of index to little finger are bent."""
        return rotation_z(self.cup * CUP_SHARE)

    @cached_property
    def rest_joints(self) -> FloatArray:
        """(5, 4, 3): thumb to little finger; three joints and the tip, hand coordinates, the palm cupped."""
        joints = self.flat_joints.copy()
        if self.cup:
            x = bone_suffix(self.side)
            for k in (2, 3):
                base = (
                    self.body.head(f"metacarpal{k + 1}{x}") - self.body.head("wrist" + x)
                ) @ self.rest_frame
                joints[k + 1] = base + (joints[k + 1] - base) @ self.cup_turns[k].T
        return joints

    @cached_property
    def flat_joints(self) -> FloatArray:
        """The same with a flat palm."""
        x = bone_suffix(self.side)
        wrist = self.body.head("wrist" + x)
        joints = [
            [self.body.head(f"finger{k}-{j}{x}") for j in (1, 2, 3)] + [self.body.tail(f"finger{k}-3{x}")]
            for k in range(1, 6)
        ]
        return (np.array(joints) - wrist) @ self.rest_frame

    @cached_property
    def phalanges_m(self) -> FloatArray:
        """(5, 3) lengths."""
        return np.asarray(np.linalg.norm(np.diff(self.rest_joints, axis=1), axis=2))

    @cached_property
    def fan(self) -> FloatArray:
        """(4,) natural spread of the fingers, radians towards the little finger."""
        along = self.flat_joints[1:, 1] - self.flat_joints[1:, 0]
        return np.arctan2(-along[:, 2], -along[:, 1]) * 0.8

    @cached_property
    def length_m(self) -> float:
        """Wrist joint to the tip of the straight middle finger."""
        return float(np.linalg.norm(self.rest_joints[2, 0]) + self.phalanges_m[2].sum())

    def finger_frames(self, state: FloatArray, finger: int | NDArray[np.integer[Any]]) -> FloatArray:
        """Phalanx frames (..., 3, 3, 3) [phalanx, row, column] of fingers 0 to 3 (index to little)."""
        lean = rotation_y(np.radians(CONVERGENCE_DEG[finger]))
        base = lean @ rotation_x(self.fan[finger] + state[..., 1])
        if self.cup:
            base = self.cup_turns[finger] @ base
        bend = np.stack(
            [state[..., 0], state[..., 0] + state[..., 2], state[..., 0] + state[..., 2] + state[..., 3]],
            axis=-1,
        )
        return base[..., None, :, :] @ rotation_z(bend)

    def finger_joints(self, state: FloatArray, finger: int | NDArray[np.integer[Any]]) -> FloatArray:
        """Joints (..., 4, 3): knuckle, pip, dip, tip of fingers 0 to 3, hand coordinates."""
        frames = self.finger_frames(state, finger)
        steps = -frames[..., :, 1] * self.phalanges_m[np.asarray(finger) + 1][..., None]
        base = np.broadcast_to(self.rest_joints[np.asarray(finger) + 1, 0], steps[..., 0, :].shape)
        return np.concatenate([base[..., None, :], base[..., None, :] + np.cumsum(steps, axis=-2)], axis=-2)

    @cached_property
    def _thumb_axis(self) -> FloatArray:
        """Unit flexion axis at rest, such that a positive turn flexes, hand coordinates (mirror-safe)."""
        step = np.diff(self.rest_joints[0], axis=0)
        return unit(np.cross(step[0], step[2]))

    def thumb_frames(self, state: FloatArray) -> FloatArray:
        """Turns (..., 3, 3, 3) of the three thumb segments relative to rest, in hand coordinates."""
        base = rotation_y(state[..., 0]) @ rotation_x(state[..., 1])
        first = turn_about(self._thumb_axis, state[..., 2])
        second = turn_about(self._thumb_axis, state[..., 2] + state[..., 3])
        return np.stack([base, base @ first, base @ second], axis=-3)

    def thumb_axis(self, state: FloatArray) -> FloatArray:
        """Axis (3,) about which the thumb's joints flex in this state, hand coordinates."""
        return rotation_y(state[0]) @ rotation_x(state[1]) @ self._thumb_axis

    def thumb_joints(self, state: FloatArray) -> FloatArray:
        """Joints (..., 4, 3): cmc, mcp, ip, tip."""
        steps = np.einsum("...kij,kj->...ki", self.thumb_frames(state), np.diff(self.rest_joints[0], axis=0))
        base = np.broadcast_to(self.rest_joints[0, 0], steps[..., 0, :].shape)
        return np.concatenate([base[..., None, :], base[..., None, :] + np.cumsum(steps, axis=-2)], axis=-2)

    def tip_centres(self, joints: FloatArray) -> FloatArray:
        """Centre (..., 3) of the rounded fingertip, given joints (..., 4, 3)."""
        return joints[..., 3, :] - unit(joints[..., 3, :] - joints[..., 2, :]) * TIP_RADIUS_M * 0.6

    def landmarks(self, fingers: FloatArray, thumb: FloatArray) -> FloatArray:
        """(21, 3) joints in the usual hand-tracker order, hand coordinates; fingers (4, 4), thumb (4,)."""
        joints = self.finger_joints(fingers, np.arange(4))
        return np.concatenate([np.zeros((1, 3)), self.thumb_joints(thumb), joints.reshape(16, 3)])

    def turns(self, frame: FloatArray, fingers: FloatArray, thumb: FloatArray) -> dict[str, FloatArray]:
        """World turns relative to rest of every bone of the hand, given the posed hand frame."""
        x = bone_suffix(self.side)
        hand = frame @ self.rest_frame.T
        out = {
            f"{name}{x}": hand
            for name in ("wrist", "metacarpal1", "metacarpal2", "metacarpal3", "metacarpal4")
        }
        if self.cup:
            for k in range(4):
                out[f"metacarpal{k + 1}{x}"] = frame @ self.cup_turns[k] @ self.rest_frame.T
        posed = self.finger_frames(fingers, np.arange(4))
        for k in range(4):
            lean = rotation_y(np.radians(CONVERGENCE_DEG[k])) @ rotation_x(self.fan[k])
            for j in range(3):
                along = self.flat_joints[k + 1, j + 1] - self.flat_joints[k + 1, j]
                rest = _hand_frame(along, lean[:, 2])
                out[f"finger{k + 2}-{j + 1}{x}"] = frame @ posed[k, j] @ rest.T @ self.rest_frame.T
        for j, turn in enumerate(self.thumb_frames(thumb)):
            out[f"finger1-{j + 1}{x}"] = frame @ turn @ self.rest_frame.T
        return out


def _hand_frame(distal: FloatArray, radial: FloatArray) -> FloatArray:
    """An anatomical frame inside hand coordinates, where both sides look like a right hand."""
    return anatomical_frame(distal, radial, "right")


def finger_flexions_deg(
    landmarks: FloatArray, thumb_axis: FloatArray | None = None
) -> dict[str, tuple[float, float, float]]:
    """Flexion at mcp, pip and dip from 21 joints in hand coordinates: the angle between a segment and the one before
    it, negative where the joint is bent backwards, beyond straight.

    The segment before the knuckle runs from the wrist to the knuckle. For the thumb: cmc, mcp, ip; its angles are
    unsigned without ``thumb_axis``, the axis about which its joints flex.
    """
    out = {}
    for name, first in zip(("thumb", *FINGERS), (1, 5, 9, 13, 17), strict=True):
        chain = np.concatenate([landmarks[:1], landmarks[first : first + 4]])
        step = unit(np.diff(chain, axis=0))
        bend = np.degrees(np.arccos(np.clip(dot(step[:-1], step[1:]), -1, 1)))
        axis = thumb_axis if name == "thumb" else RADIAL
        if axis is not None:  # flexing turns a finger about the radial direction, a sharp bend too
            bend = np.where(np.cross(step[:-1], step[1:]) @ axis < 0, -bend, bend)
        out[name] = (float(bend[0]), float(bend[1]), float(bend[2]))
    return out


def little_spread_deg(landmarks: FloatArray) -> float:
    """Angle in the plane of the palm by which the little finger's first bone points away from the ring finger's, from
    21 joints in hand coordinates; positive towards the little finger's own side. NaN where either points out of the
    palm's plane by more than 65 degrees: fingers bent that far have no spread to speak of."""
    step = unit(landmarks[[14, 18]] - landmarks[[13, 17]])
    if (np.hypot(step[:, 1], step[:, 2]) < np.cos(np.radians(65))).any():
        return float("nan")
    angle = np.degrees(np.arctan2(-step[:, 2], -step[:, 1]))
    return float(angle[1] - angle[0])


def thumb_place_mm(landmarks: FloatArray) -> float:
    """How far the thumb's tip lies to the radial side of the middle knuckle, from 21 joints in hand coordinates."""
    return float(landmarks[4, 2] - landmarks[9, 2]) * 1000
