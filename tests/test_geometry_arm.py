"""Exact geometry against an articulated arm whose points and bone orientations come from another library's
forward kinematics (ikpy, PyPI). The truth is the ISB decomposition of the relative orientation of its bones
by scipy, never the arm's own joint angles."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from ikpy.chain import Chain
from ikpy.link import OriginLink, URDFLink
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from posturewatch.kinematics.geometry import angles_between, angles_from_axis, wrist_angles
from posturewatch.model.observation import HAND_LANDMARKS, Side

# Axes of the hanging arm, palm forward: X forward, Y up, Z to the right (in the right arm: volar, proximal,
# radial). Lengths in metres: ANSUR II means for forearm, common practice for the rest.
MIRROR = np.array([1.0, 1.0, -1.0])
FOREARM, HAND = 6, 8  # links after pronation and after the last wrist joint
HAND_POINTS = {
    "wrist": (0, 0, 0),
    "index_mcp": (0, -0.088, 0.026),
    "middle_mcp": (0, -0.09, 0),
    "little_mcp": (0, -0.075, -0.042),
}


def arm(side: Side, wrist_axes: tuple[NDArray[Any], NDArray[Any]]) -> Chain:
    """Shoulder (three axes), elbow, pronation, and a wrist about the two given axes. Axes of rotation mirror
    as axial vectors, places as polar ones."""
    polar = MIRROR if side == "left" else np.ones(3)
    axial = -MIRROR if side == "left" else np.ones(3)

    def link(name: str, place: tuple[float, float, float], axis: NDArray[Any]) -> URDFLink:
        return URDFLink(
            name,
            origin_translation=list(polar * place),
            origin_orientation=[0, 0, 0],
            rotation=list(axial * axis),
        )

    x, y, z = np.eye(3)
    links = [
        OriginLink(),
        link("shoulder flexion", (0, 0, 0.18), z),
        link("shoulder abduction", (0, 0, 0), x),
        link("shoulder rotation", (0, 0, 0), y),
        link("elbow", (0, -0.31, 0), z),
        link("elbow carrying", (0, 0, 0), x),
        link("pronation", (0, 0, 0), y),
        link("wrist flexion", (0, -0.255, 0), wrist_axes[0]),
        link("wrist deviation", (0, 0, 0), wrist_axes[1]),
    ]
    return Chain(links, active_links_mask=[False] + [True] * 8)


def pose(
    chain: Chain, side: Side, joints_deg: list[float]
) -> tuple[NDArray[Any], NDArray[Any], NDArray[Any], NDArray[Any]]:
    """Hand landmarks, elbow, and the anatomical frames of forearm and hand."""
    frames = chain.forward_kinematics(np.radians([0.0, *joints_deg]), full_kinematics=True)
    mirror = MIRROR if side == "left" else np.ones(3)
    hand = np.random.default_rng(0).normal(size=(21, 3))  # the fingers do not matter
    for name, place in HAND_POINTS.items():
        hand[HAND_LANDMARKS[name]] = frames[HAND][:3, :3] @ (mirror * place) + frames[HAND][:3, 3]
    return (
        hand,
        frames[4][:3, 3],
        frames[FOREARM][:3, :3] * mirror,
        frames[HAND][:3, :3] * mirror,
    )


def isb_truth(forearm: NDArray[Any], hand: NDArray[Any]) -> NDArray[Any]:
    return np.asarray(Rotation.from_matrix(forearm.T @ hand).as_euler("ZXY", degrees=True))


def random_joints(rng: np.random.Generator) -> list[float]:
    low = [-60, -20, -80, 0, -15, -85, -70, -25]
    high = [150, 120, 80, 140, 15, 85, 80, 40]
    return list(rng.uniform(low, high))


@pytest.mark.parametrize("side", ["left", "right"])
def test_a_wrist_about_perpendicular_axes(side: Side) -> None:
    chain = arm(side, (np.eye(3)[2], np.eye(3)[0]))
    rng = np.random.default_rng(7)
    for _ in range(60):
        hand, elbow, forearm, bones = pose(chain, side, random_joints(rng))
        camera = Rotation.random(random_state=int(rng.integers(1 << 30)))
        flexion, deviation, rotation = isb_truth(forearm, bones)
        assert rotation == pytest.approx(0.0, abs=1e-6)
        assert wrist_angles(camera.apply(hand), camera.apply(elbow), side) == pytest.approx(
            (flexion, deviation), abs=1e-6
        )


@pytest.mark.parametrize("side", ["left", "right"])
def test_a_wrist_about_oblique_axes(side: Side) -> None:
    """Axes tilted by 15 and 10 degrees, as in real wrists and in most hand models. From the bones' frames the
    angles are exact. From points they are exact but for the axial rotation that oblique axes bring along,
    which points do not show: the deviation is then off by about that rotation times the flexion's tangent, so
    within 45 degrees of flexion by no more than the rotation itself (and a fifth, for the deviation's share)."""
    tilt = Rotation.from_euler("xyz", [15.0, -10.0, 5.0], degrees=True)
    chain = arm(side, (tilt.apply([0.0, 0.0, 1.0]), tilt.apply([1.0, 0.0, 0.0])))
    rng = np.random.default_rng(8)
    rotations = []
    for _ in range(60):
        joints = random_joints(rng)
        hand, elbow, forearm, bones = pose(chain, side, joints)
        flexion, deviation, rotation = isb_truth(forearm, bones)
        assert np.allclose(angles_between(forearm, bones), (flexion, deviation), atol=1e-6)
        found = np.array(wrist_angles(hand, elbow, side))
        # The same points with the axial rotation taken out of the hand give the truth again.
        straightened = bones @ Rotation.from_euler("Y", -rotation, degrees=True).as_matrix()
        again = np.array(angles_from_axis(straightened, elbow - hand[0]))
        assert again == pytest.approx((flexion, deviation), abs=1e-6)
        if abs(flexion) < 45.0:
            assert np.hypot(*(found - (flexion, deviation))) <= 1.2 * abs(rotation) + 1e-6
            rotations.append(abs(rotation))
    assert max(rotations) > 5.0
