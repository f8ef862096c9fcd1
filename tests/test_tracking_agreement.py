"""Landmarks against what a network sees of the same hand: on a made-up hand that is turned, scaled and mistaken."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from test_tracking_roi import flat_hand, placed

from posturewatch.model.observation import Side
from posturewatch.tracking.agreement import (
    UNJUDGED,
    Judgement,
    SideView,
    best_of,
    cross_entropy_of,
    landmark_error,
)
from posturewatch.tracking.crop import CLOSE, hand_scale_px

HAND = flat_hand()
#: The knuckles and fingers of the other edge of the hand: thumb to little finger in the opposite order.
INSIDE_OUT = [0, *range(17, 21), *range(13, 17), *range(9, 13), *range(5, 9), *range(1, 5)]


def seen_rightly(landmarks_px: NDArray[Any], side: Side) -> NDArray[Any]:
    """(20, 3) what a perfect network says of the crop: the hand's joints from its wrist, in metres."""
    affine = CLOSE.transform(landmarks_px, side)
    beyond = (landmarks_px[1:, :2] - landmarks_px[0, :2]) @ affine[:, :2].T
    return np.column_stack([0.09 * beyond / CLOSE.hand_px, np.zeros(20)])


@pytest.mark.parametrize("side", ["left", "right"])
@pytest.mark.parametrize(("angle_deg", "scale"), [(0, 1.0), (70, 0.4), (-160, 3.0)])
def test_a_hand_seen_as_it_was_tracked_fits(side: Side, angle_deg: float, scale: float) -> None:
    hand = placed(HAND, angle_deg, scale, (640.0, 400.0))
    assert landmark_error(hand, side, seen_rightly(hand, side), CLOSE) == pytest.approx(0, abs=1e-9)
    # The unit in which it was seen is not asked for.
    assert landmark_error(hand, side, 1000.0 * seen_rightly(hand, side), CLOSE) == pytest.approx(0, abs=1e-9)


def test_the_landmark_error_is_the_joints_mean_distance_in_hand_scales() -> None:
    hand = placed(HAND, 40, 2.0, (640.0, 400.0))
    seen = seen_rightly(hand, "left")
    moved = hand.copy()
    # Two fingertips by 50 pixels each, and so that neither the palm, which places the crop, nor the scale changes.
    between = hand[8, :2] - hand[12, :2]
    aside = 50 * np.array([-between[1], between[0]]) / np.linalg.norm(between)
    moved[8, :2] += aside
    moved[12, :2] -= aside
    assert landmark_error(moved, "left", seen, CLOSE) == pytest.approx(
        2 * 50 / 20 / hand_scale_px(hand), rel=1e-6
    )


@pytest.mark.parametrize("how", ["inside out", "upside down", "of no extent"])
def test_a_hand_tracked_otherwise_than_it_is_seen_does_not_fit(how: str) -> None:
    hand = placed(HAND, 10, 1.0, (640.0, 400.0))
    seen = seen_rightly(hand, "left")
    if how == "inside out":
        hand = hand[INSIDE_OUT]
    elif how == "upside down":
        seen = -seen
    else:
        seen = 0 * seen
    assert landmark_error(hand, "left", seen, CLOSE) > 0.35


def test_what_a_network_loses_is_the_mean_cross_entropy() -> None:
    """In nats: ln 2 where a network does not know (the entropy of a fair coin)."""
    assert cross_entropy_of([]) == 0
    assert cross_entropy_of([0.0]) == pytest.approx(math.log(2))
    assert cross_entropy_of([math.log(3), -math.log(3)]) == pytest.approx((math.log(4 / 3) + math.log(4)) / 2)
    assert cross_entropy_of([1000.0]) == 0
    assert cross_entropy_of([-1000.0]) == pytest.approx(1000)


def judged(left: tuple[float, float], right: tuple[float, float], hand: float = 6.0) -> Judgement:
    return Judgement(SideView(*left, hand), SideView(*right, hand), right[1] - left[1])


def test_the_look_that_agrees_best_is_taken_for_each_side() -> None:
    inside_out = judged((0.6, 0.0), (0.15, 6.0))
    as_it_is = judged((0.12, 0.1), (0.7, 7.0))
    hopeless = judged((0.9, 3.0), (0.9, 0.1))
    looks = [inside_out, hopeless, as_it_is]
    assert best_of(looks) == 2
    assert best_of(looks, "left") == 2
    assert best_of(looks, "right") == 0
    # Joints that fit a side which the networks exclude do not make it that side.
    assert inside_out.view().landmark_error == 0.6
    assert inside_out.landmark_error == 0.6


def test_where_both_sides_are_possible_both_must_fit() -> None:
    assert judged((0.1, 0.3), (0.5, 0.9)).landmark_error == 0.5
    assert judged((0.1, 0.3), (0.5, 5.0)).landmark_error == 0.1


def test_a_hand_is_likelier_the_better_it_fits_and_the_surer_the_networks_are() -> None:
    assert SideView(0.1, 0.0, 8.0).odds > SideView(0.4, 0.0, 8.0).odds > SideView(0.4, 0.0, 2.0).odds
    assert SideView(0.1, 0.0, 8.0).odds > 3 > 0 > SideView(0.6, 0.0, 1.0).odds
    assert UNJUDGED.evidence == 0
    assert UNJUDGED.landmark_error == 0
    assert UNJUDGED.view("left").odds > 0
