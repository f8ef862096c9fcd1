"""How much hands count in learning, and the network between two others, which is tested where torch is installed."""

from __future__ import annotations

import importlib.util

import numpy as np
import pytest

from calibration.train.importance import wrist_importance

TRAINED = importlib.util.find_spec("torch") is not None


def test_deviation_counts_more_where_the_wrist_is_bent_far_and_flexion_as_before() -> None:
    wrist_deg = np.array([[0.0, 5.0], [29.0, 5.0], [45.0, 5.0], [60.0, 5.0], [-60.0, 5.0], [75.0, 5.0]])
    plucking = np.zeros(6, bool)
    counts = wrist_importance(wrist_deg, plucking)
    # By hand: nothing up to 30 degrees, 0.6 more from 60 on, half of that in between.
    np.testing.assert_allclose(counts[:, 1], [1.0, 1.0, 1.3, 1.6, 1.6, 1.6], rtol=1e-6)
    # The middle of the usual flexion is 10 degrees, and 35 to either side of it are common.
    np.testing.assert_allclose(counts[:, 0], [1, 1, 1, 1 + 0.7 * 15 / 35, 1.7, 1 + 0.7 * 30 / 35], rtol=1e-6)
    np.testing.assert_allclose(wrist_importance(wrist_deg, ~plucking)[:, 1], counts[:, 1] * 1.4, rtol=1e-6)


def test_what_is_unknown_counts_like_the_usual() -> None:
    unknown = wrist_importance(np.array([[np.nan, np.nan]]), np.array([False]))
    np.testing.assert_array_equal(unknown, [[1.0, 1.0]])


if TRAINED:

    @pytest.mark.parametrize("share", [0.0, 0.3, 1.0])
    def test_a_network_between_two_says_what_lies_between_for_what_is_linear(share: float) -> None:
        import torch

        from calibration.train.crop_model import CropModel
        from calibration.train.network import between

        torch.manual_seed(1)
        before = CropModel(64, (4, 4, 4, 4, 4), 3).eval()
        after = CropModel(64, (4, 4, 4, 4, 4), 3).eval()
        middle = between(before, after, share)
        for name, values in middle.state_dict().items():
            first, last = before.state_dict()[name], after.state_dict()[name]
            expected = last if not values.is_floating_point() else first * (1 - share) + last * share
            torch.testing.assert_close(values, expected)
        with pytest.raises(ValueError, match="share must be 0 to 1"):
            between(before, after, 1.2)
