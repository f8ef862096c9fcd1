"""The tracker told where to look, for training rows that need no search."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from posturewatch.model.observation import BodyObservation
from posturewatch.tracking.roi import Roi, hand_roi
from posturewatch.tracking.still import Candidate, StillFinder

__all__ = ["GroundTruthFinder", "ground_truth_regions"]

LOOKED_FOR_FROM = 0.25  # share of a hand in view from which it is looked for


class GroundTruthFinder(StillFinder):
    """Looks where it is told that hands are, and then as it always does."""

    places: Sequence[Roi] = ()

    def _crops(
        self, image: NDArray[np.uint8], body: BodyObservation | None, hands: list[Candidate]
    ) -> Iterator[Roi]:
        yield from self.places


def ground_truth_regions(label: dict[str, Any], rng: np.random.Generator) -> list[Roi]:
    """Crops of the true hands in view, as inexact as those that follow a hand from frame to frame."""
    places = []
    for truth in label["hands"]:
        points = np.asarray(truth["joints_px"], float)
        if truth["hand_visible"] > LOOKED_FOR_FROM and np.isfinite(points).all():
            exact = hand_roi(points)
            centre = np.asarray(exact.centre_px) + rng.normal(0, 0.06, 2) * exact.size_px
            size = exact.size_px * float(np.exp(rng.normal(0, 0.1)))
            places.append(
                Roi((float(centre[0]), float(centre[1])), size, exact.angle_rad + rng.normal(0, 0.12))
            )
    return places
