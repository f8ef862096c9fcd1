"""Which language a report speaks: each English text is its own key in the catalogue of another language.

What is said while a report is made is said in the language of that report, so nothing has to hand it through; threads
that make reports at the same time do not share it.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar

from posturewatch.review.report.german import GERMAN, MONTHS

__all__ = ["LANGUAGES", "capital", "day", "decimal", "say", "short_day", "speaking", "spoken"]

LANGUAGES: tuple[str, ...] = ("en", "de")

_SPOKEN: ContextVar[str] = ContextVar("language of the report", default="en")


@contextmanager
def speaking(language: str) -> Iterator[None]:
    """What is said within is said in this language, one of `LANGUAGES`."""
    if language not in LANGUAGES:
        raise ValueError(f"language is one of {LANGUAGES}, got {language!r}")
    token = _SPOKEN.set(language)
    try:
        yield
    finally:
        _SPOKEN.reset(token)


def spoken() -> str:
    """The language spoken now."""
    return _SPOKEN.get()


def say(text: str, **values: object) -> str:
    """The text with its places filled; what no catalogue knows, as a name that a player gave, stays as it is."""
    if spoken() == "de":
        text = GERMAN.get(text, text)
    return text.format(**values) if values else text


def capital(text: str) -> str:
    """As a sentence begins."""
    return text[:1].upper() + text[1:]


def decimal(number: str) -> str:
    """A number with the decimal sign of the language."""
    return number.replace(".", ",") if spoken() == "de" else number


def day(date: dt.date) -> str:
    """A day in words."""
    if spoken() == "de":
        return f"{date.day}. {MONTHS[date.month - 1]} {date.year}"
    return f"{date.day} {date:%B %Y}"


def short_day(date: dt.date) -> str:
    """A day with its month in few letters."""
    return f"{date.day}.{date.month}." if spoken() == "de" else f"{date.day} {date:%b}"
