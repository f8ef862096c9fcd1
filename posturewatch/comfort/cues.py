"""Cues: postures of the fingers that teachers look for, each with the probability that it is there.

A cue is named for what is measured. None of them is tension, and none shows force, which a camera does not see.
The thresholds are this program's own (common practice); none is validated. What takes time to tell (whether the hand
plays, or keeps still) is found over a session (`posturewatch.exposure.cue_series`).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from posturewatch.comfort.exceedance import CERTAIN, exceedance_probability
from posturewatch.comfort.limits import LimitProfile
from posturewatch.model.arrays import Array
from posturewatch.model.measurement import HandMeasurement
from posturewatch.model.quantities import quantity
from posturewatch.model.verdict import Cue

__all__ = ["CUES", "CueRules", "FingerMeasurements", "PostureCue", "cues_present"]


LONG_FINGERS: tuple[str, ...] = ("index", "middle", "ring", "little")


@dataclass(frozen=True)
class CueRules:
    """Common practice or plain reason throughout.

    down_mm: a fingertip no farther than this from the plane presses, or rests on, the string.
    collapse_deg, high_mm: where the limits in use have no comfort limit for the end joint bent backwards, or for lift.
    straight_deg, tucked_deg: bends of the middle joint below and above which a finger is straight, or tucked under.
    spread_deg: of the little finger from the ring finger.
    hooked_deg, thumb_back_deg: bends of the thumb's end joint.
    opposite_mm: how far the thumb's tip may be from the middle finger's knuckle, across the hand, to be opposite.
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


@dataclass(frozen=True)
class FingerMeasurements:
    """Finger quantities of one hand at n moments.

    value, sd: by the quantity's name, (n,), NaN where not measured; a quantity that was never measured is not there.
    """

    count: int
    value: Mapping[str, Array]
    sd: Mapping[str, Array]

    def beyond(self, name: str, limit: float) -> Array:
        """The probability (n,) that the quantity lies above a signed limit, NaN where unknown."""
        if name not in self.value:
            return np.full(self.count, np.nan)
        return exceedance_probability(limit, self.value[name], self.sd[name])

    def below(self, name: str, limit: float) -> Array:
        """The probability (n,) that the quantity lies below a signed limit, NaN where unknown."""
        return 1.0 - self.beyond(name, limit)


Probability = Callable[[FingerMeasurements, LimitProfile, CueRules], Array]


@dataclass(frozen=True)
class PostureCue:
    """A cue, and the probability (n,) that it is there, NaN where unknown: a product of the probabilities of its parts,
    each from a stated deviation."""

    cue: Cue
    probability: Probability


def cues_present(
    hand: HandMeasurement, limits: LimitProfile, *, fretting: bool, rules: CueRules | None = None
) -> tuple[Cue, ...]:
    """The cues of a hand that are certain in one moment, as `posturewatch.exposure.cue_series` has them for it.

    Parameters
    ----------
    fretting : bool
        Whether the hand presses strings to a fingerboard.
    """
    rules = CueRules() if rules is None else rules
    measured = {
        name: one for name, one in hand.values.items() if one.measured and quantity(name).group == "finger"
    }
    if not measured:
        return ()
    value = {name: np.array([one.value], dtype=np.float64) for name, one in measured.items()}
    sd = {name: np.array([one.sd], dtype=np.float64) for name, one in measured.items()}
    one_moment = FingerMeasurements(1, value, sd)
    return tuple(
        one.cue
        for one in CUES
        if (fretting or not one.cue.fretting_only)
        and one.probability(one_moment, limits, rules)[0] >= CERTAIN
    )


def _comfort(limits: LimitProfile, name: str, direction: str, otherwise: float) -> float:
    limit = limits.limit(name, direction, "comfort")
    return otherwise if limit is None else limit.value


def _down(hand: FingerMeasurements, finger: str, rules: CueRules) -> Array:
    return hand.below(f"{finger}_lift", rules.down_mm)


def _collapsed(finger: str) -> Probability:
    def probability(hand: FingerMeasurements, limits: LimitProfile, rules: CueRules) -> Array:
        beyond = _comfort(limits, f"{finger}_dip", "collapse", rules.collapse_deg)
        return hand.below(f"{finger}_dip", -beyond) * _down(hand, finger, rules)

    return probability


def _straight_and_high(finger: str) -> Probability:
    def probability(hand: FingerMeasurements, limits: LimitProfile, rules: CueRules) -> Array:
        high = hand.beyond(f"{finger}_lift", _comfort(limits, f"{finger}_lift", "lift", rules.high_mm))
        # A finger that was not measured may be down or not; that another one is can be known without it.
        others = np.stack([1.0 - _down(hand, other, rules) for other in LONG_FINGERS if other != finger])
        known = np.isfinite(others).any(axis=0)
        another_down = np.where(known, 1.0 - np.nanprod(others, axis=0), np.nan)
        found: Array = hand.below(f"{finger}_pip", rules.straight_deg) * high * another_down
        return found

    return probability


def _tucked(hand: FingerMeasurements, limits: LimitProfile, rules: CueRules) -> Array:
    lifted = 1.0 - _down(hand, "little", rules)
    return hand.beyond("little_pip", rules.tucked_deg) * lifted


def _spread(hand: FingerMeasurements, limits: LimitProfile, rules: CueRules) -> Array:
    lifted = 1.0 - _down(hand, "little", rules)
    return hand.beyond("little_spread", rules.spread_deg) * lifted


def _thumb_opposite(hand: FingerMeasurements, limits: LimitProfile, rules: CueRules) -> Array:
    near = rules.opposite_mm
    return hand.below("thumb_place", near) - hand.below("thumb_place", -near)


def _thumb_hooked(hand: FingerMeasurements, limits: LimitProfile, rules: CueRules) -> Array:
    return hand.beyond("thumb_ip", rules.hooked_deg)


def _thumb_back(hand: FingerMeasurements, limits: LimitProfile, rules: CueRules) -> Array:
    return hand.below("thumb_ip", -rules.thumb_back_deg)


CUES: tuple[PostureCue, ...] = (
    *(
        PostureCue(
            Cue(
                f"{finger}_end_joint_back",
                finger,
                f"{finger} finger's end joint bent backwards while the finger is down",
                "end joint bent back",
                "the {finger}'s end joint bent backwards",
            ),
            _collapsed(finger),
        )
        for finger in LONG_FINGERS
    ),
    *(
        PostureCue(
            Cue(
                f"{finger}_straight_and_high",
                finger,
                f"{finger} finger held straight and high while another is down",
                "straight and high",
                "the {finger} held straight and high",
            ),
            _straight_and_high(finger),
        )
        for finger in LONG_FINGERS
    ),
    PostureCue(
        Cue(
            "little_tucked",
            "little",
            "little finger tucked under",
            "tucked under",
            "the {finger} tucked under",
        ),
        _tucked,
    ),
    PostureCue(
        Cue(
            "little_spread_away",
            "little",
            "little finger lifted and spread away",
            "spread away",
            "the {finger} spread away",
        ),
        _spread,
    ),
    PostureCue(
        Cue(
            "thumb_opposite",
            "thumb",
            "thumb opposite the middle finger",
            "opposite the middle",
            "the thumb opposite the middle finger",
            fretting_only=True,
        ),
        _thumb_opposite,
    ),
    PostureCue(
        Cue("thumb_hooked", "thumb", "thumb hooked", "hooked", "the thumb hooked", fretting_only=True),
        _thumb_hooked,
    ),
    PostureCue(
        Cue(
            "thumb_back",
            "thumb",
            "thumb's end joint bent backwards",
            "end joint bent back",
            "the thumb's end joint bent backwards",
            fretting_only=True,
        ),
        _thumb_back,
    ),
)
