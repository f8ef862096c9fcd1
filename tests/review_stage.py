"""A prepared data folder with sessions, passages and playable clips, and the page served from it."""

from __future__ import annotations

import atexit
import datetime as dt
import functools
import math
import shutil
import tempfile
from dataclasses import replace
from pathlib import Path

from clip_factories import make_video
from fastapi import FastAPI
from log_factories import START, Taken, TakenMoment
from page_stand_ins import ScriptedPractice, page_words
from session_factories import Ended, make_reading

from posturewatch.clips.video_file import write_video
from posturewatch.config.resources import web_dir
from posturewatch.model.observation import Side
from posturewatch.model.verdict import Excursion
from posturewatch.review.derived import open_store
from posturewatch.review.exchange.notes import Notes
from posturewatch.review.practice_log import PracticeLog
from posturewatch.review.report.writing import Reports
from posturewatch.server.admission import Admission
from posturewatch.server.app import create_app
from posturewatch.server.serving import PageServer, listen
from posturewatch.storage.clip_repository import ClipRepository
from posturewatch.storage.store import Store

RATE_HZ = 10.0
#: Seconds of a session, and the stretch in which the left wrist is bent far.
LENGTH_S = 360.0
BENT_S = (100.0, 140.0)
PASSAGES = (
    (0.0, "Scales", ""),
    (90.0, "Nocturne sketch", "bars 12-16"),
    (150.0, "Nocturne sketch", "bars 1-8"),
)
#: The clip's film: pictures at these times of the session.
CLIP_S = (98.0, 106.0)


def flexion_deg(time_s: float) -> float:
    """The left wrist's flexion in the prepared sessions."""
    base = 58.0 if BENT_S[0] <= time_s < BENT_S[1] and time_s % 10 < 7 else 14.0
    return base + 5.0 * math.sin(time_s * 1.7)


def fingers(time_s: float) -> dict[tuple[Side, str], tuple[float, float]]:
    """Fingers of the left hand: index and middle by turns, the little one held high and straight while the wrist is
    bent. The ring finger's lift is never measured."""
    up, held = math.sin(time_s * 5.0) > 0, BENT_S[0] <= time_s < BENT_S[1]
    values = {"index_lift": 10.0 * up, "middle_lift": 10.0 * (not up), "little_lift": 30.0 if held else 0.0}
    values |= {"index_pip": 50.0, "middle_pip": 50.0, "little_pip": 5.0 if held else 50.0, "middle_dip": -9.0}
    return {("left", name): (value, 1.0) for name, value in values.items()}


def add_session(store: Store, started_at: str, *, with_clip: bool) -> str:
    recorder = store.begin(replace(START, started_at=started_at))
    waiting = list(PASSAGES)
    for index in range(round(LENGTH_S * RATE_HZ)):
        time_s = index / RATE_HZ
        while waiting and waiting[0][0] <= time_s:
            recorder.passage(*waiting.pop(0))
        values: dict[tuple[Side, str], tuple[float, float]] = {
            ("left", "wrist_flexion"): (flexion_deg(time_s), 3.0),
            ("left", "wrist_ulnar_deviation"): (4.0 + 3.0 * math.sin(time_s), 3.0),
        }
        if time_s < 300.0:
            values["right", "wrist_flexion"] = (-12.0 + 4.0 * math.cos(time_s), 3.0)
        if with_clip:
            values |= fingers(time_s)
        opened = (_stay(100.0),) if index == 1000 else ()
        closed = (replace(_stay(100.0), end_s=107.0, end="returned"),) if index == 1070 else ()
        recorder.put(make_reading(index, time_s, values, opened=opened, closed=closed, lift_plane="picture"))
    recorder.mark(60.0, "thumb again")
    identity = recorder.finish(Ended(LENGTH_S))
    if with_clip:
        add_clip(store, identity, "warning", 100.0, CLIP_S)
        add_clip(store, identity, "mark", 60.0, (57.0, 62.0))
    return identity


def _stay(start_s: float) -> Excursion:
    return Excursion("left", "wrist_flexion", "flexion", "extreme", 48.6, start_s, 60.0, start_s + 1)


def add_clip(store: Store, identity: str, kind: str, key_s: float, span_s: tuple[float, float]) -> None:
    count = round((span_s[1] - span_s[0]) * RATE_HZ)
    film = make_video([span_s[0] + index / RATE_HZ for index in range(count)])
    path = ClipRepository(store).folder(identity) / f"clip-{round(span_s[0] * 1000):08d}.mp4"
    path.parent.mkdir(parents=True, exist_ok=True)
    write_video(path, film)
    moment = TakenMoment("mark", key_s, key_s, key_s)
    if kind == "warning":
        moment = TakenMoment("warning", key_s, key_s + 3, key_s + 7, "left", "wrist_flexion", "flexion")
    size = path.stat().st_size
    ClipRepository(store).written(
        identity, Taken(path.stem, film.start_s, film.end_s, path, size, reason=kind, moments=(moment,))
    )


@functools.cache
def _prepared(wednesday: dt.datetime) -> tuple[Path, tuple[str, ...]]:
    """The folder with these sessions, made once a process and copied for each test; and the sessions, oldest first."""
    folder = Path(tempfile.mkdtemp())
    atexit.register(shutil.rmtree, folder)
    with open_store(folder) as store:
        sessions = tuple(
            add_session(store, (wednesday - dt.timedelta(weeks=weeks)).isoformat(), with_clip=weeks <= 2)
            for weeks in (6, 5, 4, 3, 2, 1)
        )
    return folder, sessions


class ReviewStage:
    """A session in each of the six weeks before this one; the last two have a clip of a warning and one of a mark."""

    def __init__(self, folder: Path) -> None:
        today = dt.datetime.now(dt.timezone.utc).replace(hour=12, minute=0, second=0, microsecond=0)
        # At noon on Wednesdays: in the past and in a week of its own, whatever the day, the hour and the zone.
        prepared, sessions = _prepared(today - dt.timedelta(days=today.weekday() - 2))
        shutil.copytree(prepared, folder, dirs_exist_ok=True)
        self.store, self.sessions = open_store(folder), list(sessions)
        self._served = Served(self.store)
        self.log, self.practice, self.url = self._served.log, self._served.practice, self._served.url
        self.admission = self._served.admission

    def close(self) -> None:
        self._served.close()
        self.store.close()


def app_of(store: Store, practice: ScriptedPractice, port: int, admission: Admission) -> FastAPI:
    """The application over an open store, as `posturewatch live` makes it."""
    return create_app(
        practice=practice,
        feed=practice.feed,
        log=PracticeLog(store),
        vocabulary=page_words(),
        web_dir=web_dir(),
        port=port,
        admission=admission,
        reports=Reports(store),
        notes=Notes(store),
    )


class Served:
    """The page of an open store, at `url`."""

    def __init__(self, store: Store) -> None:
        self.log = PracticeLog(store)
        self.practice = ScriptedPractice(lambda time_s: ((12.0, 4.0), (-8.0, 3.0)), rate_hz=12)
        listener = listen(0)
        port = int(listener.getsockname()[1])
        self.admission = Admission(port)
        app = app_of(store, self.practice, port, self.admission)
        self.server = PageServer(app, listener)
        self.server.start()
        self.url = self.server.url

    def close(self) -> None:
        self.practice.close()
        self.server.close()
