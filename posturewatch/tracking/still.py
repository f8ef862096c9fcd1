"""Single pictures: everything is looked at, since there is no next frame."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from posturewatch.observation import BodyObservation, Side
from posturewatch.tracking.body import (
    BodyFinder,
    arm,
    face_px,
    hand_length_px,
    usable_wrist,
    whole_picture,
    wrists_of,
)
from posturewatch.tracking.forearm import hand_scale_px
from posturewatch.tracking.hands import Seen, find_palms, look_closely
from posturewatch.tracking.networks import HandNet, PalmNet
from posturewatch.tracking.plausible import is_face, is_same_hand
from posturewatch.tracking.roi import Roi, forearm_roi
from posturewatch.tracking.sides import assign_sides, body_evidence, label_evidence

__all__ = ["StillFinder", "side_evidence"]

Array = NDArray[np.float64]
Image = NDArray[np.uint8]

_SIDES: tuple[Side, Side] = ("left", "right")
_SURE = 0.8  # presence from which a hand is not looked for any further


def side_evidence(seen: Seen, body: BodyObservation | None, width_px: int, height_px: int) -> float:
    """Log odds for left from the label and the body together."""
    evidence = label_evidence(seen.left_probability, seen.presence)
    if body is None:
        return evidence
    scale = hand_scale_px(seen.landmarks_px)
    return evidence + body_evidence(seen.landmarks_px[0, :2], scale, *wrists_of(body, width_px, height_px))


def _generic_tiles(width_px: int, height_px: int) -> Iterator[Roi]:
    """Squares that cover the picture at smaller and smaller scales, with overlap; then one wider than it."""
    short, long = min(width_px, height_px), max(width_px, height_px)
    for share in (1.0, 0.6):
        size = share * short
        across = max(1, math.ceil((width_px - size) / (0.62 * size)) + 1) if width_px > size else 1
        down = max(1, math.ceil((height_px - size) / (0.62 * size)) + 1) if height_px > size else 1
        for j in range(down):
            for i in range(across):
                x = size / 2 + (width_px - size) * (i / (across - 1) if across > 1 else 0.5)
                y = size / 2 + (height_px - size) * (j / (down - 1) if down > 1 else 0.5)
                if size < 0.98 * long:
                    yield Roi((x, y), size)
    yield Roi((width_px / 2, height_px / 2), 1.7 * long)


class StillFinder:
    """Hands and body of one picture, with no memory of any other."""

    def __init__(self, mirrored: bool) -> None:
        self._mirrored = mirrored
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
        face = face_px(body)
        hands: list[Seen] = []
        for roi in self._cuttings(image_bgr, body, hands):
            if any(self._covers(hand, roi) for hand in hands):
                continue
            seen = look_closely(self._hand, image_bgr, roi, mirrored=self._mirrored)
            if seen is not None and not is_face(seen.landmarks_px, seen.presence, face):
                self._add(hands, seen)
        hands = sorted(hands, key=lambda hand: -hand.presence)[:4]
        decided = assign_sides([side_evidence(hand, body, width, height) for hand in hands])
        return [
            (side, confidence, hand)
            for hand, (side, confidence) in zip(hands, decided, strict=True)
            if side is not None
        ], body

    def _cuttings(self, image: Image, body: BodyObservation | None, hands: list[Seen]) -> Iterator[Roi]:
        """Where to look, likeliest first; ends when both hands are surely found."""
        height, width = image.shape[:2]
        for _, roi in find_palms(self._palm, image, whole_picture(image)):
            yield roi
        if body is not None and not self._complete(hands):
            yield from self._around_body(image, body)
        for tile in _generic_tiles(width, height):
            if self._complete(hands):
                return
            for _, roi in find_palms(self._palm, image, tile):
                yield roi

    def _around_body(self, image: Image, body: BodyObservation) -> Iterator[Roi]:
        height, width = image.shape[:2]
        for side in _SIDES:
            wrist = usable_wrist(body, side, width, height)
            if wrist is None:
                continue
            length = hand_length_px(body, side)
            guess = forearm_roi(arm(body, side)[1], wrist, length)
            for _, roi in find_palms(self._palm, image, Roi(guess.centre_px, 3.0 * length)):
                yield roi
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
