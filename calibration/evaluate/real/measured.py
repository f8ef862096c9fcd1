"""What the estimator makes of hands that were tracked and looked at."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.dataset.table import Columns, observation_of
from posturewatch.kinematics.estimator import Estimator
from posturewatch.kinematics.features import features
from posturewatch.kinematics.network import Ensemble
from posturewatch.kinematics.temporal_estimator import TemporalEstimator
from posturewatch.model.quantities import in_group

__all__ = ["Measured", "measure"]

Array = NDArray[np.float64]
WRIST = tuple(entry.name for entry in in_group("wrist"))


@dataclass(frozen=True)
class Measured:
    """Of each row: value and sd (n, 2) in degrees, reported or not, which of them are reported (n, 2), why not (n,
    2; words, empty where reported), and the chance of a hand and the distance from the training data (n,)."""

    value: Array
    sd: Array
    reported: NDArray[np.bool_]
    refusal: NDArray[np.str_]
    hand_presence: Array
    ood_score: Array

    @property
    def both(self) -> NDArray[np.bool_]:
        return np.asarray(self.reported.all(axis=1))


def measure(columns: Columns, estimator: Estimator, ensemble: Ensemble) -> Measured:
    """ensemble: the one that the estimator was made of."""
    measurer = TemporalEstimator(estimator)
    count = len(columns.get("side", ()))
    x = np.zeros((count, ensemble.features), np.float32)
    reported = np.zeros((count, len(WRIST)), bool)
    refusal = np.full((count, len(WRIST)), "", "<U48")
    for row in range(count):
        observation = observation_of(columns, row)
        hand = observation.hands[0]
        x[row] = features(observation, hand)
        measurer.reset()
        values = measurer.measure(observation).hand(hand.side).values
        for k, name in enumerate(WRIST):
            why = values[name].refusal
            reported[row, k] = why is None
            refusal[row, k] = "" if why is None else why.value
    mean, sd, hand_presence, ood_score = ensemble.estimate(x)
    return Measured(
        mean[:, : len(WRIST)].astype(float),
        sd[:, : len(WRIST)].astype(float),
        reported,
        refusal,
        hand_presence.astype(float),
        ood_score.astype(float),
    )
