"""What finger lifts are measured from: the strings in the image, or the fingertips that rest."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

from posturewatch.kinematics.estimator import Estimate
from posturewatch.kinematics.hand_size import HandSize
from posturewatch.kinematics.resting import RestingPlane, RestRules
from posturewatch.model.estimator_outputs import LONG_FINGERS
from posturewatch.model.measurement import Refusal
from posturewatch.model.observation import HandObservation, Side
from posturewatch.model.quantities import QUANTITIES

__all__ = ["STRINGS_SEEN", "Lifts", "strings_probability"]

#: The lifts among the estimator's outputs, in the order of `LONG_FINGERS`.
_OUTPUTS: tuple[str, ...] = tuple(
    entry.output for finger in LONG_FINGERS for entry in QUANTITIES
    if entry.family == "finger_lift" and entry.finger == finger
)  # fmt: skip

#: The strings count as seen from this probability on; what is not known counts as seen.
STRINGS_SEEN = 0.5

#: The strings count as not seen, whatever else is said, where the places at which they may lie are spread wider than
#: this, in hand scales: on hands without an instrument networks take strings for seen, but cannot place them.
_WIDEST_SPREAD = 0.18

#: The probability is followed with this time constant, so that the plane does not change from frame to frame.
_FOLLOW_S = 0.5


@dataclass
class _Strings:
    """Whether the strings beside one hand are in view, steadied over time."""

    probability: float = math.nan
    last_s: float = -math.inf

    def seen(self, probability: float, time_s: float) -> bool:
        if not math.isfinite(probability) or not math.isfinite(self.probability) or time_s < self.last_s:
            self.probability = probability
        else:
            share = 1.0 - math.exp(-(time_s - self.last_s) / _FOLLOW_S)
            self.probability += share * (probability - self.probability)
        self.last_s = time_s
        return not self.probability < STRINGS_SEEN


def strings_probability(hand: HandObservation) -> float:
    """The probability that the plane of the strings beside the fingers is in view; NaN without the forearm network."""
    if hand.fingers is not None and hand.fingers.strings_spread > _WIDEST_SPREAD:  # not where it is NaN
        return 0.0
    return math.nan if hand.forearm is None else hand.forearm.strings_visible


@dataclass
class Lifts:
    """Chooses the plane for each hand and gives the lifts from it.

    The fretting hand is measured from the strings in the image while they are seen there; that hand
    otherwise, and every other hand, from its resting fingertips.

    Attributes
    ----------
    fretting
        The fretting hands.
    size
        Of the player's hand.
    rules
        For resting fingertips.
    """

    fretting: frozenset[Side] = frozenset({"left", "right"})
    size: HandSize = field(default_factory=lambda: HandSize.of(None))
    rules: RestRules = field(default_factory=RestRules)
    _planes: dict[Side, RestingPlane] = field(default_factory=dict)
    _strings: dict[Side, _Strings] = field(default_factory=dict)

    def reset(self) -> None:
        """Forgets all frames so far."""
        self._planes.clear()
        self._strings.clear()

    def of(self, single: Estimate, hand: HandObservation, time_s: float) -> Estimate:
        """One frame's estimate with the lifts from the plane that is known.

        Parameters
        ----------
        single
            What the frame alone tells.
        hand
            The hand it is of.
        time_s
            The frame's time.

        Returns
        -------
        The estimate, its lifts refused where no plane is known.
        """
        side = hand.side
        plane = self._planes.get(side)
        if plane is None:
            plane = self._planes.setdefault(side, RestingPlane(side, self.size, self.rules))
        if self._by_strings(hand, time_s):
            # Followed even while the strings are seen, so that it is there when they are not.
            if hand.label_agrees:
                plane.follow(hand.landmarks_m, time_s)
            return self._scaled(single)
        # Where the library takes the hand for the other one, depth is turned inside out, and lift with it.
        found = plane.lifts(hand.landmarks_m, time_s) if hand.label_agrees else None
        values = {name: pair for name, pair in single.values.items() if name not in _OUTPUTS}
        refused = dict(single.refused_outputs)
        for place, name in enumerate(_OUTPUTS):
            if found is not None:
                values[name] = (float(found[0][place]), float(found[1][place]))
            else:
                refused[name] = Refusal.STRINGS_NOT_SEEN if side in self.fretting else Refusal.NO_PLANE
        return replace(
            single,
            values=values,
            refused_outputs=refused,
            lift_plane=None if found is None else "resting fingertips",
        )

    def _by_strings(self, hand: HandObservation, time_s: float) -> bool:
        seen = self._strings.setdefault(hand.side, _Strings()).seen(strings_probability(hand), time_s)
        return seen and hand.side in self.fretting

    def _scaled(self, single: Estimate) -> Estimate:
        """The learned lifts are those of a typical hand."""
        ratio = self.size.over_typical
        if ratio == 1.0:
            return replace(single, lift_plane="picture")
        scaled = {
            name: (ratio * single.values[name][0], ratio * single.values[name][1])
            for name in _OUTPUTS
            if name in single.values
        }
        return replace(single, values={**single.values, **scaled}, lift_plane="picture")
