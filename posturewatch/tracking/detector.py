"""What a detector network says of a square image, as boxes with keypoints. Pure.

Anchors, decoding and suppression are those of the tracking library's graphs `palm_detection_cpu` and
`pose_detection_cpu` (mediapipe 0.10.21, calculators `SsdAnchors`, `TensorsToDetections` and `NonMaxSuppression` with
its weighted algorithm); a test holds them to those graphs.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from posturewatch.model.arrays import Array

__all__ = ["MIN_SCORE", "Found", "anchors", "decode", "suppress"]


#: Candidates below this score are dropped.
MIN_SCORE = 0.2
#: Candidates that overlap the best one by more than this, as intersection over union, are taken together with it.
_MIN_OVERLAP = 0.3
#: Two anchors in every cell of a layer.
_PER_CELL = 2


@dataclass(frozen=True)
class Found:
    """One detection in a square image.

    Attributes
    ----------
    box
        (4,) left, top, width and height in units of the image's side.
    keypoints
        (k, 2) in the same.
    score
        0..1.
    """

    box: Array
    keypoints: Array
    score: float


def anchors(size_px: int, strides: Sequence[int]) -> Array:
    """(n, 2) centres of the anchors, in units of the image's side. Layers of one stride share their cells."""
    centres = []
    for stride in dict.fromkeys(strides):
        cells = -(-size_px // stride)
        y, x = np.mgrid[:cells, :cells]
        cell = np.stack([x.ravel() + 0.5, y.ravel() + 0.5], axis=1) / cells
        centres.append(np.repeat(cell, _PER_CELL * list(strides).count(stride), axis=0))
    return np.concatenate(centres)


def decode(boxes: Array, logits: Array, centres: Array, size_px: int) -> tuple[Array, Array, Array]:
    """Boxes (n, 4) as xmin, ymin, width, height, keypoints (n, k, 2) and scores (n,) of the candidates from
    `MIN_SCORE`, best first.

    boxes: (a, 4 + 2 k) raw, in pixels from the anchors; logits: (a,) raw scores; centres: (a, 2).
    """
    scores = 1 / (1 + np.exp(-np.clip(logits, -100, 100)))
    chosen = np.flatnonzero(scores >= MIN_SCORE)
    chosen = chosen[np.argsort(-scores[chosen], kind="stable")]
    places = boxes[chosen].reshape(len(chosen), boxes.shape[1] // 2, 2) / size_px
    places[:, [0, *range(2, places.shape[1])]] += centres[chosen, None]
    corner = places[:, 0] - places[:, 1] / 2
    return np.concatenate([corner, places[:, 1]], axis=1), places[:, 2:], scores[chosen]


def suppress(boxes: Array, keypoints: Array, scores: Array) -> list[Found]:
    """Candidates that lie upon one another as one, the mean of them weighted by their scores; best first."""
    found = []
    left = np.arange(len(scores))
    while len(left):
        best = left[0]
        together = _overlap(boxes[best], boxes[left]) > _MIN_OVERLAP
        group, rest = left[together], left[~together]
        if not len(group):
            break
        weights = scores[group] / scores[group].sum()
        found.append(
            Found(
                np.tensordot(weights, boxes[group], 1),
                np.tensordot(weights, keypoints[group], 1),
                float(scores[best]),
            )
        )
        left = rest
    return found


def _overlap(box: Array, others: Array) -> Array:
    """(n,) intersection over union of a box with others (n, 4)."""
    low = np.maximum(box[:2], others[:, :2])
    high = np.minimum(box[:2] + box[2:], others[:, :2] + others[:, 2:])
    shared = np.prod(np.maximum(high - low, 0), axis=1)
    total = np.prod(box[2:]) + np.prod(others[:, 2:], axis=1) - shared
    return np.asarray(np.where(total > 0, shared / np.where(total > 0, total, 1), 0))
