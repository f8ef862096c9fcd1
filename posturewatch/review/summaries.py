"""A session's summary in JSON's types, as it is kept, printed and shown."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from posturewatch.exposure.series import sample_seconds
from posturewatch.model.arrays import Array
from posturewatch.model.observation import Side
from posturewatch.review.exposures import REVIEW_VERSION, told_excursions
from posturewatch.review.gathered import Gathered, gather
from posturewatch.storage.reader import SessionOutline, SessionReader, SessionRecord
from posturewatch.storage.records import SessionInfo, warning_json

__all__ = ["plane_seconds", "session_summary", "summarise_record"]


def summarise_record(record: SessionRecord, gathered: Gathered | None = None) -> dict[str, Any]:
    """The session's summary in JSON's types.

    Parameters
    ----------
    record : SessionRecord
        The session as it is kept.
    gathered : Gathered, optional
        What it adds up to, where that is at hand.

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
    gathered = gather(record) if gathered is None else gathered
    whole = ((0.0, record.info.end_s),)
    return {
        "version": REVIEW_VERSION,
        "session": record.info.to_json(),
        **gathered.summary.to_json(),
        "lift_planes": plane_seconds(record, gathered.lifts),
        "cues": gathered.cues.get(whole, []),
        "excursions": told_excursions(record.excursions, gathered.past_s, record.rules),
        "warned": [warning_json(one) for one in record.warnings],
        "damage": list(record.damage),
        "marks": [{"time_s": round(mark.time_s, 3), "note": mark.note} for mark in record.marks],
    }


def plane_seconds(
    record: SessionOutline, lifts: Mapping[Side, Sequence[tuple[Array, NDArray[np.bool_]]]]
) -> dict[str, dict[str, float]]:
    """Seconds in which some finger's lift was measured, by hand and by the plane it was measured from; lifts: of each
    the times of its samples, and whether there is a number."""
    found: dict[str, dict[str, float]] = {}
    for side, several in lifts.items():
        times = np.unique(np.concatenate([time_s for time_s, _ in several]))
        known = np.isin(times, np.concatenate([time_s[measured] for time_s, measured in several]))
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
