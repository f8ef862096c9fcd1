"""Sessions with passages for the practice log's tests: numbers in, no camera and no model."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from session_factories import LIMITS, Ended, make_reading

from posturewatch.storage.clip_repository import ClipRepository
from posturewatch.storage.records import SessionStart
from posturewatch.storage.store import Store

START = SessionStart(
    source_name="demo",
    source_kind="film",
    program_version="0.1.0",
    limits=LIMITS,
    instrument="guitar",
    started_at="2025-03-03T18:00:00.000+00:00",
)

#: (time_s, piece or None, bars)
Switch = tuple[float, "str | None", str]


@dataclass(frozen=True)
class Taken:
    """A clip as its writer hands it over."""

    id: str
    start_s: float
    end_s: float
    path: Path
    bytes: int
    reason: str = "mark"
    moments: tuple[object, ...] = ()
    has_sound: bool = False
    kept: bool = False


@dataclass(frozen=True)
class TakenMoment:
    kind: str
    start_s: float
    key_s: float
    end_s: float | None
    side: str | None = None
    quantity: str | None = None
    direction: str | None = None


def noon(day: dt.date) -> str:
    """Noon of the player's own day, as the time of a session's beginning is kept: its local day is `day` in every
    zone."""
    local = dt.datetime.combine(day, dt.time(12)).astimezone()
    return local.astimezone(dt.timezone.utc).isoformat(timespec="milliseconds")


def record(
    store: Store,
    end_s: float = 60.0,
    *,
    switches: tuple[Switch, ...] = (),
    bent: tuple[float, float] = (0.0, 0.0),
    started_at: str = START.started_at,
    rate_hz: float = 10.0,
    source_name: str = START.source_name,
    away: tuple[float, float] = (0.0, 0.0),
) -> str:
    """A session of the left hand at 10 degrees of flexion, at 60 in the stretch `bent`, without a picture in the
    stretch `away`; its id."""
    recorder = store.begin(replace(START, started_at=started_at, source_name=source_name))
    waiting = list(switches)
    for index in range(round(end_s * rate_hz)):
        time_s = index / rate_hz
        while waiting and waiting[0][0] <= time_s:
            recorder.passage(*waiting.pop(0))
        if away[0] <= time_s < away[1]:
            continue
        value = 60.0 if bent[0] <= time_s < bent[1] else 10.0
        recorder.put(
            make_reading(
                index,
                time_s,
                {("left", "wrist_flexion"): (value, 3.0), ("left", "wrist_ulnar_deviation"): (2.0, 3.0)},
            )
        )
    return recorder.finish(Ended(end_s))


#: As MP4 files begin (ISO/IEC 14496-12, section 4.3).
FILM = b"\0\0\0\x10ftypisom"


def film(store: Store, session_id: str, name: str, content: bytes = FILM) -> Path:
    """A file where a clip of the session lies."""
    folder = store.data_dir / "clips" / session_id
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"{name}.mp4"
    path.write_bytes(content)
    return path


def take(store: Store, identity: str, name: str = "clip-1", start_s: float = 10.0, **more: Any) -> Path:
    """Lists a clip of the session; its file."""
    path = film(store, identity, name)
    ClipRepository(store).written(identity, Taken(name, start_s, start_s + 7.0, path, len(FILM), **more))
    return path
