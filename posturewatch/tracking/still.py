"""Single pictures: everything is looked at, since there is no next frame."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator

import numpy as np
from numpy.typing import NDArray

from posturewatch.observation import BodyObservation, Side
from posturewatch.tracking.body import (
    BodyFinder,
    arm,
    hand_length_px,
    is_false_hand,
    usable_wrist,
    whole_picture,
    wrists_of,
)
from posturewatch.tracking.cutting import hand_scale_px
from posturewatch.tracking.hands import Seen, find_palms, look_closely
from posturewatch.tracking.networks import HandNet, PalmNet
from posturewatch.tracking.plausible import is_same_hand
from posturewatch.tracking.roi import Roi, forearm_roi
from posturewatch.tracking.sides import assign_sides, body_evidence, label_evidence

__all__ = ["SideLook", "StillFinder", "side_evidence"]

Array = NDArray[np.float64]
Image = NDArray[np.uint8]

#: Log odds for left from a closer look at a hand's landmarks (21, 3) in a picture.
SideLook = Callable[[Image, Array], float]

_SIDES: tuple[Side, Side] = ("left", "right")
#: In a picture alone a hand of less presence than usual is kept: what our own networks see of it decides later.
_LEAST = 0.2
_SURE = 0.8  # presence from which a hand is not looked for any further


def side_evidence(seen: Seen, body: BodyObservation | None, width_px: int, height_px: int) -> float:
    """Log odds for left from the label and the body together."""
    evidence = label_evidence(seen.left_probability, seen.presence)
    if body is None:
        return evidence
    scale = hand_scale_px(seen.landmarks_px)
    return evidence + body_evidence(seen.landmarks_px[0, :2], scale, *wrists_of(body, width_px, height_px))


def _square_tiles(width_px: int, height_px: int, share: float) -> list[Roi]:
    """Upright squares of that share of the picture's shorter side that cover it with overlap."""
    size = share * min(width_px, height_px)

    def places(length: float) -> NDArray[np.float64]:
        count = math.ceil((length - size) / (0.62 * size)) + 1 if length > size + 1 else 1
        return np.linspace(size / 2, length - size / 2, count) if count > 1 else np.array([length / 2])

    return [Roi((float(x), float(y)), size) for y in places(height_px) for x in places(width_px)]


def _first_tiles(width_px: int, height_px: int) -> list[Roi]:
    """A square wider than the picture, for hands that fill it, and squares of its height. Of 84 rendered
    close-ups of a fretting hand these and the body's wrists bring the share found from 0.74 to 0.87."""
    wide = Roi((width_px / 2, height_px / 2), 1.7 * max(width_px, height_px))
    return [wide, *_square_tiles(width_px, height_px, 1.0)]


def _last_tiles(width_px: int, height_px: int) -> list[Roi]:
    """The same, turned either way (the palm finder misses some hands by their direction alone: 0.87 to 0.92),
    and smaller squares for small hands."""
    turned = [
        Roi(tile.centre_px, tile.size_px, angle)
        for angle in (1.2, -1.2)
        for tile in _first_tiles(width_px, height_px)
    ]
    return turned + _square_tiles(width_px, height_px, 0.6)


class StillFinder:
    """Hands and body of one picture, with no memory of any other.

    side_look: what tells a hand's side besides the label and the body.
    """

    def __init__(self, mirrored: bool, side_look: SideLook | None = None) -> None:
        self._mirrored = mirrored
        self._side_look = side_look
        self._palm = PalmNet()
        self._hand = HandNet()
        self._body = BodyFinder(mirrored)

    def find(
        self, image_bgr: Image, time_s: float
    ) -> tuple[list[tuple[Side, float, Seen]], BodyObservation | None]:
        """((side, confidence, hand) of each hand), body."""
        height, width = image_bgr.shape[:2]
        self._body.forget()
        body = self._body.look(image_bgr, time_s)
        hands: list[Seen] = []
        for roi in self._cuttings(image_bgr, body, hands):
            if any(self._covers(hand, roi) for hand in hands):
                continue
            seen = look_closely(self._hand, image_bgr, roi, mirrored=self._mirrored, least=_LEAST)
            if seen is not None and not is_false_hand(seen.landmarks_px, seen.presence, body, width, height):
                self._add(hands, seen)
        hands = sorted(hands, key=lambda hand: -hand.presence)[:4]
        evidence = [side_evidence(hand, body, width, height) for hand in hands]
        if self._side_look is not None:
            evidence = [
                so_far + self._side_look(image_bgr, hand.landmarks_px)
                for so_far, hand in zip(evidence, hands, strict=True)
            ]
        decided = assign_sides(evidence)
        return [
            (side, confidence, hand)
            for hand, (side, confidence) in zip(hands, decided, strict=True)
            if side is not None
        ], body

    def _cuttings(self, image: Image, body: BodyObservation | None, hands: list[Seen]) -> Iterator[Roi]:
        """Where to look, likeliest first; ends when both hands are surely found."""
        height, width = image.shape[:2]
        yield from (roi for _, roi in find_palms(self._palm, image, whole_picture(image)))
        if body is not None and not self._complete(hands):
            yield from self._around_body(image, body)
        for tile in (*_first_tiles(width, height), *_last_tiles(width, height)):
            if not self._complete(hands):
                yield from (roi for _, roi in find_palms(self._palm, image, tile))

    def _around_body(self, image: Image, body: BodyObservation) -> Iterator[Roi]:
        height, width = image.shape[:2]
        for side in _SIDES:
            wrist = usable_wrist(body, side, width, height)
            if wrist is None:
                continue
            length = hand_length_px(body, side)
            guess = forearm_roi(arm(body, side)[1], wrist, length)
            around = Roi(guess.centre_px, 3.0 * length)
            yield from (roi for _, roi in find_palms(self._palm, image, around))
            yield guess

    @staticmethod
    def _complete(hands: list[Seen]) -> bool:
        return sum(hand.presence >= _SURE for hand in hands) >= 2

    @staticmethod
    def _covers(hand: Seen, roi: Roi) -> bool:
        """Whether a cutting shows a hand that is surely known already."""
        middle = hand.landmarks_px[[0, 5, 9, 13, 17], :2].mean(axis=0)
        scale = hand_scale_px(hand.landmarks_px)
        return hand.presence >= _SURE and math.dist(middle, roi.centre_px) < 0.5 * scale

    @staticmethod
    def _add(hands: list[Seen], seen: Seen) -> None:
        """Keeps the better of two looks at one hand."""
        for i, hand in enumerate(hands):
            if is_same_hand(hand.landmarks_px, seen.landmarks_px):
                if seen.presence > hand.presence:
                    hands[i] = seen
                return
        hands.append(seen)

    def close(self) -> None:
        self._palm.close()
        self._hand.close()
        self._body.close()
