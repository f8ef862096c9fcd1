"""What has been put but is not yet in the database: numbers and events only, never a frame."""

from __future__ import annotations

from array import array
from collections.abc import Collection, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from posturewatch.model.measurement import FrameMeasurement, LiftPlane, Refusal
from posturewatch.model.observation import SIDES, Side
from posturewatch.model.quantities import quantity
from posturewatch.model.verdict import Excursion
from posturewatch.storage.records import Mark, PassageBegin, PlaneBegin, StoredWarning
from posturewatch.storage.samples.codec import TIME_STEP_S, Samples, join

__all__ = ["REFUSALS", "Batch", "Event", "OpenExcursions", "Planes", "SeriesKey", "join_series"]

SeriesKey = tuple[Side, str]

#: Something that happened. An excursion or a warning comes again whenever more is known of it.
Event = Excursion | StoredWarning | Mark | PassageBegin | PlaneBegin

#: In memory a refusal is 1 + its place here; in the database it is the code in the table `refusal`.
REFUSALS: tuple[Refusal, ...] = tuple(Refusal)
_CODES = {refusal: place + 1 for place, refusal in enumerate(REFUSALS)}


@dataclass
class _Columns:
    """The growing arrays of one series, in the steps of its quantity: 17 bytes a sample."""

    time_ms: array[int] = field(default_factory=lambda: array("q"))
    value: array[int] = field(default_factory=lambda: array("i"))
    sd: array[int] = field(default_factory=lambda: array("i"))
    refusal: array[int] = field(default_factory=lambda: array("B"))

    def samples(self) -> Samples:
        return Samples(
            np.array(self.time_ms, np.int64),
            np.array(self.value, np.int64),
            np.array(self.sd, np.int64),
            np.array(self.refusal, np.uint8),
        )


@dataclass
class Batch:
    """Samples by series, and events in their order. `sample_count` and the events bound its size."""

    series: dict[SeriesKey, _Columns] = field(default_factory=dict)
    events: list[Event] = field(default_factory=list)
    sample_count: int = 0

    def add(self, measurement: FrameMeasurement, due: Collection[str]) -> int:
        """Both hands' measurements of one frame, rounded as they are kept: those that are due, and of these what
        the weights in use give at all. Returns how many that were."""
        before = self.sample_count
        time_ms = round(measurement.time_s / TIME_STEP_S)
        for side in SIDES:
            for name, one in measurement.hand(side).values.items():
                if name not in due or one.refusal is Refusal.NOT_REPORTED:
                    continue
                columns = self.series.get((side, name))
                if columns is None:
                    columns = self.series.setdefault((side, name), _Columns())
                columns.time_ms.append(time_ms)
                if one.value is None or one.sd is None:
                    columns.value.append(0)
                    columns.sd.append(0)
                    columns.refusal.append(_code(one.refusal))
                else:
                    entry = quantity(name)
                    columns.value.append(round(one.value / entry.value_step))
                    columns.sd.append(max(1, round(one.sd / entry.sd_step)))
                    columns.refusal.append(0)
                self.sample_count += 1
        return self.sample_count - before


def _code(refusal: Refusal | None) -> int:
    if refusal is None:
        raise ValueError("a measurement has a value or a refusal")
    return _CODES[refusal]


def join_series(batches: Sequence[Batch]) -> dict[SeriesKey, Samples]:
    """The samples of all batches, one stretch per series."""
    parts: dict[SeriesKey, list[Samples]] = {}
    for batch in batches:
        for key, columns in batch.series.items():
            parts.setdefault(key, []).append(columns.samples())
    return {key: join(samples) for key, samples in parts.items()}


class Planes:
    """Finds when finger lifts begin to be measured from another plane. A hand that is not measured for a while, and
    then from the same plane, is no change."""

    def __init__(self) -> None:
        self._last: dict[Side, LiftPlane] = {}

    def changes(self, measurement: FrameMeasurement) -> list[PlaneBegin]:
        """What begins with this frame, for each hand at most one."""
        found = []
        for side in SIDES:
            plane = measurement.hand(side).lift_plane
            if plane is not None and self._last.get(side) != plane:
                self._last[side] = plane
                found.append(PlaneBegin(side, measurement.time_s, plane))
        return found


class OpenExcursions:
    """The excursions that last, with their peaks so far, so that a crash leaves no peak behind."""

    def __init__(self) -> None:
        self._lasting: dict[tuple[Side, str, str, str], Excursion] = {}
        self._changed: set[tuple[Side, str, str, str]] = set()

    def opened(self, excursion: Excursion) -> None:
        """An excursion began."""
        self._lasting[excursion.key] = excursion

    def closed(self, excursion: Excursion) -> None:
        """An excursion ended; nothing is left of it here."""
        lasting = self._lasting.get(excursion.key)
        if lasting is not None and lasting.start_s == excursion.start_s:
            del self._lasting[excursion.key]
            self._changed.discard(excursion.key)

    def warned(self, side: Side, name: str, direction: str, fired_s: float) -> None:
        """The player was warned of an excursion at fired_s, seconds of the session."""
        key = (side, name, direction, "extreme")
        excursion = self._lasting.get(key)
        if excursion is not None and excursion.warned_s is None:
            self._lasting[key] = replace(excursion, warned_s=fired_s)
            self._changed.add(key)

    def follow(self, measurement: FrameMeasurement) -> None:
        """Raise the peaks that this frame's values exceed."""
        for key, excursion in self._lasting.items():
            value = measurement.hand(excursion.side).values[excursion.quantity].value
            if value is None:
                continue
            sign = quantity(excursion.quantity).sign(excursion.direction)
            if sign * value > sign * excursion.peak:
                self._lasting[key] = replace(excursion, peak=value, peak_s=measurement.time_s)
                self._changed.add(key)

    def changes(self) -> list[Excursion]:
        """Those that changed since this was last asked."""
        changed = [self._lasting[key] for key in sorted(self._changed)]
        self._changed.clear()
        return changed

    def stop(self, end_s: float) -> list[Excursion]:
        """Closes whatever still lasts, as stopped at end_s (or at its own last known moment)."""
        stopped = [
            replace(one, end_s=max(end_s, one.peak_s, one.start_s), end="stopped")
            for one in self._lasting.values()
        ]
        self._lasting.clear()
        self._changed.clear()
        return stopped
