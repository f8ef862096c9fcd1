"""A film is better than a frame: single-frame estimates joined over time, with an honest standard deviation.

Every quantity of every hand is followed by a local-level Kalman filter with irregular time steps. The error of a
single estimate is taken as two parts: jitter, which is new in every frame and averages out, and a bias of this
view of this hand, which does not. So the stated deviation never falls below the bias's share, however long one
looks. The shares and the speed are cautious settings: most of the error of rendered films is bias, and playing moves
fast (`calibration.films` fits them where films enough have been rendered).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from posturewatch.kinematics.estimator import Estimate, Estimator
from posturewatch.measurement import FrameMeasurement, HandMeasurement, Measurement
from posturewatch.observation import Observation, Side
from posturewatch.quantities import QUANTITY_NAMES

__all__ = ["Follower", "OverTime", "TimeRules"]


@dataclass(frozen=True)
class TimeRules:
    """jitter_share: the part (0..1) of a single estimate's variance that is new in every frame.
    speed: how fast the true value wanders, in its unit per square root of a second.
    forget_s: after this long unseen, nothing of the past is used.
    surprise: an estimate farther than this many deviations from what was expected counts less (Huber's weight).
    factor: stretches the stated deviation so that 90 % intervals hold 90 % of the errors on films.
    """

    jitter_share: float = 0.2
    speed: float = 60.0
    forget_s: float = 0.5
    surprise: float = 2.5
    factor: float = 1.0


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


@dataclass
class OverTime:
    """Measures a run of observations, one after the other; has the same `measure` as the single-frame estimator."""

    estimator: Estimator
    rules: TimeRules = field(default_factory=TimeRules)
    _followers: dict[tuple[Side, str], Follower] = field(default_factory=dict)

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
            values = {name: Measurement.refused(single.refused()) for name in QUANTITY_NAMES}
            return HandMeasurement(side, values)
        joined: dict[str, tuple[float, float]] = {}
        for name in QUANTITY_NAMES:
            follower = self._followers.setdefault((side, name), Follower(self.rules))
            joined[name] = follower.update(*single.values[name], observation.time_s)
        estimate = Estimate(joined, None)
        return HandMeasurement(side, {n: self.estimator.judged(n, estimate, hand) for n in QUANTITY_NAMES})
