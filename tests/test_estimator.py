"""The learned estimator's arithmetic and its refusals, with hand-made weights; the real ones are in test_accuracy."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from test_features import axis, seen

from posturewatch.kinematics.estimator import Estimator, RefusalRules
from posturewatch.kinematics.features import FEATURE_COUNT
from posturewatch.kinematics.network import Ensemble
from posturewatch.kinematics.temporal_estimator import TemporalEstimator, TimeRules
from posturewatch.model.estimator_outputs import OUTPUTS
from posturewatch.model.measurement import FrameMeasurement, Refusal
from posturewatch.model.observation import Observation
from posturewatch.model.quantities import QUANTITIES, quantity

MEMBERS = 3


def weights(
    *, sd: float = 5.0, hand_presence: float = 0.95, ood_distance: float = 1e6
) -> dict[str, NDArray[Any]]:
    """An ensemble that says 10 degrees for everything, with the given standard deviation and hand_presence."""
    n = len(OUTPUTS)
    bias = np.zeros((MEMBERS, 2 * n + 1), np.float32)
    bias[:, :n] = 1.0
    bias[:, n : 2 * n] = np.log(sd / 10.0)
    bias[:, 2 * n] = np.log(hand_presence / (1 - hand_presence))
    return {
        "x_mean": np.zeros(FEATURE_COUNT), "x_scale": np.ones(FEATURE_COUNT),
        "y_mean": np.zeros(n), "y_scale": np.full(n, 10.0),
        "w0": np.zeros((MEMBERS, FEATURE_COUNT, 4)), "b0": np.zeros((MEMBERS, 4)),
        "w1": np.zeros((MEMBERS, 4, 4)), "b1": np.zeros((MEMBERS, 4)),
        "w2": np.zeros((MEMBERS, 4, 2 * n + 1)), "b2": bias,
        "basis": np.eye(FEATURE_COUNT)[:, :2], "basis_scale": np.ones(2), "rest_scale": np.ones(1),
        "ood_distance": np.array([ood_distance]), "factor": np.full(n, 1.0),
    }  # fmt: skip


#: The spread is that of the single frame.
PLAIN = TimeRules(factor=1.0, lift_factor=1.0)


def measured(observation: Observation, estimator: Estimator | None = None, **made: float) -> FrameMeasurement:
    """Of a first frame; made: of the weights."""
    own = Estimator(Ensemble(weights(**made))) if estimator is None else estimator
    return TemporalEstimator(own, rules=PLAIN).measure(observation)


def refusal(observation: Observation, **made: float) -> Refusal | None:
    return measured(observation, None, **made).left.values["wrist_flexion"].refusal


def test_what_is_learned_is_added_to_the_first_guess() -> None:
    base = np.zeros((FEATURE_COUNT, len(OUTPUTS)))
    base[3, 0] = 2.0
    vector = np.zeros((1, FEATURE_COUNT), np.float32)
    vector[0, 3] = 7.0
    means, sds, *_ = Ensemble(weights() | {"base": base}).estimate(vector)
    assert means[0, :2] == pytest.approx([10.0 + 14.0, 10.0])
    assert sds[0, 0] == pytest.approx(5.0)
    with pytest.raises(ValueError, match="base needs shape"):
        Ensemble(weights() | {"base": base[1:]})


def test_the_spread_grows_with_the_distance_from_the_training_data() -> None:
    rows = np.zeros((3, FEATURE_COUNT), np.float32)
    rows[:, 0] = [0.0, 1.0, 4.0]  # along the first axis of the basis, in units in which 5 is the edge
    made = weights(ood_distance=5.0) | {"widening": np.array([0.5, 0.25])}
    *_, ood_score = Ensemble(made).estimate(rows)
    assert ood_score == pytest.approx([0.0, 0.2, 0.8])
    sds = Ensemble(made).estimate(rows)[1][:, 0]
    assert sds == pytest.approx([5 * 0.8**0.5, 5 * 0.8**0.5, 5 * 3.2**0.5])
    assert Ensemble(weights(ood_distance=5.0)).estimate(rows)[1][:, 0] == pytest.approx([5.0] * 3)
    with pytest.raises(ValueError, match="widening needs shape"):
        Ensemble(made | {"widening": np.ones(3)})


def test_a_clear_hand_is_measured() -> None:
    both = measured(seen(forearm=axis()))
    one = both.left.values["wrist_flexion"]
    assert (one.value, one.sd) == pytest.approx((10.0, 5.0))
    assert both.right.values["wrist_flexion"].refusal is Refusal.HAND_NOT_SEEN


@pytest.mark.parametrize(
    ("made", "reason"),
    [
        ({"sd": 40.0}, Refusal.TOO_UNCERTAIN),
        ({"hand_presence": 0.2}, Refusal.HAND_NOT_SEEN),
        ({"ood_distance": 0.1}, Refusal.UNUSUAL_VIEW),
    ],
)
def test_what_cannot_be_trusted_is_refused_with_its_reason(made: dict[str, float], reason: Refusal) -> None:
    assert refusal(seen(forearm=axis()), **made) is reason


def test_fingers_have_bounds_of_their_own_and_what_is_not_learned_is_said_to_be_that() -> None:
    # 19 degrees is too much for a wrist (18) and not for a joint or a lift (20); 19 mm is for the thumb's place (15).
    left = measured(seen(forearm=axis()), sd=19.0).left
    assert left.values["wrist_flexion"].refusal is Refusal.TOO_UNCERTAIN
    assert left.values["index_pip"].value == pytest.approx(10.0)
    assert left.values["index_lift"].value == pytest.approx(10.0)
    assert left.values["thumb_place"].refusal is Refusal.TOO_UNCERTAIN
    assert left.lift_plane == "picture"


def test_what_nothing_is_known_of_is_not_reported() -> None:
    skill = np.full((2, len(OUTPUTS)), 0.9)
    skill[1, OUTPUTS.index("index_lift")] = np.nan  # of hands that stop no strings
    for fretting, given in ((frozenset({"left"}), True), (frozenset({"right"}), False), (None, False)):
        estimator = Estimator(Ensemble(weights() | {"skill": skill}), fretting=fretting)  # type: ignore[arg-type]
        left = measured(seen(forearm=axis()), estimator).left
        assert left.values["index_lift"].measured is given
        assert left.values["wrist_flexion"].measured


def test_a_lift_from_resting_fingertips_has_the_tighter_bound() -> None:
    estimator = Estimator(Ensemble(weights(sd=9.0)))
    observation = seen(forearm=axis())
    hand = observation.hands[0]
    estimate = estimator.estimate(observation, hand)
    assert estimator.measured(estimate, hand).values["index_lift"].sd == pytest.approx(9.0)
    resting = replace(estimate, lift_plane="resting fingertips")
    assert estimator.measured(resting, hand).values["index_lift"].refusal is Refusal.TOO_UNCERTAIN
    assert estimator.measured(resting, hand).values["index_pip"].measured


@pytest.mark.parametrize("name", [entry.name for entry in QUANTITIES])
def test_an_output_that_the_weights_lack_is_not_measurable(
    name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    output = quantity(name).output
    without = tuple(one for one in OUTPUTS if one != output)
    monkeypatch.setattr(f"{__name__}.OUTPUTS", without)
    monkeypatch.setattr("posturewatch.kinematics.estimator.OUTPUTS", without)
    both = measured(seen(forearm=axis()))
    assert both.left.values[name].refusal is Refusal.NOT_REPORTED
    assert both.right.values[name].refusal is Refusal.NOT_REPORTED
    others = {quantity(other).output: one for other, one in both.left.values.items() if other != name}
    assert all(one.measured == (output in without) for output, one in others.items())


def test_without_a_forearm_the_reason_is_the_forearm() -> None:
    # However sure the learned part is of itself: it was never taught hands whose forearm nobody looked at.
    for sd in (3.0, 40.0):
        assert refusal(seen(forearm=None), sd=sd) is Refusal.FOREARM_NOT_SEEN


def test_a_hand_that_the_finger_network_has_not_seen_is_refused() -> None:
    left = measured(seen(forearm=axis(), fingers=False)).left
    assert {one.refusal for one in left.values.values()} == {Refusal.TOO_UNCERTAIN}


def test_a_tiny_hand_and_one_at_the_edge_are_refused() -> None:
    base = seen(forearm=axis())
    hand = base.hands[0]
    tiny = replace(base, hands=(replace(hand, landmarks_px=hand.landmarks_px * 0.02),))
    assert refusal(tiny) is Refusal.HAND_TOO_SMALL
    gone = replace(base, hands=(replace(hand, landmarks_px=hand.landmarks_px - [620.0, 0.0, 0.0]),))
    assert refusal(gone) is Refusal.HAND_CUT_OFF


def test_members_that_disagree_are_less_certain() -> None:
    made = weights(sd=1.0)
    made["b2"][:, 0] = [-1.0, 0.0, 1.0]
    mean, sd, _, _ = Ensemble(made).estimate(np.zeros((1, FEATURE_COUNT), np.float32))
    assert mean[0, 0] == pytest.approx(0.0, abs=1e-6)
    # The spread of a mixture: the mean of the variances plus the variance of the means (law of total variance).
    assert sd[0, 0] == pytest.approx(np.sqrt(1.0 + np.var([-10.0, 0.0, 10.0])), rel=1e-5)


def test_beyond_the_known_views_the_interval_grows() -> None:
    at_edge = Ensemble(weights(ood_distance=0.5))
    x = np.zeros((1, FEATURE_COUNT), np.float32)
    x[0, 0] = 1.0  # at distance 1, twice the edge
    assert at_edge.estimate(x)[1][0, 0] == pytest.approx(5.0 * 4.0)


def test_wrong_shapes_raise() -> None:
    with pytest.raises(ValueError, match="features"):
        Ensemble(weights()).estimate(np.zeros((1, 3), np.float32))
    broken = weights()
    broken["b2"], broken["w2"] = broken["b2"][:, :-1], broken["w2"][:, :, :-1]
    with pytest.raises(ValueError, match="last layer"):
        Ensemble(broken)


def test_rules_are_reachable() -> None:
    strict = Estimator(Ensemble(weights(sd=5.0)), rules=RefusalRules(max_sd_deg=4.0))
    left = measured(seen(forearm=axis()), strict).left
    assert left.values["wrist_flexion"].refusal is Refusal.TOO_UNCERTAIN


def test_a_lift_is_never_below_the_strings() -> None:
    made = weights()
    made["b2"][:, : len(OUTPUTS)] = -1.0  # 10 degrees or millimetres below nothing
    left = measured(seen(forearm=axis()), Estimator(Ensemble(made))).left
    assert left.values["index_lift"].value == 0.0
    assert left.values["wrist_flexion"].value == pytest.approx(-10.0)
    assert left.values["thumb_place"].value == pytest.approx(-10.0)


def test_the_next_frame_after_a_reset_is_a_first_one() -> None:
    def estimator(flexion: float) -> Estimator:
        made = weights()
        made["b2"][:, 0] = flexion / 10.0
        return Estimator(Ensemble(made))

    observation = seen(forearm=axis())
    measurer = TemporalEstimator(estimator(40.0))
    for index in range(5):
        measurer.measure(replace(observation, time_s=index / 30))
    measurer.estimator = estimator(0.0)
    later = replace(observation, time_s=5 / 30)
    fresh = TemporalEstimator(estimator(0.0)).measure(later)
    assert measurer.measure(later).left != fresh.left
    measurer.reset()
    assert measurer.measure(later) == fresh
