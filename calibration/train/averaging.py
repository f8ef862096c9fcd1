"""Wrist angles as a mean of what the estimator makes of everything and what the networks say straight away.

On rendered hands the estimator knows better than either network, by half a degree and more; on real ones it does not
(MODEL_CARD, "What was tried"). A mean of all of them, whose errors are not the same, is nearly as good on the former
and better on the latter. The averaging is written into the weights, so that the program knows nothing of it.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from posturewatch.kinematics.features import FEATURES, FIRST_GUESS
from posturewatch.model.network_outputs import GUESS_UNIT

__all__ = ["HEADS", "WRIST_OUTPUTS", "alone", "averaged"]

#: How much what the networks say counts; the rest is the estimator's.
HEADS = {"forearm.wrist_guess": 0.3, "fingers.guess": 0.3}

WRIST_OUTPUTS = 2  # the first of the outputs; the others are fingers
_WRIST = slice(0, WRIST_OUTPUTS)
_OWN = 1 - sum(HEADS.values())

Weights = Mapping[str, NDArray[Any]]


def averaged(weights: Weights) -> dict[str, NDArray[Any]]:
    """The same weights with the wrist angles averaged with those of `HEADS`; all else is as it was.

    Parameters
    ----------
    weights
        As `posturewatch.kinematics.network.Ensemble` reads them.
    """
    out = _scaled(weights, _OWN)
    out["base"] = weights["base"].copy()
    out["base"][:, _WRIST] *= _OWN
    for name, share in HEADS.items():
        first = FEATURES[name].start
        for k in range(WRIST_OUTPUTS):
            out["base"][first + k, k] += share * GUESS_UNIT
    return out


def alone(weights: Weights) -> dict[str, NDArray[Any]]:
    """What `averaged` was given, of weights that it made; others as they are."""
    if np.allclose(weights["base"], FIRST_GUESS, atol=1e-3):
        return dict(weights)
    return _scaled(weights, 1 / _OWN) | {"base": FIRST_GUESS.astype(np.float32)}


def _scaled(weights: Weights, by: float) -> dict[str, NDArray[Any]]:
    """With the means of the wrist angles times a number, but for what comes from the first guess."""
    out = dict(weights)
    for name in ("y_mean", "w2", "b2"):
        out[name] = weights[name].astype(np.float32)
        out[name][..., _WRIST] *= by
    return out
