"""A session that is kept nowhere: for a video that is only analysed, with the same rounding as the store."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from posturewatch.comfort.limits import LimitProfile
from posturewatch.comfort.rules import WatchRules
from posturewatch.model.quantities import quantity
from posturewatch.model.reading import Reading
from posturewatch.model.verdict import Excursion, Verdict
from posturewatch.storage.reader import SessionRecord
from posturewatch.storage.records import PlaneBegin, SessionInfo, StoredWarning
from posturewatch.storage.samples.batch import Batch, Planes, SeriesKey, join_series
from posturewatch.storage.samples.codec import Samples
from posturewatch.storage.samples.sampling import Sampling
from posturewatch.storage.samples.series import StoredSeries, series_order, stored_series

__all__ = ["InMemorySession"]


class InMemorySession:
    """Takes readings and becomes a SessionRecord: 17 bytes a sample, 60 MB for four hours of video."""

    def __init__(self) -> None:
        self._batch = Batch()
        self._sampling = Sampling()
        self._planes = Planes()
        self._plane_begins: list[PlaneBegin] = []
        self._excursions: dict[tuple[object, ...], Excursion] = {}
        self._warnings: dict[tuple[object, ...], StoredWarning] = {}

    def put(self, reading: Reading) -> None:
        """Takes a reading."""
        self._batch.add(reading.measurement, self._sampling.due(reading.measurement.time_s))
        self._plane_begins += self._planes.changes(reading.measurement)
        self._take(reading.verdict)

    def record(
        self,
        info: SessionInfo,
        *,
        limits: LimitProfile,
        rules: WatchRules,
        settings: Mapping[str, Any],
        closed: Sequence[Excursion] = (),
    ) -> SessionRecord:
        """closed: the excursions that the end of the run closed."""
        self._keep(closed)
        warnings = (
            replace(one, cleared_s=max(info.end_s, one.warning.fired_s)) if one.cleared_s is None else one
            for one in self._warnings.values()
        )
        series = join_series([self._batch])
        return SessionRecord(
            info=info,
            limits=limits,
            rules=rules,
            settings=dict(settings),
            series=tuple(sorted((_stored(key, series[key]) for key in series), key=series_order)),
            excursions=tuple(sorted(self._excursions.values(), key=lambda one: one.start_s)),
            warnings=tuple(sorted(warnings, key=lambda one: one.warning.fired_s)),
            marks=(),
            planes=tuple(self._plane_begins),
        )

    def _keep(self, excursions: Sequence[Excursion]) -> None:
        for one in excursions:
            key = (*one.key, one.start_s)
            self._excursions[key] = one

    def _take(self, verdict: Verdict) -> None:
        self._keep(verdict.opened)
        self._keep(verdict.closed)
        for warning in verdict.fired:
            key = (warning.side, warning.quantity, warning.direction, warning.fired_s)
            self._warnings[key] = StoredWarning(warning, None)
        for warning in verdict.cleared:
            key = (warning.side, warning.quantity, warning.direction, warning.fired_s)
            self._warnings[key] = StoredWarning(warning, verdict.time_s)


def _stored(key: SeriesKey, samples: Samples) -> StoredSeries:
    entry = quantity(key[1])
    return stored_series(key, samples, entry.value_step, entry.sd_step)
