"""A measurement: one quantity with its standard deviation, or a refusal with its reason."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum
from typing import Literal

from posturewatch.model.observation import Side

__all__ = ["FrameMeasurement", "HandMeasurement", "LiftPlane", "Measurement", "Refusal"]

#: What finger lifts are measured from: the plane of the strings as the image shows it, or the plane of the
#: fingertips that rested at the bottom of their movement over the last seconds. The words are those kept in files.
LiftPlane = Literal["picture", "resting fingertips"]


class Refusal(Enum):
    """Why a quantity is not measurable. The value is the word kept in files; `help` says what would help."""

    HAND_NOT_SEEN = "hand not seen"
    HAND_TOO_SMALL = "hand too small in the picture"
    HAND_CUT_OFF = "hand cut off by the edge of the picture"
    FOREARM_NOT_SEEN = "forearm not seen"
    UNUSUAL_VIEW = "view unlike any it was calibrated for"
    TOO_UNCERTAIN = "too uncertain from this view"
    NO_PLANE = "no resting plane of the fingers known yet"
    NOT_REPORTED = "not seen well enough from any view to be given"
    STRINGS_NOT_SEEN = "strings not seen beside the fingers"

    @property
    def help(self) -> str:
        """What a player can do about it, in a sentence."""
        return _HELP[self]


_HELP = {
    Refusal.HAND_NOT_SEEN: "Turn the camera so that the whole hand is in the picture, in good light.",
    Refusal.HAND_TOO_SMALL: "Move the camera closer, or raise the resolution.",
    Refusal.HAND_CUT_OFF: "Turn the camera so that the whole hand is in the picture.",
    Refusal.FOREARM_NOT_SEEN: "Let the camera see a hand's length of forearm beside the wrist.",
    Refusal.UNUSUAL_VIEW: "Place the camera in front of you or towards the headstock, at about chest height.",
    Refusal.TOO_UNCERTAIN: "Move the camera a little to the side, so that it sees the joint's bend.",
    Refusal.NO_PLANE: "Play on for some seconds, so that the fingers are seen coming down.",
    Refusal.STRINGS_NOT_SEEN: "Let the camera see the strings beside the fingers; or play on for some seconds, so that "
    "the fingers are seen coming down.",
    Refusal.NOT_REPORTED: "Nothing to do: a camera tells it hardly better than a guess. Your own eye or a teacher's "
    "can.",
}


@dataclass(frozen=True)
class Measurement:
    """One quantity with its standard deviation, or why there is none.

    Attributes
    ----------
    value, sd
        In the quantity's unit; both None where it was refused. The interval of 1.64 sd to either side is meant to hold
        nine truths in ten.
    refusal
        Why there is no number, None where there is one.

    Raises
    ------
    ValueError
        A number beside a refusal, a missing or infinite one without, or a deviation that is not above 0.
    """

    value: float | None
    sd: float | None
    refusal: Refusal | None

    def __post_init__(self) -> None:
        if self.refusal is None:
            if (
                self.value is None
                or self.sd is None
                or not (math.isfinite(self.value) and math.isfinite(self.sd))
            ):
                raise ValueError(f"a measurement needs a finite value and sd, got {self.value} and {self.sd}")
            if self.sd <= 0:
                raise ValueError(f"a standard deviation is above 0, got {self.sd}")
        elif self.value is not None or self.sd is not None:
            raise ValueError("a refused measurement carries no number")

    @classmethod
    def of(cls, value: float, sd: float) -> Measurement:
        """A measured quantity."""
        return cls(float(value), float(sd), None)

    @classmethod
    def refused(cls, refusal: Refusal) -> Measurement:
        """A quantity that is not measurable."""
        return cls(None, None, refusal)

    @property
    def measured(self) -> bool:
        """Whether there is a number."""
        return self.refusal is None


@dataclass(frozen=True)
class HandMeasurement:
    """All quantities of one hand in one frame.

    Attributes
    ----------
    side
        Anatomical.
    values
        By the name of the quantity (see `posturewatch.model.quantities`); all of them, refused ones too.
    lift_plane
        What its finger lifts were measured from, None where none was.
    """

    side: Side
    values: Mapping[str, Measurement]
    lift_plane: LiftPlane | None = None

    @classmethod
    def refused(cls, side: Side, names: tuple[str, ...], refusal: Refusal) -> HandMeasurement:
        """A hand of which none of these quantities is measurable."""
        return cls(side, {name: Measurement.refused(refusal) for name in names})


@dataclass(frozen=True)
class FrameMeasurement:
    """Measurements of both hands in one frame; a hand that was not seen is present with refusals."""

    frame_index: int
    time_s: float
    left: HandMeasurement
    right: HandMeasurement

    def hand(self, side: Side) -> HandMeasurement:
        """That side's; raises ValueError for what is no side."""
        if side == "left":
            return self.left
        if side == "right":
            return self.right
        raise ValueError(f"a side is 'left' or 'right', got {side!r}")
