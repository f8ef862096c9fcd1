"""A session's summary in JSON's types, as it is kept, printed and shown."""

from __future__ import annotations

from typing import Any

from posturewatch.comfort.summary import summarise
from posturewatch.session.reader import SessionReader, SessionRecord
from posturewatch.session.records import SessionInfo, excursion_json, warning_json

__all__ = ["Shelf", "session_summary", "summarise_record"]


def summarise_record(record: SessionRecord) -> dict[str, Any]:
    """`session` (see `SessionInfo.to_json`), the fields of `posturewatch.comfort.summary.Summary.to_json`, and
    the lists `excursions`, `warned` and `marks` that it counts."""
    summary = summarise(
        record.series,
        record.excursions,
        [stored.warning for stored in record.warnings],
        record.limits,
        end_s=record.info.end_s,
        max_gap_s=record.max_gap_s,
    )
    return {
        "session": record.info.to_json(),
        **summary.to_json(),
        "excursions": [excursion_json(one) for one in record.excursions],
        "warned": [warning_json(one) for one in record.warnings],
        "marks": [{"time_s": round(mark.time_s, 3), "note": mark.note} for mark in record.marks],
    }


def session_summary(reader: SessionReader, info: SessionInfo) -> dict[str, Any]:
    """The session's summary: as kept at its end, or computed now where none is kept."""
    kept = None if info.open else reader.cached_summary(info.id)
    return summarise_record(reader.session(info.id)) if kept is None else kept


class Shelf:
    """The kept sessions in JSON's types, for the page."""

    def __init__(self, reader: SessionReader) -> None:
        self._reader = reader

    def sessions(self) -> list[dict[str, Any]]:
        """All sessions, newest first."""
        return [info.to_json() for info in self._reader.sessions()]

    def summary(self, session_id: str) -> dict[str, Any]:
        """Raises InputError for an id that is not kept."""
        return session_summary(self._reader, self._reader.find(session_id))
