"""Lenses that bow straight lines, and flat things in the hands of rendered players."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from calibration.body.bodies import load_bodies
from calibration.body.hand_pose import THUMB_RADIUS_M, TIP_RADIUS_M, Hand
from calibration.scene.camera import look_at
from calibration.scene.grip import grip, gripped_mesh

BODIES = Path(__file__).parent / "data" / "few_bodies.npz"
CAMERA = look_at(np.array([0.1, 0.4, 0.2]), 25.0, 10.0, 1.0, 3.0, (1280, 720), 72.0)


@pytest.mark.parametrize("lens", [-0.2, -0.05, 0.04])
def test_a_lens_moves_points_as_opencv_s_model_does(lens: float) -> None:
    camera = replace(CAMERA, lens=lens)
    points = np.random.default_rng(1).uniform([-0.5, -0.28, 0.9], [0.5, 0.28, 1.1], (50, 3))
    # What is chosen here beyond the model: the enlargement by which the corners stay where they were.
    corner = (640**2 + 360**2) / camera.focal_px**2
    focal = camera.focal_px * (1 / (1 + lens * corner) if lens < 0 else 1.0)
    matrix = np.array([[focal, 0, 640.0], [0, focal, 360.0], [0, 0, 1.0]])
    expected, _ = cv2.projectPoints(points, np.zeros(3), np.zeros(3), matrix, np.array([lens, 0, 0, 0.0]))
    np.testing.assert_allclose(camera.to_pixels(points), expected[:, 0], atol=1e-6)


@pytest.mark.parametrize("lens", [-0.2, 0.04])
def test_picture_and_points_move_alike(lens: float) -> None:
    camera = replace(CAMERA, lens=lens)
    for point in ([0.0, 0.0, 1.0], [0.35, 0.1, 1.0], [-0.4, -0.25, 0.9], [0.2, -0.3, 1.2]):
        flat = np.zeros((720, 1280, 3), np.float32)
        x, y = CAMERA.to_pixels(np.array(point))
        columns, rows = np.meshgrid(np.arange(1280) + 0.5, np.arange(720) + 0.5)
        flat += np.exp(-((columns - x) ** 2 + (rows - y) ** 2) / 18)[:, :, None]
        seen = camera.distorted(flat)[:, :, 0]
        middle = [(seen * columns).sum() / seen.sum(), (seen * rows).sum() / seen.sum()]
        np.testing.assert_allclose(middle, camera.to_pixels(np.array(point)), atol=0.3)
        parts = (cv2.resize(flat[:, :, 0], (640, 360), interpolation=cv2.INTER_AREA) > 0.5).astype(np.uint8)
        rows_px, columns_px = np.nonzero(camera.distorted(parts))
        np.testing.assert_allclose(
            [2 * (columns_px.mean() + 0.5), 2 * (rows_px.mean() + 0.5)], middle, atol=1.5
        )


def test_the_corners_stay_filled() -> None:
    camera = replace(CAMERA, lens=-0.2)
    corner = np.array([[640.0, 360.0, camera.focal_px]]) / camera.focal_px
    np.testing.assert_allclose(camera.to_pixels(corner), [[1280, 720]], atol=1e-6)


@pytest.mark.parametrize("side", ["left", "right"])
def test_what_is_held_lies_between_thumb_and_fingers_and_nowhere_in_the_hand(side: str) -> None:
    hand = Hand(load_bodies(BODIES).body(0), side)
    rng = np.random.default_rng(7)
    found = [grip(hand, rng) for _ in range(12)]
    assert sum(one is not None for one in found) >= 6
    for one in found:
        if one is None:
            continue
        fingers, thumb, gripped = one
        joints = hand.landmarks(fingers, thumb)
        own = (joints - gripped.matrix[:, 3]) @ gripped.matrix[:, :3]
        thickness = gripped.high[2] - gripped.low[2]
        # The thumb's pad on one face, the mean of three fingers' pads on the other.
        assert own[4, 2] == pytest.approx(-(thickness / 2 + THUMB_RADIUS_M), abs=1e-9)
        assert own[[8, 12, 16], 2].mean() == pytest.approx(thickness / 2 + TIP_RADIUS_M, abs=1e-9)
        assert not ((own > gripped.low) & (own < gripped.high)).all(1).any()
        np.testing.assert_allclose(gripped.matrix[:, :3].T @ gripped.matrix[:, :3], np.eye(3), atol=1e-9)
        assert np.linalg.det(gripped.matrix[:, :3]) == pytest.approx(1)
        mesh = gripped_mesh(gripped)
        assert np.isfinite(mesh).all()
        np.testing.assert_allclose(mesh[:, :2].min(0), gripped.low[:2], atol=1e-6)
