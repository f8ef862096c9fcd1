"""Frames and angles of the rendered players, the movement of their videos, and the truth beside the demo video."""

from __future__ import annotations

import csv
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from calibration.body.geometry import least_squares, rotation_between, share_turn, turn_about, turn_vector
from calibration.body.hand_pose import (
    anatomical_frame,
    finger_flexions_deg,
    little_spread_deg,
    thumb_place_mm,
    wrist_angles_deg,
    wrist_turn,
)
from calibration.scene.camera import look_at
from calibration.scene.motion import Track

DEMO = Path(__file__).parents[1] / "calibration" / "demo"
POSES = [(0.0, 0.0), (40.0, 10.0), (-35.0, -20.0), (72.0, 38.0), (-60.0, 25.0)]


@pytest.mark.parametrize(("flexion", "deviation"), POSES)
def test_wrist_turn_is_the_isb_sequence(flexion: float, deviation: float) -> None:
    # scipy's intrinsic Z-X'-Y'' sequence, the one of Wu et al. 2005 for the wrist.
    expected = Rotation.from_euler("ZXY", [flexion, deviation, 0.0], degrees=True).as_matrix()
    np.testing.assert_allclose(wrist_turn(flexion, deviation), expected, atol=1e-12)


@pytest.mark.parametrize("side", ["left", "right"])
@pytest.mark.parametrize(("flexion", "deviation"), POSES)
def test_angles_come_back_on_both_sides(side: str, flexion: float, deviation: float) -> None:
    forearm = anatomical_frame(np.array([0.3, 0.8, -0.5]), np.array([0.7, 0.1, 0.4]), side)
    found = wrist_angles_deg(forearm, forearm @ wrist_turn(flexion, deviation))
    np.testing.assert_allclose(found, (flexion, deviation, 0.0), atol=1e-9)


def test_flexion_bends_to_the_palm_and_ulnar_deviation_away_from_the_thumb() -> None:
    # A right hand held up (y) with its thumb to the viewer's right (x) shows its palm: palmar is z, to the viewer.
    frame = anatomical_frame(np.array([0.0, 1.0, 0.0]), np.array([1.0, 0.0, 0.0]), "right")
    np.testing.assert_allclose(frame[:, 0], [0.0, 0.0, 1.0], atol=1e-12)
    flexed, deviated = frame @ wrist_turn(30.0, 0.0), frame @ wrist_turn(0.0, 30.0)
    assert -flexed[:, 1] @ frame[:, 0] == pytest.approx(np.sin(np.radians(30)))
    assert -deviated[:, 1] @ frame[:, 2] == pytest.approx(-np.sin(np.radians(30)))


def test_the_left_frame_is_the_mirror_of_the_right() -> None:
    mirror = np.diag([-1.0, 1.0, 1.0])
    distal, radial = np.array([0.2, 0.9, 0.3]), np.array([0.8, 0.0, -0.2])
    right = anatomical_frame(distal, radial, "right")
    left = anatomical_frame(mirror @ distal, mirror @ radial, "left")
    np.testing.assert_allclose(left, mirror @ right, atol=1e-12)
    assert np.linalg.det(right) == pytest.approx(1.0)


def test_an_unknown_side_is_refused() -> None:
    with pytest.raises(ValueError, match="side must be one of"):
        anatomical_frame(np.array([0.0, 1.0, 0.0]), np.array([1.0, 0.0, 0.0]), "Left")


def test_rotation_vectors_agree_with_scipy() -> None:
    vectors = np.random.default_rng(1).normal(0, 1, (20, 3))
    turns = Rotation.from_rotvec(vectors).as_matrix()
    lengths = np.linalg.norm(vectors, axis=1)
    np.testing.assert_allclose(turn_about(vectors / lengths[:, None], lengths), turns, atol=1e-12)
    np.testing.assert_allclose(turn_vector(turns), Rotation.from_matrix(turns).as_rotvec(), atol=1e-9)
    half = Rotation.from_rotvec(0.5 * Rotation.from_matrix(turns).as_rotvec()).as_matrix()
    np.testing.assert_allclose(share_turn(turns, 0.5), half, atol=1e-9)


def test_the_rotation_between_moves_one_direction_onto_the_other() -> None:
    start, end = np.array([0.0, 0.6, 0.8]), np.array([0.8, 0.0, -0.6])
    np.testing.assert_allclose(rotation_between(start, end) @ start, end, atol=1e-12)


def test_least_squares_finds_the_bottom_of_rosenbrock_s_valley() -> None:
    # Rosenbrock 1960: minimum 0 at (1, 1).
    def residuals(x: NDArray[Any]) -> NDArray[Any]:
        return np.stack([10 * (x[:, 1] - x[:, 0] ** 2), 1 - x[:, 0]], axis=1)

    found, cost = least_squares(residuals, np.array([[-1.2, 1.0], [0.0, 2.0]]), steps=80)
    np.testing.assert_allclose(found, 1.0, atol=1e-2)
    assert (cost < 1e-4).all()


def test_straight_and_bent_fingers() -> None:
    straight = np.zeros((21, 3))
    for finger in range(5):
        straight[1 + 4 * finger : 5 + 4 * finger, 1] = [0.09, 0.13, 0.155, 0.175]
    assert finger_flexions_deg(straight)["index"] == pytest.approx((0.0, 0.0, 0.0), abs=1e-5)
    bent = straight.copy()
    bent[7:9] = [[0.0, 0.13, 0.025], [0.0, 0.13, 0.045]]
    assert finger_flexions_deg(bent)["index"] == pytest.approx((0.0, 90.0, 0.0), abs=1e-5)


def test_a_joint_bent_backwards_is_negative() -> None:
    # Hand coordinates: palmar, proximal, radial. Positive is towards the palm, as goniometry counts flexion.
    straight = np.zeros((21, 3))
    for finger in range(5):
        straight[1 + 4 * finger : 5 + 4 * finger, 1] = [-0.09, -0.13, -0.155, -0.175]
    for palmar, sign in ((0.01, 1), (-0.01, -1)):
        bent = straight.copy()
        bent[8] = [palmar, -0.155 - np.sqrt(0.02**2 - palmar**2), 0.0]
        assert finger_flexions_deg(bent)["index"] == pytest.approx((0.0, 0.0, sign * 30.0), abs=1e-4)


def test_a_spread_little_finger_and_a_thumb_opposite() -> None:
    hand = np.zeros((21, 3))
    hand[[13, 17], 2] = [-0.01, -0.03]
    hand[14] = hand[13] + [0.0, -0.04, 0.0]
    hand[18] = hand[17] + 0.03 * np.array([0.0, -np.cos(np.radians(25)), -np.sin(np.radians(25))])
    assert little_spread_deg(hand) == pytest.approx(25.0)
    hand[18] = hand[17] + [0.03, 0.0, 0.0]  # bent into the palm: no spread to speak of
    assert np.isnan(little_spread_deg(hand))
    hand[[9, 4], 2] = [0.005, 0.030]
    assert thumb_place_mm(hand) == pytest.approx(25.0)


def test_the_camera_sees_its_target_in_the_middle_and_the_player_s_left_on_the_right() -> None:
    target = np.array([0.1, 0.4, 0.2])
    camera = look_at(target, 0.0, 10.0, 1.5, 0.0, (1280, 720), 60.0)
    np.testing.assert_allclose(camera.to_pixels(camera.to_camera(target)), [640, 360], atol=1e-9)
    left = camera.to_pixels(camera.to_camera(target + np.array([0.1, 0.0, 0.0])))
    above = camera.to_pixels(camera.to_camera(target + np.array([0.0, 0.1, 0.0])))
    assert left[0] > 640
    assert above[1] < 360
    # Half the field of view is half the width: 30 degrees off the axis is the picture's edge.
    edge = camera.eye_m + camera.axes.T @ np.array([np.tan(np.radians(30)), 0.0, 1.0])
    assert camera.to_pixels(camera.to_camera(edge))[0] == pytest.approx(1280)


def test_a_track_moves_smoothly_and_holds() -> None:
    track = Track(10.0, ((1.0, 0.5, 60.0), (3.0, 0.5, 20.0)))
    assert [track(t) for t in (0.0, 1.0, 1.25, 1.5, 2.9, 3.5, 9.0)] == pytest.approx(
        [10, 10, 35, 60, 60, 20, 20]
    )


def _demo_rows() -> list[dict[str, float]]:
    with (DEMO / "truth.csv").open(encoding="utf-8") as file:
        return [{name: float(value) for name, value in row.items()} for row in csv.DictReader(file)]


def test_the_demo_video_holds_two_extreme_angles_and_touches_one_briefly() -> None:
    rows = _demo_rows()
    beyond = [row["left_flexion_deg"] > 48.6 for row in rows]  # 30 mmHg limit, Keir et al. 2007
    edges = [k + 1 for k, (a, b) in enumerate(pairwise(beyond)) if a != b]
    stays = [(rows[a]["time_s"], rows[b]["time_s"]) for a, b in zip(edges[::2], edges[1::2], strict=True)]
    lengths = [end - start for start, end in stays]
    assert len(stays) == 3
    assert lengths[0] < 1.5
    assert all(6.0 <= length <= 7.0 for length in lengths[1:])
    assert stays[2][0] - stays[1][1] >= 5.0


def test_elsewhere_the_demo_video_is_comfortable() -> None:
    # Comfort limits: Keir et al. 2007 at 25 mmHg: 37.7 flexion, 26.6 extension, 12.1 ulnar, 17.8 radial.
    for row in _demo_rows():
        assert -26.6 < row["right_flexion_deg"] < 37.7
        for side in ("left", "right"):
            assert -17.8 < row[f"{side}_ulnar_deviation_deg"] < 12.1


def test_the_demo_video_and_its_truth_belong_together() -> None:
    import av

    rows = _demo_rows()
    assert (DEMO / "demo.mp4").stat().st_size <= 4_000_000
    with av.open(str(DEMO / "demo.mp4")) as container:
        stream = container.streams.video[0]
        times = sorted(
            float(packet.pts * stream.time_base) for packet in container.demux(stream) if packet.size
        )
        assert stream.codec_context.name == "h264"
    assert times == pytest.approx([row["time_s"] for row in rows], abs=1e-3)
