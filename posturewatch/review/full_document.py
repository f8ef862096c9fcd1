"""All that is known of a session beside its samples, in JSON's types, also where nothing may be written."""

from __future__ import annotations

from typing import Any

from posturewatch.review.session_document import session_page
from posturewatch.review.summaries import session_summary
from posturewatch.storage.reader import SessionReader, SessionRecord

__all__ = ["full_document"]


def full_document(reader: SessionReader, record: SessionRecord) -> dict[str, Any]:
    """The session's summary and its page; raises InputError where it was deleted meanwhile."""
    info = reader.find_exactly(record.info.id)
    told = session_summary(reader, info)
    with reader.reading() as connection:
        return told if connection is None else {**told, **session_page(connection, reader.data_dir, info)}
