"""The week's load for the page: a sentence when it rises suddenly over the weeks before it."""

from __future__ import annotations

import datetime as dt

from posturewatch.exposure.load import PlayedSession, load_notice, weekly_load
from posturewatch.review.trends import local_day, local_today
from posturewatch.storage.reader import SessionReader

__all__ = ["load_sentence"]


def load_sentence(reader: SessionReader, today: dt.date | None = None) -> str | None:
    """From the sessions that are kept; None where the week is no sudden rise or too little is known."""
    played = [
        PlayedSession(local_day(one.started_at), one.end_s / 60.0)
        for one in reader.sessions()
        if not one.demo
    ]
    notice = load_notice(weekly_load(played, local_today() if today is None else today))
    return None if notice is None else notice.sentence
