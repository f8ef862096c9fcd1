"""Whether what was tracked is the hand that our own networks see there. Pure.

The library's landmarks sometimes lie on a hand turned inside out or upside down and are sure of it all the same. Our
networks look at the crop that those landmarks define and say where they see the joints, and whether it is a hand of
the side it was cut for: where they disagree, another look may find the hand as it is. Weights and odds were fitted on
the calibration identities.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from posturewatch.model.arrays import Array
from posturewatch.model.observation import Side
from posturewatch.tracking.crop import Crop

__all__ = ["UNJUDGED", "Judgement", "SideView", "best_of", "cross_entropy_of", "landmark_error"]


#: What a nat of cross-entropy about the side weighs, in hand scales of landmark error.
_CROSS_ENTROPY_WEIGHT = 0.1
#: Beyond this cross-entropy, in nats, it is no hand of that side.
_MAX_CROSS_ENTROPY = 2.0


@dataclass(frozen=True)
class SideView:
    """What the networks say of landmarks taken for a hand of one side.

    Attributes
    ----------
    landmark_error
        Mean distance of the landmarks from where the networks see the joints, hand scales.
    cross_entropy
        Mean over the networks of -log probability of that side, nats.
    hand
        Logit of there being a hand at all.
    """

    landmark_error: float
    cross_entropy: float
    hand: float

    @property
    def cost(self) -> float:
        """What is least for the right landmarks and side, hand scales."""
        return self.landmark_error + _CROSS_ENTROPY_WEIGHT * self.cross_entropy

    @property
    def odds(self) -> float:
        """Log odds that a hand lies as tracked (logistic regression)."""
        return 1.75 + 0.5 * self.hand - 8.0 * self.landmark_error


@dataclass(frozen=True)
class Judgement:
    """Both views of the same landmarks.

    Attributes
    ----------
    left, right
        As a hand of either side.
    evidence
        Log odds for left from both.
    """

    left: SideView
    right: SideView
    evidence: float

    def view(self, side: Side | None = None) -> SideView:
        """Of that side, or of the likelier one."""
        if side is None:
            return min(self.left, self.right, key=lambda view: view.cost)
        return self.left if side == "left" else self.right

    @property
    def landmark_error(self) -> float:
        """The greater one of the sides that it may be."""
        views = [view for view in (self.left, self.right) if view.cross_entropy < _MAX_CROSS_ENTROPY]
        return max(view.landmark_error for view in views or [self.view()])


#: Where no network is asked.
UNJUDGED = Judgement(SideView(0.0, 0.0, 2.5), SideView(0.0, 0.0, 2.5), 0.0)


def landmark_error(landmarks_px: Array, side: Side, joints: Array, crop: Crop) -> float:
    """How far tracked landmarks lie from the joints that a network sees, once both are scaled alike.

    Parameters
    ----------
    landmarks_px
        (21, 3) in the image.
    side
        The side the hand looks like in the image.
    joints
        (20, 3) those beyond the wrist, as seen from the wrist in the crop's axes; any unit.
    crop
        What the network looked at.

    Returns
    -------
    Mean distance, hand scales.
    """
    affine = crop.transform(landmarks_px, side)
    points = (landmarks_px[1:, :2] - landmarks_px[0, :2]) @ affine[:, :2].T / crop.hand_px
    seen = joints[:, :2]
    scale = max(float((seen * points).sum() / max((seen**2).sum(), 1e-12)), 0.0)
    return float(np.linalg.norm(scale * seen - points, axis=1).mean())


def cross_entropy_of(logits: Sequence[float]) -> float:
    """Mean of -log(sigmoid(logit)) in nats; 0 without any."""
    return float(np.mean(np.logaddexp(0.0, -np.asarray(logits)))) if len(logits) else 0.0


def best_of(judged: Sequence[Judgement], side: Side | None = None) -> int:
    """Which of several looks at one hand agrees best with the networks.

    Parameters
    ----------
    judged
        What they make of each look.
    side
        For a hand of that side, None for either.

    Returns
    -------
    Its place among them.
    """
    costs = [each.view(side).cost for each in judged]
    return min(range(len(costs)), key=costs.__getitem__)
