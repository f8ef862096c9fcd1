"""A session's summary in JSON's types, as it is kept, printed and shown."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from posturewatch.exposure.cue_series import shares_json
from posturewatch.exposure.exposure_series import ExposureSeries
from posturewatch.exposure.series import sample_seconds
from posturewatch.exposure.summary import summarise
from posturewatch.model.quantities import QUANTITIES
from posturewatch.review.cue_shares import session_cues
from posturewatch.review.exposures import REVIEW_VERSION, excursions_json, session_exposures
from posturewatch.storage.reader import SessionReader, SessionRecord
from posturewatch.storage.records import SessionInfo, warning_json

__all__ = ["plane_seconds", "session_summary", "summarise_record"]

_LIFTS = frozenset(entry.name for entry in QUANTITIES if entry.family == "finger_lift")


def summarise_record(record: SessionRecord, series: Sequence[ExposureSeries] | None = None) -> dict[str, Any]:
    """The session's summary in JSON's types.

    Parameters
    ----------
    record : SessionRecord
        The session as it is kept.
    series : sequence of ExposureSeries, optional
        Those of `session_exposures`, where they are at hand.

    Returns
    -------
    dict
        `version` of the computation; `session` (see `SessionInfo.to_json`); the fields of
        `posturewatch.exposure.summary.Summary.to_json`; the lists `excursions` (see
        `excursions_json`), `warned` and `marks` of what happened
        while it was recorded; `damage`, sentences on what cannot be read any more; `lift_planes` as `plane_seconds`
        has it; `cues` as `posturewatch.exposure.cue_series.CueShare.to_json`.

    Raises
    ------
    ValueError
        For times out of order.
    """
    series = session_exposures(record) if series is None else series
    summary = summarise(
        series,
        [stored.warning for stored in record.warnings],
        record.limits.name,
        record.info.end_s,
    )
    return {
        "version": REVIEW_VERSION,
        "session": record.info.to_json(),
        **summary.to_json(),
        "lift_planes": plane_seconds(record),
        "cues": shares_json(session_cues(record), (0.0, record.info.end_s)) if record.info.end_s > 0 else [],
        "excursions": excursions_json(record.excursions, series, record.rules, record.info.end_s),
        "warned": [warning_json(one) for one in record.warnings],
        "damage": list(record.damage),
        "marks": [{"time_s": round(mark.time_s, 3), "note": mark.note} for mark in record.marks],
    }


def plane_seconds(record: SessionRecord) -> dict[str, dict[str, float]]:
    """Seconds in which some finger's lift was measured, by hand and by the plane it was measured from."""
    found: dict[str, dict[str, float]] = {}
    for side in dict.fromkeys(one.side for one in record.series):
        lifts = [
            one for one in record.series
            if one.side == side and one.quantity in _LIFTS and one.time_s.size
        ]  # fmt: skip
        if not lifts:
            continue
        times = np.unique(np.concatenate([one.time_s for one in lifts]))
        known = np.isin(times, np.concatenate([one.time_s[one.measured] for one in lifts]))
        seconds = sample_seconds(times, record.info.end_s, record.max_gap_s)
        places = record.plane_at(side, times)
        spent: dict[str, float] = {}
        for place in np.unique(places[known & (places >= 0)]).tolist():
            plane = record.planes[place].plane
            spent[plane] = spent.get(plane, 0.0) + float(seconds[known & (places == place)].sum())
        if spent:
            found[side] = {plane: round(spent_s, 3) for plane, spent_s in spent.items()}
    return found


def session_summary(reader: SessionReader, info: SessionInfo) -> dict[str, Any]:
    """The session's summary: as kept at its end, or computed now where none of this version is kept."""
    kept = None if info.open else reader.cached_summary(info.id)
    if kept is None or kept.get("version") != REVIEW_VERSION:
        return summarise_record(reader.session(info.id))
    return kept
