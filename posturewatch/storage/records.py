"""What is known of a session: at its start, in the list, and as a whole."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from posturewatch.comfort.limits import LimitProfile
from posturewatch.comfort.rules import WatchRules
from posturewatch.config.resources import DEMO_NAME
from posturewatch.model.measurement import LiftPlane
from posturewatch.model.observation import Side
from posturewatch.model.verdict import Excursion, HoldWarning

__all__ = ["Mark", "PassageBegin", "PlaneBegin", "SessionInfo", "SessionStart", "StoredWarning", "now_utc"]


def now_utc() -> str:
    """The present moment as it is kept: UTC, ISO 8601, milliseconds."""
    return dt.datetime.now(dt.timezone.utc).isoformat(timespec="milliseconds")


@dataclass(frozen=True)
class SessionStart:
    """What is known when a session begins.

    Attributes
    ----------
    started_at
        UTC, ISO 8601 with offset, of the session's second 0.
    limits, rules
        As in use; kept beside the session, so that an old one is judged by what it was played under.
    settings
        The player's settings as a whole, in JSON's types, for the record.
    """

    source_name: str
    source_kind: str
    program_version: str
    limits: LimitProfile
    rules: WatchRules = field(default_factory=WatchRules)
    settings: Mapping[str, Any] = field(default_factory=dict)
    instrument: str | None = None
    started_at: str = field(default_factory=now_utc)


@dataclass(frozen=True)
class Mark:
    """A moment the player marked, in seconds of the session."""

    time_s: float
    note: str = ""


@dataclass(frozen=True)
class PassageBegin:
    """From time_s on, in seconds of the session, the player plays this; piece None: nothing in particular."""

    time_s: float
    piece: str | None
    bars: str = ""
    tempo_bpm: float | None = None


@dataclass(frozen=True)
class PlaneBegin:
    """From time_s on, in seconds of the session, the lifts of this hand's fingers are measured from this plane."""

    side: Side
    time_s: float
    plane: LiftPlane


@dataclass(frozen=True)
class StoredWarning:
    """A warning and when it cleared (None while it is shown)."""

    warning: HoldWarning
    cleared_s: float | None


@dataclass(frozen=True)
class SessionInfo:
    """One line of the list of sessions.

    Attributes
    ----------
    ended_at, end_reason
        None while the session runs (or until the next start, after a crash).
    end_s
        The session's last second; for one that is still open, that of its last stored sample.
    lost_samples
        Samples that could not be kept.
    dropped_frames
        Frames the source skipped.
    """

    id: str
    started_at: str
    ended_at: str | None
    end_reason: str | None
    end_s: float
    source_name: str
    source_kind: str
    instrument: str | None
    program_version: str
    lost_samples: int
    dropped_frames: int

    @property
    def open(self) -> bool:
        """Whether it was not ended yet."""
        return self.ended_at is None

    @property
    def demo(self) -> bool:
        """Whether it is of the bundled video, and so nobody's practice."""
        return self.source_name == DEMO_NAME

    def to_json(self) -> dict[str, Any]:
        """In JSON's types; times in seconds of the session, `started_at` and `ended_at` UTC in ISO 8601."""
        return {
            "id": self.id,
            "started_at": self.started_at,
            "ended_at": self.ended_at,
            "end_reason": self.end_reason,
            "duration_s": round(self.end_s, 3),
            "source": {"name": self.source_name, "kind": self.source_kind},
            "demo": self.demo,
            "instrument": self.instrument,
            "program_version": self.program_version,
            "lost_samples": self.lost_samples,
            "dropped_frames": self.dropped_frames,
        }


def excursion_json(excursion: Excursion) -> dict[str, Any]:
    """An excursion in JSON's types, times in seconds of the session, angles in the quantity's unit."""
    return {
        "side": excursion.side,
        "quantity": excursion.quantity,
        "direction": excursion.direction,
        "level": excursion.level,
        "limit": excursion.limit,
        "start_s": round(excursion.start_s, 3),
        "end_s": None if excursion.end_s is None else round(excursion.end_s, 3),
        "end": excursion.end,
        "peak": round(excursion.peak, 2),
        "peak_s": round(excursion.peak_s, 3),
        "warned_s": None if excursion.warned_s is None else round(excursion.warned_s, 3),
    }


def warning_json(stored: StoredWarning) -> dict[str, Any]:
    """A warning in JSON's types, times in seconds of the session."""
    return {
        "side": stored.warning.side,
        "quantity": stored.warning.quantity,
        "direction": stored.warning.direction,
        "limit": stored.warning.limit,
        "since_s": round(stored.warning.since_s, 3),
        "fired_s": round(stored.warning.fired_s, 3),
        "cleared_s": None if stored.cleared_s is None else round(stored.cleared_s, 3),
    }
