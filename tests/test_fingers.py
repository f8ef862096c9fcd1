"""Finger joints against fingers built by scipy's rotations."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from posturewatch.kinematics.fingers import finger_flexion, joint_flexion_deg
from posturewatch.model.observation import FINGERS, HAND_LANDMARKS, Side

# Buryanov & Kotiuk 2010, Int J Morphol 28(3): metacarpal, proximal, middle, distal in mm (seen in an abstract).
BONES = {
    "index": (68.1, 39.8, 22.4, 15.8),
    "middle": (64.6, 44.6, 26.3, 17.4),
    "ring": (58.0, 41.4, 25.7, 17.3),
    "little": (53.7, 32.7, 18.1, 16.0),
}
FAN_DEG = {"index": -14.0, "middle": 0.0, "ring": 11.0, "little": 24.0}  # metacarpals, + towards the little
LEFT = np.array([1.0, 1.0, -1.0])


def hand(
    angles: dict[str, tuple[float, float, float]], spread: dict[str, float], side: Side, seed: int = 0
) -> NDArray[Any]:
    """A hand in ISB axes (right: X volar, Y proximal, Z radial) with these MCP, PIP and DIP flexions and
    sideways angles of the MCP, then mirrored, turned and scaled at random. The thumb is straight."""
    points = np.zeros((21, 3))
    for finger, lengths in BONES.items():
        at = HAND_LANDMARKS[f"{finger}_mcp"]
        frame = Rotation.from_euler("X", FAN_DEG[finger], degrees=True)
        place = frame.apply([0.0, -lengths[0], 0.0])
        points[at] = place
        joints = zip(angles[finger], (spread[finger], 0.0, 0.0), lengths[1:], strict=True)
        for step, (flexion, sideways, length) in enumerate(joints, start=1):
            frame = frame * Rotation.from_euler("ZX", [flexion, sideways], degrees=True)
            place = place + frame.apply([0.0, -length, 0.0])
            points[at + step] = place
    points[1:5] = [(5.0, -20.0 - 25.0 * i, 25.0 + 14.0 * i) for i in range(4)]
    if side == "left":
        points = points * LEFT
    rng = np.random.default_rng(seed)
    turned = Rotation.random(random_state=seed).apply(points)
    return np.asarray(rng.uniform(0.001, 10) * turned + rng.normal(size=3))


def random_angles(seed: int) -> tuple[dict[str, tuple[float, float, float]], dict[str, float]]:
    rng = np.random.default_rng(seed)
    angles = {f: (rng.uniform(-35, 100), rng.uniform(-15, 115), rng.uniform(-20, 85)) for f in BONES}
    return angles, {f: rng.uniform(-20, 20) for f in BONES}


@pytest.mark.parametrize("side", ["left", "right"])
@pytest.mark.parametrize("seed", range(12))
def test_known_joints_come_back(side: Side, seed: int) -> None:
    angles, spread = random_angles(seed)
    found = joint_flexion_deg(hand(angles, spread, side, seed), side)
    for finger, expected in angles.items():
        # The fingers' flat fan and the orthogonalised radial axis are the same plane here, so this is exact.
        assert found[FINGERS.index(finger)] == pytest.approx(expected, abs=1e-6)


def test_a_mirrored_picture_shows_the_other_side_with_the_same_joints() -> None:
    angles, spread = random_angles(3)
    points = hand(angles, spread, "right", 3)
    mirrored = points * np.array([-1.0, 1.0, 1.0])
    assert np.allclose(
        joint_flexion_deg(points, "right"), joint_flexion_deg(mirrored, "left"), atol=1e-9, equal_nan=True
    )


def test_spreading_is_not_bending() -> None:
    flat = dict.fromkeys(BONES, (0.0, 0.0, 0.0))
    found = joint_flexion_deg(hand(flat, dict.fromkeys(BONES, 20.0), "left"), "left")
    assert found[1:] == pytest.approx(np.zeros((4, 3)), abs=1e-6)


@pytest.mark.parametrize("side", ["left", "right"])
@pytest.mark.parametrize(("mcp", "ip"), [(0.0, 0.0), (40.0, 60.0), (10.0, -25.0), (-15.0, 5.0)])
@pytest.mark.parametrize("opposed_deg", [0.0, 35.0, 70.0])
def test_the_thumb_bends_towards_the_little_finger(
    side: Side, mcp: float, ip: float, opposed_deg: float
) -> None:
    """A thumb that points away from the fingers at 45 degrees in the palm's plane, turned about the hand's
    long axis in front of the palm; it flexes in the plane through its bones and the little finger."""
    points = np.zeros((21, 3))
    for finger, lengths in BONES.items():
        at = HAND_LANDMARKS[f"{finger}_mcp"]
        points[at] = Rotation.from_euler("X", FAN_DEG[finger], degrees=True).apply([0.0, -lengths[0], 0.0])
    base = np.array([8.0, -15.0, 22.0])
    turn = Rotation.from_euler("Y", opposed_deg, degrees=True)
    bone = turn.apply(np.array([0.0, -math.sqrt(0.5), math.sqrt(0.5)]))
    across = points[HAND_LANDMARKS["little_mcp"]] - base
    axis = np.cross(bone, across)
    axis /= np.linalg.norm(axis)
    points[1] = base
    points[2] = base + 46.2 * bone
    bone = Rotation.from_rotvec(math.radians(mcp) * axis).apply(bone)
    points[3] = points[2] + 31.6 * bone
    bone = Rotation.from_rotvec(math.radians(ip) * axis).apply(bone)
    points[4] = points[3] + 21.7 * bone
    if side == "left":
        points = points * LEFT
    points = Rotation.random(random_state=5).apply(points) + 3.0
    thumb = finger_flexion(points, side)[0]
    assert (thumb.mcp_flexion_deg, thumb.ip_flexion_deg) == pytest.approx((mcp, ip), abs=1e-5)
    assert thumb.pip_flexion_deg is None
    assert thumb.dip_flexion_deg is None


def test_many_hands_at_once() -> None:
    hands = np.stack([hand(*random_angles(seed), "right", seed) for seed in range(5)])
    together = joint_flexion_deg(hands, "right")
    assert together.shape == (5, 5, 3)
    assert np.isnan(together[:, 0, 2]).all()
    for one, points in zip(together, hands, strict=True):
        assert np.allclose(one, joint_flexion_deg(points, "right"), equal_nan=True)


def test_names_and_missing_joints() -> None:
    angles, spread = random_angles(1)
    found = finger_flexion(hand(angles, spread, "left", 1), "left")
    assert tuple(one.finger for one in found) == FINGERS
    for one in found[1:]:
        assert one.ip_flexion_deg is None
        assert (one.mcp_flexion_deg, one.pip_flexion_deg, one.dip_flexion_deg) == pytest.approx(
            angles[one.finger]
        )


def test_degenerate_points_spoil_only_their_own_joints() -> None:
    points = hand(*random_angles(2), "left", 2)
    points[HAND_LANDMARKS["ring_tip"]] = points[HAND_LANDMARKS["ring_dip"]]
    found = joint_flexion_deg(points, "left")
    assert np.isnan(found[FINGERS.index("ring")]).tolist() == [False, False, True]
    assert np.isfinite(found[[1, 2, 4]]).all()
    assert np.isnan(joint_flexion_deg(np.zeros((21, 3)), "left")).all()


def test_wrong_shapes_and_sides_are_refused() -> None:
    with pytest.raises(ValueError, match=r"needs? shape"):
        joint_flexion_deg(np.ones((20, 3)), "left")
    with pytest.raises(ValueError, match=r"needs? shape"):
        finger_flexion(np.ones((2, 21, 3)), "left")
    with pytest.raises(ValueError, match="'left' or 'right'"):
        joint_flexion_deg(np.ones((21, 3)), "both")  # type: ignore[arg-type]
