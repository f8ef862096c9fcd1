"""Single-frame estimates joined over time, with an honest standard deviation: from observations to measurements.

Every quantity of every hand is followed by a local-level Kalman filter with irregular time steps. The error of a
single estimate is taken as two parts: jitter, which is new in every frame and averages out, and a bias of this
view of this hand, which does not. So the stated deviation never falls below the bias's share, however long one
looks. Most of the error of rendered videos is bias; `calibration.evaluate.videos` fits shares, speed and factors on
them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from posturewatch.kinematics.estimator import Estimate, Estimator
from posturewatch.kinematics.lift import Lifts
from posturewatch.kinematics.staying import Past, StayRules
from posturewatch.model.arrays import Array
from posturewatch.model.measurement import FrameMeasurement, HandMeasurement, Refusal
from posturewatch.model.observation import Observation, Side
from posturewatch.model.quantities import QUANTITIES

__all__ = ["KalmanBank", "TemporalEstimator", "TimeRules"]


#: The outputs that are followed, in the order of the table of quantities.
_OUTPUTS: tuple[str, ...] = tuple(entry.output for entry in QUANTITIES)

_MISSING = (math.nan, math.nan)


@dataclass(frozen=True)
class TimeRules:
    """How frames are joined; `calibration.evaluate.videos` fits these.

    Attributes
    ----------
    jitter_share
        The part (0..1) of a single estimate's variance that is new in every frame.
    speed
        How fast the true value wanders, in its unit per square root of a second.
    forget_s
        After this long unseen, nothing of the past is used.
    surprise
        An estimate farther than this many deviations from what was expected counts less (Huber's weight).
    factor, lift_factor
        Stretch the stated deviation so that 90 % intervals hold 90 % of the errors on videos; lifts have their own.
        They hold of a first frame and of a picture alone, too.
    """

    jitter_share: float = 0.2
    speed: float = 60.0
    forget_s: float = 0.5
    surprise: float = 2.5
    factor: float = 1.07
    lift_factor: float = 1.3

    def factors(self, outputs: Sequence[str]) -> Array:
        """(n,) the factors of n of the estimator's outputs."""
        return np.array([self.lift_factor if name.endswith("_lift") else self.factor for name in outputs])


class KalmanBank:
    """The filters of many quantities of one hand at once.

    Parameters
    ----------
    rules
        How the filters follow.
    outputs
        What is followed, by the estimator's names.
    """

    def __init__(self, rules: TimeRules, outputs: Sequence[str]) -> None:
        self.rules = rules
        count = len(outputs)
        self._factor = rules.factors(outputs)
        self._value, self._variance, self._bias_variance = np.zeros((3, count))
        self._last_s = np.full(count, np.nan)

    def update(self, value: Array, sd: Array, time_s: float) -> tuple[Array, Array]:
        """Takes the estimates of one frame in.

        Parameters
        ----------
        value, sd
            (count,) estimates and their standard deviations, NaN where there is none.
        time_s
            The frame's time.

        Returns
        -------
        The joined values and their standard deviations, both (count,), NaN in the same places.
        """
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
    """From observations to measurements: the one way to a number, for single pictures, videos and cameras alike.

    A picture without a past is measured as the first frame of a video is; `reset` makes the next one so.

    Attributes
    ----------
    estimator
        What a single frame tells.
    lifts
        Decides what finger lifts are measured from.
    rules
        How frames are joined over time.
    staying
        How long a number stays.
    """

    estimator: Estimator
    lifts: Lifts = field(default_factory=Lifts)
    rules: TimeRules = field(default_factory=TimeRules)
    staying: StayRules = field(default_factory=StayRules)
    _banks: dict[Side, KalmanBank] = field(default_factory=dict)
    _pasts: dict[Side, Past] = field(default_factory=dict)

    def reset(self) -> None:
        """Forgets all frames so far."""
        self._banks.clear()
        self._pasts.clear()
        self.lifts.reset()

    def measure(self, observation: Observation) -> FrameMeasurement:
        """Both hands of the next frame; one that was not seen is refused."""
        return FrameMeasurement(
            observation.frame_index,
            observation.time_s,
            self._hand(observation, "left"),
            self._hand(observation, "right"),
        )

    def _hand(self, observation: Observation, side: Side) -> HandMeasurement:
        hand, time_s = observation.hand(side), observation.time_s
        past = self._pasts.setdefault(side, Past(self.staying))
        if hand is None:
            return past.settled(self.estimator.refused(side, Refusal.HAND_NOT_SEEN), time_s)
        if not hand.looked_at:
            return past.between(self.estimator.refused(side, Refusal.HAND_NOT_SEEN), time_s)
        single = self.estimator.look(observation, hand)
        if single.refusal is not None:
            return past.settled(self.estimator.refused(side, single.refusal), time_s)
        presence = past.presence(single.hand_presence, time_s)
        refusal = self.estimator.refusal_of(presence, single.ood_score, shown=bool(past.shown))
        if refusal is not None:
            return past.lost(self.estimator.refused(side, refusal))
        joined = self._joined(self.lifts.of(single, hand, time_s), side, time_s)
        return past.settled(self.estimator.measured(joined, hand, past.shown), time_s)

    def _joined(self, single: Estimate, side: Side, time_s: float) -> Estimate:
        bank = self._banks.get(side)
        if bank is None:
            bank = self._banks.setdefault(side, KalmanBank(self.rules, _OUTPUTS))
        value, sd = np.array([single.values.get(name, _MISSING) for name in _OUTPUTS]).T
        pairs = zip(*(numbers.tolist() for numbers in bank.update(value, sd, time_s)), strict=True)
        joined = {name: pair for name, pair in zip(_OUTPUTS, pairs, strict=True) if name in single.values}
        return replace(single, values=joined)
