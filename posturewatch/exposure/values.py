"""What a stretch of practice adds up to for one quantity of one hand, as values and in JSON's types."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from posturewatch.comfort.limits import LEVELS
from posturewatch.exposure.percentiles import PERCENTILES
from posturewatch.exposure.series import Window
from posturewatch.model.observation import Side
from posturewatch.model.quantities import quantity
from posturewatch.model.verdict import HandState, Level

__all__ = [
    "MEASURED_STATES",
    "DirectionExposure",
    "Exposure",
    "LimitExposure",
    "Rests",
    "Speed",
    "Variation",
]


#: The states that a measured angle can be in, from the inside out.
MEASURED_STATES = (HandState.IN_COMFORT, HandState.UNSURE, HandState.PAST_COMFORT, HandState.EXTREME)


@dataclass(frozen=True)
class LimitExposure:
    """What lies beyond one limit.

    Time and episodes are counted without hysteresis: of the samples whose value lies beyond the limit, and of nothing
    else. The longest episode is a part of the time, so it is never longer. Excursions are counted with hysteresis
    (`posturewatch.comfort.excursions`), in the same values: each begins with an episode, so there are never more of
    them. What is shown as longest is the episode.

    Attributes
    ----------
    limit : float
        Magnitude in its direction, in the quantity's unit.
    seconds : float
        Measured time beyond the limit.
    certain_s : float
        Of `seconds`, what is beyond the limit with a probability of `posturewatch.comfort.exceedance.CERTAIN`.
    excess : float
        Excess angle x time: how far beyond, times how long (unit times seconds).
    longest_s, longest_start_s : float or None
        The longest episode: how long it was measured here, and where that begins. None where there is none.
    peak : float or None
        The signed value farthest beyond the limit.
    excursions : int
        How many began here.
    """

    level: Level
    limit: float
    seconds: float
    certain_s: float
    excess: float
    longest_s: float | None
    longest_start_s: float | None
    peak: float | None
    excursions: int


@dataclass(frozen=True)
class DirectionExposure:
    """Seconds of measured time per state of the angle while leaning in a direction, and what lies beyond each limit
    that the direction has.

    Comfort needs evidence: time counts as in comfort where the value's whole 90 % interval lies inside the limits, and
    as unsure where it reaches past one (`posturewatch.comfort.hand_state`). The states of both directions sum to the
    measured time.
    """

    direction: str
    states_s: Mapping[HandState, float]
    levels: tuple[LimitExposure, ...]

    def level(self, level: Level) -> LimitExposure | None:
        """What lies beyond that limit; None where the direction has no such limit.

        Raises
        ------
        ValueError
            For an unknown level.
        """
        if level not in LEVELS:
            raise ValueError(f"a level is one of {LEVELS}, got {level!r}")
        return next((one for one in self.levels if one.level == level), None)


@dataclass(frozen=True)
class Rests:
    """Episodes near neutral of the least length of a rest. band: (lowest, highest) value near neutral. count:
    how many began here. seconds: measured time in rests. per_minute: of measured time."""

    band: tuple[float, float]
    count: int
    seconds: float
    per_minute: float


@dataclass(frozen=True)
class Speed:
    """Mean and median of the speed of change, in units per second, weighted by time. Context, never an alarm."""

    mean: float
    median: float


@dataclass(frozen=True)
class Variation:
    """Exposure variation (Mathiassen & Winkel 1991, Ergonomics 34:1455-1468, from memory): measured seconds
    by amplitude class (rows) and by the duration of the episode they belong to (columns).

    amplitude_edges: bounds between the rows, signed, in the quantity's unit. duration_edges_s: bounds
    between the columns. An episode keeps its whole duration where only a part of it lies in the window.
    """

    amplitude_edges: tuple[float, ...]
    duration_edges_s: tuple[float, ...]
    seconds: tuple[tuple[float, ...], ...]


@dataclass(frozen=True)
class Exposure:
    """Exposure of one quantity of one hand over windows of session time.

    unseen_s: seconds that were not measured, by reason, longest first. percentiles: of the signed value over
    measured time, in the order of `PERCENTILES` (amplitude distribution, Jonsson 1982, J Hum Ergol 11:73,
    from memory; short records bias the 10th up and the 90th down, BMC Med Res Methodol 2012;12:36).
    percentiles, rests and speed are None where nothing was measured; rests also where neutral means nothing.
    """

    side: Side
    quantity: str
    unit: str
    windows: tuple[Window, ...]
    total_s: float
    measured_s: float
    unseen_s: dict[str, float]
    percentiles: tuple[float, ...] | None
    directions: tuple[DirectionExposure, ...]
    rests: Rests | None
    speed: Speed | None
    variation: Variation

    @property
    def measured_share(self) -> float | None:
        return self.measured_s / self.total_s if self.total_s > 0 else None

    def direction(self, direction: str) -> DirectionExposure:
        """What was measured in that direction.

        Raises
        ------
        ValueError
            For a direction that the quantity does not have.
        """
        found = next((one for one in self.directions if one.direction == direction), None)
        if found is None:
            raise ValueError(f"{self.quantity} has no direction {direction!r}")
        return found

    def share(self, direction: str, level: Level) -> float | None:
        """Share of the measured time beyond a limit; None without measured time or without that limit."""
        found = self.direction(direction).level(level)
        return None if found is None or self.measured_s <= 0 else found.seconds / self.measured_s

    def to_json(self) -> dict[str, Any]:
        """JSON's types: what is missing is null, seconds to the millisecond, the unit in the names."""
        return {
            "side": self.side,
            "quantity": self.quantity,
            "unit": self.unit,
            "group": quantity(self.quantity).group,
            "finger": quantity(self.quantity).finger,
            "windows_s": [[_round(start_s), _round(end_s)] for start_s, end_s in self.windows],
            "total_s": _round(self.total_s),
            "measured_s": _round(self.measured_s),
            "measured_share": _round(self.measured_share, 4),
            "unseen_s": {reason: _round(seconds) for reason, seconds in self.unseen_s.items()},
            f"percentiles_{self.unit}": None
            if self.percentiles is None
            else {f"p{p}": _round(v, 2) for p, v in zip(PERCENTILES, self.percentiles, strict=True)},
            "directions": [self._direction_json(one) for one in self.directions],
            "rests": None
            if self.rests is None
            else {
                f"band_{self.unit}": [_round(bound, 2) for bound in self.rests.band],
                "count": self.rests.count,
                "seconds": _round(self.rests.seconds),
                "per_minute": _round(self.rests.per_minute, 2),
            },
            f"speed_{self.unit}_per_s": None
            if self.speed is None
            else {"mean": _round(self.speed.mean, 2), "median": _round(self.speed.median, 2)},
            "variation": {
                f"amplitude_edges_{self.unit}": [_round(edge, 2) for edge in self.variation.amplitude_edges],
                "duration_edges_s": list(self.variation.duration_edges_s),
                "seconds": [[_round(cell_s) for cell_s in row] for row in self.variation.seconds],
            },
        }

    def _direction_json(self, one: DirectionExposure) -> dict[str, Any]:
        return {
            "direction": one.direction,
            "states_s": {state.value: _round(seconds) for state, seconds in one.states_s.items()},
            "levels": [
                {
                    "level": level.level,
                    f"limit_{self.unit}": _round(level.limit, 2),
                    "seconds": _round(level.seconds),
                    "share": _round(self.share(one.direction, level.level), 4),
                    "certain_s": _round(level.certain_s),
                    f"excess_{self.unit}_s": _round(level.excess, 2),
                    "longest_s": _round(level.longest_s),
                    "longest_start_s": _round(level.longest_start_s),
                    f"peak_{self.unit}": _round(level.peak, 2),
                    "excursions": level.excursions,
                }
                for level in one.levels
            ],
        }


def _round(number: float | None, digits: int = 3) -> float | None:
    return None if number is None else round(float(number), digits)
