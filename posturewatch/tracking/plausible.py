"""Whether landmarks can be a hand at all, and whether two sets are one hand. Pure.

The landmark network draws a hand into whatever it is shown, so its own score is not enough. Each bound is
loose: it refuses what no hand does (common practice; the widths were set on real videos and renders), and
leaves doubtful hands to the estimator's uncertainty.
"""

from __future__ import annotations

import math

import numpy as np

from posturewatch.model.arrays import Array
from posturewatch.tracking.crop import hand_scale_px, palm_scale_px

__all__ = ["hand_distance", "is_handlike", "is_same_hand"]


_MIN_SCALE_PX = 10.0  # a palm of fewer pixels has no measurable landmarks
_MIN_INSIDE = 0.6  # share of landmarks within the image
_SAME_HAND = 0.45  # mean landmark distance in hand scales; side by side, two hands are over 0.8 apart

_LONGEST_BONE = 1.3  # a finger bone is at most 0.55 of the palm; seen flat, the palm may be foreshortened

#: The finger bones as pairs of landmarks.
_BONES = np.array([(first, first + 1) for base in (5, 9, 13, 17) for first in range(base, base + 3)])


def is_handlike(landmarks_px: Array, width_px: int, height_px: int) -> bool:
    """Whether landmarks (21, 3) have a size, place and proportions that a hand can have, in an image of that size."""
    if not np.isfinite(landmarks_px).all():
        return False
    scale = hand_scale_px(landmarks_px)
    if not _MIN_SCALE_PX <= scale <= 2.0 * max(width_px, height_px):
        return False
    x, y = landmarks_px[:, 0], landmarks_px[:, 1]
    inside = (x >= 0) & (x < width_px) & (y >= 0) & (y < height_px)
    if inside.mean() < _MIN_INSIDE:
        return False
    bones = np.linalg.norm(landmarks_px[_BONES[:, 0], :2] - landmarks_px[_BONES[:, 1], :2], axis=1)
    if bones.max() > _LONGEST_BONE * palm_scale_px(landmarks_px):
        return False
    # No hand is a point, or a line along its whole length.
    spread = np.sqrt(np.linalg.eigvalsh(np.cov(landmarks_px[:, :2].T)).clip(min=0))
    return bool(spread[1] >= 0.15 * scale and spread[0] >= 0.04 * scale and spread[1] <= 1.2 * scale)


def hand_distance(first_px: Array, second_px: Array) -> float:
    """Mean distance of the landmarks (21, 3) of two hands, in units of the larger one's scale."""
    apart = np.linalg.norm(first_px[:, :2] - second_px[:, :2], axis=1).mean()
    return float(apart) / max(hand_scale_px(first_px), hand_scale_px(second_px), 1e-6)


def is_same_hand(first_px: Array, second_px: Array) -> bool:
    """Whether two sets of landmarks lie on one hand: landmark by landmark, or, where the network drew the
    fingers two ways, by palms that share their place and size."""
    if hand_distance(first_px, second_px) < _SAME_HAND:
        return True
    palms = [points[[0, 5, 9, 13, 17], :2] for points in (first_px, second_px)]
    scale = max(hand_scale_px(first_px), hand_scale_px(second_px), 1e-6)
    return math.dist(palms[0].mean(axis=0), palms[1].mean(axis=0)) < 0.35 * scale
