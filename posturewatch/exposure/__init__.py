"""Exposure over time: what a practice adds up to, what stands out in it, and how weeks compare. Pure."""

from posturewatch.exposure.breaks import BreakRules, BreakState, Nudge, advance
from posturewatch.exposure.course import Course, exposure, minutes
from posturewatch.exposure.findings import Finding, FingerPosture, Moment, next_to_work_on
from posturewatch.exposure.load import (
    LoadNotice,
    LoadRules,
    PlayedSession,
    WeekLoad,
    load_notice,
    weekly_load,
)
from posturewatch.exposure.passages import Passage
from posturewatch.exposure.profile import Exposure, Window
from posturewatch.exposure.rules import ExposureRules
from posturewatch.exposure.standing_out import FindingRules
from posturewatch.exposure.trends import ExposureRecord, Total, by_piece, by_week, records_of

__all__ = [
    "BreakRules",
    "BreakState",
    "Course",
    "Exposure",
    "ExposureRecord",
    "ExposureRules",
    "Finding",
    "FindingRules",
    "FingerPosture",
    "LoadNotice",
    "LoadRules",
    "Moment",
    "Nudge",
    "Passage",
    "PlayedSession",
    "Total",
    "WeekLoad",
    "Window",
    "advance",
    "by_piece",
    "by_week",
    "exposure",
    "load_notice",
    "minutes",
    "next_to_work_on",
    "records_of",
    "weekly_load",
]
