"""Wrist angles as a mean: against the mean of the parts, worked out by hand from the same features."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from calibration.evaluate.weights import read_weights
from calibration.train.averaging import HEADS, alone, averaged
from posturewatch.kinematics.features import FEATURE_COUNT, FEATURES
from posturewatch.kinematics.network import Ensemble


@pytest.fixture(scope="module")
def seen() -> NDArray[np.float32]:
    weights = read_weights(None)
    rng = np.random.default_rng(5)
    x = weights["x_mean"] + weights["x_scale"] * rng.normal(size=(40, FEATURE_COUNT))
    return np.asarray(x, np.float32)


def test_wrist_angles_are_the_mean_and_fingers_are_left_alone(seen: NDArray[np.float32]) -> None:
    own = alone(read_weights(None))
    before, after = (Ensemble(weights).predict_many(seen)[0] for weights in (own, averaged(own)))
    # The networks say degrees in units of 30 (`posturewatch.model.network_outputs`).
    forearm = 30 * seen[:, FEATURES["forearm.wrist_guess"]]
    fingers = 30 * seen[:, FEATURES["fingers.guess"]][:, :2]
    assert HEADS == {"forearm.wrist_guess": 0.3, "fingers.guess": 0.3}
    mean = 0.4 * before[:, :2] + 0.3 * forearm + 0.3 * fingers
    assert after[:, :2] == pytest.approx(mean, abs=0.01)
    assert np.abs(after[:, :2] - before[:, :2]).max() > 5, "the parts are not all alike"
    assert after[:, 2:] == pytest.approx(before[:, 2:], abs=1e-4)


def test_training_may_go_on_from_what_was_averaged(seen: NDArray[np.float32]) -> None:
    own = alone(read_weights(None))
    again = alone(averaged(own))
    assert Ensemble(again).predict_many(seen)[0] == pytest.approx(
        Ensemble(own).predict_many(seen)[0], abs=0.01
    )
    assert alone(own).keys() == own.keys()


def test_the_weights_in_use_are_averaged(seen: NDArray[np.float32]) -> None:
    in_use = read_weights(None)
    again = averaged(alone(in_use))
    assert Ensemble(again).predict_many(seen)[0] == pytest.approx(
        Ensemble(in_use).predict_many(seen)[0], abs=0.05
    )
    assert not np.allclose(alone(in_use)["base"], in_use["base"])
