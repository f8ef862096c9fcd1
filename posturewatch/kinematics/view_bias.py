"""The constant part of the error of one hand in one view, estimated from postures whose true angle is known.

On rendered videos about half of the variance of the error stays the same while a hand is near one posture, and has
little to do with the error in a posture 60 degrees away; on a real person little of it is left once the camera sees the
hand from a side 40 degrees away (`python -m calibration.evaluate.neutral`). So the bias of a quantity is taken as a
Gaussian process over the measured angle and over how the hand is turned to the camera (Rasmussen and Williams 2006,
Gaussian Processes for Machine Learning, equations 2.25 and 2.26): near a held neutral most of it is known, far from it
nothing, and the standard deviation says which.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from posturewatch.model.arrays import Array
from posturewatch.model.measurement import FrameMeasurement, HandMeasurement, Measurement
from posturewatch.model.observation import SIDES, Side

__all__ = ["STRAIGHT_SD_DEG", "BiasRules", "Reference", "ViewBias", "unbiased"]

#: How far a wrist that its owner holds straight is from straight: about the error with which people set a joint without
#: looking (from memory; this program's choice).
STRAIGHT_SD_DEG = 5.0


@dataclass(frozen=True)
class Reference:
    """A posture held in this view.

    Attributes
    ----------
    true_deg, true_sd_deg
        What the angle is, and the standard deviation of that.
    measured_deg, sd_deg
        What was measured of it, and the stated deviation.
    hand_frame
        How the camera saw the hand, as `features.hand_frame` gives it; None where that is not known, and then nothing
        follows from this reference.
    """

    true_deg: float
    true_sd_deg: float
    measured_deg: float
    sd_deg: float
    hand_frame: Array | None = field(default=None, compare=False)


@dataclass(frozen=True)
class BiasRules:
    """Chosen on half of the rendered videos and on one of a real person's two sessions, tried on the others.

    Attributes
    ----------
    share
        Of a stated variance that is bias of this posture in this view.
    reach_deg
        Postures so far apart share 61 % of their bias.
    turn_reach_deg
        The same of two views of the hand, by the angle of the rotation from the one to the other.
    """

    share: float = 0.5
    reach_deg: float = 25.0
    turn_reach_deg: float = 20.0


class ViewBias:
    """What the references tell of the bias of one quantity of one hand.

    Parameters
    ----------
    references
        At least one.
    rules
        How biases go together.
    """

    def __init__(self, references: Sequence[Reference], rules: BiasRules | None = None) -> None:
        if not references:
            raise ValueError("a bias needs a reference to be estimated from")
        self._rules = rules or BiasRules()
        self._at = np.array([one.measured_deg for one in references])
        self._frames = np.stack([_known(one.hand_frame) for one in references])
        #: Stated deviation of the bias at each reference.
        self._scale = math.sqrt(self._rules.share) * np.array([one.sd_deg for one in references])
        off = np.array([one.measured_deg - one.true_deg for one in references])
        noise = np.array([one.true_sd_deg for one in references]) ** 2
        shared = np.stack([self._shared(*one) for one in zip(self._at, self._frames, strict=True)])
        np.fill_diagonal(shared, 1.0)
        self._inverse = np.linalg.inv(np.outer(self._scale, self._scale) * shared + np.diag(noise))
        self._weights = self._inverse @ off

    def _shared(self, measured_deg: float, hand_frame: Array) -> Array:
        """(references,) correlation of the bias there with that at each reference; 0 where a view is not known."""
        apart = (self._at - measured_deg) / self._rules.reach_deg
        turned = _turned_deg(self._frames, hand_frame) / self._rules.turn_reach_deg
        return np.asarray(np.nan_to_num(np.exp(-0.5 * (apart**2 + turned**2))))

    def at(self, measured_deg: float, sd_deg: float, hand_frame: Array | None) -> tuple[float, float]:
        """Bias and its own standard deviation at a measured angle.

        Parameters
        ----------
        measured_deg, sd_deg
            The angle and its stated deviation.
        hand_frame
            How the camera sees the hand now, None where that is not known.

        Returns
        -------
        Degrees; without knowledge 0 and the prior deviation.
        """
        prior = math.sqrt(self._rules.share) * sd_deg
        with_known = prior * self._scale * self._shared(measured_deg, _known(hand_frame))
        left = prior**2 - float(with_known @ self._inverse @ with_known)
        return float(with_known @ self._weights), math.sqrt(max(left, 0.0))

    def removed(self, one: Measurement, hand_frame: Array | None) -> Measurement:
        """The measurement without the bias; its deviation is that of what is left, and the refusal of a refused one
        stays."""
        if one.value is None or one.sd is None:
            return one
        bias, sd = self.at(one.value, one.sd, hand_frame)
        return Measurement.of(one.value - bias, math.sqrt((1 - self._rules.share) * one.sd**2 + sd**2))


def _known(hand_frame: Array | None) -> Array:
    return np.full((3, 3), np.nan) if hand_frame is None else hand_frame


def _turned_deg(frames: Array, frame: Array) -> Array:
    """(n,) angles of the rotations from n frames (n, 3, 3) to another, degrees."""
    cosine = (np.einsum("nij,ij->n", frames, frame) - 1) / 2
    return np.asarray(np.degrees(np.arccos(np.clip(cosine, -1, 1))))


def unbiased(
    measurement: FrameMeasurement,
    biases: Mapping[tuple[Side, str], ViewBias],
    hand_frames: Mapping[Side, Array],
) -> FrameMeasurement:
    """The measurement with the biases removed that are known, by hand and quantity. hand_frames: how the camera sees
    each hand; one that is missing keeps what was measured."""
    if not biases:
        return measurement
    left, right = (_hand(measurement.hand(side), biases, hand_frames.get(side)) for side in SIDES)
    return replace(measurement, left=left, right=right)


def _hand(
    hand: HandMeasurement, biases: Mapping[tuple[Side, str], ViewBias], hand_frame: Array | None
) -> HandMeasurement:
    values = {
        name: biases[hand.side, name].removed(one, hand_frame) if (hand.side, name) in biases else one
        for name, one in hand.values.items()
    }
    return replace(hand, values=values)
