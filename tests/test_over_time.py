"""Estimates joined over time, against the textbook's filter and against plain averages."""

from __future__ import annotations

import math

import numpy as np
import pytest

from posturewatch.kinematics.temporal_estimator import Follower, TimeRules


def test_settles_at_the_steady_state_of_the_local_level_model() -> None:
    # Harvey 1989, Forecasting, structural time series models and the Kalman filter, ch. 3 (from memory): for level
    # variance q a step and observation variance r, the filtered variance settles at p r / (p + r) with
    # p = q/2 + sqrt(q^2/4 + q r).
    rules = TimeRules(jitter_share=1.0, speed=10.0, surprise=1e9)
    follower = Follower(rules)
    step_s, sd = 0.04, 5.0
    for k in range(400):
        _, joined_sd = follower.update(3.0, sd, k * step_s)
    q, r = rules.speed**2 * step_s, sd**2
    p = q / 2 + math.sqrt(q * q / 4 + q * r)
    assert joined_sd == pytest.approx(rules.factor * math.sqrt(p * r / (p + r)), rel=1e-6)


def test_jitter_averages_out_and_a_shared_bias_does_not() -> None:
    rng = np.random.default_rng(2)
    follower = Follower(TimeRules(jitter_share=0.5, speed=5.0))
    sd = 8.0
    bias = 5.0
    values = []
    for k in range(300):
        value, joined_sd = follower.update(20.0 + bias + rng.normal(0, sd * math.sqrt(0.5)), sd, k / 30)
        values.append(value)
    assert np.std(values[100:]) < 0.5 * sd * math.sqrt(0.5)
    assert np.mean(values[100:]) == pytest.approx(25.0, abs=1.0)
    # However long one looks, the bias's share stays in what is stated.
    assert joined_sd >= follower.rules.factor * sd * math.sqrt(0.5)


def test_follows_a_quick_move_within_a_third_of_a_second() -> None:
    follower = Follower(TimeRules())
    for k in range(30):
        follower.update(0.0, 8.0, k / 30)
    for k in range(30, 41):
        value, _ = follower.update(60.0, 8.0, k / 30)
    assert value > 50.0


def test_one_wild_estimate_moves_little() -> None:
    follower = Follower(TimeRules(speed=20.0))
    for k in range(60):
        follower.update(10.0, 6.0, k / 30)
    value, _ = follower.update(-120.0, 6.0, 2.0)
    plain = Follower(TimeRules(speed=20.0, surprise=1e9))
    for k in range(60):
        plain.update(10.0, 6.0, k / 30)
    wild, _ = plain.update(-120.0, 6.0, 2.0)
    assert abs(value - 10.0) < 0.5 * abs(wild - 10.0)


@pytest.mark.parametrize("gap_s", [0.51, 3.0])
def test_forgets_what_was_long_ago(gap_s: float) -> None:
    follower = Follower(TimeRules())
    for k in range(10):
        follower.update(50.0, 4.0, k / 30)
    value, sd = follower.update(-20.0, 6.0, 9 / 30 + gap_s)
    assert value == -20.0
    assert sd == pytest.approx(follower.rules.factor * 6.0)


def test_time_zero_is_a_time() -> None:
    follower = Follower(TimeRules())
    follower.update(10.0, 4.0, 0.0)
    value, _ = follower.update(20.0, 4.0, 1 / 30)
    assert 10.0 < value < 20.0
