"""What the witnesses say of a hand, and how it is weighed; the weights here are made by hand."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from test_estimator import weights

from posturewatch.kinematics.features import FEATURE_COUNT, FEATURES
from posturewatch.kinematics.network import Ensemble
from posturewatch.kinematics.witnesses import (
    SPREAD_TERMS,
    WITNESSES,
    bias_of,
    chance_of_hand,
    spread_terms,
    stretched,
    witnesses,
)

AS_STATED = np.zeros((2, SPREAD_TERMS))
AS_STATED[:, :2] = 2.0, 1.0


def rows(count: int = 1) -> NDArray[np.float32]:
    """Features of hands whose joints the finger network sees exactly where they were tracked, in half their size."""
    x = np.zeros((count, FEATURE_COUNT), np.float32)
    points = np.random.default_rng(3).normal(size=(20, 3))
    x[:, FEATURES["hand.landmarks_px"]] = points.ravel()
    x[:, FEATURES["fingers.joints"]] = 0.5 * points.ravel()
    x[:, FEATURES["view.score"]] = 0.9
    x[:, FEATURES["view.side_confidence"]] = 0.8
    return x


def said(x: NDArray[Any], name: str) -> float:
    return float(witnesses(x, np.full(len(x), 0.5), np.full(len(x), 0.6))[0, WITNESSES.index(name)])


def test_log_odds_are_those_of_the_chances() -> None:
    # The logit of 0.9 is log 9, that of 0.8 log 4.
    assert said(rows(), "score") == pytest.approx(np.log(9.0), rel=1e-5)
    assert said(rows(), "side_confidence") == pytest.approx(np.log(4.0), rel=1e-5)
    assert said(rows(), "estimator") == pytest.approx(0.0)


def test_joints_seen_where_they_were_tracked_are_no_error_whatever_their_size() -> None:
    exact, moved = rows(), rows()
    moved[:, FEATURES["fingers.joints"]] = np.random.default_rng(4).normal(size=60)
    assert np.exp(said(exact, "landmark_error")) == pytest.approx(0.05)
    assert np.exp(said(moved, "landmark_error")) > 0.5


def test_a_witness_that_is_given_no_weight_changes_nothing() -> None:
    some = np.random.default_rng(5).normal(size=(40, len(WITNESSES)))
    only = np.zeros(len(WITNESSES) + 1)
    only[0], only[-1] = 2.0, -1.0
    assert chance_of_hand(some, only) == pytest.approx(1 / (1 + np.exp(1 - 2 * some[:, 0])))


def test_spreads_stay_as_stated_where_the_weights_say_so_and_within_bounds() -> None:
    some = np.random.default_rng(6).normal(size=(3, len(WITNESSES)))
    assert stretched(np.array([4.0, 10.0, 30.0]), some, AS_STATED[0]) == pytest.approx([4.0, 10.0, 30.0])
    assert stretched(np.array([0.01, 1.0, 1e6]), some, AS_STATED[0]) == pytest.approx([2.0, 2.0, 90.0])


def moved_by_doubt(score: float, side: float) -> NDArray[Any]:
    """(SPREAD_TERMS,) how far the terms move from a sure side to one of these log odds, where the tracker's score is
    of those."""
    said = np.full((2, len(WITNESSES)), 3.0)
    said[:, WITNESSES.index("score")] = score
    said[:, WITNESSES.index("side")] = 5.0, side
    terms = spread_terms(np.array([12.0, 12.0]), said)
    assert terms.shape == (2, SPREAD_TERMS)
    return np.asarray(terms[1] - terms[0])


@pytest.mark.parametrize("score", [0.0, -3.0])
@pytest.mark.parametrize("side", [3.0, 1.0, -4.0])
def test_doubt_of_the_side_moves_no_spread_where_the_tracker_is_not_sure_of_a_hand(
    score: float, side: float
) -> None:
    assert not moved_by_doubt(score, side).any()


def test_doubt_of_the_side_counts_by_how_sure_the_tracker_is_of_the_hand() -> None:
    whole, half = moved_by_doubt(5.0, 3.0), moved_by_doubt(2.5, 3.0)
    assert np.count_nonzero(whole) == 1
    # Log odds of 3 instead of 5, of a scale of 5.
    assert whole.min() == pytest.approx(-0.4)
    assert half == pytest.approx(whole / 2)


def test_the_other_side_moves_spreads_no_further_than_an_unsure_one() -> None:
    assert moved_by_doubt(5.0, -5.0) == pytest.approx(moved_by_doubt(5.0, 1.0))


def test_a_bias_is_the_weighed_sum_of_what_the_witnesses_say_and_within_eight_degrees() -> None:
    some = np.zeros((3, len(WITNESSES)))
    some[:, WITNESSES.index("side")] = 1.0, -1.0, -5.0
    weights = np.zeros(len(WITNESSES) + 1)
    weights[WITNESSES.index("side")], weights[-1] = -2.0, 3.0
    assert bias_of(some, weights) == pytest.approx([1.0, 5.0, 8.0])


def test_the_ensemble_takes_the_bias_from_the_wrist_angles_alone() -> None:
    bias = np.zeros((2, len(WITNESSES) + 1))
    bias[:, -1] = 3.0, -1.0
    plain = Ensemble(weights(sd=5.0)).estimate(rows())
    moved = Ensemble({**weights(sd=5.0), "bias": bias}).estimate(rows())
    assert plain[0][0, :2] - moved[0][0, :2] == pytest.approx([3.0, -1.0], abs=1e-5)
    assert moved[0][0, 2:] == pytest.approx(plain[0][0, 2:])
    assert moved[1] == pytest.approx(plain[1])


def test_the_ensemble_weighs_the_witnesses_where_its_weights_say_how() -> None:
    x, presence = rows(), np.zeros(len(WITNESSES) + 1)
    presence[WITNESSES.index("score")] = 1.0
    wider = AS_STATED.copy()
    wider[:, 0] += np.log(2.0)
    plain = Ensemble(weights(sd=5.0, hand_presence=0.95)).estimate(x)
    weighed = Ensemble(
        {**weights(sd=5.0, hand_presence=0.95), "presence": presence, "spread": wider}
    ).estimate(x)
    assert weighed[2] == pytest.approx([0.9], rel=1e-5)
    assert plain[2] == pytest.approx([0.95], rel=1e-4)
    assert weighed[1][0, :2] == pytest.approx(2 * plain[1][0, :2], rel=1e-5)
    assert weighed[1][0, 2:] == pytest.approx(plain[1][0, 2:])
    assert weighed[0] == pytest.approx(plain[0])


@pytest.mark.parametrize("name", ["presence", "bias", "spread"])
def test_weights_of_a_wrong_shape_are_refused(name: str) -> None:
    with pytest.raises(ValueError, match=name):
        Ensemble({**weights(), name: np.zeros((2, 3))})
