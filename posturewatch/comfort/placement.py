"""How well a view measures each quantity, and the one thing that would help most: from what the view itself tells.

The grades rest on the estimator's stated deviations over some seconds of playing posture. Their bounds were chosen on
half of the rendered videos and tried on the other half (`python -m calibration.evaluate.placement`): a quantity graded
well is off by at most 6 degrees on average over its video in nine of ten, one graded fairly by at most 10 degrees.
Lifts are at most fairly known anywhere.
"""

from __future__ import annotations

from collections import Counter, deque
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from statistics import median

from posturewatch.comfort.looks import Grade, Graded, Look, Placement, PlacementRules
from posturewatch.comfort.placement_advice import advice_of
from posturewatch.model.measurement import Refusal
from posturewatch.model.observation import Side
from posturewatch.model.quantities import quantity

__all__ = ["PlacementCheck", "grade", "placement_sentence"]


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
        advice = advice_of(looks, graded, towards, rate_hz, self.rules) if enough else None
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
