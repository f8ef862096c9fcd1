"""Crops and the way back, checked against scipy's rotations and OpenCV's own transforms."""

from __future__ import annotations

import math
from typing import Any

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from posturewatch.tracking.networks import Found
from posturewatch.tracking.roi import (
    FAR,
    NEAR,
    Roi,
    body_roi,
    cut,
    forearm_roi,
    hand_roi,
    palm_roi,
    to_camera_m,
    to_image_px,
)


def flat_hand() -> NDArray[Any]:
    """An open left hand seen from its back, fingers up, wrist at the origin, palm 100 pixels long; (21, 3)."""
    points = [(0, 0)]
    for base, tip in (((25, -25), (70, -80)), ((28, -95), (38, -175)), ((0, -100), (0, -190))):
        points += [tuple(np.asarray(base) + (np.asarray(tip) - base) * i / 3) for i in range(4)]
    for base, tip in (((-20, -92), (-28, -172)), ((-38, -80), (-55, -140))):
        points += [tuple(np.asarray(base) + (np.asarray(tip) - base) * i / 3) for i in range(4)]
    flat = np.array(points, dtype=np.float64)
    return np.column_stack([flat, np.linspace(-20, 20, 21)])


def placed(points: NDArray[Any], angle_deg: float, scale: float, at: tuple[float, float]) -> NDArray[Any]:
    """The points turned clockwise as seen (scipy's positive turn about z, since y points down), scaled, moved."""
    turn = Rotation.from_euler("z", angle_deg, degrees=True).as_matrix()
    return np.asarray(scale * points @ turn.T + np.array([*at, 0.0]))


@pytest.mark.parametrize("angle_deg", [0, 30, 90, -135, 180])
@pytest.mark.parametrize("size_px", [80.0, 224.0, 700.0])
def test_a_crop_shows_what_its_affine_says(angle_deg: float, size_px: float) -> None:
    rng = np.random.default_rng(1)
    image = cv2.GaussianBlur(rng.integers(0, 255, (400, 500, 3), np.uint8), (0, 0), 12)
    roi = Roi((260.0, 190.0), size_px, math.radians(angle_deg))
    crop = cut(image.astype(np.uint8), roi, 112)
    at = np.array([40.0, 70.0])
    x, y = roi.affine(112) @ np.array([*at, 1.0])
    if 0 <= x < 499 and 0 <= y < 399:
        expected = cv2.getRectSubPix(image, (1, 1), (float(x), float(y)))[0, 0, ::-1]
        assert crop[70, 40].astype(int) == pytest.approx(expected.astype(int), abs=6)


@pytest.mark.parametrize("angle_deg", [0.0, 25.0, -140.0])
def test_landmarks_go_to_the_picture_and_depth_keeps_its_scale(angle_deg: float) -> None:
    roi = Roi((300.0, 200.0), 448.0, math.radians(angle_deg))
    points = np.array([[112.0, 112.0, 10.0], [112.0, 0.0, -4.0]])
    out = to_image_px(points, roi, 224)
    assert out[0] == pytest.approx([300, 200, 20])
    up = Rotation.from_euler("z", angle_deg, degrees=True).apply([0, -224, 0])
    assert out[1] == pytest.approx([300 + up[0], 200 + up[1], -8])


def test_metres_turn_with_the_crop() -> None:
    roi = Roi((0, 0), 1.0, math.radians(40))
    points = np.random.default_rng(0).normal(size=(21, 3))
    assert to_camera_m(points, roi) == pytest.approx(Rotation.from_euler("z", 40, degrees=True).apply(points))


@pytest.mark.parametrize("angle_deg", [0.0, 60.0, -170.0])
def test_a_hands_crop_follows_the_hand(angle_deg: float) -> None:
    upright = hand_roi(flat_hand())
    turned = hand_roi(placed(flat_hand(), angle_deg, 2.0, (500.0, 300.0)))
    apart = (math.degrees(turned.angle_rad - upright.angle_rad) - angle_deg + 180) % 360 - 180
    assert apart == pytest.approx(0, abs=1e-6)
    assert turned.size_px == pytest.approx(2 * upright.size_px)
    expected = placed(np.array([[*upright.centre_px, 0.0]]), angle_deg, 2.0, (500.0, 300.0))[0]
    assert turned.centre_px == pytest.approx(expected[:2])


def test_a_palm_in_a_turned_tile_points_upwards_in_its_crop() -> None:
    tile = Roi((320.0, 240.0), 640.0, math.radians(90))
    keypoints = np.array(
        [[0.5, 0.6], [0.5, 0.5], [0.5, 0.4], [0, 0], [0, 0], [0, 0], [0, 0]], dtype=np.float64
    )
    roi = palm_roi(Found(np.array([0.45, 0.45, 0.1, 0.1]), keypoints, 0.9), tile)
    assert math.degrees(roi.angle_rad) == pytest.approx(90)
    assert roi.size_px == pytest.approx(2.6 * 64)
    assert roi.centre_px == pytest.approx((320 + 32, 240))  # half a box along the hand, here to the right


def test_a_forearms_crop_lies_beyond_the_wrist() -> None:
    roi = forearm_roi(np.array([100.0, 400.0]), np.array([100.0, 200.0]), 100.0)
    assert roi.angle_rad == pytest.approx(0)
    assert roi.centre_px == pytest.approx((100, 155))
    # A hand bent clockwise, as seen, by a right angle goes on to the right.
    bent = forearm_roi(np.array([100.0, 400.0]), np.array([100.0, 200.0]), 100.0, math.pi / 2)
    assert bent.centre_px == pytest.approx((145, 200))
    assert bent.angle_rad == pytest.approx(math.pi / 2)


def test_other_looks_at_a_place_are_all_different() -> None:
    assert len(set(NEAR)) == len(NEAR)
    assert set(NEAR) < set(FAR)
    assert (1.0, 0.0) not in FAR  # the look that was already taken
    roi = Roi((3.0, 4.0), 100.0, 0.5).grown(1.2, -0.2)
    assert roi.centre_px == (3.0, 4.0)
    assert (roi.size_px, roi.angle_rad) == pytest.approx((120, 0.3))


def test_a_bodys_crop_is_centred_with_its_radius() -> None:
    roi = body_roi(np.array([[100.0, 100.0], [200.0, 100.0]]))
    assert (roi.centre_px, roi.size_px) == ((100, 100), 250)
    assert math.degrees(roi.angle_rad) == pytest.approx(90)
