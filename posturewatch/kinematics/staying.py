"""A number that is shown stays while the view stays: what of a hand's past decides whether its numbers are given.

A bound that a view lies close to would be crossed many times a minute, and a number that comes and goes tells nobody
anything. So the chance of a hand is followed over time, what is shown is kept up to looser bounds, what went comes
back only once all has been well for a moment, and a hand that is lost for a moment keeps its numbers, whose spread
grows. Pure.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from posturewatch.model.measurement import HandMeasurement, Measurement, Refusal
from posturewatch.model.quantities import QUANTITIES

__all__ = ["Past", "StayRules"]


@dataclass(frozen=True)
class StayRules:
    """How long what holds.

    Attributes
    ----------
    presence_s
        Time constant with which the chance of a hand is followed.
    settle_s
        What went comes back only after all has been well for so long.
    carry_s
        A hand unseen for longer has no numbers.
    drift
        How fast the true value may wander unseen, in its unit per square root of a second.
    """

    presence_s: float = 0.4
    settle_s: float = 0.5
    carry_s: float = 0.7
    drift: float = 15.0


#: What is carried over a moment in which it cannot be told; lifts change with every note.
_CARRIED = frozenset(entry.name for entry in QUANTITIES if entry.unit == "deg")


@dataclass
class Past:
    """What is remembered of one hand.

    Attributes
    ----------
    rules
        How long what holds.
    shown
        The quantities that are given.
    """

    rules: StayRules
    shown: frozenset[str] = frozenset()
    _odds: float = math.nan
    _odds_s: float = -math.inf
    _last: dict[str, tuple[float, float, float]] = field(default_factory=dict)  # value, sd, time
    _went: dict[str, Refusal] = field(default_factory=dict)
    _well_s: dict[str, float] = field(default_factory=dict)

    def presence(self, chance: float, time_s: float) -> float:
        """The chance of a hand, followed over time.

        Parameters
        ----------
        chance
            Of this frame alone.
        time_s
            The frame's time.
        """
        held = min(max(chance, 1e-4), 1 - 1e-4)
        odds = math.log(held / (1 - held))
        age_s = time_s - self._odds_s
        if 0 <= age_s <= self.rules.carry_s and math.isfinite(self._odds):
            self._odds += -math.expm1(-age_s / self.rules.presence_s) * (odds - self._odds)
        else:
            self._odds = odds
        self._odds_s = time_s
        return 1 / (1 + math.exp(-self._odds))

    def settled(self, measured: HandMeasurement, time_s: float) -> HandMeasurement:
        """What is given of a hand: angles that cannot be told for a moment stay, with a spread that grows, and what
        went is held back until all has been well for a while.

        Parameters
        ----------
        measured
            What this frame gives.
        time_s
            The frame's time.
        """
        values = {
            name: self._returning(name, value, time_s)
            if value.measured
            else self._carried(name, value, time_s)
            for name, value in measured.values.items()
        }
        self._keep(values)
        return HandMeasurement(measured.side, values, measured.lift_plane)

    def _returning(self, name: str, value: Measurement, time_s: float) -> Measurement:
        reason = self._went.get(name)
        if reason is not None:
            since_s = self._well_s.setdefault(name, time_s)
            if 0 <= time_s - since_s < self.rules.settle_s:
                return Measurement.refused(reason)
            del self._went[name], self._well_s[name]
        if value.value is not None and value.sd is not None:
            self._last[name] = (value.value, value.sd, time_s)
        return value

    def _carried(self, name: str, refused: Measurement, time_s: float) -> Measurement:
        self._well_s.pop(name, None)
        return self._aged(name, refused, time_s)

    def _aged(self, name: str, refused: Measurement, time_s: float) -> Measurement:
        if name not in self.shown & _CARRIED:
            return refused
        value, sd, last_s = self._last[name]
        age_s = time_s - last_s
        if not 0 <= age_s <= self.rules.carry_s:
            return refused
        return Measurement.of(value, math.hypot(sd, self.rules.drift * math.sqrt(age_s)))

    def between(self, refused: HandMeasurement, time_s: float) -> HandMeasurement:
        """What is given of a hand in a frame in which it was not looked at: angles stay, with a spread that grows, the
        rest is refused, and nothing of it counts as gone."""
        values = {name: self._aged(name, value, time_s) for name, value in refused.values.items()}
        return HandMeasurement(refused.side, values, refused.lift_plane)

    def lost(self, refused: HandMeasurement) -> HandMeasurement:
        """A hand of which nothing is given any more; returns what it was handed."""
        self._well_s.clear()
        self._keep(dict(refused.values))
        return refused

    def _keep(self, values: dict[str, Measurement]) -> None:
        now = frozenset(name for name, value in values.items() if value.measured)
        for name in self.shown - now:
            reason = values[name].refusal
            self._went[name] = Refusal.TOO_UNCERTAIN if reason is None else reason
        self.shown = now
