"""What a session adds up to, gathered from one series after another: of a long one little is in memory at a time."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from posturewatch.exposure.cue_series import shares_json
from posturewatch.exposure.exposure_series import ExposureSeries
from posturewatch.exposure.findings import Finding, FingerPosture, finding_of, most_outstanding
from posturewatch.exposure.hand_time import HandSeries
from posturewatch.exposure.passages import Passage, Spread, spreads
from posturewatch.exposure.series import Window, minutes
from posturewatch.exposure.summary import GatheredSummary, Summary
from posturewatch.exposure.values import Exposure
from posturewatch.model.arrays import Array
from posturewatch.model.observation import SIDES, Side
from posturewatch.review.cue_shares import cues_of_hand, postures_of
from posturewatch.review.exposures import exposure_of, session_exposures
from posturewatch.storage.reader import SessionRecord

__all__ = ["Gathered", "Windows", "gather"]

#: Stretches of a session that are taken together.
Windows = tuple[Window, ...]


@dataclass
class Gathered:
    """Of a whole session.

    Attributes
    ----------
    exposures
        By windows, of every series in its order; of the whole session in any case.
    cues
        By windows, the shares of what is known of fingers there, in JSON's types.
    past_s
        Of each excursion its time past the limit, None where no sample of it can be read.
    by_minute
        Of the wrists alone, since a minute of every finger is more than anybody reads.
    lifts
        By hand, of each lift's samples the times, and whether there is a number.
    summary, hands
        Of all of it together.
    finding
        What stands out of the passages, or None.
    """

    exposures: dict[Windows, list[Exposure]]
    cues: dict[Windows, list[dict[str, Any]]]
    past_s: list[float | None]
    by_minute: list[tuple[Window, list[Exposure]]]
    lifts: dict[Side, list[tuple[Array, NDArray[np.bool_]]]]
    summary: Summary
    hands: tuple[HandSeries, ...]
    finding: Finding | None = None


def gather(
    record: SessionRecord, several: Iterable[Windows] = (), passages: Sequence[Passage] = ()
) -> Gathered:
    """Goes through a session once.

    Parameters
    ----------
    record
        Its series may be read from the disk as they are asked for.
    several
        Windows beside the whole session.
    passages
        Where a finding may lie; without them there are neither minutes nor a finding.

    Raises
    ------
    ValueError
        For times out of order.
    """
    return _Gathering(record, several, passages).run()


class _Gathering:
    def __init__(
        self, record: SessionRecord, several: Iterable[Windows], passages: Sequence[Passage]
    ) -> None:
        self._record = record
        self._passages = passages
        end_s = record.info.end_s
        self._whole: Windows = ((0.0, end_s),)
        windows = dict.fromkeys([self._whole, *several]) if end_s > 0 else {}
        self._exposures: dict[Windows, list[Exposure]] = {one: [] for one in windows}
        self._past_s: list[float | None] = [None] * len(record.excursions)
        self._by_minute: list[tuple[Window, list[Exposure]]] = [(one, []) for one in minutes(end_s)]
        self._lifts: dict[Side, list[tuple[Array, NDArray[np.bool_]]]] = {}
        self._spreads: list[Spread] = []
        self._totals = GatheredSummary(end_s)

    def run(self) -> Gathered:
        record = self._record
        series = session_exposures(record)
        while (one := next(series, None)) is not None:
            self._add(one)
            del one  # the next one is made when this one has gone
        best = most_outstanding(self._spreads, self._passages)
        cues, postures = self._cues(None if best is None else best.spread.side)
        found = Gathered(
            self._exposures,
            cues,
            self._past_s,
            self._by_minute if self._exposures.get(self._whole) else [],
            self._lifts,
            self._totals.summary([stored.warning for stored in record.warnings], record.limits.name),
            self._totals.hands,
        )
        if best is not None:
            own = exposure_of(record, best.spread.side, best.spread.entry.name)
            found.finding = finding_of(best, self._passages[best.place], own, postures=postures)
        return found

    def _add(self, one: ExposureSeries) -> None:
        record = self._record
        for windows, exposures in self._exposures.items():
            exposures.append(one.over(*windows))
        self._totals.add(one, self._exposures[self._whole][-1])
        for place, excursion in enumerate(record.excursions):
            if (excursion.side, excursion.quantity) == (one.side, one.entry.name):
                until_s = record.info.end_s if excursion.end_s is None else excursion.end_s
                past_s = one.past_s(excursion.direction, excursion.level, excursion.start_s, until_s)
                self._past_s[place] = past_s
        if one.entry.family == "finger_lift":
            self._lifts.setdefault(one.side, []).append((one.every_s, one.measured))
        if one.entry.group == "wrist":
            # Of every further series compared, what stands out would be less certain.
            self._spreads += spreads(one, self._passages, record.info.end_s)
            for minute, exposures in self._by_minute:
                exposures.append(one.over(minute))

    def _cues(
        self, side_of_finding: Side | None
    ) -> tuple[dict[Windows, list[dict[str, Any]]], list[FingerPosture]]:
        found: dict[Windows, list[dict[str, Any]]] = {one: [] for one in self._exposures}
        postures: list[FingerPosture] = []
        for side in SIDES if found else ():
            cues = cues_of_hand(self._record, side)
            for windows, shares in found.items():
                shares += shares_json(cues, *windows)
            if side == side_of_finding:
                postures = postures_of(cues, self._record.settings)
            del cues
        return found, postures
