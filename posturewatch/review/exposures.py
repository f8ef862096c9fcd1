"""The exposure of a kept session's series: computed in one place for its summary and its review."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from posturewatch.comfort.limits import LimitProfile
from posturewatch.comfort.rules import WatchRules
from posturewatch.exposure.exposure_series import ExposureSeries
from posturewatch.exposure.rules import ExposureRules
from posturewatch.model.observation import Side
from posturewatch.model.quantities import QUANTITY_NAMES
from posturewatch.model.verdict import Excursion
from posturewatch.storage.reader import SessionRecord
from posturewatch.storage.records import excursion_json
from posturewatch.storage.samples.series import StoredSeries, chosen

__all__ = ["REVIEW_VERSION", "excursions_json", "exposure_of", "session_exposures", "told_excursions"]

#: Raise it when the computation or its JSON changes: what was kept by an older one is computed anew.
REVIEW_VERSION = 7


def session_exposures(record: SessionRecord) -> Iterator[ExposureSeries]:
    """Every series of the session that has samples, judged by its own limits and rules, one after another; none
    without time.

    Raises
    ------
    ValueError
        For times out of order.
    """
    if record.info.end_s <= 0:
        return
    rules = ExposureRules(watch=record.rules)
    several = chosen(record.series, lambda one: one.quantity in QUANTITY_NAMES)
    for place in range(len(several)):
        one = several[place]
        made = _made(one, record.limits.of(one.side), rules)
        if made is not None:
            yield made
        del one, made  # nothing of it is held while the next one is made


def _made(one: StoredSeries, limits: LimitProfile, rules: ExposureRules) -> ExposureSeries | None:
    return ExposureSeries(one, limits, rules=rules) if one.time_s.size else None


def exposure_of(record: SessionRecord, side: Side, name: str) -> ExposureSeries:
    """The series of that hand and quantity, as `session_exposures` has it."""
    (one,) = chosen(record.series, lambda one: (one.side, one.quantity) == (side, name))
    return ExposureSeries(one, record.limits.of(side), rules=ExposureRules(watch=record.rules))


def excursions_json(
    excursions: Iterable[Excursion], series: Sequence[ExposureSeries], rules: WatchRules, end_s: float
) -> list[dict[str, Any]]:
    """Excursions in JSON's types, with what is told of them as holds.

    Parameters
    ----------
    excursions : iterable of Excursion
        As the watch kept them: with hysteresis, so that they last on a little within the limit.
    series : sequence of ExposureSeries
        Those of the same session.
    rules : WatchRules
        Under which it was watched.
    end_s : float
        The session's end, in seconds.

    Returns
    -------
    list of dict
        Each as `excursion_json`, with `past_s`, its time past the limit as the exposure has it, in seconds, None where
        no sample of it can be read; and `hold`: that time is no less than the rules' `min_excursion_s`, and the peak
        lies past the limit also in whole units, as it is shown.
    """
    by_key = {(one.side, one.entry.name): one for one in series}
    several = tuple(excursions)
    past_s: list[float | None] = []
    for one in several:
        own = by_key.get((one.side, one.quantity))
        until_s = end_s if one.end_s is None else one.end_s
        past_s.append(None if own is None else own.past_s(one.direction, one.level, one.start_s, until_s))
    return told_excursions(several, past_s, rules)


def told_excursions(
    excursions: Sequence[Excursion], times_past_s: Sequence[float | None], rules: WatchRules
) -> list[dict[str, Any]]:
    """As `excursions_json`, with the time of each past its limit."""
    found = []
    for one, past_s in zip(excursions, times_past_s, strict=True):
        lasting = past_s is None or past_s >= rules.min_excursion_s
        # Half a unit is shown as the lower one here and the upper one there.
        shown = math.ceil(abs(one.peak) - 0.5) > one.limit
        told = {"past_s": None if past_s is None else round(past_s, 3), "hold": lasting and shown}
        found.append({**excursion_json(one), **told})
    return found
