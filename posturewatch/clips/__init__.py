"""Short videos of flagged and marked moments, made while the session runs."""

from __future__ import annotations

from posturewatch.clips.folder import ClipFolder, remove_leftovers
from posturewatch.clips.keeper import ClipKeeper, ClipRecord
from posturewatch.clips.microphone import Microphone, MicrophoneFound, find_microphones
from posturewatch.clips.ring import Ring
from posturewatch.clips.sound import Sound, VideoFileSound
from posturewatch.clips.span import ClipMoment, ClipPlanner, ClipRules, Span

__all__ = [
    "ClipFolder",
    "ClipKeeper",
    "ClipMoment",
    "ClipPlanner",
    "ClipRecord",
    "ClipRules",
    "Microphone",
    "MicrophoneFound",
    "Ring",
    "Sound",
    "Span",
    "VideoFileSound",
    "find_microphones",
    "remove_leftovers",
]
