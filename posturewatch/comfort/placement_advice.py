"""The one thing that would help a view most.

What hinders a hand wherever the camera stands comes first, then a camera that stands too far round: from there hands
are hidden, look small and lose their forearms, so that all else said of them would be wrong. This order was chosen on
some rendered players who did what they were told, and tried on others (`python -m calibration.evaluate.instructed`). To
go a little to some side, or up or down, helped none of them more often than it harmed, so that it is not said.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from statistics import median

from posturewatch.comfort.looks import Advice, Grade, Graded, HandLook, Help, Look, PlacementRules
from posturewatch.model.measurement import Refusal
from posturewatch.model.observation import SIDES, Side
from posturewatch.model.quantities import quantity

__all__ = ["advice_of"]


@dataclass(frozen=True)
class _Hand:
    """One hand over the window. often: whether it was seen in enough of the frames; largest_px: the larger hand's palm;
    towards: where the camera stands."""

    side: Side
    seen: Sequence[HandLook]
    graded: Sequence[Graded]
    often: bool
    largest_px: float
    towards: float | None

    @property
    def refused(self) -> set[Refusal | None]:
        """Why there are no numbers."""
        return {one.refusal for one in self.graded}

    @property
    def poor_wrist(self) -> list[Graded]:
        """Its wrist angles that are not graded well."""
        return [one for one in self.graded if one.grade is not Grade.WELL and _unit(one.name) == "deg"]


def advice_of(
    looks: Sequence[Look],
    graded: Sequence[Graded],
    towards: float | None,
    rate_hz: float,
    rules: PlacementRules,
) -> Advice | None:
    """The one thing that would help most.

    Parameters
    ----------
    looks
        Over the window.
    graded
        Of them, hands that matter most first.
    towards
        Where the camera stands, degrees from straight ahead towards the head of the instrument.
    rate_hz
        Frames a second.
    """
    people = [one.people for one in looks if one.people is not None]
    if people and median(people) > 1:
        return Advice(Help.ONE_PLAYER)
    seen = {side: [one.hands[side] for one in looks if _seen(one.hands[side])] for side in SIDES}
    if all(len(some) < 0.3 * len(looks) for some in seen.values()):
        return Advice(Help.SHOW_HANDS)
    poor = [one for one in graded if one.grade is not Grade.WELL]
    palms = [_middle(one.palm_px for one in some) for some in seen.values()]
    largest = max((palm for palm in palms if palm is not None), default=0.0)
    hands = [
        _Hand(side, seen[side], own, len(seen[side]) >= 0.3 * len(looks), largest, towards)
        for side in dict.fromkeys(one.side for one in poor)
        if (own := [one for one in graded if one.side == side])
    ]
    for about in (_in_the_picture, _from_aside, _from_here):
        found = next((one for hand in hands if (one := about(hand, rules))), None)
        if found is not None:
            return found
    return Advice(Help.FRAME_RATE) if poor and rate_hz < rules.min_rate_hz else None


def _seen(hand: HandLook) -> bool:
    """Whether there is a hand, and not only something that was taken for one."""
    return hand.palm_px is not None and set(hand.numbers.values()) != {Refusal.HAND_NOT_SEEN}


def _in_the_picture(hand: _Hand, rules: PlacementRules) -> Advice | None:
    """What hinders this hand wherever the camera stands."""
    seen = hand.seen if hand.often else ()
    bright, sharp = _middle(one.brightness for one in seen), _middle(one.sharpness for one in seen)
    hindered = (
        (Help.WHOLE_HAND, Refusal.HAND_CUT_OFF in hand.refused),
        (Help.LIGHT, bright is not None and bright < rules.min_brightness),
        (Help.SHARPER, sharp is not None and sharp < rules.min_sharpness),
    )
    return next((Advice(what, hand.side) for what, so in hindered if so), None)


def _from_aside(hand: _Hand, rules: PlacementRules) -> Advice | None:
    """Whether the camera stands too far round: from there hands are hidden, and look small and without forearms."""
    (low, high), towards = rules.good_deg, hand.towards
    if towards is None or low <= towards <= high or not hand.poor_wrist:
        return None
    move_deg = max(10.0, 10.0 * round(abs(rules.best_deg - towards) / 10.0))
    return Advice(Help.TOWARDS_HEAD if towards < low else Help.TOWARDS_FRONT, hand.side, move_deg)


def _from_here(hand: _Hand, rules: PlacementRules) -> Advice | None:
    """What hinders this hand from where the camera stands."""
    if not hand.often:
        return Advice(Help.SHOW_HANDS, hand.side)
    share, axis = (
        _middle(one.palm_share for one in hand.seen),
        _middle(one.axis_sd_deg for one in hand.seen),
    )
    inside = [one.forearm_inside for one in hand.seen if one.forearm_inside is not None]
    # Of two hands one that alone is small is turned away or half hidden, and no nearer camera mends that.
    hindered = (
        (Help.CLOSER, Refusal.HAND_TOO_SMALL in hand.refused or hand.largest_px < rules.min_palm_px),
        (Help.FURTHER, share is not None and share > rules.max_palm_share),
        (Help.FOREARM, bool(inside) and sum(inside) < 0.5 * len(inside)),
        (
            Help.SLEEVE,
            Refusal.FOREARM_NOT_SEEN in hand.refused or (axis is not None and axis > rules.max_axis_sd_deg),
        ),
    )
    return next((Advice(what, hand.side) for what, so in hindered if so), None)


def _unit(name: str) -> str:
    """The unit of a quantity or of a family of lifts."""
    return "mm" if name == "finger_lift" else quantity(name).unit


def _middle(values: Iterable[float | None]) -> float | None:
    known = [one for one in values if one is not None]
    return median(known) if known else None
