"""Single images: everything is looked at, and looked at again where our own networks see another hand than was
tracked, since there is no next frame."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from posturewatch.model.arrays import Array, Image
from posturewatch.model.observation import SIDES, BodyObservation, Side
from posturewatch.tracking.agreement import UNJUDGED, Judgement, best_of
from posturewatch.tracking.body import (
    BodyFinder,
    arm,
    arm_trust,
    hand_length_px,
    is_false_hand,
    whole_image,
    wrists_of,
)
from posturewatch.tracking.crop import hand_scale_px
from posturewatch.tracking.hands import Detection, find_palms, refine
from posturewatch.tracking.networks import HandNet, PalmNet
from posturewatch.tracking.plausible import is_same_hand
from posturewatch.tracking.roi import FAR, NEAR, Roi, forearm_roi, hand_roi
from posturewatch.tracking.sides import assign_sides, body_evidence, label_evidence

__all__ = ["Candidate", "Judge", "StillFinder", "side_evidence"]


#: What our own networks make of hands' landmarks (21, 3) in an image.
Judge = Callable[[Image, list[Array]], list[Judgement]]

#: In an image alone a hand of less presence than usual is kept: what our own networks see of it decides later.
_LEAST = 0.2
_SURE = 0.8  # presence from which a hand is not looked for any further
_SURE_ODDS = 1.5  # and log odds, by our networks, that it lies as tracked
#: Hand scales: hands whose joints the networks see no farther from where they were tracked are not looked at again.
_FITS = 0.25
_MIN_TRUST = 0.2  # of an arm, to look for a hand at its wrist; a look in vain costs only time
#: Where nothing is known: the crops' sizes, as shares of the image's shorter side, and their directions.
_SIZES = (1.15, 0.8, 0.55)
_DIRECTIONS = [k * math.pi / 3 for k in range(6)]
_ALIKE = 1.7  # both hands are alike in size but for perspective: factor up to which they may differ


def side_evidence(seen: Detection, body: BodyObservation | None, width_px: int, height_px: int) -> float:
    """Log odds for left from the label and the body together.

    Parameters
    ----------
    seen
        The hand.
    body
        The body, or None.
    width_px, height_px
        Of the image.
    """
    evidence = label_evidence(seen.left_probability, seen.presence)
    if body is None:
        return evidence
    scale = hand_scale_px(seen.landmarks_px)
    return evidence + body_evidence(seen.landmarks_px[0, :2], scale, *wrists_of(body, width_px, height_px))


def _square_tiles(width_px: int, height_px: int, share: float) -> list[Roi]:
    """Upright squares of that share of the image's shorter side that cover it with overlap."""
    size = share * min(width_px, height_px)

    def places(length: float) -> NDArray[np.float64]:
        count = math.ceil((length - size) / (0.62 * size)) + 1 if length > size + 1 else 1
        return np.linspace(size / 2, length - size / 2, count) if count > 1 else np.array([length / 2])

    return [Roi((float(x), float(y)), size) for y in places(height_px) for x in places(width_px)]


def _first_tiles(width_px: int, height_px: int) -> list[Roi]:
    """A square wider than the image, for hands that fill it, and squares of its height."""
    wide = Roi((width_px / 2, height_px / 2), 1.7 * max(width_px, height_px))
    return [wide, *_square_tiles(width_px, height_px, 1.0)]


def _last_tiles(width_px: int, height_px: int) -> list[Roi]:
    """The same, turned either way (the palm finder misses some hands by their direction alone), and smaller squares
    for small hands."""
    turned = [
        Roi(tile.centre_px, tile.size_px, angle)
        for angle in (1.2, -1.2)
        for tile in _first_tiles(width_px, height_px)
    ]
    return turned + _square_tiles(width_px, height_px, 0.6)


@dataclass(frozen=True)
class Candidate:
    """A hand found in the image, and what the networks make of it."""

    seen: Detection
    judgement: Judgement

    @property
    def odds(self) -> float:
        """Log odds of being a hand, by the networks and by its presence."""
        presence = min(max(self.seen.presence, 0.02), 0.998)
        return self.judgement.view().odds + 0.25 * math.log(presence / (1 - presence))

    @property
    def sure(self) -> bool:
        """Whether it is not looked for any further."""
        return self.seen.presence >= _SURE and self.judgement.view().odds >= _SURE_ODDS

    def covers(self, roi: Roi) -> bool:
        """Whether a crop shows this hand, and it is known well enough already."""
        middle = self.seen.landmarks_px[[0, 5, 9, 13, 17], :2].mean(axis=0)
        return self.sure and math.dist(middle, roi.centre_px) < 0.5 * hand_scale_px(self.seen.landmarks_px)

    def is_at(self, other: Detection) -> bool:
        """Whether the other one lies where this one does."""
        middles = [seen.landmarks_px[:, :2].mean(axis=0) for seen in (self.seen, other)]
        return math.dist(*middles) < 0.7 * hand_scale_px(self.seen.landmarks_px)


class StillFinder:
    """Hands and body of one image, with no memory of any other.

    Parameters
    ----------
    mirrored
        Whether images are.
    judge
        Our own networks' opinion of hands' landmarks; without it the library's landmarks are taken as they are.
    """

    def __init__(self, mirrored: bool, judge: Judge | None = None) -> None:
        self._mirrored = mirrored
        self._judge = judge
        self._palm = PalmNet()
        self._hand = HandNet()
        self._body = BodyFinder(mirrored)

    def find(
        self, image_bgr: Image, time_s: float
    ) -> tuple[list[tuple[Side, float, Detection]], BodyObservation | None]:
        """Side, confidence and landmarks of each hand, and the body; see `posturewatch.tracking.tracker.Finder`."""
        height, width = image_bgr.shape[:2]
        self._body.forget()
        body = self._body.look(image_bgr, time_s)
        hands: list[Candidate] = []
        for roi in self._crops(image_bgr, body, hands):
            if any(candidate.covers(roi) for candidate in hands):
                continue
            seen = self._look(image_bgr, roi, body)
            if seen is not None:
                self._add(hands, Candidate(seen, self._judged(image_bgr, [seen])[0]))
        hands = sorted(hands, key=lambda candidate: -candidate.odds)[:4]
        looks = [self._looks(image_bgr, candidate, body) for candidate in hands]
        best = [some[best_of([each.judgement for each in some])] for some in looks]
        evidence = [side_evidence(each.seen, body, width, height) + each.judgement.evidence for each in best]
        decided = assign_sides(evidence, being=[each.odds for each in best])
        return [
            (side, confidence, some[best_of([each.judgement for each in some], side)].seen)
            for some, (side, confidence) in zip(looks, decided, strict=True)
            if side is not None
        ], body

    def _judged(self, image: Image, hands: list[Detection]) -> list[Judgement]:
        if self._judge is None:
            return [UNJUDGED] * len(hands)
        return self._judge(image, [seen.landmarks_px for seen in hands])

    def _look(self, image: Image, roi: Roi, body: BodyObservation | None) -> Detection | None:
        height, width = image.shape[:2]
        seen = refine(self._hand, image, roi, mirrored=self._mirrored, least=_LEAST)
        if seen is None or is_false_hand(seen.landmarks_px, seen.presence, body, width, height):
            return None
        return seen

    def _looks(self, image: Image, candidate: Candidate, body: BodyObservation | None) -> list[Candidate]:
        """That hand, and where the networks see another one than was tracked, what further looks at it found."""
        if candidate.judgement.landmark_error <= _FITS:
            return [candidate]
        roi = hand_roi(candidate.seen.landmarks_px)
        again = [self._look(image, roi.grown(*other), body) for other in NEAR]
        again.append(self._look_mirrored(image, roi))
        further = [seen for seen in again if seen is not None and candidate.is_at(seen)]
        return [
            candidate,
            *(Candidate(*both) for both in zip(further, self._judged(image, further), strict=True)),
        ]

    def _look_mirrored(self, image: Image, roi: Roi) -> Detection | None:
        """The same place in the mirrored image, where the landmark network may take the hand otherwise."""
        width = image.shape[1]
        flipped = Roi((width - 1 - roi.centre_px[0], roi.centre_px[1]), roi.size_px, -roi.angle_rad)
        seen = refine(
            self._hand,
            np.ascontiguousarray(image[:, ::-1]),
            flipped,
            mirrored=not self._mirrored,
            least=_LEAST,
        )
        if seen is None:
            return None
        landmarks_px, landmarks_m = seen.landmarks_px.copy(), seen.landmarks_m * (-1, 1, 1)
        landmarks_px[:, 0] = width - 1 - landmarks_px[:, 0]
        return Detection(landmarks_px, landmarks_m, seen.presence, seen.left_probability)

    def _crops(self, image: Image, body: BodyObservation | None, hands: list[Candidate]) -> Iterator[Roi]:
        """Where to look, likeliest first; ends when both hands are found for certain."""
        height, width = image.shape[:2]
        yield from (roi for _, roi in find_palms(self._palm, image, whole_image(image)))
        if body is not None and not self._complete(hands):
            yield from self._around_body(image, body, hands)
        for tile in (*_first_tiles(width, height), *_last_tiles(width, height)):
            if not self._complete(hands):
                yield from (roi for _, roi in find_palms(self._palm, image, tile))
        for roi in self._everywhere(image, hands):
            if self._complete(hands):
                break
            yield roi

    def _around_body(self, image: Image, body: BodyObservation, hands: list[Candidate]) -> Iterator[Roi]:
        """Where the body's wrists are: what the palm finder finds there, then hands in line with the forearm, and
        bent away from it, since the palm finder misses some views of a hand altogether."""
        height, width = image.shape[:2]
        for side in SIDES:
            if arm_trust(body, side, width, height) < _MIN_TRUST:
                continue
            _, elbow, wrist = arm(body, side)
            length = hand_length_px(body, side)
            around = Roi(forearm_roi(elbow, wrist, length).centre_px, 3.0 * length)
            yield from (roi for _, roi in find_palms(self._palm, image, around))
            for size, turn in [(1.0, 0.0), *FAR]:
                if self._complete(hands):
                    return
                yield forearm_roi(elbow, wrist, size * length, turn)

    @staticmethod
    def _everywhere(image: Image, hands: list[Candidate]) -> Iterator[Roi]:
        """Crops all over the image, for large hands that the palm finder does not know; of about the size of
        the one hand that is known, if any."""
        height, width = image.shape[:2]
        known = [hand_roi(candidate.seen.landmarks_px).size_px for candidate in hands if candidate.sure]
        for share in _SIZES:
            size = share * min(width, height)
            if known and not 1 / _ALIKE < size / known[0] < _ALIKE:
                continue
            for tile in _square_tiles(width, height, share):
                yield from (Roi(tile.centre_px, size, direction) for direction in _DIRECTIONS)

    @staticmethod
    def _complete(hands: list[Candidate]) -> bool:
        return sum(candidate.sure for candidate in hands) >= 2

    @staticmethod
    def _add(hands: list[Candidate], new: Candidate) -> None:
        """Keeps the better of two looks at one hand."""
        for i, candidate in enumerate(hands):
            if is_same_hand(candidate.seen.landmarks_px, new.seen.landmarks_px):
                if new.odds > candidate.odds:
                    hands[i] = new
                return
        hands.append(new)

    def close(self) -> None:
        """Hands the networks back."""
        self._palm.close()
        self._hand.close()
        self._body.close()
