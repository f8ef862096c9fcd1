"""The constant error of a view: by hand-worked numbers, and on rendered players."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from calibration.dataset.rows import FRAMES_A_VIDEO
from calibration.dataset.table import read
from calibration.evaluate.neutral import angles_of_runs, lines, removed_biases
from calibration.evaluate.shown import shown_runs
from calibration.evaluate.videos import EITHER
from calibration.evaluate.weights import read_weights
from posturewatch.kinematics.estimator import Estimator
from posturewatch.kinematics.network import Ensemble
from posturewatch.kinematics.view_bias import BiasRules, Reference, ViewBias, unbiased
from posturewatch.model.measurement import FrameMeasurement, HandMeasurement, Measurement, Refusal
from posturewatch.model.observation import Side
from posturewatch.model.quantities import QUANTITY_NAMES

EVALUATION = Path(__file__).resolve().parents[1] / "calibration" / "evaluate" / "data"


#: How the camera sees the hand: any frame will do.
SEEN = Rotation.from_euler("xyz", [20.0, -35.0, 5.0], degrees=True).as_matrix()


def test_at_the_reference_it_is_the_product_of_two_normal_distributions() -> None:
    """A bias of prior variance 0.5 * 64 = 32, seen once with variance 25: mean 10 * 32 / 57, variance 32 * 25 / 57."""
    bias = ViewBias([Reference(0.0, 5.0, 10.0, 8.0, SEEN)], BiasRules(share=0.5, reach_deg=25.0))
    value, sd = bias.at(10.0, 8.0, SEEN)
    assert value == pytest.approx(10 * 32 / 57)
    assert sd == pytest.approx(math.sqrt(32 * 25 / 57))
    removed = bias.removed(Measurement.of(10.0, 8.0), SEEN)
    assert removed.value == pytest.approx(10 - 10 * 32 / 57)
    assert removed.sd == pytest.approx(math.sqrt(32 + 32 * 25 / 57))


def test_far_from_every_reference_nothing_is_known() -> None:
    bias = ViewBias([Reference(0.0, 5.0, 12.0, 8.0, SEEN)])
    value, sd = bias.at(140.0, 8.0, SEEN)
    assert value == pytest.approx(0.0, abs=1e-4)
    assert sd == pytest.approx(math.sqrt(32))
    same = bias.removed(Measurement.of(140.0, 8.0), SEEN)
    assert same.value == pytest.approx(140.0, abs=1e-4)
    assert same.sd == pytest.approx(8.0)


def test_a_hand_seen_from_elsewhere_shares_no_more_of_the_bias_than_the_turn_leaves() -> None:
    """The angle of the turn by scipy's Rotation; the share by the Gaussian of the rules."""
    rules = BiasRules(share=0.5, reach_deg=25.0, turn_reach_deg=20.0)
    bias = ViewBias([Reference(0.0, 5.0, 10.0, 8.0, SEEN)], rules)
    turn = Rotation.from_euler("xyz", [14.0, -9.0, 21.0], degrees=True)
    turned_deg = math.degrees(turn.magnitude())
    value, sd = bias.at(10.0, 8.0, turn.as_matrix() @ SEEN)
    shared = math.exp(-0.5 * (turned_deg / 20.0) ** 2)
    assert value == pytest.approx(shared * 10 * 32 / 57)
    assert sd == pytest.approx(math.sqrt(32 - shared**2 * 32 * 32 / 57))
    opposite = Rotation.from_euler("y", 150.0, degrees=True).as_matrix() @ SEEN
    assert bias.at(10.0, 8.0, opposite) == pytest.approx((0.0, math.sqrt(32)), abs=1e-6)


def test_of_a_view_that_is_not_known_nothing_follows() -> None:
    prior = pytest.approx((0.0, math.sqrt(32)))
    assert ViewBias([Reference(0.0, 5.0, 10.0, 8.0, SEEN)]).at(10.0, 8.0, None) == prior
    assert ViewBias([Reference(0.0, 5.0, 10.0, 8.0)]).at(10.0, 8.0, SEEN) == prior


def test_more_references_leave_less_uncertainty_and_none_is_refused() -> None:
    one = Reference(0.0, 5.0, 8.0, 8.0, SEEN)
    twice = ViewBias([one, one]).at(8.0, 8.0, SEEN)[1]
    assert twice < ViewBias([one]).at(8.0, 8.0, SEEN)[1] < math.sqrt(32)
    with pytest.raises(ValueError, match="needs a reference"):
        ViewBias([])


def test_only_the_hand_that_was_held_is_changed_and_refusals_stay() -> None:
    values = {name: Measurement.of(10.0, 8.0) for name in QUANTITY_NAMES}
    values["wrist_ulnar_deviation"] = Measurement.refused(Refusal.TOO_UNCERTAIN)
    before = FrameMeasurement(0, 0.0, HandMeasurement("left", values), HandMeasurement("right", values))
    bias = ViewBias([Reference(0.0, 5.0, 10.0, 8.0, SEEN)])
    biases: dict[tuple[Side, str], ViewBias] = {
        ("left", "wrist_flexion"): bias,
        ("left", "wrist_ulnar_deviation"): bias,
    }
    after = unbiased(before, biases, {"left": SEEN, "right": SEEN})
    assert after.right == before.right
    assert after.left.values["wrist_flexion"] == bias.removed(values["wrist_flexion"], SEEN)
    assert after.left.values["wrist_ulnar_deviation"] == values["wrist_ulnar_deviation"]
    assert after.left.values["index_lift"] == values["index_lift"]
    assert unbiased(before, {}, {}) is before
    assert unbiased(before, biases, {}).left.values["wrist_flexion"].value == pytest.approx(10.0)


def test_a_held_neutral_takes_error_off_rendered_players() -> None:
    """A guard on videos that the rules were not chosen on; `python -m calibration.evaluate.neutral` tells of all."""
    columns = read(EVALUATION, "testvideo")
    videos = np.unique(columns["t_frame"] // FRAMES_A_VIDEO)[1::8]
    keep = {
        name: values[
            np.isin(columns["t_frame" if name.startswith("t_") else "frame"] // FRAMES_A_VIDEO, videos)
        ]
        for name, values in columns.items()
    }
    runs = list(shown_runs(keep, Estimator(Ensemble(read_weights(None)), fretting=EITHER)))
    found = list(removed_biases(list(angles_of_runs(runs))))
    error, inside = (np.mean([getattr(one, what) for one in found], axis=0) for what in ("error", "inside"))
    assert error[1] < 0.95 * error[0]
    assert error[2] < 0.9 * error[0]
    assert inside.min() > 0.87
    assert "mean error" in lines(found)[1]
