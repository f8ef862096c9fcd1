"""One look at a hand: a crop of the image through the landmark network, and what came of it."""

from __future__ import annotations

from dataclasses import dataclass

from posturewatch.model.arrays import Array, Image
from posturewatch.model.observation import Side
from posturewatch.tracking.networks import HAND_INPUT_PX, PALM_INPUT_PX, HandNet, PalmNet, RawHand
from posturewatch.tracking.plausible import hand_distance, is_handlike
from posturewatch.tracking.roi import Roi, cut, hand_roi, palm_roi, to_camera_m, to_image_px

__all__ = [
    "MIN_PALM",
    "MIN_PRESENCE",
    "Detection",
    "collect_palms",
    "find_palms",
    "look",
    "read_hand",
    "refine",
    "start_look",
    "start_palms",
]


#: The palm finder's score from which a landmark look is spent on it; the look then decides.
MIN_PALM = 0.2
#: The landmark network's score below which there is no hand: the library's own bound.
MIN_PRESENCE = 0.5

_SETTLED = 0.06  # hand scales between two looks: no third is needed
_UNSETTLED = 0.35  # a real hand stays where it is when it is looked at again; other things wander


@dataclass(frozen=True)
class Detection:
    """A hand found in the image, its side still open.

    Attributes
    ----------
    landmarks_px, landmarks_m
        (21, 3) as in `HandObservation`.
    presence
        The library's probability of there being a hand, 0..1.
    left_probability
        The library's of its being an anatomical left one, 0..1.
    """

    landmarks_px: Array
    landmarks_m: Array
    presence: float
    left_probability: float

    def label_agrees(self, side: Side) -> bool:
        """Whether the library takes it for a hand of that side."""
        return (self.left_probability >= 0.5) == (side == "left")


def read_hand(raw: RawHand, roi: Roi, *, mirrored: bool) -> Detection:
    """What a network said of a crop, in the image's terms.

    Parameters
    ----------
    raw
        The network's; its label is meant for a mirrored image.
    roi
        Where the crop lies in the image.
    mirrored
        Whether the image is.
    """
    return Detection(
        to_image_px(raw.landmarks_px, roi, HAND_INPUT_PX),
        to_camera_m(raw.landmarks_m, roi),
        raw.presence,
        raw.label_left if mirrored else 1.0 - raw.label_left,
    )


def start_look(net: HandNet, image_bgr: Image, roi: Roi) -> None:
    """Lets the landmark network loose on a crop of the image; returns at once."""
    cut(image_bgr, roi, HAND_INPUT_PX, out=net.image_rgb)
    net.start()


def look(net: HandNet, image_bgr: Image, roi: Roi, *, mirrored: bool) -> Detection:
    """What the landmark network sees in that crop, hand or not."""
    start_look(net, image_bgr, roi)
    return read_hand(net.wait(), roi, mirrored=mirrored)


def refine(
    net: HandNet,
    image_bgr: Image,
    roi: Roi,
    *,
    mirrored: bool,
    looks: int = 4,
    least: float = MIN_PRESENCE,
) -> Detection | None:
    """The hand in a crop, looked at again with a crop fitted to it until it settles.

    Parameters
    ----------
    net
        What looks.
    image_bgr, roi
        The image, and where in it the first crop lies.
    mirrored
        Whether the image is.
    looks
        At most so many.
    least
        Presence below which there is no hand.

    Returns
    -------
    The hand; None where there is none, or where what was seen wanders or cannot be a hand.
    """
    height, width = image_bgr.shape[:2]
    seen = look(net, image_bgr, roi, mirrored=mirrored)
    moved = 0.0
    for _ in range(looks - 1):
        if seen.presence < 0.1 or not is_handlike(seen.landmarks_px, width, height):
            return None
        again = look(net, image_bgr, hand_roi(seen.landmarks_px), mirrored=mirrored)
        moved = hand_distance(again.landmarks_px, seen.landmarks_px)
        seen = again
        if moved < _SETTLED:
            break
    if seen.presence < least or moved > _UNSETTLED:
        return None
    return seen if is_handlike(seen.landmarks_px, width, height) else None


def start_palms(net: PalmNet, image_bgr: Image, tile: Roi) -> None:
    """Lets the palm finder loose on a tile of the image; returns at once."""
    cut(image_bgr, tile, PALM_INPUT_PX, replicate=False, out=net.image_rgb)
    net.start()


def collect_palms(net: PalmNet, tile: Roi) -> list[tuple[float, Roi]]:
    """What was found in the tile that was started.

    Parameters
    ----------
    net
        The palm finder.
    tile
        The part of the image it was started on.

    Returns
    -------
    Score and the hand's crop of each palm, best first.
    """
    return [(palm.score, palm_roi(palm, tile)) for palm in net.wait() if palm.score >= MIN_PALM]


def find_palms(net: PalmNet, image_bgr: Image, tile: Roi) -> list[tuple[float, Roi]]:
    """`start_palms` and `collect_palms` at once."""
    start_palms(net, image_bgr, tile)
    return collect_palms(net, tile)
