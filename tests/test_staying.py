"""A number that is shown stays while the view stays, and no longer."""

from __future__ import annotations

from dataclasses import replace

import pytest
from test_estimator import weights
from test_features import axis, seen

from posturewatch.kinematics.estimator import Estimator
from posturewatch.kinematics.network import Ensemble
from posturewatch.kinematics.staying import StayRules
from posturewatch.kinematics.temporal_estimator import TemporalEstimator, TimeRules
from posturewatch.model.measurement import Measurement, Refusal
from posturewatch.model.observation import Observation

RATE_HZ = 10
RULES = StayRules(presence_s=0.4, settle_s=0.5, carry_s=0.75, drift=10.0)
PLAIN = TimeRules(factor=1.0, lift_factor=1.0)
HAND = seen(forearm=axis())


def of(**made: float) -> Estimator:
    return Estimator(Ensemble(weights(**made)))


class Watched:
    """One hand, frame after frame at `RATE_HZ`."""

    def __init__(self) -> None:
        self.measurer = TemporalEstimator(of(), rules=PLAIN, staying=RULES)
        self.frame = 0

    def next(self, hand: bool = True, **made: float) -> Measurement:
        self.measurer.estimator = of(**made)
        observation: Observation = HAND if hand else replace(HAND, hands=())
        self.frame += 1
        measured = self.measurer.measure(replace(observation, time_s=self.frame / RATE_HZ, body=None))
        return measured.left.values["wrist_flexion"]


def test_a_hand_lost_for_a_moment_keeps_its_number_with_a_growing_spread() -> None:
    watched = Watched()
    before = watched.next()
    after = [watched.next(hand=False) for _ in range(9)]
    assert before.sd is not None
    for k, one in enumerate(after[:7], 1):  # up to three quarters of a second
        assert one.value == before.value
        # Of a random walk the variance grows with time.
        assert one.sd == pytest.approx((before.sd**2 + RULES.drift**2 * k / RATE_HZ) ** 0.5)
    assert [one.refusal for one in after[7:]] == [Refusal.HAND_NOT_SEEN] * 2


def test_what_was_never_shown_is_not_carried() -> None:
    watched = Watched()
    watched.next(sd=30.0)
    assert watched.next(hand=False).refusal is Refusal.HAND_NOT_SEEN


def test_what_is_shown_is_kept_up_to_a_looser_bound() -> None:
    first, watched = Watched(), Watched()
    assert first.next(sd=20.0).refusal is Refusal.TOO_UNCERTAIN
    assert watched.next(sd=10.0).measured
    assert all(watched.next(sd=20.0).measured for _ in range(20))
    assert [watched.next(sd=30.0).measured for _ in range(20)][-1] is False


def test_what_went_comes_back_once_all_has_been_well_for_a_while() -> None:
    watched = Watched()
    watched.next()
    for _ in range(20):
        watched.next(hand=False)
    back = [watched.next().measured for _ in range(8)]
    assert back == [False] * 5 + [True] * 3  # half a second at 10 Hz


def test_a_doubt_of_one_frame_takes_no_number_away_and_lasting_doubt_does() -> None:
    watched = Watched()
    for _ in range(10):
        watched.next(hand_presence=0.99)
    assert watched.next(hand_presence=0.05).measured
    assert watched.next(hand_presence=0.99).measured
    doubted = [watched.next(hand_presence=0.05) for _ in range(20)]
    assert doubted[-1].refusal is Refusal.HAND_NOT_SEEN


def test_no_hand_is_shown_on_the_strength_of_one_frame() -> None:
    watched = Watched()
    for _ in range(10):
        assert not watched.next(hand_presence=0.1).measured
    assert not watched.next(hand_presence=0.9).measured


def test_a_hand_taken_up_again_after_long_is_judged_anew() -> None:
    watched = Watched()
    for _ in range(10):
        watched.next(hand_presence=0.02)
    watched.frame += 100
    assert watched.next(hand_presence=0.95).measured


def test_forgetting_takes_all_of_it() -> None:
    watched = Watched()
    watched.next()
    watched.measurer.reset()
    assert not watched.next(hand=False).measured
