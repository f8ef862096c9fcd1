"""What the networks are taught of a crop, against a pinhole camera of its own and OpenCV's transform."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation
from test_tracking_roi import flat_hand

from calibration.dataset.crop_jitter import crop_jitter_of, padded_crop_of, read_crop_jitter, usual
from calibration.dataset.crops import NO_HAND_WITHIN, TARGETS, elsewhere, targets_of
from calibration.dataset.ground_truth_regions import ground_truth_regions
from calibration.dataset.rows import CROPS, PADDED_CROPS, crop_rows, crops_of
from posturewatch.model.observation import Side
from posturewatch.tracking.crop import CLOSE, WIDE, Crop, hand_scale_px

FOCAL_PX, CENTRE = 900.0, np.array([640.0, 360.0])


def pinhole(points_m: NDArray[Any]) -> NDArray[Any]:
    return np.asarray(points_m[:, :2] / points_m[:, 2:] * FOCAL_PX + CENTRE)


def truth(side: Side = "left", turn_deg: float = 0.0, away_m: float = 8.0) -> dict[str, Any]:
    """A flat hand and its forearm straight on, so far away that perspective hardly matters."""
    hand = flat_hand() * [0.001, 0.001, 0.0]
    elbow = np.array([0.02, 0.25, 0.03])
    if side == "right":
        hand, elbow = hand * [-1, 1, 1], elbow * [-1, 1, 1]
    turn = Rotation.from_euler("z", turn_deg, degrees=True).as_matrix()
    joints, elbow = hand @ turn.T + [0, 0, away_m], turn @ elbow + [0, 0, away_m]
    wrist_px, elbow_px = pinhole(joints[:1])[0], pinhole(elbow[None])[0]
    across = turn @ np.array([-1.0 if side == "right" else 1.0, 0, 0])
    up = turn @ np.array([0, -1.0, 0])
    frame = np.stack([np.array([0, 0, 1.0]), -up, across], axis=1)  # palmar, proximal, radial
    return {
        "side": side,
        "joints_m": joints,
        "joints_px": pinhole(joints),
        "plane_px": pinhole(joints[[8, 12, 16, 20, 5, 17, 0, 1]] + [0.0, 0.01, 0.02]),
        "elbow_m": elbow,
        "elbow_px": elbow_px.tolist(),
        "hand_frame": frame,
        "forearm_frame": frame,
        "forearm_direction_px": (elbow_px - wrist_px) / np.linalg.norm(elbow_px - wrist_px),
        "hand_visible": 1.0,
    }


@pytest.mark.parametrize("side", ["left", "right"])
@pytest.mark.parametrize("turn_deg", [0.0, 50.0, -130.0])
def test_targets_lie_where_the_crop_shows_them(side: Side, turn_deg: float) -> None:
    one = truth(side, turn_deg)
    affine = WIDE.transform(one["joints_px"], side)
    seen = targets_of(one, affine)
    assert {name: len(values) for name, values in seen.items()} == TARGETS
    in_crop = (cv2.transform(one["joints_px"][None], affine)[0] - WIDE.wrist_px) / WIDE.hand_px
    joints = seen["joints"].reshape(20, 3)
    # Hand scales and palms differ by a few percent; the shape must be the same.
    ratio = np.linalg.norm(in_crop[1:]) / np.linalg.norm(joints[:, :2])
    assert ratio == pytest.approx(1, abs=0.15)
    assert joints[:, :2] * ratio == pytest.approx(in_crop[1:], abs=0.02)
    places = seen["places"].reshape(29, 2)
    assert places[:21] == pytest.approx(in_crop, abs=1e-4)
    plane = (cv2.transform(one["plane_px"][None], affine)[0] - WIDE.wrist_px) / WIDE.hand_px
    assert places[21:] == pytest.approx(plane, abs=1e-4)
    elbow = (cv2.transform(np.array([[one["elbow_px"]]]), affine)[0, 0] - WIDE.wrist_px) / WIDE.hand_px
    assert seen["elbow"] == pytest.approx(elbow, abs=1e-4)
    assert seen["direction"] == pytest.approx(elbow / np.linalg.norm(elbow), abs=1e-4)
    # The elbow lies 3 cm farther away on a forearm of 25 cm.
    assert seen["slope"] == pytest.approx([0.03 / np.hypot(0.02, 0.25)], abs=0.02)
    proximal, radial = seen["axes"][:3], seen["axes"][3:]
    # The crop's upward direction is that of the mean of the knuckles, a few degrees beside the frame's own.
    assert proximal == pytest.approx([0, 1, 0], abs=0.1)
    assert radial == pytest.approx([1, 0, 0], abs=0.1)


def test_both_crops_are_kept_as_pictures() -> None:
    image = np.full((720, 1280, 3), 90, np.uint8)
    row = crops_of(image, truth()["joints_px"], "left")
    sizes = {name: cv2.imdecode(data, cv2.IMREAD_COLOR).shape for name, data in row.items()}
    assert sizes == {"crop": (WIDE.size_px,) * 2 + (3,), "close": (CLOSE.size_px,) * 2 + (3,)}


def test_a_told_place_covers_its_hand_and_hidden_hands_are_not_told() -> None:
    rng = np.random.default_rng(3)
    seen, hidden = truth(away_m=1.5), truth("right", away_m=1.5) | {"hand_visible": 0.1}
    places = [ground_truth_regions({"hands": [seen, hidden]}, rng) for _ in range(50)]
    assert {len(one) for one in places} == {1}
    centre = seen["joints_px"][[0, 5, 9, 13, 17]].mean(axis=0)
    palm = np.linalg.norm(seen["joints_px"][9] - seen["joints_px"][0])
    off = [np.linalg.norm(np.asarray(one[0].centre_px) - centre) / palm for one in places]
    assert 0.01 < np.mean(off) < 1.0
    assert len({one[0].size_px for one in places}) == 50


def placed(true_px: NDArray[Any], side: Side, jitter: NDArray[Any]) -> NDArray[Any]:
    """A hand moved, turned and scaled as a crop jitter says, by complex numbers: turning is multiplying."""
    hand = true_px[:, 0] + 1j * true_px[:, 1]
    along = hand[[5, 9, 13, 17]].mean() - hand[0]
    up = along / abs(along)
    right = up * 1j
    if side == "right":
        right = -right
    angle = jitter[2] if side == "left" else -jitter[2]
    away = (jitter[0] * right - jitter[1] * up) * hand_scale_px(true_px)
    moved = hand[0] + away + (hand - hand[0]) * np.exp(jitter[3] + 1j * angle)
    return np.stack([moved.real, moved.imag], axis=1)


@pytest.mark.parametrize("side", ["left", "right"])
@pytest.mark.parametrize("turn_deg", [0.0, 70.0, -150.0])
def test_a_crops_jitter_is_found_again(side: Side, turn_deg: float) -> None:
    true_px = truth(side, turn_deg)["joints_px"]
    jitter = np.array([0.1, -0.3, 0.4, -0.2])
    assert crop_jitter_of(placed(true_px, side, jitter), true_px, side) == pytest.approx(jitter)
    assert crop_jitter_of(true_px, true_px, side) == pytest.approx(np.zeros(4), abs=1e-12)


@pytest.mark.parametrize("crop", [WIDE, CLOSE])
@pytest.mark.parametrize("side", ["left", "right"])
def test_the_usual_crop_lies_in_the_middle_of_its_padded_crop_and_as_large(crop: Crop, side: Side) -> None:
    jitters = read_crop_jitter()
    padded_crop, middle = padded_crop_of(crop, jitters), usual(jitters) * [0, 1, 0, 1]
    true_px = truth(side, 35.0)["joints_px"]
    to_padded_crop = padded_crop.transform(true_px, side)
    to_crop = crop.transform(placed(true_px, side, middle), side)
    shift = (padded_crop.size_px - crop.size_px) / 2
    assert to_padded_crop[:, :2] == pytest.approx(to_crop[:, :2], rel=1e-6)
    assert to_padded_crop[:, 2] == pytest.approx(to_crop[:, 2] + shift, abs=1e-6)


def test_the_tracker_places_hands_otherwise_than_they_are() -> None:
    """What the table is for: its wrists lie nearer to the fingers and its hands are smaller, as the middle one."""
    jitters = read_crop_jitter()
    assert jitters.shape[1] == 4
    assert len(jitters) >= 1000
    assert (np.median(jitters[:, [1, 3]], axis=0) < -0.03).all()
    assert np.abs(np.median(jitters[:, [0, 2]], axis=0)).max() < 0.05


def test_places_without_a_hand_are_without_one() -> None:
    rng = np.random.default_rng(5)
    hand, other = truth(away_m=1.5), truth("right", 20.0, away_m=1.4)
    label = {"hands": [hand, other], "width_px": 1280, "height_px": 720}
    palm = [0, 5, 9, 13, 17]
    places = [elsewhere(hand["joints_px"], label, rng) for _ in range(60)]
    found = [place for place in places if place is not None]
    assert len(found) > 40
    for place in found:
        middle, scale = place[palm].mean(axis=0), hand_scale_px(place)
        assert ((middle > 0) & (middle < [1280, 720])).all()
        for one in (hand, other):
            apart = np.linalg.norm(middle - one["joints_px"][palm].mean(axis=0))
            assert apart >= 0.99 * NO_HAND_WITHIN * scale


def test_training_rows_hold_padded_crops_and_a_place_without_a_hand_teaches_no_angle() -> None:
    image = np.full((720, 1280, 3), 90, np.uint8)
    hand = truth(away_m=1.5) | {
        "role": "plucking",
        "flexion_deg": 10.0,
        "ulnar_deviation_deg": 5.0,
        "little_spread_deg": 1.0,
        "thumb_place_mm": 2.0,
        "finger_flexion_deg": {"index": (1.0, 2.0, 3.0)},
        "finger_lift_mm": {},
        "forearm_visible": 1.0,
        "strings_visible": 0.0,
    }
    label = {
        "hands": [hand],
        "width_px": 1280,
        "height_px": 720,
        "framing": "upper",
        "azimuth_deg": 0.0,
        "elevation_deg": 0.0,
        "hfov_deg": 60.0,
        "identity": 1,
    }
    rows = [row for seed in range(40) for row in crop_rows(image, label, np.random.default_rng(seed))]
    hands, places = [row for row in rows if row["valid"]], [row for row in rows if not row["valid"]]
    assert len(hands) == 40
    assert 1 <= len(places) <= 15
    for row in rows:
        for name, padded_crop in PADDED_CROPS.items():
            assert cv2.imdecode(row[name], cv2.IMREAD_COLOR).shape == (padded_crop.size_px,) * 2 + (3,)
            assert padded_crop.size_px > CROPS[name].size_px
    assert all(np.isnan(row["y"]).all() and row["hand_visible"] == 0 for row in places)
    assert all(np.isfinite(row["y"][:2]).all() for row in hands)
