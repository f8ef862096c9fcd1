"""What is looked at of a view, how well it measures by that, and what would help: the words for it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum

from posturewatch.model.measurement import Refusal
from posturewatch.model.observation import Side

__all__ = [
    "FAIR_ERROR",
    "WELL_ERROR",
    "Advice",
    "Grade",
    "Graded",
    "HandLook",
    "Help",
    "Look",
    "Placement",
    "PlacementRules",
]

#: What a grade promises of the mean error over a video, degrees or millimetres.
WELL_ERROR, FAIR_ERROR = 6.0, 10.0


class Grade(Enum):
    """How well a view measures a quantity; the value is the word kept with a session."""

    WELL = "well"
    FAIRLY = "fairly"
    POORLY = "poorly"
    NOT = "not"


class Help(Enum):
    """What would help, most pressing first; the value is the word that messages carry."""

    SHOW_HANDS = "show hands"
    ONE_PLAYER = "one player"
    WHOLE_HAND = "whole hand"
    CLOSER = "closer"
    FURTHER = "further"
    LIGHT = "light"
    SHARPER = "sharper"
    FRAME_RATE = "frame rate"
    FOREARM = "forearm"
    SLEEVE = "sleeve"
    TOWARDS_HEAD = "towards head"
    TOWARDS_FRONT = "towards front"


@dataclass(frozen=True)
class PlacementRules:
    """The bounds; but for the deviations, where errors rise on rendered players, or this program's own choice.

    Attributes
    ----------
    window_s
        Seconds that are looked back over.
    well_sd_deg, fair_sd_deg, fair_sd_mm
        Largest median stated deviation of a grade.
    well_share, fair_share
        Least share of the window in which there is a number.
    min_palm_px, max_palm_share
        Smallest hand, and largest one as a share of the picture's height.
    min_brightness, min_sharpness
        Of the picture around the hand; see `HandLook`.
    min_rate_hz
        Least frames a second.
    max_axis_sd_deg
        Largest stated deviation of the forearm's axis: beyond it a sleeve hides it, or something else does.
    best_deg, good_deg
        Where the camera stands best, degrees from straight ahead towards the head of the instrument, and from where to
        where it may stand. Errors of rendered players are least there, and rise on either side: of flexion before it,
        of deviation beyond it.
    """

    window_s: float = 4.0
    well_sd_deg: float = 5.5
    fair_sd_deg: float = 9.0
    fair_sd_mm: float = 5.0
    well_share: float = 0.6
    fair_share: float = 0.4
    min_palm_px: float = 30.0
    max_palm_share: float = 0.45
    min_brightness: float = 0.16
    min_sharpness: float = 0.055
    min_rate_hz: float = 10.0
    max_axis_sd_deg: float = 9.0
    best_deg: float = 30.0
    good_deg: tuple[float, float] = (5.0, 55.0)


@dataclass(frozen=True)
class HandLook:
    """What one frame tells of the view of one hand.

    Attributes
    ----------
    numbers
        By quantity the stated deviation in its unit, or why there is no number.
    palm_px
        The hand's size in the picture (`posturewatch.kinematics.features.palm_size_px`), None where it is not seen.
    palm_share
        The same over the picture's height.
    forearm_inside
        Whether a hand's length of forearm beside the wrist lies in the picture, None where that is not known.
    axis_sd_deg
        Stated deviation of the forearm's axis, None without one.
    brightness
        Of the brighter parts around the hand, 0 (black) to 1; None where it was not looked at.
    sharpness
        Of the edges around the hand, 0 for none; about 0.14 in a sharp picture, 0.06 in a badly blurred one. None where
        it was not looked at.
    """

    numbers: Mapping[str, float | Refusal]
    palm_px: float | None = None
    palm_share: float | None = None
    forearm_inside: bool | None = None
    axis_sd_deg: float | None = None
    brightness: float | None = None
    sharpness: float | None = None


@dataclass(frozen=True)
class Look:
    """One frame.

    Attributes
    ----------
    time_s
        Of the source.
    hands
        Both.
    towards_head_deg
        Where the camera stands, degrees from straight ahead of the player towards the head of the instrument; None
        where the body does not tell.
    people
        How many are in the picture, None where that was not looked for.
    """

    time_s: float
    hands: Mapping[Side, HandLook]
    towards_head_deg: float | None = None
    people: int | None = None


@dataclass(frozen=True)
class Graded:
    """How well a view measures a quantity, or a family of them, of one hand.

    Attributes
    ----------
    name
        Of the quantity or the family.
    grade
        How well.
    sd
        Median stated deviation in the quantity's unit, None without a number.
    share
        Of the frames in which there was one.
    refusal
        The most frequent reason of the others, None where there were few.
    """

    side: Side
    name: str
    grade: Grade
    sd: float | None
    share: float
    refusal: Refusal | None


@dataclass(frozen=True)
class Advice:
    """The one thing that would help.

    Attributes
    ----------
    help
        What.
    side
        The hand it is about, None for the whole picture.
    move_deg
        By about how much the camera is to be moved around the player, where it is.
    """

    help: Help
    side: Side | None = None
    move_deg: float | None = None


@dataclass(frozen=True)
class Placement:
    """What is said of a view. `enough`: whether it was looked through for long enough to be graded."""

    graded: tuple[Graded, ...]
    advice: Advice | None
    towards_head_deg: float | None
    rate_hz: float
    enough: bool
