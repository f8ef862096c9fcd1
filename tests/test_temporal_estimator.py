"""Estimates joined over time, against the textbook's filter and against plain averages."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from posturewatch.kinematics.temporal_estimator import KalmanBank, TimeRules


class Filter:
    """A bank of one filter, in plain numbers."""

    def __init__(self, rules: TimeRules) -> None:
        self.rules = rules
        self._bank = KalmanBank(rules, ["wrist_flexion"])

    def update(self, value: float, sd: float, time_s: float) -> tuple[float, float]:
        joined, joined_sd = self._bank.update(np.array([value]), np.array([sd]), time_s)
        return float(joined[0]), float(joined_sd[0])


def test_settles_at_the_steady_state_of_the_local_level_model() -> None:
    # Harvey 1989, Forecasting, structural time series models and the Kalman filter, ch. 3 (from memory): for level
    # variance q a step and observation variance r, the filtered variance settles at p r / (p + r) with
    # p = q/2 + sqrt(q^2/4 + q r).
    rules = TimeRules(jitter_share=1.0, speed=10.0, surprise=1e9)
    one = Filter(rules)
    step_s, sd = 0.04, 5.0
    for k in range(400):
        _, joined_sd = one.update(3.0, sd, k * step_s)
    q, r = rules.speed**2 * step_s, sd**2
    p = q / 2 + math.sqrt(q * q / 4 + q * r)
    assert joined_sd == pytest.approx(rules.factor * math.sqrt(p * r / (p + r)), rel=1e-6)


def test_jitter_averages_out_and_a_shared_bias_does_not() -> None:
    rng = np.random.default_rng(2)
    one = Filter(TimeRules(jitter_share=0.5, speed=5.0))
    sd = 8.0
    bias = 5.0
    values = []
    for k in range(300):
        value, joined_sd = one.update(20.0 + bias + rng.normal(0, sd * math.sqrt(0.5)), sd, k / 30)
        values.append(value)
    assert np.std(values[100:]) < 0.5 * sd * math.sqrt(0.5)
    assert np.mean(values[100:]) == pytest.approx(25.0, abs=1.0)
    # However long one looks, the bias's share stays in what is stated.
    assert joined_sd >= one.rules.factor * sd * math.sqrt(0.5)


def test_follows_a_quick_move_within_a_third_of_a_second() -> None:
    one = Filter(TimeRules())
    for k in range(30):
        one.update(0.0, 8.0, k / 30)
    for k in range(30, 41):
        value, _ = one.update(60.0, 8.0, k / 30)
    assert value > 50.0


def test_one_wild_estimate_moves_little() -> None:
    one = Filter(TimeRules(speed=20.0))
    for k in range(60):
        one.update(10.0, 6.0, k / 30)
    value, _ = one.update(-120.0, 6.0, 2.0)
    plain = Filter(TimeRules(speed=20.0, surprise=1e9))
    for k in range(60):
        plain.update(10.0, 6.0, k / 30)
    wild, _ = plain.update(-120.0, 6.0, 2.0)
    assert abs(value - 10.0) < 0.5 * abs(wild - 10.0)


@pytest.mark.parametrize("gap_s", [0.51, 3.0])
def test_forgets_what_was_long_ago(gap_s: float) -> None:
    one = Filter(TimeRules())
    for k in range(10):
        one.update(50.0, 4.0, k / 30)
    value, sd = one.update(-20.0, 6.0, 9 / 30 + gap_s)
    assert value == -20.0
    assert sd == pytest.approx(one.rules.factor * 6.0)


def test_time_zero_is_a_time() -> None:
    one = Filter(TimeRules())
    one.update(10.0, 4.0, 0.0)
    value, _ = one.update(20.0, 4.0, 1 / 30)
    assert 10.0 < value < 20.0


def test_many_filters_at_once_do_what_each_alone_does() -> None:
    rng = np.random.default_rng(7)
    outputs = ("wrist_flexion", "index_pip", "index_lift", "wrist_ulnar_deviation", "little_lift", "thumb_ip")
    count, rules = len(outputs), TimeRules(jitter_share=0.4, speed=30.0, factor=1.2, lift_factor=1.5)
    alone = [Filter(replace(rules, factor=1.5 if name.endswith("lift") else 1.2)) for name in outputs]
    together = KalmanBank(rules, outputs)
    time_s = 0.0
    for _ in range(200):
        time_s += float(rng.choice([0.03, 0.04, 0.6]))  # 0.6 s is longer than anything is remembered
        value, sd = rng.normal(0, 30, count), rng.uniform(1, 9, count)
        missing = rng.random(count) < 0.2
        value[missing] = sd[missing] = np.nan
        joined, spread = together.update(value, sd, time_s)
        assert np.array_equal(np.isnan(joined), missing)
        for place in np.flatnonzero(~missing):
            expected = alone[place].update(float(value[place]), float(sd[place]), time_s)
            assert (joined[place], spread[place]) == pytest.approx(expected, rel=1e-12)
