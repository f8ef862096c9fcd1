"""What is fitted on real and rendered hands together, on made-up rows of which it is known what should come out."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from calibration.train.real import Outcome, fit_bias, fit_presence, fit_spread
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


def test_intervals_hold_nine_in_ten_of_real_and_of_rendered_errors(both: Fitted) -> None:
    """Of each, though real ones are off by 8 degrees whatever is stated: 0.03 is two standard errors of 540 rows and
    what the ridge keeps."""
    for some in both[:2]:
        inside = (np.abs(some.error) <= COVERAGE_Z * some.stretched(both[2]))[some.hand].mean(axis=0)
        assert inside == pytest.approx([0.9, 0.9], abs=0.03)


def test_angles_that_real_hands_are_said_too_high_are_moved_and_those_of_rendered_ones_are_not(
    both: Fitted,
) -> None:
    """The witnesses know one from the other, as they do of these rows by `ood_score`."""
    real, rendered = replace(both[0], error=both[0].error + np.array([6.0, 0.0])), both[1]
    everything = np.ones(COUNT, bool)
    bias = fit_bias(real, rendered, everything, everything)
    for some in (real, rendered):
        left = some.without(bias).error[some.hand]
        assert np.median(left, axis=0) == pytest.approx([0.0, 0.0], abs=1.5)


def test_what_the_witnesses_cannot_tell_apart_is_moved_half_the_way(both: Fitted) -> None:
    real, rendered = (replace(some, said=np.zeros_like(some.said)) for some in both[:2])
    real = replace(real, error=real.error + np.array([6.0, 0.0]))
    everything = np.ones(COUNT, bool)
    bias = fit_bias(real, rendered, everything, everything)
    moved = real.error - real.without(bias).error
    assert 1.0 < np.nanmedian(moved[:, 0]) < 5.0
    assert np.nanmedian(moved[:, 1]) == pytest.approx(0.0, abs=1.0)


def test_spreads_of_real_hands_come_near_to_what_they_are_off_by(both: Fitted) -> None:
    real, _, spread, _ = both
    now = real.stretched(spread)[real.hand]
    # Stated were 8 to 32 degrees, the middle one 16; they are off by 8 throughout.
    assert np.median(now) < 12
    assert np.log(now).std() < 0.75 * np.log(real.sd[real.hand]).std()
