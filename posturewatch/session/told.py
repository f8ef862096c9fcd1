"""All that is known of a session beside its samples, in JSON's types, also where nothing may be written."""

from __future__ import annotations

from typing import Any

from posturewatch.session.reader import SessionReader, SessionRecord
from posturewatch.session.session_page import session_page
from posturewatch.session.summaries import session_summary

__all__ = ["told_of"]


def told_of(reader: SessionReader, record: SessionRecord) -> dict[str, Any]:
    """The session's summary and its page; raises InputError where it was deleted meanwhile."""
    info = reader.find_exactly(record.info.id)
    told = session_summary(reader, info)
    with reader.reading() as connection:
        return told if connection is None else {**told, **session_page(connection, reader.data_dir, info)}
