"""The watch: frame measurements in, zones, excursions and warnings out. Pure; time is an argument."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace
from typing import TypeVar

from posturewatch.comfort.cues import cues_present
from posturewatch.comfort.exceedance import exceedance_probability
from posturewatch.comfort.excursions import ExcursionTracker
from posturewatch.comfort.hand_state import hand_state
from posturewatch.comfort.holds import Hold
from posturewatch.comfort.limits import LEVELS, LimitProfile
from posturewatch.comfort.rules import WatchRules
from posturewatch.comfort.zones import zone_of
from posturewatch.model.measurement import FrameMeasurement, HandMeasurement, Measurement
from posturewatch.model.observation import SIDES, Side
from posturewatch.model.quantities import QUANTITIES, Quantity
from posturewatch.model.verdict import Excursion, HandVerdict, HoldWarning, Level, Verdict, Zone, ZoneState

__all__ = ["Watch"]

Event = TypeVar("Event", Excursion, HoldWarning)

_UNSEEN = ZoneState(Zone.UNSEEN, None, 0.0)


@dataclass(frozen=True)
class _Line:
    """One quantity of one hand: its excursion trackers, and its holds with the direction each is about."""

    side: Side
    entry: Quantity
    trackers: tuple[ExcursionTracker, ...]
    holds: tuple[tuple[str, Hold], ...]


class Watch:
    """Watches both hands frame by frame.

    Everything follows from the unsmoothed measurement. `Excursion.limit` and `HoldWarning.limit` are
    magnitudes in their direction, as in the profile; `Excursion.peak` is signed. Refused measurements count
    as unseen: they open nothing, and nothing is warned of them. Of a hand's wrist one warning is given at a time: what
    else of it is held meanwhile is recorded, and warned of once that has cleared, where it still is held. fretting: the
    hands that press strings to a fingerboard, of which some cues are reported alone. The hands that are warned of are
    those of the rules until `warn` says otherwise.
    """

    def __init__(
        self, limits: LimitProfile, rules: WatchRules, fretting: frozenset[Side] = frozenset()
    ) -> None:
        self.limits = limits
        self._of = {side: limits.of(side) for side in SIDES}
        self._fretting = fretting
        self.rules = rules
        self._warned = frozenset(rules.warn_sides)
        self._time_s: float | None = None
        self._make()

    def _make(self) -> None:
        self._trackers: dict[tuple[Side, str, str, Level], ExcursionTracker] = {}
        self._lines = tuple(self._line(side, entry) for side in SIDES for entry in QUANTITIES)

    def _line(self, side: Side, entry: Quantity) -> _Line:
        trackers: list[ExcursionTracker] = []
        holds: list[tuple[str, Hold]] = []
        warned = entry.group in self.rules.warn_groups
        for direction in entry.directions:
            for level in LEVELS:
                limit = self._of[side].limit(entry.name, direction, level)
                if limit is None:
                    continue
                tracker = ExcursionTracker(side, entry.name, direction, level, limit.value, self.rules)
                trackers.append(tracker)
                self._trackers[side, entry.name, direction, level] = tracker
                if level == "extreme" and warned:
                    holds.append((direction, Hold(side, entry.name, direction, limit.value, self.rules)))
        return _Line(side, entry, tuple(trackers), tuple(holds))

    def warn(self, sides: Collection[Side]) -> None:
        """From the next frame on these hands are warned of and no others; what is shown of the others clears. May be
        called from any thread."""
        self._warned = frozenset(sides)

    def update(self, measurement: FrameMeasurement) -> Verdict:
        """The verdict on one frame.

        Parameters
        ----------
        measurement : FrameMeasurement
            Of both hands; angles in degrees, lengths in millimetres.

        Raises
        ------
        ValueError
            Where time runs backwards.
        """
        time_s = measurement.time_s
        if self._time_s is not None and time_s < self._time_s:
            raise ValueError(f"time runs backwards, from {self._time_s} s to {time_s} s")
        self._time_s = time_s
        zones: dict[tuple[Side, str], ZoneState] = {}
        opened: list[Excursion] = []
        closed: list[Excursion] = []
        fired: list[HoldWarning] = []
        cleared: list[HoldWarning] = []
        active: list[HoldWarning] = []
        warned = self._warned
        told = self._wrists_told()
        for line in self._lines:
            single = measurement.hand(line.side).values.get(line.entry.name)
            zones[line.side, line.entry.name] = self._zone(line, single)
            value = None if single is None else single.value
            for tracker in line.trackers:
                _note(tracker.update(time_s, value), closed, opened)
            for direction, hold in line.holds:
                if line.side not in warned:
                    _note((hold.drop(time_s), None), cleared, fired)
                    continue
                waits = line.entry.group == "wrist" and hold.active is None and line.side in told
                chance = self._exceedance(line, direction, single)
                _note(hold.update(time_s, chance, waits=waits), cleared, fired)
                if hold.active is not None:
                    active.append(hold.active)
                    told = self._wrists_told()
        for warning in fired:
            tracker = self._trackers[warning.side, warning.quantity, warning.direction, "extreme"]
            announced = tracker.warned(time_s)
            if announced is not None:
                opened.append(announced)
        hands = {side: self._hand(side, measurement.hand(side)) for side in SIDES}
        return Verdict(
            time_s, zones, hands, tuple(opened), tuple(closed), tuple(fired), tuple(cleared), tuple(active)
        )

    def _wrists_told(self) -> set[Side]:
        """The sides of whose wrist a warning stands."""
        wrists = (line for line in self._lines if line.entry.group == "wrist")
        return {line.side for line in wrists if any(hold.active is not None for _, hold in line.holds)}

    def finish(self, time_s: float) -> tuple[Excursion, ...]:
        """Ends the watch at this time: closes what is open, with end "stopped", and forgets everything."""
        closed = [tracker.finish(time_s) for tracker in self._trackers.values()]
        self._time_s = None
        self._make()
        return tuple(excursion for excursion in closed if excursion is not None)

    def _hand(self, side: Side, hand: HandMeasurement) -> HandVerdict:
        limits = self._of[side]
        cues = cues_present(hand, limits, fretting=side in self._fretting)
        return replace(hand_state(hand, limits), cues=cues)

    def _zone(self, line: _Line, measurement: Measurement | None) -> ZoneState:
        if measurement is None or measurement.value is None or measurement.sd is None:
            return _UNSEEN
        zone, direction = zone_of(measurement.value, line.entry, self._of[line.side])
        return ZoneState(zone, direction, self._exceedance(line, direction, measurement) or 0.0)

    def _exceedance(self, line: _Line, direction: str, measurement: Measurement | None) -> float | None:
        """None when not measurable or without an extreme limit."""
        limit = self._of[line.side].limit(line.entry.name, direction, "extreme")
        if limit is None or measurement is None or measurement.value is None or measurement.sd is None:
            return None
        magnitude = measurement.value * line.entry.sign(direction)
        return float(exceedance_probability(limit.value, magnitude, measurement.sd))


def _note(change: tuple[Event | None, Event | None], ended: list[Event], began: list[Event]) -> None:
    """Adds what ended and what began in this frame to the lists."""
    if change[0] is not None:
        ended.append(change[0])
    if change[1] is not None:
        began.append(change[1])
