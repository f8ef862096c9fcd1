"""Left or right: evidence, belief over time, and the decision. Pure.

Everything is in log odds for "left", in natural units: +2 means 7.4 to 1 for left. Evidence comes from the
library's own label, which flips on hard frames, from the body's wrists, which weigh more, and from our own networks,
which were taught with hands at instruments.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import product

import numpy as np
from scipy.special import expit, logit

from posturewatch.model.arrays import Array
from posturewatch.model.observation import Side

__all__ = [
    "SideBelief",
    "assign_sides",
    "body_evidence",
    "label_evidence",
    "network_evidence",
]


#: The label is right in about four of five hard frames (common practice: it is capped at that).
LABEL_CAP = 1.5
BODY_CAP = 4.0
NETWORK_CAP = 4.0
#: The networks learned the sides from crops of which 12 % were shown mirrored (`calibration.train.crop_model`).
_AS_TAUGHT = float(logit(0.88))
#: How far the body's wrist strays from the hand's, and beyond which distance it is another's: hand scales.
_STRAY = 0.8
_FAR = 2.5
#: Frames of one second are not independent: a second of steady evidence counts as this many frames.
_FRAMES_PER_S = 2.0
_MEMORY_S = 15.0
_BELIEF_CAP = 12.0
#: A hand is left out only where both are almost certainly the same side.
_KEEP = 3.0
#: A swap of two sides needs this much more than an equal case.
_STAY = 1.0


def label_evidence(left_probability: float, presence: float) -> float:
    """Log odds for left from the library's label.

    Parameters
    ----------
    left_probability
        The library's, 0..1.
    presence
        Its probability that there is a hand at all, 0..1, by which the label counts.
    """
    return presence * max(-LABEL_CAP, min(LABEL_CAP, float(logit(left_probability))))


def body_evidence(
    wrist_px: Array, hand_px: float, left: tuple[Array, float], right: tuple[Array, float]
) -> float:
    """Log odds for left from where the body's wrists are.

    The nearer wrist counts: the more the nearer it lies, the farther the other, and the more it is trusted.

    Parameters
    ----------
    wrist_px
        (2,) the hand's wrist.
    hand_px
        The hand's scale.
    left, right
        Each arm's wrist (2,), and how far that arm can be trusted, 0..1.
    """
    distances = [min(_FAR, float(np.hypot(*(at - wrist_px))) / max(hand_px, 1e-6)) for at, _ in (left, right)]
    trust = left[1] if distances[0] < distances[1] else right[1]
    log_odds = (distances[1] ** 2 - distances[0] ** 2) / (2 * _STRAY**2)
    on_it = math.exp(-0.5 * min(distances) ** 2)
    return trust * on_it * max(-BODY_CAP, min(BODY_CAP, log_odds))


def network_evidence(logits: Sequence[float]) -> float:
    """Log odds for the side that a hand was cut for, from the networks' logits of that; 0 without any."""
    if not logits:
        return 0.0
    odds = sum(logits) / len(logits) - _AS_TAUGHT
    return max(-NETWORK_CAP, min(NETWORK_CAP, odds))


class SideBelief:
    """What is believed of one followed hand. `value` is in log odds for left.

    Evidence adds up by the time it lasts, not by the number of frames, and fades over 15 s; so a flip of the
    label for a moment changes little, and sustained evidence wins.
    """

    def __init__(self, value: float = 0.0) -> None:
        self.value = value
        self._time_s: float | None = None

    def update(self, time_s: float, evidence: float) -> float:
        """Adds this moment's evidence.

        Parameters
        ----------
        time_s
            Now.
        evidence
            Log odds for left of a whole frame; the first counts as one.

        Returns
        -------
        Log odds for left.
        """
        if self._time_s is None:
            gain = 1.0
        else:
            passed_s = min(max(time_s - self._time_s, 0.0), 0.5)  # a gap is not half a minute of evidence
            self.value *= math.exp(-passed_s / _MEMORY_S)
            gain = passed_s * _FRAMES_PER_S
        self._time_s = time_s
        self.value = max(-_BELIEF_CAP, min(_BELIEF_CAP, self.value + gain * evidence))
        return self.value


def assign_sides(
    beliefs: Sequence[float],
    previous: Sequence[Side | None] | None = None,
    being: Sequence[float] | None = None,
) -> list[tuple[Side | None, float]]:
    """A side for each hand; no side is assigned twice.

    Parameters
    ----------
    beliefs
        Log odds for left of each hand, at most four.
    previous
        The sides the hands had, which they keep unless the evidence for another arrangement is clearly better.
    being
        Log odds of each being a hand at all, by which those are chosen that get a side; all alike where left out.

    Returns
    -------
    Side and confidence in it (0.5..1) of each hand; None and 0.5 for hands left over.

    Raises
    ------
    ValueError
        More than four hands.
    """
    count = len(beliefs)
    if count > 4:
        raise ValueError(f"at most four hands can be told apart, got {count}")
    before = list(previous) if previous is not None else [None] * count
    keep = list(being) if being is not None else [_KEEP] * count
    sign = {"left": 1.0, "right": -1.0}

    def merit(sides: tuple[Side | None, ...]) -> float:
        total = 0.0
        for side, belief, was, worth in zip(sides, beliefs, before, keep, strict=True):
            if side is not None:
                total += worth + sign[side] * belief + (_STAY if side == was else 0.0)
        return total

    options: tuple[Side | None, ...] = ("left", "right", None)
    arrangements = [
        sides
        for sides in product(options, repeat=count)
        if sides.count("left") <= 1 and sides.count("right") <= 1
    ]
    best = max(arrangements, key=merit)
    margin = sum(sign[side] * belief for side, belief in zip(best, beliefs, strict=True) if side is not None)
    return [(None, 0.5) if side is None else (side, max(0.5, float(expit(margin)))) for side in best]
