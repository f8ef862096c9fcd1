"""What several witnesses say of a tracked hand, weighed together: whether it is one, and how far, and to which side,
its angles are off.

The estimator's own chance of a hand, and its own spread, were learned on rendered players; of real hands it doubts all
those of which the networks take the palm for the back, and its spread hardly tells how far it is off. The other
witnesses know real hands better: how far the finger network sees the joints from where they were tracked, its opinion
on there being a hand at all, the tracker's score, how sure the side is, and how unlike the training data it all looks.
`calibration.train.real` fits the weights on real and on rendered hands. Pure.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from posturewatch.kinematics.features import FEATURES

__all__ = ["SPREAD_TERMS", "WITNESSES", "bias_of", "chance_of_hand", "spread_terms", "stretched", "witnesses"]

Array = NDArray[np.floating]  # type: ignore[type-arg]

#: What speaks for or against a hand, in the order of the columns of `witnesses`. Chances are in log odds; the distance
#: of the joints is in palm lengths, as a logarithm.
WITNESSES: tuple[str, ...] = (
    "estimator",
    "landmark_error",
    "hand",
    "side",
    "side_confidence",
    "score",
    "ood_score",
)

_MOST_ODDS = 5.0
_LEAST_ERROR = 0.05


def _odds(chance: Array) -> Array:
    """Log odds of chances, within what any witness can know."""
    held = np.clip(chance, 1e-6, 1 - 1e-6)
    return np.asarray(np.clip(np.log(held / (1 - held)), -_MOST_ODDS, _MOST_ODDS))


def _landmark_error(features: Array) -> Array:
    """(n,) mean distance in the picture of the joints that the finger network sees, once scaled alike, from where they
    were tracked; palm lengths."""
    count = len(features)
    tracked = features[:, FEATURES["hand.landmarks_px"]].reshape(count, 20, 3)[..., :2]
    seen = features[:, FEATURES["fingers.joints"]].reshape(count, 20, 3)[..., :2]
    scale = (seen * tracked).sum(axis=(1, 2)) / np.maximum((seen**2).sum(axis=(1, 2)), 1e-9)
    apart = np.maximum(scale, 0.0)[:, None, None] * seen - tracked
    return np.asarray(np.linalg.norm(apart, axis=2).mean(axis=1))


def witnesses(features: Array, hand_presence: Array, ood_score: Array) -> Array:
    """What speaks for and against hands.

    Parameters
    ----------
    features
        (n, FEATURE_COUNT) as `posturewatch.kinematics.features.features` makes them.
    hand_presence, ood_score
        (n,) the estimator's own chance of a hand, and the distance from its training data.

    Returns
    -------
    (n, len(WITNESSES)) in the order of `WITNESSES`.
    """
    column = {name: features[:, FEATURES[name]][:, 0] for name in _READ}
    sides = np.clip(
        (column["fingers.side_logit"] + column["forearm.side_logit"]) / 2, -_MOST_ODDS, _MOST_ODDS
    )
    return np.stack(
        [
            _odds(hand_presence),
            np.log(np.maximum(_landmark_error(features), _LEAST_ERROR)),
            np.clip(column["fingers.hand_logit"], -_MOST_ODDS, _MOST_ODDS),
            sides,
            _odds(column["view.side_confidence"]),
            _odds(column["view.score"]),
            ood_score,
        ],
        axis=1,
    )


_READ = (
    "fingers.side_logit",
    "forearm.side_logit",
    "fingers.hand_logit",
    "view.side_confidence",
    "view.score",
)


def chance_of_hand(said: Array, weights: Array) -> Array:
    """(n,) chance of a hand of that side.

    Parameters
    ----------
    said
        (n, len(WITNESSES)) from `witnesses`.
    weights
        (len(WITNESSES) + 1,) of a logistic regression, the last one what is added.
    """
    odds = np.clip(said @ weights[:-1] + weights[-1], -30, 30)
    return np.asarray(1 / (1 + np.exp(-odds)))


_MOST_BIAS_DEG = 8.0


def bias_of(said: Array, weights: Array) -> Array:
    """(n,) degrees by which an angle is said too high of such hands.

    Parameters
    ----------
    said
        (n, len(WITNESSES)) from `witnesses`.
    weights
        (len(WITNESSES) + 1,) degrees, the last one what is added.
    """
    bias = said @ weights[:-1] + weights[-1]
    return np.asarray(np.clip(bias, -_MOST_BIAS_DEG, _MOST_BIAS_DEG))


#: How many terms `spread_terms` gives.
SPREAD_TERMS = 11

_USUAL_LOG_SD = 2.0  # log of 7.4 degrees, of which all terms but the first are counted
_USUAL_OOD_SCORE = 0.6
_LEAST_SIDE = 1.0  # log odds: hands of less, or of the other side, are doubted no more than those
_LEAST_SD_DEG, _MOST_SD_DEG = 2.0, 90.0


def spread_terms(sd: Array, said: Array) -> Array:
    """(n, SPREAD_TERMS) what the log of a spread is made of: the log of the stated one, and how much it tells by how
    unlike the training data the hand looks and by what the witnesses say.

    Doubt of the side counts as far as the tracker is sure of the hand, and not at all where it is not: real hands are
    doubted, and are off by less than is stated; rendered ones that are doubted have lower scores, and are off by more.

    Parameters
    ----------
    sd
        (n,) stated standard deviations, degrees.
    said
        (n, len(WITNESSES)) from `witnesses`.
    """
    column = dict(zip(WITNESSES, said.T, strict=True))
    stated = np.log(sd) - _USUAL_LOG_SD
    unlike = column["ood_score"] - _USUAL_OOD_SCORE
    hand = column["estimator"] / _MOST_ODDS
    sure = np.clip(column["score"] / _MOST_ODDS, 0, 1)
    return np.stack(
        [
            np.ones(len(sd)),
            stated,
            unlike,
            stated * unlike,
            hand,
            stated * hand,
            column["landmark_error"] + 2,
            column["hand"] / _MOST_ODDS - 1,
            sure * (np.maximum(column["side"], _LEAST_SIDE) / _MOST_ODDS - 1),
            column["side_confidence"] / _MOST_ODDS - 1,
            column["score"] / _MOST_ODDS - 1,
        ],
        axis=1,
    )


def stretched(sd: Array, said: Array, weights: Array) -> Array:
    """(n,) standard deviations in degrees as real and rendered hands together bear out.

    Parameters
    ----------
    sd, said
        As for `spread_terms`.
    weights
        (SPREAD_TERMS,)
    """
    return np.asarray(np.clip(np.exp(spread_terms(sd, said) @ weights), _LEAST_SD_DEG, _MOST_SD_DEG))
