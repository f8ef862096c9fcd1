"""What a tracker saw in one frame: hand landmarks, forearm axis, body, each with its confidence.

Pure data. Camera axes for everything in metres: x right in the image, y down, z away from the camera.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from scipy.special import expit

from posturewatch.model.arrays import Array
from posturewatch.model.network_outputs import FingerOutputs, ForearmOutputs

__all__ = [
    "BODY_LANDMARKS",
    "FINGERS",
    "HAND_LANDMARKS",
    "SIDES",
    "BodyObservation",
    "ForearmAxis",
    "HandObservation",
    "Observation",
    "Side",
    "other_side",
]

Side = Literal["left", "right"]

#: Both sides, left first, as everywhere.
SIDES: tuple[Side, Side] = ("left", "right")

#: Both sides, left first, as everywhere.


#: Index of each hand landmark (wrist, then four per digit from base to tip).
HAND_LANDMARKS: dict[str, int] = {
    "wrist": 0,
    "thumb_cmc": 1, "thumb_mcp": 2, "thumb_ip": 3, "thumb_tip": 4,
    "index_mcp": 5, "index_pip": 6, "index_dip": 7, "index_tip": 8,
    "middle_mcp": 9, "middle_pip": 10, "middle_dip": 11, "middle_tip": 12,
    "ring_mcp": 13, "ring_pip": 14, "ring_dip": 15, "ring_tip": 16,
    "little_mcp": 17, "little_pip": 18, "little_dip": 19, "little_tip": 20,
}  # fmt: skip

#: The digits in anatomical order. Guitarists' numbers 1-4 are index to little.
FINGERS: tuple[str, ...] = ("thumb", "index", "middle", "ring", "little")

#: The body landmarks that are used, by their index among the tracker's 33.
BODY_LANDMARKS: dict[str, int] = {
    "nose": 0,
    "left_shoulder": 11, "right_shoulder": 12,
    "left_elbow": 13, "right_elbow": 14,
    "left_wrist": 15, "right_wrist": 16,
    "left_little": 17, "right_little": 18,
    "left_index": 19, "right_index": 20,
    "left_thumb": 21, "right_thumb": 22,
    "left_hip": 23, "right_hip": 24,
}  # fmt: skip


def other_side(side: Side) -> Side:
    """The other one; raises ValueError for what is no side."""
    if side == "left":
        return "right"
    if side == "right":
        return "left"
    raise ValueError(f"a side is 'left' or 'right', got {side!r}")


def _check(name: str, array: Array, shape: tuple[int, ...]) -> None:
    if array.shape != shape:
        raise ValueError(f"{name} needs shape {shape}, got {array.shape}")


@dataclass(frozen=True)
class ForearmAxis:
    """The forearm's midline near the wrist, in the image.

    Attributes
    ----------
    wrist_px
        (2,) where the axis meets the wrist.
    towards_elbow_px
        (2,) a point on the axis on the elbow's side (not the elbow itself).
    sd_deg
        Standard deviation of the axis's angle in the image, degrees.
    outputs
        All that the forearm network says of this hand.
    carried_sd_deg
        Standard deviation of what the axis may have turned since the network saw it, degrees; 0 where it saw it in
        this very frame.
    """

    wrist_px: Array
    towards_elbow_px: Array
    sd_deg: float
    outputs: ForearmOutputs[Array]
    carried_sd_deg: float = 0.0

    def __post_init__(self) -> None:
        _check("wrist_px", self.wrist_px, (2,))
        _check("towards_elbow_px", self.towards_elbow_px, (2,))

    @property
    def strings_visible(self) -> float:
        """Probability that the strings beside the hand's fingers are in view."""
        return float(expit(self.outputs.strings_logit))


@dataclass(frozen=True)
class HandObservation:
    """One hand in one frame.

    Attributes
    ----------
    side
        Anatomical side, whatever the mirroring.
    side_confidence
        Of the side, 0..1; 0.5 is a guess.
    score
        The tracker's confidence that this is a hand, 0..1.
    landmarks_px
        (21, 3): x and y in pixels of the image, z in the same scale relative to the wrist, negative towards the
        camera.
    landmarks_m
        (21, 3) metres in camera axes, origin near the hand's centre.
    label_agrees
        Whether the library's own left/right label in this very frame agrees with `side`; where it does not, the
        depth of both landmark sets tends to be turned inside out.
    forearm
        The axis measured in the image, None without the forearm network.
    fingers
        All that the finger network says of this hand, None without it.
    looked_at
        Whether it was looked at in this frame; else all of it is as in the last frame in which it was.

    Raises
    ------
    ValueError
        Landmarks have another shape.
    """

    side: Side
    side_confidence: float
    score: float
    landmarks_px: Array
    landmarks_m: Array
    label_agrees: bool
    forearm: ForearmAxis | None
    fingers: FingerOutputs[Array] | None = None
    looked_at: bool = True

    def __post_init__(self) -> None:
        _check("landmarks_px", self.landmarks_px, (21, 3))
        _check("landmarks_m", self.landmarks_m, (21, 3))


@dataclass(frozen=True)
class BodyObservation:
    """The body as last seen.

    Attributes
    ----------
    landmarks_px
        (33, 3) as of a hand, depth relative to the hips' centre.
    landmarks_m
        (33, 3) metres in camera axes, origin at the hips' centre.
    visibility
        (33,) in 0..1, which does not show whether an elbow outside the image is right.
    time_s
        Of the frame it was seen in: the body is looked for less often than the hands.
    people
        How many people the finder saw when it last looked at the whole image; the body is the first one's.

    Raises
    ------
    ValueError
        An array has another shape.
    """

    landmarks_px: Array
    landmarks_m: Array
    visibility: Array
    time_s: float
    people: int = 1

    def __post_init__(self) -> None:
        _check("landmarks_px", self.landmarks_px, (33, 3))
        _check("landmarks_m", self.landmarks_m, (33, 3))
        _check("visibility", self.visibility, (33,))


@dataclass(frozen=True)
class Observation:
    """Everything the tracker saw in one frame.

    Attributes
    ----------
    frame_index, time_s
        Those of the frame.
    width_px, height_px
        Of its image.
    hands
        At most one of each side.
    body
        As last seen, None where none was.

    Raises
    ------
    ValueError
        Two hands have the same side.
    """

    frame_index: int
    time_s: float
    width_px: int
    height_px: int
    hands: tuple[HandObservation, ...]
    body: BodyObservation | None

    def __post_init__(self) -> None:
        sides = [hand.side for hand in self.hands]
        if len(set(sides)) != len(sides):
            raise ValueError(f"at most one hand per side, got {sides}")

    def hand(self, side: Side) -> HandObservation | None:
        """The hand of that side, None where it was not seen."""
        return next((hand for hand in self.hands if hand.side == side), None)
