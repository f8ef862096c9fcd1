"""Cues: postures of the fingers that teachers look for, each with the chance that it is there.

A cue is named for what is measured. None of them is tension, and none shows force, which a camera does not see.
The thresholds are this program's own (common practice); none is validated.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from posturewatch.comfort.exceedance import exceedance_probability
from posturewatch.comfort.limits import LimitProfile
from posturewatch.exposure.findings import FingerPosture
from posturewatch.exposure.fingers import Fingers
from posturewatch.exposure.series import Window, check_windows
from posturewatch.model.measurement import HandMeasurement
from posturewatch.model.observation import Side
from posturewatch.model.quantities import quantity

__all__ = ["CUES", "Cue", "CueCourse", "CueRules", "CueShare", "cue_courses", "cues_now", "shares_json"]

Array = NDArray[np.float64]

LONG_FINGERS: tuple[str, ...] = ("index", "middle", "ring", "little")

#: What players of strings call the fingers of the hand that stops them.
_NUMBERS = {"index": "first", "middle": "second", "ring": "third", "little": "fourth"}


@dataclass(frozen=True)
class CueRules:
    """Common practice or plain reason throughout.

    down_mm: a fingertip no farther than this from the plane presses, or rests on, the string.
    collapse_deg, high_mm: where the limits in use have no comfort limit for the end joint bent backwards, or for lift.
    straight_deg, tucked_deg: bends of the middle joint below and above which a finger is straight, or tucked under.
    spread_deg: of the little finger from the ring finger.
    hooked_deg, thumb_back_deg: bends of the thumb's end joint.
    opposite_mm: how far the thumb's tip may be from the middle finger's knuckle, across the hand, to be opposite.
    still_s: a hand whose fingers have not moved for so long keeps still.
    playing_s: fingers that moved within so many seconds play.
    still_sd_deg: a hand of which no joint is known better than this may move unseen, so that it is never called still.
    moved_deg, moved_mm: least movement of fingers that play, as a standard deviation over that time.
    still_deg, still_mm: most movement of fingers that keep still. It is half as much: measured movements come out
        smaller than they are, and one stroke in so many seconds is a movement too.
    sure_probability: a moment counts as sure from this chance on. Errors of neighbouring pictures are alike, so many
        unlikely moments do not add up to evidence.
    """

    down_mm: float = 6.0
    collapse_deg: float = 5.0
    high_mm: float = 15.0
    straight_deg: float = 25.0
    tucked_deg: float = 85.0
    spread_deg: float = 20.0
    hooked_deg: float = 35.0
    thumb_back_deg: float = 10.0
    opposite_mm: float = 20.0
    still_s: float = 20.0
    still_sd_deg: float = 5.0
    playing_s: float = 8.0
    moved_deg: float = 4.0
    moved_mm: float = 2.5
    still_deg: float = 2.0
    still_mm: float = 1.25
    sure_probability: float = 0.8


Chance = Callable[[Fingers, LimitProfile, CueRules], Array]


@dataclass(frozen=True)
class Cue:
    """One cue. label: what is measured, after the hand's name. short: the same in the fewest words, where the finger is
    named already. posture: what follows "mostly with", with the finger's name for {finger}. fretting_only: told only of
    a fretting hand. chance: (n,) of its presence, NaN where unknown. while_playing: its share is one of the
    playing time, else of the time in which it is known."""

    name: str
    finger: str | None
    label: str
    short: str
    posture: str
    chance: Chance
    fretting_only: bool = False
    while_playing: bool = True


@dataclass(frozen=True)
class CueShare:
    """A cue over some windows. known_s: seconds in which it can be told, of those that count for it. present_s:
    expected seconds of presence. sure_s: seconds in which it is surely there. Shares are None where nothing is known.
    """

    side: Side
    cue: Cue
    known_s: float
    present_s: float
    sure_s: float

    @property
    def share(self) -> float | None:
        return self.present_s / self.known_s if self.known_s > 0 else None

    @property
    def sure_share(self) -> float | None:
        return self.sure_s / self.known_s if self.known_s > 0 else None

    def to_json(self) -> dict[str, Any]:
        return {
            "side": self.side,
            "cue": self.cue.name,
            "finger": self.cue.finger,
            "label": self.cue.label,
            "share_of": "playing time" if self.cue.while_playing else "seen time",
            "known_s": round(self.known_s, 3),
            "present_s": round(self.present_s, 3),
            "sure_s": round(self.sure_s, 3),
            "share": None if self.share is None else round(self.share, 4),
            "sure_share": None if self.sure_share is None else round(self.sure_share, 4),
        }


@dataclass(frozen=True)
class CueCourse:
    """A cue of one hand over a session. time_s, present: (n,). weight: (n,) seconds that count, by the chance that the
    hand plays where the cue is one of playing; 0 where the cue is not known."""

    side: Side
    cue: Cue
    time_s: Array
    present: Array
    weight: Array
    sure_probability: float = CueRules.sure_probability

    def over(self, *windows: Window) -> CueShare:
        """The share over half-open windows of session time, taken together; ValueError where they overlap."""
        check_windows(windows)
        inside = np.zeros(self.time_s.size, dtype=bool)
        for start_s, end_s in windows:
            inside |= (self.time_s >= start_s) & (self.time_s < end_s)
        weight = self.weight[inside]
        present = np.where(weight > 0, self.present[inside], 0.0)
        sure_s = float(weight @ (present >= self.sure_probability))
        return CueShare(self.side, self.cue, float(weight.sum()), float(weight @ present), sure_s)

    def posture(self, *, fretting: bool) -> FingerPosture:
        """As a finding names it: by the finger's number on the fretting hand."""
        finger = self.cue.finger or ""
        name = f"{_NUMBERS[finger]} finger" if fretting and finger in _NUMBERS else f"{finger} finger"
        return FingerPosture(self.side, self.cue.posture.format(finger=name), self.time_s, self.present)


def cue_courses(
    fingers: Fingers, limits: LimitProfile, *, fretting: bool, rules: CueRules | None = None
) -> tuple[CueCourse, ...]:
    """The cues of one hand that can be told at all. fretting: whether the hand stops strings."""
    rules = CueRules() if rules is None else rules
    moved = fingers.moved(rules.playing_s, {"deg": rules.moved_deg, "mm": rules.moved_mm})
    playing = np.nan_to_num(moved)
    found = []
    for cue in CUES:
        if cue.fretting_only and not fretting:
            continue
        present = cue.chance(fingers, limits, rules)
        known = np.isfinite(present)
        if known.any():
            weight = fingers.seconds * known * (playing if cue.while_playing else 1.0)
            found.append(
                CueCourse(fingers.side, cue, fingers.time_s, present, weight, rules.sure_probability)
            )
    return tuple(found)


class _OneFrame(Fingers):
    """Fingers of a single frame: the same chances without the cost of series, thirty times a second."""

    def beyond(self, name: str, limit: float) -> Array:
        if name not in self.value:
            return np.full(1, np.nan)
        return np.array([exceedance_probability(limit, float(self.value[name][0]), float(self.sd[name][0]))])


def cues_now(
    hand: HandMeasurement, limits: LimitProfile, *, fretting: bool, rules: CueRules | None = None
) -> tuple[Cue, ...]:
    """The cues of single fingers that are surely there in one frame, as `cue_courses` has them for that moment.

    fretting: whether the hand stops strings. Whether the hand plays, or keeps still, one frame cannot tell.
    """
    rules = CueRules() if rules is None else rules
    measured = {
        name: one for name, one in hand.values.items() if one.measured and quantity(name).group == "finger"
    }
    if not measured:
        return ()
    value = {name: np.array([one.value], dtype=np.float64) for name, one in measured.items()}
    sd = {name: np.array([one.sd], dtype=np.float64) for name, one in measured.items()}
    fingers = _OneFrame(hand.side, np.zeros(1), np.zeros(1), value, sd)
    return tuple(
        cue
        for cue in CUES
        if cue.finger is not None
        and (fretting or not cue.fretting_only)
        and cue.chance(fingers, limits, rules)[0] >= rules.sure_probability
    )


def _comfort(limits: LimitProfile, name: str, direction: str, otherwise: float) -> float:
    limit = limits.limit(name, direction, "comfort")
    return otherwise if limit is None else limit.value


def _down(fingers: Fingers, finger: str, rules: CueRules) -> Array:
    return fingers.below(f"{finger}_lift", rules.down_mm)


def _collapsed(finger: str) -> Chance:
    def chance(fingers: Fingers, limits: LimitProfile, rules: CueRules) -> Array:
        beyond = _comfort(limits, f"{finger}_dip", "collapse", rules.collapse_deg)
        return fingers.below(f"{finger}_dip", -beyond) * _down(fingers, finger, rules)

    return chance


def _straight_and_high(finger: str) -> Chance:
    def presence(fingers: Fingers, limits: LimitProfile, rules: CueRules) -> Array:
        high = fingers.beyond(f"{finger}_lift", _comfort(limits, f"{finger}_lift", "lift", rules.high_mm))
        # A finger that was not measured may be down or not; that another one is can be told without it.
        others = np.stack([1.0 - _down(fingers, other, rules) for other in LONG_FINGERS if other != finger])
        known = np.isfinite(others).any(axis=0)
        another_down = np.where(known, 1.0 - np.nanprod(others, axis=0), np.nan)
        chance: Array = fingers.below(f"{finger}_pip", rules.straight_deg) * high * another_down
        return chance

    return presence


def _tucked(fingers: Fingers, limits: LimitProfile, rules: CueRules) -> Array:
    lifted = 1.0 - _down(fingers, "little", rules)
    return fingers.beyond("little_pip", rules.tucked_deg) * lifted


def _spread(fingers: Fingers, limits: LimitProfile, rules: CueRules) -> Array:
    lifted = 1.0 - _down(fingers, "little", rules)
    return fingers.beyond("little_spread", rules.spread_deg) * lifted


def _thumb_opposite(fingers: Fingers, limits: LimitProfile, rules: CueRules) -> Array:
    near = rules.opposite_mm
    return fingers.below("thumb_place", near) - fingers.below("thumb_place", -near)


def _thumb_hooked(fingers: Fingers, limits: LimitProfile, rules: CueRules) -> Array:
    return fingers.beyond("thumb_ip", rules.hooked_deg)


def _thumb_back(fingers: Fingers, limits: LimitProfile, rules: CueRules) -> Array:
    return fingers.below("thumb_ip", -rules.thumb_back_deg)


def _still(fingers: Fingers, limits: LimitProfile, rules: CueRules) -> Array:
    best = np.full(fingers.time_s.size, np.nan)
    for name, sd in fingers.sd.items():
        if quantity(name).unit == "deg":
            best = np.fmin(best, sd)
    moved = fingers.moved(rules.still_s, {"deg": rules.still_deg, "mm": rules.still_mm})
    return np.where(best <= rules.still_sd_deg, 1.0 - moved, np.nan)


CUES: tuple[Cue, ...] = (
    *(
        Cue(
            f"{finger}_end_joint_back",
            finger,
            f"{finger} finger's end joint bent backwards while the finger is down",
            "end joint bent back",
            "the {finger}'s end joint bent backwards",
            _collapsed(finger),
        )
        for finger in LONG_FINGERS
    ),
    *(
        Cue(
            f"{finger}_straight_and_high",
            finger,
            f"{finger} finger held straight and high while another is down",
            "straight and high",
            "the {finger} held straight and high",
            _straight_and_high(finger),
        )
        for finger in LONG_FINGERS
    ),
    Cue(
        "little_tucked",
        "little",
        "little finger tucked under",
        "tucked under",
        "the {finger} tucked under",
        _tucked,
    ),
    Cue(
        "little_spread_away",
        "little",
        "little finger lifted and spread away",
        "spread away",
        "the {finger} spread away",
        _spread,
    ),
    Cue(
        "thumb_opposite",
        "thumb",
        "thumb opposite the middle finger",
        "opposite the middle",
        "the thumb opposite the middle finger",
        _thumb_opposite,
        fretting_only=True,
    ),
    Cue(
        "thumb_hooked",
        "thumb",
        "thumb hooked",
        "hooked",
        "the thumb hooked",
        _thumb_hooked,
        fretting_only=True,
    ),
    Cue(
        "thumb_back",
        "thumb",
        "thumb's end joint bent backwards",
        "end joint bent back",
        "the thumb's end joint bent backwards",
        _thumb_back,
        fretting_only=True,
    ),
    Cue(
        "still",
        None,
        "no finger moved for 20 s or more",
        "not moved for 20 s",
        "no finger moving",
        _still,
        while_playing=False,
    ),
)


def shares_json(courses: Sequence[CueCourse], *windows: Window) -> list[dict[str, Any]]:
    """The cues' shares over the windows in JSON's types; those of which nothing is known there are left out."""
    return [share.to_json() for share in (course.over(*windows) for course in courses) if share.known_s > 0]
