"""How well a view measures each quantity, and the one thing that would help most: from what the view itself tells.

The grades rest on the estimator's stated deviations over some seconds of playing posture. Their bounds were chosen on
half of the rendered videos and tried on the other half (`python -m calibration.evaluate.placement`): a quantity graded
well is off by at most 6 degrees on average over its video in nine of ten, one graded fairly by at most 10 degrees.
Lifts are at most fairly known anywhere.
"""

from __future__ import annotations

from collections import Counter, deque
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from enum import Enum
from statistics import median

from posturewatch.model.measurement import Refusal
from posturewatch.model.observation import SIDES, Side
from posturewatch.model.quantities import quantity

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
    "PlacementCheck",
    "PlacementRules",
    "grade",
    "placement_sentence",
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
    TURN = "turn"


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


def grade(sd: float | None, share: float, unit: str, rules: PlacementRules | None = None) -> Grade:
    """The grade of a quantity.

    Parameters
    ----------
    sd
        Its median stated deviation, None without a number.
    share
        Of the frames with a number.
    unit
        "deg" or "mm".
    """
    rules = rules or PlacementRules()
    if sd is None or share < rules.fair_share:
        return Grade.NOT
    if unit == "mm":
        return Grade.FAIRLY if sd <= rules.fair_sd_mm else Grade.POORLY
    if sd <= rules.well_sd_deg and share >= rules.well_share:
        return Grade.WELL
    return Grade.FAIRLY if sd <= rules.fair_sd_deg else Grade.POORLY


@dataclass
class PlacementCheck:
    """Takes looks in and says what the last seconds of them tell.

    Attributes
    ----------
    matters
        By hand the quantities that matter most, those of the hand that is warned of first.
    rules
        The bounds.
    """

    matters: Mapping[Side, Sequence[str]]
    rules: PlacementRules = field(default_factory=PlacementRules)
    _looks: deque[Look] = field(default_factory=deque)

    def add(self, look: Look) -> None:
        """The next look; one that goes back in time begins anew."""
        if self._looks and look.time_s < self._looks[-1].time_s:
            self._looks.clear()
        self._looks.append(look)
        while self._looks[0].time_s < look.time_s - self.rules.window_s:
            self._looks.popleft()

    def clear(self) -> None:
        """Forgets all looks so far."""
        self._looks.clear()

    def result(self) -> Placement:
        """What the last seconds tell."""
        looks = tuple(self._looks)
        span_s = looks[-1].time_s - looks[0].time_s if looks else 0.0
        rate_hz = (len(looks) - 1) / span_s if span_s > 0 else 0.0
        turned = [one.towards_head_deg for one in looks if one.towards_head_deg is not None]
        towards = median(turned) if len(turned) >= 0.5 * len(looks) and turned else None
        graded = tuple(one for side in self.matters for one in self._graded(looks, side))
        enough = span_s >= 0.75 * self.rules.window_s
        advice = self._advice(looks, graded, towards, rate_hz) if enough else None
        return Placement(graded, advice, towards, rate_hz, enough)

    def _graded(self, looks: Sequence[Look], side: Side) -> list[Graded]:
        families = dict.fromkeys(
            quantity(name).family if quantity(name).unit == "mm" else name for name in self.matters[side]
        )
        out = []
        for family in families:
            names = [name for name in self.matters[side] if family in (name, quantity(name).family)]
            found = [look.hands[side].numbers[name] for look in looks for name in names]
            sds = [one for one in found if not isinstance(one, Refusal)]
            reasons = Counter(one for one in found if isinstance(one, Refusal))
            share = len(sds) / len(found) if found else 0.0
            sd = median(sds) if sds else None
            refusal = reasons.most_common(1)[0][0] if reasons and share < self.rules.well_share else None
            unit = quantity(names[0]).unit
            out.append(Graded(side, family, grade(sd, share, unit, self.rules), sd, share, refusal))
        return out

    def _advice(
        self, looks: Sequence[Look], graded: Sequence[Graded], towards: float | None, rate_hz: float
    ) -> Advice | None:
        people = [one.people for one in looks if one.people is not None]
        if people and median(people) > 1:
            return Advice(Help.ONE_PLAYER)
        seen = {
            side: [one.hands[side] for one in looks if one.hands[side].palm_px is not None] for side in SIDES
        }
        if all(len(some) < 0.3 * len(looks) for some in seen.values()):
            return Advice(Help.SHOW_HANDS)
        poor = [one for one in graded if one.grade is not Grade.WELL]
        for side in self.matters:
            if not any(one.side == side for one in poor):
                continue
            if len(seen[side]) < 0.3 * len(looks):
                return Advice(Help.SHOW_HANDS, side)
            about = self._about(seen[side], [one for one in graded if one.side == side])
            if about is not None:
                return Advice(about, side)
        if poor and rate_hz < self.rules.min_rate_hz:
            return Advice(Help.FRAME_RATE)
        for side in self.matters:
            wrist = [one for one in poor if one.side == side and _unit(one.name) == "deg"]
            if wrist:
                return self._moved(wrist, towards)
        return None

    def _about(self, seen: Sequence[HandLook], graded: Sequence[Graded]) -> Help | None:
        """What hinders this hand in the picture as it stands."""
        rules = self.rules
        refused = {one.refusal for one in graded}
        palm, share = _middle(one.palm_px for one in seen), _middle(one.palm_share for one in seen)
        bright, sharp = _middle(one.brightness for one in seen), _middle(one.sharpness for one in seen)
        inside = [one.forearm_inside for one in seen if one.forearm_inside is not None]
        axis = _middle(one.axis_sd_deg for one in seen)
        hindered = (
            (Help.WHOLE_HAND, Refusal.HAND_CUT_OFF in refused),
            (
                Help.CLOSER,
                Refusal.HAND_TOO_SMALL in refused or (palm is not None and palm < rules.min_palm_px),
            ),
            (Help.FURTHER, share is not None and share > rules.max_palm_share),
            (Help.LIGHT, bright is not None and bright < rules.min_brightness),
            (Help.FOREARM, bool(inside) and sum(inside) < 0.5 * len(inside)),
            (Help.SHARPER, sharp is not None and sharp < rules.min_sharpness),
            (
                Help.SLEEVE,
                Refusal.FOREARM_NOT_SEEN in refused or (axis is not None and axis > rules.max_axis_sd_deg),
            ),
        )
        return next((what for what, so in hindered if so), None)

    def _moved(self, poor: Sequence[Graded], towards: float | None) -> Advice | None:
        side = poor[0].side
        low, high = self.rules.good_deg
        if towards is not None and not low <= towards <= high:
            move_deg = max(10.0, 10.0 * round(abs(self.rules.best_deg - towards) / 10.0))
            return Advice(Help.TOWARDS_HEAD if towards < low else Help.TOWARDS_FRONT, side, move_deg)
        worse = any(one.grade in (Grade.POORLY, Grade.NOT) for one in poor)
        return Advice(Help.TURN, side) if worse else None


def _unit(name: str) -> str:
    """The unit of a quantity or of a family of lifts."""
    return "mm" if name == "finger_lift" else quantity(name).unit


def _middle(values: Iterable[float | None]) -> float | None:
    known = [one for one in values if one is not None]
    return median(known) if known else None


def placement_sentence(graded: Sequence[Graded]) -> str:
    """All grades in one English sentence, the better ones first."""
    parts = []
    for word in Grade:
        named = [f"{one.side} {_label(one.name)}" for one in graded if one.grade is word]
        if named:
            parts.append(f"{' and '.join(named) if len(named) < 3 else ', '.join(named)} {word.value}")
    return f"This view measures {'; '.join(parts)}." if parts else "This view measures nothing."


def _label(name: str) -> str:
    return "finger lift" if name == "finger_lift" else quantity(name).label
