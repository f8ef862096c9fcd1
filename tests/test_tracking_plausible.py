"""What is refused as a hand."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from test_tracking_roi import flat_hand, placed

from posturewatch.model.observation import BodyObservation
from posturewatch.tracking.body import arm_trust, is_false_hand, mirrored_body
from posturewatch.tracking.plausible import hand_distance, is_handlike, is_same_hand

WIDTH, HEIGHT = 1280, 720
HAND = placed(flat_hand(), 30, 1.0, (640.0, 400.0))


def standing_body() -> BodyObservation:
    """A person facing the camera, the shoulders 200 pixels wide, arms hanging; the left arm is at larger x."""
    points = np.zeros((33, 3))
    points[:11, :2] = [640, 150] + 30 * np.random.default_rng(0).uniform(-1, 1, (11, 2))
    for left, sign in ((0, 1), (1, -1)):
        for index, (x, y) in {11: (100, 250), 13: (120, 380), 15: (130, 500), 23: (60, 560)}.items():
            points[index + left, :2] = [640 + sign * x, y]
        for index in (17, 19, 21):
            points[index + left, :2] = [640 + sign * 135, 540]
    return BodyObservation(points, points / 500, np.ones(33), 0.0)


def test_a_hand_is_a_hand() -> None:
    assert is_handlike(HAND, WIDTH, HEIGHT)


def stretched_finger() -> NDArray[Any]:
    hand = HAND.copy()
    hand[6:9, :2] += 300
    return hand


@pytest.mark.parametrize(
    "landmarks",
    [
        placed(flat_hand(), 0, 0.05, (640.0, 400.0)),  # five pixels long
        placed(flat_hand(), 0, 1.0, (-100.0, 400.0)),  # mostly outside
        placed(flat_hand(), 0, 40.0, (640.0, 400.0)),  # larger than the picture
        stretched_finger(),
        HAND * [1, 0, 1] + [0, 400, 0],  # a line
        HAND * np.nan,
    ],
    ids=["tiny", "outside", "huge", "stretched", "line", "nan"],
)
def test_what_no_hand_does(landmarks: NDArray[Any]) -> None:
    assert not is_handlike(landmarks, WIDTH, HEIGHT)


def test_one_hand_seen_twice_and_two_hands() -> None:
    assert is_same_hand(HAND, np.add(HAND, [8, 5, 0]))
    bent = HAND.copy()
    bent[[7, 8, 11, 12, 15, 16, 19, 20], :2] = HAND[0, :2]  # the fingers drawn another way
    assert is_same_hand(HAND, bent)
    assert not is_same_hand(HAND, np.add(HAND, [110, 0, 0]))
    assert hand_distance(HAND, np.add(HAND, [100, 0, 0])) == pytest.approx(1.0, rel=0.05)


def test_a_face_is_no_hand_unless_the_network_is_certain() -> None:
    body = standing_body()
    at_face = placed(flat_hand(), 0, 0.3, (640.0, 165.0))
    assert is_false_hand(at_face, 0.8, body, WIDTH, HEIGHT)
    assert not is_false_hand(at_face, 0.99, body, WIDTH, HEIGHT)
    assert not is_false_hand(at_face, 0.8, None, WIDTH, HEIGHT)
    assert not is_false_hand(np.add(at_face, [200, 250, 0]), 0.8, body, WIDTH, HEIGHT)


def test_a_hand_as_large_as_the_trunk_is_none() -> None:
    body = standing_body()
    assert is_false_hand(placed(flat_hand(), 0, 2.6, (640.0, 560.0)), 0.6, body, WIDTH, HEIGHT)
    assert not is_false_hand(placed(flat_hand(), 0, 0.5, (770.0, 520.0)), 0.6, body, WIDTH, HEIGHT)


def test_a_mirrored_body_changes_sides() -> None:
    body = standing_body()
    mirrored = mirrored_body(body)
    assert mirrored.landmarks_px[15] == pytest.approx(body.landmarks_px[16])
    assert mirrored.landmarks_px[0] == pytest.approx(body.landmarks_px[0])
    assert mirrored_body(mirrored).landmarks_px == pytest.approx(body.landmarks_px)


def test_an_arm_is_trusted_only_where_it_fits() -> None:
    body = standing_body()
    assert arm_trust(body, "left", WIDTH, HEIGHT) == pytest.approx(1.0)
    headless = BodyObservation(body.landmarks_px - [0, 300, 0], body.landmarks_m, body.visibility, 0.0)
    assert arm_trust(headless, "left", WIDTH, HEIGHT) < 0.5
    stretched = body.landmarks_px.copy()
    stretched[15, 0] += 400
    long_arm = BodyObservation(stretched, body.landmarks_m, body.visibility, 0.0)
    assert arm_trust(long_arm, "left", WIDTH, HEIGHT) < 0.5
    assert arm_trust(long_arm, "right", WIDTH, HEIGHT) == pytest.approx(1.0)
