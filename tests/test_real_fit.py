"""What is fitted on real and rendered hands together, on made-up rows of which it is known what should come out."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from calibration.train.real import REAL_SPREAD_WEIGHT, Outcome, fit_presence, fit_shift, fit_spread
from posturewatch.kinematics.estimator import RefusalRules
from posturewatch.kinematics.network import COVERAGE_Z
from posturewatch.kinematics.witnesses import WITNESSES, chance_of_hand

COUNT = 600
LEAST = RefusalRules().min_hand_presence


def rows(rng: np.random.Generator, *, real: bool, doubts: float) -> Outcome:
    """Hands and others that the tracker's score tells apart; doubts: how far the estimator's own log odds lie lower.

    Rendered hands are off by as much as is stated; real ones by 8 degrees whatever is stated."""
    hand = rng.random(COUNT) < 0.9
    said = rng.normal(size=(COUNT, len(WITNESSES)))
    said[:, WITNESSES.index("score")] = np.where(hand, 3.0, -3.0) + rng.normal(size=COUNT)
    said[:, WITNESSES.index("ood_score")] = (0.8 if real else 0.5) + 0.05 * rng.normal(size=COUNT)
    odds = np.where(hand, 3.0, -2.0) + rng.normal(size=COUNT) - doubts
    said[:, WITNESSES.index("estimator")] = odds
    sd = np.exp(rng.uniform(np.log(4), np.log(16), (COUNT, 2))) * (2.0 if real else 1.0)
    off = 8.0 if real else sd
    error = np.where(hand[:, None], off * rng.normal(size=(COUNT, 2)), np.nan)
    chance = 1 / (1 + np.exp(-odds))
    return Outcome(said, chance, hand, ~hand, np.arange(COUNT) % 2, error, sd, np.zeros((COUNT, 2)))


@pytest.fixture(scope="module")
def both() -> tuple[Outcome, Outcome, NDArray[np.float64], NDArray[np.float64]]:
    rng = np.random.default_rng(11)
    real, rendered = rows(rng, real=True, doubts=4.0), rows(rng, real=False, doubts=0.0)
    everything = np.ones(COUNT, bool)
    spread = fit_spread(real, rendered, everything, everything)
    return real, rendered, spread, fit_presence(real, rendered, spread, everything, everything)


Fitted = tuple[Outcome, Outcome, NDArray[np.float64], NDArray[np.float64]]


def test_real_hands_that_the_estimator_doubts_pass(both: Fitted) -> None:
    real, _, _, presence = both
    assert (real.chance[real.hand] >= LEAST).mean() < 0.3
    assert (chance_of_hand(real.said[real.hand], presence) >= LEAST).mean() > 0.95


def test_hardly_anything_that_is_no_hand_is_given_numbers(both: Fitted) -> None:
    """None of the real ones, one in eight of the rendered ones at most."""
    for some, share in zip(both[:2], (0.0, 1 / 8), strict=True):
        chance = chance_of_hand(some.said, both[3])
        told = some.nothing & some.certain(some.stretched(both[2])) & (chance >= LEAST)
        assert told.sum() <= share * some.nothing.sum()


def test_intervals_hold_nine_in_ten_of_real_and_rendered_errors_together(both: Fitted) -> None:
    spread = both[2]
    inside = [
        (np.abs(some.error) <= COVERAGE_Z * some.stretched(spread))[some.hand].mean(axis=0)
        for some in both[:2]
    ]
    together = np.average(inside, axis=0, weights=[REAL_SPREAD_WEIGHT, 1.0])
    assert together == pytest.approx([0.9, 0.9], abs=0.02)
    assert np.min(inside) > 0.8


def test_angles_that_real_hands_are_said_too_high_are_moved_a_part_of_the_way(both: Fitted) -> None:
    """To where half of the weight of all errors lies on either side."""
    real, rendered = both[0].shifted(np.array([-6.0, 0.0])), both[1]
    everything = np.ones(COUNT, bool)
    shift = fit_shift(real, rendered, everything, everything)
    assert 1.0 < shift[0] < 5.0
    assert shift[1] == pytest.approx(0.0, abs=0.6)
    moved = [some.shifted(shift) for some in (real, rendered)]
    weights = np.array([REAL_SPREAD_WEIGHT, 1.0])
    above = np.average([(some.error[some.hand] > 0).mean(axis=0) for some in moved], axis=0, weights=weights)
    assert above == pytest.approx([0.5, 0.5], abs=0.03)


def test_spreads_of_real_hands_come_near_to_what_they_are_off_by(both: Fitted) -> None:
    real, _, spread, _ = both
    now = real.stretched(spread)[real.hand]
    # Stated were 8 to 32 degrees, the middle one 16; they are off by 8 throughout.
    assert np.median(now) < 12
    assert np.log(now).std() < 0.75 * np.log(real.sd[real.hand]).std()
