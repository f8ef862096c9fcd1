"""Short films of flagged and marked moments, made while the session runs."""

from __future__ import annotations

from posturewatch.clips.folder import ClipFolder, remove_leftovers
from posturewatch.clips.keeper import ClipKeeper, ClipRecord
from posturewatch.clips.microphone import Microphone
from posturewatch.clips.ring import Ring
from posturewatch.clips.sound import FilmSound, Sound
from posturewatch.clips.span import ClipPlanner, ClipRules, Moment, Span

__all__ = [
    "ClipFolder",
    "ClipKeeper",
    "ClipPlanner",
    "ClipRecord",
    "ClipRules",
    "FilmSound",
    "Microphone",
    "Moment",
    "Ring",
    "Sound",
    "Span",
    "remove_leftovers",
]
