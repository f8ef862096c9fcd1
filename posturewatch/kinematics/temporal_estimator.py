"""A film is better than a frame: single-frame estimates joined over time, with an honest standard deviation.

Every quantity of every hand is followed by a local-level Kalman filter with irregular time steps. The error of a
single estimate is taken as two parts: jitter, which is new in every frame and averages out, and a bias of this
view of this hand, which does not. So the stated deviation never falls below the bias's share, however long one
looks. Most of the error of rendered films is bias; `calibration.evaluate.films` fits shares, speed and factors on them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from posturewatch.kinematics.estimator import Estimate, Estimator
from posturewatch.kinematics.lift import Lifts
from posturewatch.model.measurement import FrameMeasurement, HandMeasurement
from posturewatch.model.observation import Observation, Side
from posturewatch.model.quantities import QUANTITIES

__all__ = ["Follower", "KalmanBank", "TemporalEstimator", "TimeRules"]

Array = NDArray[np.float64]

#: The outputs that are followed, in the order of the table of quantities.
_OUTPUTS: tuple[str, ...] = tuple(entry.output for entry in QUANTITIES)

_MISSING = (math.nan, math.nan)


@dataclass(frozen=True)
class TimeRules:
    """jitter_share: the part (0..1) of a single estimate's variance that is new in every frame.
    speed: how fast the true value wanders, in its unit per square root of a second.
    forget_s: after this long unseen, nothing of the past is used.
    surprise: an estimate farther than this many deviations from what was expected counts less (Huber's weight).
    factor, lift_factor: stretch the stated deviation so that 90 % intervals hold 90 % of the errors on films; lifts
        have their own.
    """

    jitter_share: float = 0.2
    speed: float = 60.0
    forget_s: float = 0.5
    surprise: float = 2.5
    factor: float = 1.07
    lift_factor: float = 1.3

    def factor_of(self, output: str) -> float:
        """The factor of one of the estimator's outputs."""
        return self.lift_factor if output.endswith("_lift") else self.factor


@dataclass
class Follower:
    """The filter of one quantity: value, its jitter variance, the running bias variance, time of the last one."""

    rules: TimeRules
    _value: float = 0.0
    _variance: float = 0.0
    _bias_variance: float = 0.0
    _last_s: float | None = None

    def update(self, value: float, sd: float, time_s: float) -> tuple[float, float]:
        """One estimate (value with sd) at time_s; returns the joined value with its standard deviation."""
        rules = self.rules
        jitter = rules.jitter_share * sd * sd
        bias = (1 - rules.jitter_share) * sd * sd
        if self._last_s is None or not 0 <= time_s - self._last_s <= rules.forget_s:
            self._value, self._variance, self._bias_variance = value, jitter, bias
        else:
            self._variance += rules.speed**2 * (time_s - self._last_s)
            expected = math.sqrt(self._variance + jitter + bias)
            surprise = abs(value - self._value) / (rules.surprise * expected)
            jitter *= max(1.0, surprise)
            gain = self._variance / (self._variance + jitter)
            self._value += gain * (value - self._value)
            self._variance *= 1 - gain
            self._bias_variance += gain * (bias - self._bias_variance)
        self._last_s = time_s
        return self._value, rules.factor * math.sqrt(self._variance + self._bias_variance)


class KalmanBank:
    """The filters of many quantities of one hand at once: what a `Follower` of each would do."""

    def __init__(self, rules: TimeRules, outputs: Sequence[str]) -> None:
        """outputs: what is followed, by the estimator's names."""
        self.rules = rules
        count = len(outputs)
        self._factor = np.array([rules.factor_of(output) for output in outputs])
        self._value, self._variance, self._bias_variance = np.zeros((3, count))
        self._last_s = np.full(count, np.nan)

    def update(self, value: Array, sd: Array, time_s: float) -> tuple[Array, Array]:
        """Estimates (count,) with their deviations at time_s, NaN where there is none; the joined values with
        their standard deviations, NaN in the same places."""
        rules = self.rules
        age_s = time_s - self._last_s
        known = (age_s >= 0) & (age_s <= rules.forget_s)
        variance = self._variance + rules.speed**2 * np.where(known, age_s, 0.0)
        square = sd * sd
        jitter = rules.jitter_share * square
        bias = square - jitter
        step = value - self._value
        noise = jitter * np.maximum(1.0, np.abs(step) / (rules.surprise * np.sqrt(variance + square)))
        gain = np.where(known, variance / (variance + noise), 1.0)
        joined = np.where(known, self._value + gain * step, value)
        variance = np.where(known, variance * (1 - gain), jitter)
        bias_variance = self._bias_variance + gain * (bias - self._bias_variance)
        seen = np.isfinite(joined)
        self._value = np.where(seen, joined, self._value)
        self._variance = np.where(seen, variance, self._variance)
        self._bias_variance = np.where(seen, bias_variance, self._bias_variance)
        self._last_s = np.where(seen, time_s, self._last_s)
        return joined, self._factor * np.sqrt(variance + bias_variance)


@dataclass
class TemporalEstimator:
    """Measures a run of observations, one after the other; has the same `measure` as the single-frame estimator.

    lifts: decides what finger lifts are measured from.
    """

    estimator: Estimator
    lifts: Lifts = field(default_factory=Lifts)
    rules: TimeRules = field(default_factory=TimeRules)
    _followers: dict[Side, KalmanBank] = field(default_factory=dict)

    def measure(self, observation: Observation) -> FrameMeasurement:
        return FrameMeasurement(
            observation.frame_index,
            observation.time_s,
            self._hand(observation, "left"),
            self._hand(observation, "right"),
        )

    def _hand(self, observation: Observation, side: Side) -> HandMeasurement:
        hand = observation.hand(side)
        single = self.estimator.estimate_side(observation, side)
        if hand is None or single.refusal is not None:
            return self.estimator.refused(side, single.refused())
        return self.estimator.measured(
            self._joined(self.lifts.of(single, hand, observation.time_s), side, observation.time_s), hand
        )

    def _joined(self, single: Estimate, side: Side, time_s: float) -> Estimate:
        followers = self._followers.get(side)
        if followers is None:
            followers = self._followers.setdefault(side, KalmanBank(self.rules, _OUTPUTS))
        value, sd = np.array([single.values.get(name, _MISSING) for name in _OUTPUTS]).T
        pairs = zip(*(numbers.tolist() for numbers in followers.update(value, sd, time_s)), strict=True)
        joined = {name: pair for name, pair in zip(_OUTPUTS, pairs, strict=True) if name in single.values}
        return replace(single, values=joined)
