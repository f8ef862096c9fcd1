"""The learned part in plain numpy: an ensemble of small perceptrons with a calibrated spread."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit, ndtri

from posturewatch.kinematics.witnesses import (
    SPREAD_TERMS,
    WITNESSES,
    bias_of,
    chance_of_hand,
    stretched,
    witnesses,
)

__all__ = ["COVERAGE_Z", "MAX_Z", "Ensemble"]

Array32 = NDArray[np.float32]

#: Half-width of a normal distribution's 90 % interval in standard deviations: a stated sd times this is the
#: interval that was calibrated to hold 90 % of the errors.
COVERAGE_Z = float(ndtri(0.95))

#: Standardised features are held within this: a feature far outside says "odd", and no more by being farther.
MAX_Z = 5.0

_LOG_SD_RANGE = (-5.0, 3.0)

#: Of the distance from the training data, in units in which 99.5 % of those are nearer than 1, what counts at least.
_LEAST_OOD_SCORE = 0.2


class Ensemble:
    """An ensemble of perceptrons with calibrated spreads.

    Parameters
    ----------
    weights
        Arrays by name: `x_mean`, `x_scale` (features), `y_mean`, `y_scale` (outputs); `w0 b0 w1 b1 w2 b2` with a
        leading axis over the members, whose last layer gives the outputs' means, their log spreads and one logit of
        the landmarks being those of a real hand; `basis` (features, k), `basis_scale` (k), `rest_scale`, `ood_distance`
        (1) for the distance from the training data; `factor` (outputs), by which the spreads are stretched so that
        90 % intervals hold 90 % of the errors on people and scenes kept apart for it.

        May be left out: `base` (features, outputs), a linear first guess to which the members' means are added (none);
        `skill` (2, outputs), for fretting hands and for others, by what share the mean absolute error on the people
        kept apart is below that of always saying the middle value, NaN where nothing is known (1); `widening` (2), the
        power of the distance from the training data with which the spreads grow, and the distance at which they are
        as they are (they do not grow, short of the edge of those data); `presence` (witnesses + 1), and for the first
        k outputs `bias` (k, witnesses + 1) and `spread` (k, terms), what the witnesses weigh for the chance of a hand,
        and for how far its means and spreads are moved (`posturewatch.kinematics.witnesses`; all stay as they are).

    Raises
    ------
    ValueError
        Arrays that do not fit each other.
    """

    def __init__(self, weights: Mapping[str, NDArray[np.floating]]) -> None:  # type: ignore[type-arg]
        self._w = {name: np.asarray(value, dtype=np.float32) for name, value in weights.items()}
        self._first = self._w["w0"].swapaxes(0, 1).reshape(self._w["w0"].shape[1], -1)
        self.features = int(self._w["w0"].shape[1])
        self.outputs = int(self._w["y_mean"].shape[0])
        if self._w["w2"].shape[2] != 2 * self.outputs + 1:
            raise ValueError(
                f"the last layer needs {2 * self.outputs + 1} outputs, got {self._w['w2'].shape}"
            )
        if self._w["x_mean"].shape != (self.features,):
            raise ValueError(f"x_mean needs shape {(self.features,)}, got {self._w['x_mean'].shape}")
        self._base = self._w.get("base", np.zeros((self.features, self.outputs), np.float32))
        if self._base.shape != (self.features, self.outputs):
            raise ValueError(f"base needs shape {(self.features, self.outputs)}, got {self._base.shape}")
        self.skill = self._w.get("skill", np.ones((2, self.outputs), np.float32))
        if self.skill.shape != (2, self.outputs):
            raise ValueError(f"skill needs shape {(2, self.outputs)}, got {self.skill.shape}")

        self._widening = self._w.get("widening", np.array([0.0, 1.0], np.float32))
        if self._widening.shape != (2,):
            raise ValueError(f"widening needs shape (2,), got {self._widening.shape}")

        self._presence = self._w.get("presence")
        if self._presence is not None and self._presence.shape != (len(WITNESSES) + 1,):
            raise ValueError(f"presence needs shape {(len(WITNESSES) + 1,)}, got {self._presence.shape}")
        self._bias = self._w.get("bias")
        if self._bias is not None and self._bias.shape[1:] != (len(WITNESSES) + 1,):
            raise ValueError(f"bias needs shape (wrist angles, {len(WITNESSES) + 1}), got {self._bias.shape}")
        self._spread = self._w.get("spread")
        if self._spread is not None and self._spread.shape[1:] != (SPREAD_TERMS,):
            raise ValueError(f"spread needs shape (wrist angles, {SPREAD_TERMS}), got {self._spread.shape}")

    def predict_many(self, features: Array32) -> tuple[Array32, Array32, Array32, Array32]:
        """What the members say, before the spreads are stretched.

        Parameters
        ----------
        features
            (n, features).

        Returns
        -------
        means, spreads
            (n, outputs) in the outputs' units.
        hand_presence
            (n,) probability of the landmarks being those of a real hand.
        ood_score
            (n,) out-of-distribution score: the distance from the training data, 1 where 99.5 % of those were nearer.

        Raises
        ------
        ValueError
            Features of another shape.
        """
        w, n = self._w, self.outputs
        if features.ndim != 2 or features.shape[1] != self.features:
            raise ValueError(f"expected (n, {self.features}) features, got {features.shape}")
        x = np.clip((features.astype(np.float32) - w["x_mean"]) / w["x_scale"], -MAX_Z, MAX_Z)
        # All members' first layers at once, (n, members * units), then apart again: (members, n, units).
        h = np.maximum(x @ self._first + w["b0"].reshape(-1), 0)
        h = h.reshape(len(x), *w["b0"].shape).swapaxes(0, 1)
        h = np.maximum(h @ w["w1"] + w["b1"][:, None], 0)
        o = h @ w["w2"] + w["b2"][:, None]
        means = o[..., :n]
        variances = np.exp(2 * np.clip(o[..., n : 2 * n], *_LOG_SD_RANGE))
        between = means.var(axis=0)
        hand_presence = expit(o[..., 2 * n]).mean(axis=0)
        scores = x @ w["basis"]
        rest = x - scores @ w["basis"].T
        distance = ((scores / w["basis_scale"]) ** 2).sum(1) + (rest**2).sum(1) / w["rest_scale"][0] ** 2
        ood_score = np.sqrt(distance) / w["ood_distance"][0]
        power, usual = self._widening
        wider = (np.maximum(ood_score, _LEAST_OOD_SCORE) / usual) ** power
        return (
            means.mean(axis=0) * w["y_scale"] + w["y_mean"] + features.astype(np.float32) @ self._base,
            np.sqrt(variances.mean(axis=0) + between) * w["y_scale"] * wider[:, None],
            hand_presence,
            ood_score,
        )

    def estimate(self, features: Array32) -> tuple[Array32, Array32, Array32, Array32]:
        """As `predict_many`, with calibrated standard deviations instead of spreads, and the witnesses heard."""
        means, sd, hand_presence, ood_score = self.predict_many(features)
        # Beyond the edge of the training data nothing was calibrated: the interval grows with the distance.
        sd = sd * self._w["factor"] * np.maximum(1.0, ood_score)[:, None] ** 2
        if self._presence is None and self._spread is None and self._bias is None:
            return means, sd, hand_presence, ood_score
        said = witnesses(features, hand_presence, ood_score)
        if self._bias is not None:
            for k, weights in enumerate(self._bias):
                means[:, k] -= bias_of(said, weights)
        if self._spread is not None:
            for k, weights in enumerate(self._spread):
                sd[:, k] = stretched(sd[:, k], said, weights)
        if self._presence is not None:
            hand_presence = chance_of_hand(said, self._presence)
        return means, sd, hand_presence, ood_score
