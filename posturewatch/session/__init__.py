"""Sessions: recorded as they happen, kept in SQLite, read back."""

from posturewatch.session.book import Book
from posturewatch.session.clip_table import ClipDesk
from posturewatch.session.reader import SessionReader, SessionRecord, StoredSeries
from posturewatch.session.recorder import Recorder
from posturewatch.session.records import Mark, SessionInfo, SessionStart, StoredWarning
from posturewatch.session.store import Store, default_data_dir, open_reader
from posturewatch.session.summaries import Shelf, session_summary

__all__ = [
    "Book",
    "ClipDesk",
    "Mark",
    "Recorder",
    "SessionInfo",
    "SessionReader",
    "SessionRecord",
    "SessionStart",
    "Shelf",
    "Store",
    "StoredSeries",
    "StoredWarning",
    "default_data_dir",
    "open_reader",
    "session_summary",
]
