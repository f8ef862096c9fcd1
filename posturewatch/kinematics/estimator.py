"""What a single frame tells of a hand: the learned estimator, and when no number is reported."""

from __future__ import annotations

import copy
import math
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field

import numpy as np

from posturewatch.kinematics.features import features, palm_size_px
from posturewatch.kinematics.network import Ensemble
from posturewatch.model.estimator_outputs import OUTPUTS
from posturewatch.model.measurement import HandMeasurement, LiftPlane, Measurement, Refusal
from posturewatch.model.observation import SIDES, HandObservation, Observation, Side
from posturewatch.model.quantities import QUANTITIES, Quantity

__all__ = ["Estimate", "Estimator", "RefusalRules"]


@dataclass(frozen=True)
class RefusalRules:
    """When no number is reported.

    Attributes
    ----------
    min_palm_px
        Smaller hands than this carry too few pixels for their landmarks to mean anything.
    min_hand_presence
        Least probability that the landmarks are those of a real hand of that side.
    max_ood_score
        Largest out-of-distribution score; 1 is the edge of 99.5 % of the training data.
    max_sd_deg
        A wrist angle less certain than this says nothing against limits that lie 10 degrees apart.
    max_joint_sd_deg
        The same for joints of the fingers.
    max_lift_sd_mm
        The same for lifts from the strings. It is wide on purpose: a finger is known with certainty only while it is
        down, so that a tight bound would report the zeros and refuse every lifted finger.
    max_resting_sd_mm
        The same for lifts from resting fingertips, of which less is known.
    max_place_sd_mm
        The same for the place of the thumb, which is asked for across a whole hand's breadth.
    min_skill
        By what share the error must be below that of always saying the middle value: otherwise an interval may hold
        nine truths in ten, and still its number says nothing of this hand.
    edge_px
        Landmarks this far outside the image mean that the hand is cut off.
    keep_hand_presence, keep_ood_score, keep_sd
        What is reported already is reported further up to these, so that a number does not come and go: least
        probability of a hand, largest out-of-distribution score, and by how much the bounds on degrees are looser.
    """

    min_palm_px: float = 14.0
    min_hand_presence: float = 0.7
    max_ood_score: float = 1.6
    max_sd_deg: float = 18.0
    max_joint_sd_deg: float = 20.0
    max_lift_sd_mm: float = 25.0
    max_resting_sd_mm: float = 8.0
    max_place_sd_mm: float = 15.0
    min_skill: float = 0.3
    edge_px: float = 12.0
    keep_hand_presence: float = 0.4
    keep_ood_score: float = 2.0
    keep_sd: float = 1.3

    def max_sd(self, entry: Quantity, plane: LiftPlane | None = "picture", *, shown: bool = False) -> float:
        """The largest standard deviation with which a quantity is still reported.

        Parameters
        ----------
        entry
            The quantity.
        plane
            What a lift is measured from.
        shown
            Whether it is reported already; of lengths that makes no difference.

        Returns
        -------
        In the quantity's unit.
        """
        if entry.family == "finger_lift":
            return self.max_resting_sd_mm if plane == "resting fingertips" else self.max_lift_sd_mm
        if entry.unit == "mm":
            return self.max_place_sd_mm
        most = self.max_sd_deg if entry.group == "wrist" else self.max_joint_sd_deg
        return most * self.keep_sd if shown else most


@dataclass(frozen=True)
class Estimate:
    """All outputs of one hand in one frame, or the refusal of them.

    Attributes
    ----------
    values
        Value and standard deviation by the output's name, degrees or millimetres.
    refusal
        Why there are none, None where there are.
    refused_outputs
        Single outputs that are refused although the hand is measured, with the reason.
    lift_plane
        What the finger lifts are measured from; in a single frame the strings in the image.
    hand_presence
        Probability that it is a hand of that side.
    ood_score
        Out-of-distribution score.
    """

    values: Mapping[str, tuple[float, float]]
    refusal: Refusal | None
    refused_outputs: Mapping[str, Refusal] = field(default_factory=dict)
    lift_plane: LiftPlane | None = "picture"
    hand_presence: float = 1.0
    ood_score: float = 0.0


class Estimator:
    """Single observations to values with calibrated standard deviations, or refusals.

    `posturewatch.kinematics.temporal_estimator` makes the measurements of them, with or without a past.

    Parameters
    ----------
    ensemble
        Made of the arrays of `calibration/weights/estimator.npz`; its outputs must be `OUTPUTS`.
    hfov_deg
        The camera's horizontal field of view in degrees, where it is known.
    rules
        When no number is reported.
    fretting
        The fretting hands, None where they are not known: then only what is known well enough of either is reported.

    Raises
    ------
    ValueError
        The weights have another number of outputs.
    """

    def __init__(
        self,
        ensemble: Ensemble,
        *,
        hfov_deg: float | None = None,
        rules: RefusalRules | None = None,
        fretting: frozenset[Side] | None = None,
    ) -> None:
        if ensemble.outputs != len(OUTPUTS):
            raise ValueError(f"the weights give {ensemble.outputs} outputs, expected {len(OUTPUTS)}")
        self._ensemble = ensemble
        self._hfov_deg = hfov_deg
        self._rules = RefusalRules() if rules is None else rules
        skill = np.nan_to_num(ensemble.skill, nan=0.0)  # what nothing is known of is not reported
        by_side = {
            side: skill.min(axis=0) if fretting is None else skill[0 if side in fretting else 1]
            for side in SIDES
        }
        self._reported = {
            side: [name for name, one in zip(OUTPUTS, of, strict=True) if one >= self._rules.min_skill]
            for side, of in by_side.items()
        }

    def through(self, hfov_deg: float | None) -> Estimator:
        """The same for a camera with another horizontal field of view, degrees; None where it is not known."""
        other = copy.copy(self)
        other._hfov_deg = hfov_deg
        return other

    def estimate(self, observation: Observation, hand: HandObservation) -> Estimate:
        """All outputs that are reported of such hands.

        Parameters
        ----------
        observation
            The frame's.
        hand
            One of its hands.

        Returns
        -------
        The outputs of this frame alone, or one refusal of all of them.
        """
        looked = self.look(observation, hand)
        refusal = looked.refusal or self.refusal_of(looked.hand_presence, looked.ood_score)
        return looked if refusal is None else Estimate({}, refusal)

    def look(self, observation: Observation, hand: HandObservation) -> Estimate:
        """As `estimate`, but for the judgement whether it is a hand seen as usual, which `refusal_of` makes."""
        refusal = self._cannot_be_seen(observation, hand)
        if refusal is not None:
            return Estimate({}, refusal)
        vector = features(observation, hand, self._hfov_deg)[None].astype(np.float32)
        means, sds, hand_presence, ood_score = self._ensemble.estimate(vector)
        pairs = dict(zip(OUTPUTS, zip(means[0].tolist(), sds[0].tolist(), strict=True), strict=True))
        values = {name: pairs[name] for name in self._reported[hand.side]}
        if hand.forearm is not None and hand.forearm.carried_sd_deg > 0:
            values = _widened(values, hand.forearm.carried_sd_deg)
        return Estimate(values, None, hand_presence=float(hand_presence[0]), ood_score=float(ood_score[0]))

    def refusal_of(self, hand_presence: float, ood_score: float, *, shown: bool = False) -> Refusal | None:
        """Why nothing is reported of a hand, None where something may be.

        Parameters
        ----------
        hand_presence
            Probability that it is a hand of that side.
        ood_score
            Out-of-distribution score.
        shown
            Whether something of it is reported already.
        """
        rules = self._rules
        if hand_presence < (rules.keep_hand_presence if shown else rules.min_hand_presence):
            return Refusal.HAND_NOT_SEEN
        if ood_score > (rules.keep_ood_score if shown else rules.max_ood_score):
            return Refusal.UNUSUAL_VIEW
        return None

    def measured(
        self, estimate: Estimate, hand: HandObservation, shown: Collection[str] = ()
    ) -> HandMeasurement:
        """Every quantity of an estimate that was not refused as a whole.

        Parameters
        ----------
        estimate
            Of one frame, or joined over time.
        hand
            The hand it is of, in that frame.
        shown
            The quantities that are reported already.
        """
        values = {
            entry.name: self._judged(entry, estimate, hand, entry.name in shown) for entry in QUANTITIES
        }
        return HandMeasurement(hand.side, values, estimate.lift_plane)

    def refused(self, side: Side, refusal: Refusal) -> HandMeasurement:
        """A hand of which nothing is measurable; what is never reported is refused as that, seen or not."""
        whole, never = Measurement.refused(refusal), Measurement.refused(Refusal.NOT_REPORTED)
        values = {entry.name: whole if entry.output in OUTPUTS else never for entry in QUANTITIES}
        return HandMeasurement(side, values)

    def _judged(self, entry: Quantity, estimate: Estimate, hand: HandObservation, shown: bool) -> Measurement:
        """One quantity of an estimate, refused where it is too uncertain to be of use or not reported at all."""
        refusal = estimate.refusal or estimate.refused_outputs.get(entry.output)
        if refusal is not None:
            return Measurement.refused(refusal)
        pair = estimate.values.get(entry.output)
        if pair is None:
            return Measurement.refused(Refusal.NOT_REPORTED)
        if entry.group == "wrist" and hand.forearm is None:
            return Measurement.refused(Refusal.FOREARM_NOT_SEEN)
        if hand.fingers is None:  # the first guess would lack a part, and nothing was learned of such hands
            return Measurement.refused(Refusal.TOO_UNCERTAIN)
        value, sd = pair
        if sd > self._rules.max_sd(entry, estimate.lift_plane, shown=shown):
            return Measurement.refused(Refusal.TOO_UNCERTAIN)
        # No finger is below the strings: an estimate that says so is off by at least as much.
        return Measurement.of(max(0.0, value) if entry.family == "finger_lift" else value, sd)

    def _cannot_be_seen(self, observation: Observation, hand: HandObservation) -> Refusal | None:
        rules = self._rules
        if palm_size_px(hand.landmarks_px) < rules.min_palm_px:
            return Refusal.HAND_TOO_SMALL
        palm = hand.landmarks_px[[0, 5, 9, 13, 17], :2]
        low, high = palm.min(axis=0), palm.max(axis=0)
        if (low < -rules.edge_px).any() or (
            high > np.array([observation.width_px, observation.height_px]) + rules.edge_px
        ).any():
            return Refusal.HAND_CUT_OFF
        return None


#: What is measured against the forearm's axis, so that it is off by as much as that is.
_AGAINST_FOREARM = frozenset(entry.output for entry in QUANTITIES if entry.group == "wrist")


def _widened(values: dict[str, tuple[float, float]], axis_sd_deg: float) -> dict[str, tuple[float, float]]:
    """The same where the forearm's axis itself has that deviation beside what the estimator knows of."""
    return {
        name: (value, math.hypot(sd, axis_sd_deg) if name in _AGAINST_FOREARM else sd)
        for name, (value, sd) in values.items()
    }
