"""Exact wrist geometry against rotations composed by scipy.

The definition is Wu et al. 2005, J Biomech 38:981-992 (from memory, signs checked by hand): intrinsic
Z-X'-Y'' in a right hand with +X volar, +Y proximal, +Z radial; flexion +, ulnar +, pronation +.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from posturewatch.kinematics.geometry import (
    angles_between,
    angles_from_axis,
    hand_frame,
    wrist_angles,
)
from posturewatch.model.observation import HAND_LANDMARKS, Side

GRID = [(f, d) for f in range(-80, 86, 15) for d in (-30, -20, -7, 0, 3, 19, 45)]
MIRROR = np.array([1.0, 1.0, -1.0])  # in ISB axes the left hand is the right one with Z turned round


def reference_hand(rng: np.random.Generator) -> NDArray[Any]:
    """A flat right hand in ISB axes, wrist at the origin; fingers at random, since they must not matter."""
    points = rng.normal(size=(21, 3))
    points[HAND_LANDMARKS["wrist"]] = 0.0
    points[HAND_LANDMARKS["middle_mcp"]] = (0.0, -0.090, 0.0)
    points[HAND_LANDMARKS["index_mcp"]] = (-0.002, -0.088, 0.026)
    points[HAND_LANDMARKS["little_mcp"]] = (-0.002, -0.075, -0.042)
    return points


def arm(
    flexion: float, deviation: float, side: Side, seed: int, orientation: Rotation | None = None
) -> tuple[NDArray[Any], NDArray[Any]]:
    """Hand landmarks and elbow of an arm with these angles, anywhere in a right-handed camera system."""
    rng = np.random.default_rng(seed)
    hand = Rotation.from_euler("ZXY", [flexion, deviation, 0.0], degrees=True).apply(reference_hand(rng))
    elbow = np.array([0.0, 0.25, 0.0])
    if side == "left":
        hand, elbow = hand * MIRROR, elbow * MIRROR
    turn = Rotation.random(random_state=seed) if orientation is None else orientation
    scale, shift = rng.uniform(0.1, 1000.0), rng.normal(size=3)
    return scale * turn.apply(hand) + shift, scale * turn.apply(elbow) + shift


@pytest.mark.parametrize("side", ["left", "right"])
def test_known_rotations_come_back(side: Side) -> None:
    for seed, (flexion, deviation) in enumerate(GRID):
        angles = wrist_angles(*arm(flexion, deviation, side, seed), side)
        assert angles == pytest.approx((flexion, deviation), abs=1e-6)


@pytest.mark.parametrize("flexion", [-175, -120, -91, -45, 45, 91, 120, 175])
@pytest.mark.parametrize("deviation", [-85, -10, 10, 85])
def test_the_whole_range_of_cardan_angles(flexion: float, deviation: float) -> None:
    assert wrist_angles(*arm(flexion, deviation, "left", 3), "left") == pytest.approx(
        (flexion, deviation), abs=1e-6
    )


def test_signs_in_a_picture() -> None:
    """A right forearm hanging straight down before the camera, palm towards it, so thumb to the picture's
    left (worked by hand): fingertips towards the camera is flexion, towards the little finger ulnar."""
    hand = np.zeros((21, 3))
    hand[HAND_LANDMARKS["middle_mcp"]] = (0.0, 9.0, 0.0)  # down in the picture
    hand[HAND_LANDMARKS["index_mcp"]] = (-3.0, 9.0, 0.0)
    hand[HAND_LANDMARKS["little_mcp"]] = (3.0, 8.0, 0.0)
    elbow = np.array([0.0, -25.0, 0.0])
    assert wrist_angles(hand, elbow, "right") == pytest.approx((0.0, 0.0), abs=1e-9)
    flexed = Rotation.from_euler("x", -30, degrees=True).apply(hand)  # knuckles towards the camera
    assert flexed[HAND_LANDMARKS["middle_mcp"], 2] < 0
    assert wrist_angles(flexed, elbow, "right") == pytest.approx((30.0, 0.0), abs=1e-9)
    ulnar = Rotation.from_euler("z", -20, degrees=True).apply(hand)  # knuckles to the picture's right
    assert ulnar[HAND_LANDMARKS["middle_mcp"], 0] > 0
    assert wrist_angles(ulnar, elbow, "right") == pytest.approx((0.0, 20.0), abs=1e-9)


@pytest.mark.parametrize("side", ["left", "right"])
def test_a_mirrored_picture_shows_the_other_side_with_the_same_angles(side: Side) -> None:
    other: Side = "right" if side == "left" else "left"
    for seed, (flexion, deviation) in enumerate(GRID):
        hand, elbow = arm(flexion, deviation, side, seed)
        flip = np.array([-1.0, 1.0, 1.0])
        assert wrist_angles(hand * flip, elbow * flip, other) == pytest.approx((flexion, deviation), abs=1e-6)


def test_pronation_of_the_whole_arm_and_the_camera_change_nothing() -> None:
    for seed in range(30):
        hand, elbow = arm(35.0, -12.0, "right", 5, Rotation.random(random_state=seed))
        assert wrist_angles(hand, elbow, "right") == pytest.approx((35.0, -12.0), abs=1e-6)


def test_the_wrong_side_reads_flexion_with_the_wrong_sign() -> None:
    flexion, deviation = wrist_angles(*arm(40.0, 10.0, "right", 1), "left")
    assert (flexion, deviation) == pytest.approx((-40.0, 10.0), abs=1e-6)


@pytest.mark.parametrize("side", ["left", "right"])
def test_many_hands_at_once(side: Side) -> None:
    arms = [arm(f, d, side, seed) for seed, (f, d) in enumerate(GRID)]
    hands, elbows = np.array([a[0] for a in arms]), np.array([a[1] for a in arms])
    frames = hand_frame(hands, side)
    assert np.allclose(np.linalg.det(frames), 1.0 if side == "right" else -1.0)
    flexion, deviation = angles_from_axis(frames, elbows - hands[:, 0])
    assert np.allclose(np.stack([flexion, deviation], 1), GRID, atol=1e-6)


@pytest.mark.parametrize("side", ["left", "right"])
def test_full_frames_need_no_assumption_about_axial_rotation(side: Side) -> None:
    rng = np.random.default_rng(0)
    for flexion, deviation in GRID:
        pronation = rng.uniform(-170, 170)
        R = Rotation.from_euler("ZXY", [flexion, deviation, pronation], degrees=True).as_matrix()
        world = Rotation.random(random_state=rng.integers(1 << 30)).as_matrix()
        mirror = np.diag(MIRROR) if side == "left" else np.eye(3)
        # Anatomical frames keep their column names when mirrored: the mirror acts on the left alone.
        forearm, hand = world @ mirror, world @ mirror @ R
        assert np.allclose(angles_between(forearm, hand), (flexion, deviation), atol=1e-6)


@pytest.mark.parametrize("pronation", [-5.0, 5.0])
def test_what_axial_rotation_within_the_wrist_would_cost(pronation: float) -> None:
    """The stated assumption, in figures (worked by hand): turned by p about its long axis, the hand sees the
    forearm at (sin f cos p, cos f, +-sin f sin p), so tan d = tan f sin p: 5 degrees of rotation within the
    wrist at 50 degrees of flexion read as 5.9 degrees of deviation, and sin f' = sin f cos p."""
    rng = np.random.default_rng(0)
    hand = Rotation.from_euler("ZXY", [50.0, 0.0, pronation], degrees=True).apply(reference_hand(rng))
    flexion, deviation = wrist_angles(hand, np.array([0.0, 0.25, 0.0]), "right")
    assert flexion == pytest.approx(49.74, abs=0.01)
    assert abs(deviation) == pytest.approx(5.93, abs=0.01)


def test_degenerate_points_give_nan() -> None:
    hand, elbow = arm(10.0, 5.0, "left", 0)
    stack = np.stack([hand, np.zeros((21, 3)), hand])
    stack[2, HAND_LANDMARKS["index_mcp"]] = stack[2, HAND_LANDMARKS["little_mcp"]]
    frames = hand_frame(stack, "left")
    assert np.isfinite(frames[0]).all()
    assert np.isnan(frames[1]).all()
    assert np.isnan(frames[2]).any()
    assert np.isnan(wrist_angles(hand, hand[0], "left")).all()
    assert np.isnan(wrist_angles(np.full((21, 3), np.nan), elbow, "left")).all()
    on_the_knuckles = hand.copy()
    on_the_knuckles[[5, 17]] = hand[0] + [0.5], hand[0] + [0.5]
    assert np.isnan(wrist_angles(on_the_knuckles, elbow, "left")).all()


@pytest.mark.parametrize(
    ("hand_shape", "elbow_shape"), [((20, 3), (3,)), ((21, 2), (3,)), ((21, 3), (2,)), ((2, 21, 3), (3,))]
)
def test_wrong_shapes_are_refused(hand_shape: tuple[int, ...], elbow_shape: tuple[int, ...]) -> None:
    with pytest.raises(ValueError, match=r"needs? shape"):
        wrist_angles(np.ones(hand_shape), np.ones(elbow_shape), "left")


def test_an_unknown_side_is_refused() -> None:
    with pytest.raises(ValueError, match="'left' or 'right'"):
        wrist_angles(np.ones((21, 3)), np.ones(3), "Left")  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="needs shape"):
        hand_frame(np.ones((21, 2)), "left")
