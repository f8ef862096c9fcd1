"""What the networks are taught of a cutting, against a pinhole camera of its own and OpenCV's transform."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
import pytest
from scipy.spatial.transform import Rotation
from test_tracking_roi import flat_hand

from calibration.cuttings import TARGETS, targets_of
from calibration.dataset import cuttings_of
from calibration.told import told_places
from posturewatch.observation import Side
from posturewatch.tracking.cutting import CLOSE, WIDE

FOCAL_PX, CENTRE = 900.0, np.array([640.0, 360.0])


def pinhole(points_m: np.ndarray) -> np.ndarray:
    return points_m[:, :2] / points_m[:, 2:] * FOCAL_PX + CENTRE


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
        "elbow_m": elbow,
        "elbow_px": elbow_px.tolist(),
        "hand_frame": frame,
        "forearm_frame": frame,
        "forearm_direction_px": (elbow_px - wrist_px) / np.linalg.norm(elbow_px - wrist_px),
        "hand_visible": 1.0,
    }


@pytest.mark.parametrize("side", ["left", "right"])
@pytest.mark.parametrize("turn_deg", [0.0, 50.0, -130.0])
def test_targets_lie_where_the_cutting_shows_them(side: Side, turn_deg: float) -> None:
    one = truth(side, turn_deg)
    affine = WIDE.transform(one["joints_px"], side)
    seen = targets_of(one, affine)
    assert {name: len(values) for name, values in seen.items()} == TARGETS
    in_cutting = (cv2.transform(one["joints_px"][None], affine)[0] - WIDE.wrist_px) / WIDE.hand_px
    joints = seen["joints"].reshape(20, 3)
    # Hand scales and palms differ by a few percent; the shape must be the same.
    ratio = np.linalg.norm(in_cutting[1:]) / np.linalg.norm(joints[:, :2])
    assert ratio == pytest.approx(1, abs=0.15)
    assert joints[:, :2] * ratio == pytest.approx(in_cutting[1:], abs=0.02)
    elbow = (cv2.transform(np.array([[one["elbow_px"]]]), affine)[0, 0] - WIDE.wrist_px) / WIDE.hand_px
    assert seen["elbow"] == pytest.approx(elbow, abs=1e-4)
    assert seen["direction"] == pytest.approx(elbow / np.linalg.norm(elbow), abs=1e-4)
    # The elbow lies 3 cm farther away on a forearm of 25 cm.
    assert seen["slope"] == pytest.approx([0.03 / np.hypot(0.02, 0.25)], abs=0.02)
    proximal, radial = seen["axes"][:3], seen["axes"][3:]
    # The cutting's upward direction is that of the mean of the knuckles, a few degrees beside the frame's own.
    assert proximal == pytest.approx([0, 1, 0], abs=0.1)
    assert radial == pytest.approx([1, 0, 0], abs=0.1)


def test_both_cuttings_are_kept_as_pictures() -> None:
    image = np.full((720, 1280, 3), 90, np.uint8)
    row = cuttings_of(image, truth()["joints_px"], "left")
    sizes = {name: cv2.imdecode(data, cv2.IMREAD_COLOR).shape for name, data in row.items()}
    assert sizes == {"crop": (WIDE.size_px,) * 2 + (3,), "close": (CLOSE.size_px,) * 2 + (3,)}


def test_a_told_place_covers_its_hand_and_hidden_hands_are_not_told() -> None:
    rng = np.random.default_rng(3)
    seen, hidden = truth(away_m=1.5), truth("right", away_m=1.5) | {"hand_visible": 0.1}
    places = [told_places({"hands": [seen, hidden]}, rng) for _ in range(50)]
    assert {len(one) for one in places} == {1}
    centre = seen["joints_px"][[0, 5, 9, 13, 17]].mean(axis=0)
    palm = np.linalg.norm(seen["joints_px"][9] - seen["joints_px"][0])
    off = [np.linalg.norm(np.asarray(one[0].centre_px) - centre) / palm for one in places]
    assert 0.01 < np.mean(off) < 1.0
    assert len({one[0].size_px for one in places}) == 50
