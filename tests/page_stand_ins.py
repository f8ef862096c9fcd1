"""Stand-ins for the page's tests: readings from numbers, and a practice that plays a script of them."""

from __future__ import annotations

import itertools
import threading
import time
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

import cv2
import numpy as np

from posturewatch.comfort.limits import LimitProfile
from posturewatch.comfort.rules import WatchRules
from posturewatch.comfort.watch import Watch
from posturewatch.config.instruments import hand_roles
from posturewatch.config.limit_profiles import load_profile
from posturewatch.errors import UnknownError
from posturewatch.exposure.cue_series import cue_series, finger_series, shares_json
from posturewatch.exposure.exposure_series import ExposureSeries
from posturewatch.exposure.series import SampleSeries
from posturewatch.exposure.summary import summarise
from posturewatch.model.frame import Frame
from posturewatch.model.measurement import FrameMeasurement, HandMeasurement, Measurement, Refusal
from posturewatch.model.network_outputs import ForearmOutputs
from posturewatch.model.observation import SIDES, ForearmAxis, HandObservation, Observation, Side
from posturewatch.model.quantities import QUANTITY_NAMES, in_group
from posturewatch.model.reading import Reading
from posturewatch.review.exposures import excursions_json
from posturewatch.review.practice_log import PracticeLog
from posturewatch.review.vocabulary import vocabulary
from posturewatch.server.feed import LiveFeed
from posturewatch.storage.records import StoredWarning, warning_json

#: (flexion, ulnar deviation) in degrees, and what is measured of fingers, as (value, sd) by the quantity's name; or why
#: nothing is measured.
Hand = tuple[float, float] | tuple[float, float, Mapping[str, tuple[float, float]]] | Refusal

SD_DEG = 2.5


def limits() -> LimitProfile:
    return load_profile("carpal-pressure")


def page_words(language: str = "en") -> dict[str, Any]:
    """The vocabulary of a right-handed guitarist's page."""
    return vocabulary(limits(), hand_roles("guitar", "right"), language)


def picture(index: int, width_px: int = 640, height_px: int = 360) -> np.ndarray[Any, np.dtype[np.uint8]]:
    """A soft ground with a light block that moves with the index, so that pictures differ."""
    rows = np.linspace(60, 110, height_px, dtype=np.uint8)[:, None]
    image = np.repeat(np.repeat(rows, width_px, axis=1)[:, :, None], 3, axis=2)
    left = (index * 7) % (width_px - 40)
    image[20:60, left : left + 40] = (80, 190, 230)
    return image


def hand_points(side: Side, flexion_deg: float, width_px: int, height_px: int) -> tuple[Any, ForearmAxis]:
    """Landmarks and forearm of a drawn hand that bends at the wrist by the angle, in the picture's plane."""
    # Not mirrored, as a camera sees it: the player's left hand is in the right half.
    turn = 1.0 if side == "left" else -1.0
    wrist = np.array([width_px * (0.68 if side == "left" else 0.3), height_px * 0.6])
    along = np.deg2rad(-90 + turn * (20 + flexion_deg))
    across = along + turn * np.pi / 2
    size = height_px * 0.2
    points = np.zeros((21, 3))
    points[0, :2] = wrist
    for digit, (spread, length) in enumerate(
        [(-0.5, 0.7), (-0.25, 1.0), (0.0, 1.05), (0.2, 1.0), (0.4, 0.9)]
    ):
        for joint in range(4):
            out = size * length * (1.0 + 0.25 * joint) * (0.5 if digit == 0 else 1.0)
            points[1 + 4 * digit + joint, :2] = (
                wrist
                + out * np.array([np.cos(along), np.sin(along)])
                + size * spread * np.array([np.cos(across), np.sin(across)])
            )
    forearm = np.deg2rad(90 + turn * 20)
    elbow = wrist + 1.1 * size * np.array([np.cos(forearm), np.sin(forearm)])
    nothing: ForearmOutputs[Any] = ForearmOutputs.from_rows(np.zeros(21))
    said = replace(
        nothing,
        hand_proximal=np.array([0.0, 1.0, 0.0]),
        hand_radial=np.array([1.0, 0.0, 0.0]),
    )
    return points, ForearmAxis(wrist, elbow, 2.0, said)


class Player:
    """Turns hands given as numbers into readings, judged by the real watch."""

    def __init__(self, rules: WatchRules | None = None, size_px: tuple[int, int] = (640, 360)) -> None:
        self.watch = Watch(limits(), rules or WatchRules(), frozenset({"left"}))
        self.size_px = size_px

    def reading(self, index: int, time_s: float, left: Hand, right: Hand, dropped: int = 0) -> Reading:
        width_px, height_px = self.size_px
        hands = {"left": left, "right": right}
        measurement = FrameMeasurement(index, time_s, *(_measured(side, hands[side]) for side in SIDES))
        seen = tuple(self._seen(side, hands[side]) for side in SIDES if not _absent(hands[side]))
        return Reading(
            frame=Frame(index, time_s, picture(index, width_px, height_px)),
            observation=Observation(index, time_s, width_px, height_px, seen, None),
            measurement=measurement,
            verdict=self.watch.update(measurement),
            display={
                (side, name): measurement.hand(side).values[name].value or 0.0
                for side in SIDES
                for name in QUANTITY_NAMES
                if measurement.hand(side).values[name].measured
            },
            taken_s=time.monotonic(),
            dropped=dropped,
        )

    def _seen(self, side: Side, hand: Hand) -> HandObservation:
        flexion_deg = 0.0 if isinstance(hand, Refusal) else hand[0]
        points, forearm = hand_points(side, flexion_deg, *self.size_px)
        blind = hand is Refusal.FOREARM_NOT_SEEN
        return HandObservation(side, 0.95, 0.9, points, points * 0.001, True, None if blind else forearm)


def _absent(hand: Hand) -> bool:
    return hand in (Refusal.HAND_NOT_SEEN, Refusal.HAND_CUT_OFF)


def _measured(side: Side, hand: Hand) -> HandMeasurement:
    if isinstance(hand, Refusal):
        return HandMeasurement.refused(side, QUANTITY_NAMES, hand)
    values = dict(HandMeasurement.refused(side, QUANTITY_NAMES, Refusal.TOO_UNCERTAIN).values)
    values |= {
        e.name: Measurement.of(value, SD_DEG) for e, value in zip(in_group("wrist"), hand[:2], strict=True)
    }
    fingers = hand[2] if len(hand) == 3 else {}
    values |= {name: Measurement.of(*measured) for name, measured in fingers.items()}
    return HandMeasurement(
        side, values, "picture" if any(name.endswith("_lift") for name in fingers) else None
    )


#: What both hands do at a time of the session.
Script = Callable[[float], tuple[Hand, Hand]]


class ScriptedPractice:
    """Plays a script in real time into a feed, and answers as the real practice does."""

    def __init__(self, script: Script, *, rate_hz: float = 20.0, rules: WatchRules | None = None) -> None:
        self.script = script
        self.feed = LiveFeed(limits(), roles={"left": "fretting", "right": "plucking"})
        self.notice: str | None = None
        self.source_kind = "film"
        self.calls: list[str] = []
        self.marks: list[float] = []
        self.asides: list[str] = []
        self._passage: dict[str, Any] | None = None
        self.rules = rules
        self.warns: list[Side] = list(SIDES)
        self._rate_hz = rate_hz
        self._phase = "stopped"
        self._session_id: str | None = None
        self.session_ids: Iterator[str] = (f"session-{count}" for count in itertools.count(1))
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None
        self._now_s = 0.0

    def state(self) -> dict[str, Any]:
        return {
            "phase": self._phase,
            "session_id": self._session_id,
            "elapsed_s": round(self._now_s, 3),
            "practised_s": round(self._now_s, 3),
            "source": {"name": "script", "kind": self.source_kind},
            "notice": self.notice,
            "fault": None,
            "dropped": 0,
            "marks": len(self.marks),
            "asides": list(self.asides),
            "passage": self._passage,
            "warns": list(self.warns),
            "ending": None,
        }

    def start(self) -> dict[str, Any]:
        self.calls.append("start")
        if self._thread is None:
            self._stop.clear()
            self._session_id = next(self.session_ids)
            self._phase, self._now_s = "watching", 0.0
            self.marks.clear()
            self._thread = threading.Thread(target=self._play, name="scripted-practice", daemon=True)
            self._thread.start()
        return self.state()

    def stop(self) -> dict[str, Any]:
        self.calls.append("stop")
        self._stop.set()
        if self._thread is not None:
            self._thread.join(60)
            self._thread = None
        self._phase = "stopped"
        return self.state()

    def mark(self, note: str | None = None) -> dict[str, Any]:
        self.calls.append("mark")
        marked_s = None
        if self._phase == "watching":
            marked_s = self._now_s
            self.marks.append(marked_s)
        return {**self.state(), "marked_s": marked_s}

    def passage(self, piece: str | None, bars: str = "", tempo_bpm: float | None = None) -> Any:
        self._passage = None if piece is None else {"piece": piece, "bars": bars, "tempo_bpm": tempo_bpm}
        return self._passage

    def now_played(self) -> dict[str, Any] | None:
        return self._passage

    def warn(self, sides: Collection[Side]) -> dict[str, Any]:
        self.warns = list(sides)
        return self.state()

    def close(self) -> None:
        self.stop()
        self.feed.close()

    def _play(self) -> None:
        player = Player(self.rules)
        self.feed.clear()
        started = time.monotonic()
        for index in itertools.count():
            self._now_s = time.monotonic() - started
            left, right = self.script(self._now_s)
            player.watch.warn(self.warns)
            self.feed.put(player.reading(index, self._now_s, left, right))
            if self._stop.wait(max(0.0, started + (index + 1) / self._rate_hz - time.monotonic())):
                return


def summary_of(script: Script, duration_s: float, marks: Sequence[float] = ()) -> dict[str, Any]:
    """A session's summary as the store makes it, from a script played without waiting, at 20 readings a second."""
    player, step_s = Player(size_px=(64, 36)), 0.05
    readings = [
        player.reading(index, index * step_s, *script(index * step_s))
        for index in range(int(duration_s / step_s))
    ]
    excursions = [one for reading in readings for one in reading.verdict.closed]
    excursions += player.watch.finish(duration_s)
    fired = [one for reading in readings for one in reading.verdict.fired]
    cleared = {
        (one.side, one.quantity, one.direction, one.since_s): reading.frame.time_s
        for reading in readings
        for one in reading.verdict.cleared
    }
    series = [_series(readings, side, name) for side in SIDES for name in QUANTITY_NAMES]
    exposed = [ExposureSeries(one, limits()) for one in series]
    summary = summarise(exposed, fired, limits().name, duration_s)
    warned = [
        StoredWarning(one, cleared.get((one.side, one.quantity, one.direction, one.since_s))) for one in fired
    ]
    found_cues = [
        one_cue
        for side in SIDES
        if (fingers := finger_series(series, side, duration_s, 0.25)) is not None
        for one_cue in cue_series(fingers, limits(), fretting=side == "left")
    ]
    return {
        "session": {"id": "session-1", "source": {"name": "script", "kind": "film"}, "end_reason": "stopped"},
        **summary.to_json(),
        "lift_planes": {"left": {"picture": duration_s}} if found_cues else {},
        "cues": shares_json(found_cues, (0.0, duration_s)),
        "excursions": excursions_json(excursions, exposed, WatchRules(), duration_s),
        "warned": [warning_json(one) for one in warned],
        "marks": [{"time_s": time_s, "note": ""} for time_s in marks],
    }


def _series(readings: Sequence[Reading], side: Side, name: str) -> SampleSeries:
    found = [reading.measurement.hand(side).values[name] for reading in readings]
    places: dict[Refusal | None, int] = {None: 0}
    places |= {refusal: place for place, refusal in enumerate(Refusal, start=1)}
    return SampleSeries(
        side,
        name,
        np.array([reading.frame.time_s for reading in readings]),
        np.array([np.nan if one.value is None else one.value for one in found]),
        np.array([np.nan if one.sd is None else one.sd for one in found]),
        np.array([places[one.refusal] for one in found], dtype=np.uint8),
    )


class OneSummary(PracticeLog):
    """A practice log with the same summary for each of its ids, and nothing else."""

    def __init__(self, summary: Mapping[str, Any], ids: Sequence[str] = ("session-1", "session-2")) -> None:
        self._summary = dict(summary)
        self._ids = tuple(ids)
        self.clip_list: list[dict[str, Any]] = []
        self.passages: list[dict[str, Any]] = []

    def sessions(self) -> list[dict[str, Any]]:
        return [{"id": one} for one in self._ids]

    def summary(self, session_id: str) -> dict[str, Any]:
        if session_id not in self._ids:
            raise UnknownError(f"There is no session {session_id!r}.")
        return self._summary

    def session(self, session_id: str) -> dict[str, Any]:
        return {"clips": self.clip_list, "passages": self.passages, "finding": None}

    def clip_picture(self, number: int, time_s: float | None = None) -> bytes:
        _, encoded = cv2.imencode(".jpg", picture(number))
        return encoded.tobytes()

    def checks(self) -> list[dict[str, Any]]:
        return []

    def practice_list(self) -> dict[str, Any]:
        return {"items": [], "position": None}

    def suggestions(self, begins: str) -> list[dict[str, Any]]:
        return []


class NothingToChoose:
    """In place of what comes before a practice (`posturewatch.server.collaborators.BeforeStart`)."""

    def document(self) -> Mapping[str, Any]:
        return {}

    open = close = settings = stop_measuring = keep_measured = forget_range = microphones = document

    def measure(
        self, what: str, side: str | None, quantity: str | None, direction: str | None
    ) -> Mapping[str, Any]:
        return {}

    def set_hand(self, length_mm: float | None, method: str) -> Mapping[str, Any]:
        return {}

    def set_limit(
        self, side: str | None, key: tuple[str, str, str], value: float | None, *, sure: bool = False
    ) -> Mapping[str, Any]:
        return {}

    def board(self, kind: str) -> bytes:
        return b""

    def cameras(self) -> list[dict[str, Any]]:
        return []

    instruments = cameras

    def choose(self, changes: Mapping[str, Any]) -> Mapping[str, Any]:
        return {}

    def change_settings(self, changes: Mapping[tuple[str, str], Any]) -> Mapping[str, Any]:
        return {}
