"""A player's own range: a posture held still, and ends that published tables do not contradict."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from posturewatch.comfort.exceedance import INTERVAL_SD
from posturewatch.model.observation import Side
from posturewatch.model.quantities import quantity

__all__ = [
    "END_RULES",
    "NEUTRAL_RULES",
    "PUBLISHED_DEG",
    "End",
    "Held",
    "HoldMeter",
    "HoldRules",
    "question_about",
]

#: Published ranges of the wrist, degrees, by quantity and direction: the lowest and the highest of AAOS (80, 70, 20, 30
#: of flexion, extension, radial, ulnar), Boone and Azen 1979, JBJS 61A:756 (76, 75, 22, 36), and Ryu 1991 (79, 59, 21,
#: 38); all seen in secondary copies (F).
PUBLISHED_DEG: Mapping[tuple[str, str], tuple[float, float]] = {
    ("wrist_flexion", "flexion"): (76.0, 80.0),
    ("wrist_flexion", "extension"): (59.0, 75.0),
    ("wrist_ulnar_deviation", "radial"): (20.0, 22.0),
    ("wrist_ulnar_deviation", "ulnar"): (30.0, 38.0),
}

#: An end is questioned below the first share of the lowest published range and beyond the second of the highest: people
#: differ, and a comfortable end lies before the last one (this program's own choice).
_LEAST_SHARE, _MOST_SHARE = 0.4, 1.3


@dataclass(frozen=True)
class HoldRules:
    """When a posture counts as held.

    Attributes
    ----------
    hold_s
        For so long.
    steady_deg
        Within so many degrees, but for single looks.
    least_share
        With numbers in at least this share of the looks.
    beyond_deg
        At least so far in its direction, for an end.
    unseen_s
        After so long without a hand it is given up.
    """

    hold_s: float = 5.0
    steady_deg: float = 9.0
    least_share: float = 0.7
    beyond_deg: float = -math.inf
    unseen_s: float = 60.0


#: A neutral is held for five seconds, an end for two.
NEUTRAL_RULES, END_RULES = HoldRules(), HoldRules(hold_s=2.0, beyond_deg=8.0)


@dataclass(frozen=True)
class Held:
    """What was measured of several quantities while a posture was held: mean and stated deviation by name, degrees."""

    values: Mapping[str, tuple[float, float]]


Hint = Literal["show the hand", "hold still", "go further", "holding"]


@dataclass
class HoldMeter:
    """Takes what is measured of a hand and says once a posture was held.

    Attributes
    ----------
    names
        The quantities that have to be still, and are measured.
    direction
        Of the first of them, for an end; None for a neutral.
    rules
        When it counts.
    """

    names: tuple[str, ...]
    direction: str | None = None
    rules: HoldRules = NEUTRAL_RULES
    held: Held | None = None
    gone: bool = False
    hint: Hint = "show the hand"
    held_s: float = 0.0
    _looks: deque[tuple[float, tuple[tuple[float, float], ...] | None]] = field(default_factory=deque)
    _seen_s: float | None = None

    def add(self, time_s: float, values: Mapping[str, tuple[float, float]]) -> None:
        """The next look.

        Parameters
        ----------
        time_s
            Of the source.
        values
            Value and stated deviation by quantity; those without a number are left out.
        """
        if self.held is not None or self.gone:
            return
        if self._looks and time_s < self._looks[-1][0]:
            self._looks.clear()
            self._seen_s = None
        found = (
            tuple(values[name] for name in self.names) if all(name in values for name in self.names) else None
        )
        if found is not None or self._seen_s is None:
            self._seen_s = time_s
        self.gone = time_s - self._seen_s > self.rules.unseen_s
        self._looks.append((time_s, found))
        self._shorten(time_s)
        self._judge(time_s)

    def _shorten(self, time_s: float) -> None:
        """Drops what is too old, and whatever lies before the last movement."""
        while self._looks[0][0] < time_s - self.rules.hold_s:
            self._looks.popleft()
        while len(self._looks) > 1 and not self._steady():
            self._looks.popleft()

    def _steady(self) -> bool:
        known = [found for _, found in self._looks if found is not None]
        return all(
            max(one[place][0] for one in known) - min(one[place][0] for one in known) <= self.rules.steady_deg
            for place in range(len(self.names) if known else 0)
        )

    def _judge(self, time_s: float) -> None:
        known = [found for _, found in self._looks if found is not None]
        self.held_s = time_s - self._looks[0][0]
        if len(known) < self.rules.least_share * len(self._looks) or not known:
            self.hint, self.held_s = "show the hand", 0.0
            return
        means = [
            (
                sum(one[place][0] for one in known) / len(known),
                sum(one[place][1] for one in known) / len(known),
            )
            for place in range(len(self.names))
        ]
        if self.direction is not None:
            reached = quantity(self.names[0]).sign(self.direction) * means[0][0]
            if reached < self.rules.beyond_deg:
                self.hint, self.held_s = "go further", 0.0
                return
        # A tenth less: looks come when they come.
        if self.held_s < 0.9 * self.rules.hold_s or len(known) < 4:
            self.hint = "holding" if self.held_s > 0.3 * self.rules.hold_s else "hold still"
            return
        self.hint = "holding"
        self.held = Held(dict(zip(self.names, means, strict=True)))


@dataclass(frozen=True)
class End:
    """The comfortable end of one direction of one hand.

    Attributes
    ----------
    value_deg
        Its size in the direction.
    sd_deg
        Its standard deviation.
    date
        ISO 8601, of the day it was measured.
    """

    side: Side
    quantity: str
    direction: str
    value_deg: float
    sd_deg: float
    date: str


def question_about(quantity_name: str, direction: str, value_deg: float, sd_deg: float) -> str | None:
    """Why an end is doubtful, in one sentence; None where published tables do not contradict it.

    Parameters
    ----------
    quantity_name, direction
        What it is of; KeyError for what has no published range.
    value_deg, sd_deg
        Its size in the direction, and its standard deviation.
    """
    low, high = PUBLISHED_DEG[quantity_name, direction]
    spread = INTERVAL_SD * sd_deg
    if value_deg + spread < _LEAST_SHARE * low:
        return (
            f"{value_deg:.0f} degrees of {direction} is much less than the {low:.0f} to {high:.0f} in published "
            "tables. If that is your comfortable end, keep it; if the hand was turned or hidden, measure again. With "
            "pain or after an injury, ask a clinician first."
        )
    if value_deg - spread > _MOST_SHARE * high:
        return (
            f"{value_deg:.0f} degrees of {direction} is much more than the {low:.0f} to {high:.0f} in published "
            "tables; the view may have misled. Measure again, from another side or with the whole forearm in "
            "the picture."
        )
    return None
