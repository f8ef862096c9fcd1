"""Looks at readings for how well the view measures, before a practice and while it runs."""

from __future__ import annotations

import threading
from collections.abc import Callable, Collection, Mapping, Sequence
from typing import Any

import cv2
import numpy as np

from posturewatch.comfort.looks import HandLook, Look, Placement
from posturewatch.comfort.placement import PlacementCheck, placement_sentence
from posturewatch.config.instruments import instrument
from posturewatch.config.settings import Settings
from posturewatch.kinematics.features import palm_size_px
from posturewatch.kinematics.viewpoint import towards_head_deg
from posturewatch.model.frame import Frame
from posturewatch.model.measurement import FrameMeasurement, Measurement, Refusal
from posturewatch.model.observation import SIDES, HandObservation, Observation, Side
from posturewatch.model.reading import Reading
from posturewatch.pipeline.view.camera_moved import CameraMoved

__all__ = ["PlacementWatch", "clearness", "look_of", "matters_most", "placement_json"]

#: The picture itself is looked at so often.
_EVERY_S = 0.5

#: The hand's surroundings are brought to this size first, so that near and far hands compare.
_PATCH_PX = 96

#: A hand's length of forearm, in palm lengths (wrist to knuckles; the hand is about twice as long).
_FOREARM_PALMS = 2.0


class PlacementWatch:
    """A sink of readings. `result` is what the last seconds tell; `notice` says it again where the camera was moved.

    Parameters
    ----------
    settings
        Gives the settings of now; the instrument says what matters.
    on_moved
        Is told that the camera was moved.
    check
        Makes what judges the looks.
    """

    def __init__(
        self,
        settings: Callable[[], Settings],
        on_moved: Callable[[], object] = lambda: None,
        check: Callable[[Mapping[Side, Sequence[str]]], PlacementCheck] = PlacementCheck,
    ) -> None:
        self._settings = settings
        self._on_moved = on_moved
        self._new_check = check
        self._lock = threading.Lock()
        self._moved = CameraMoved()
        self._clear: dict[Side, tuple[float, float]] = {}
        self._looked_s = -np.inf
        self._moved_s: float | None = None
        self._sentence: str | None = None
        self._last_s = -np.inf
        self._check = self._made(settings())

    def _made(self, settings: Settings) -> PlacementCheck:
        return self._new_check(matters_most(settings))

    def follow(self, settings: Settings) -> None:
        """What matters is that of these settings; where that is the same, nothing is forgotten."""
        made = self._made(settings)
        with self._lock:
            if list(made.matters.items()) != list(self._check.matters.items()):
                self._check = made

    @property
    def notice(self) -> str | None:
        """How well this view measures, once the camera was moved during this source; else None."""
        return self._sentence

    def result(self) -> Placement:
        """What the last seconds tell."""
        with self._lock:
            return self._check.result()

    def put(self, reading: Reading) -> None:
        """Takes a reading."""
        time_s = reading.frame.time_s
        if time_s < self._last_s:  # another source, or the same one anew
            self._moved, self._looked_s, self._moved_s, self._sentence = CameraMoved(), -np.inf, None, None
            self._clear = {}
        self._last_s = time_s
        if time_s - self._looked_s >= _EVERY_S:
            self._looked_s = time_s
            self._look(reading.frame, reading.observation)
        look = look_of(reading.observation, reading.measurement, self._settings().fretting, self._clear)
        with self._lock:
            self._check.add(look)
            result = self._check.result() if self._moved_s is not None else None
        if (
            result is not None
            and self._moved_s is not None
            and time_s - self._moved_s > self._check.rules.window_s
        ):
            self._moved_s = None
            self._sentence = f"The camera was moved. {placement_sentence(result.graded)}"

    def _look(self, frame: Frame, observation: Observation) -> None:
        if self._moved.update(frame.image_bgr):
            self._moved_s = frame.time_s
            self._on_moved()
            with self._lock:
                self._check.clear()
        self._clear = {
            hand.side: found for hand in observation.hands if (found := clearness(frame, hand)) is not None
        }


def matters_most(settings: Settings) -> dict[Side, tuple[str, ...]]:
    """By hand the quantities that matter most on this instrument, those of hands that are warned of first."""
    matters = instrument(settings.instrument.name).matters(settings.instrument.handedness)
    warned = settings.rules().warn_sides
    return {side: matters[side] for side in sorted(SIDES, key=lambda side: side not in warned)}


def look_of(
    observation: Observation,
    measurement: FrameMeasurement,
    fretting: Collection[Side],
    clear: Mapping[Side, tuple[float, float]] | None = None,
) -> Look:
    """What one frame tells of the view.

    Parameters
    ----------
    observation, measurement
        Of the frame.
    fretting
        The hands on the fingerboard; where there is one, the head of the instrument is on its side.
    clear
        Brightness and sharpness around either hand, where the picture was looked at.
    """
    body = observation.body
    towards = None
    if body is not None and len(fretting) == 1:
        towards = towards_head_deg(body, next(iter(fretting)))
    hands = {side: _hand(observation, measurement, side, (clear or {}).get(side)) for side in SIDES}
    return Look(observation.time_s, hands, towards, None if body is None else body.people)


def _hand(
    observation: Observation, measurement: FrameMeasurement, side: Side, clear: tuple[float, float] | None
) -> HandLook:
    numbers = {name: _number(one) for name, one in measurement.hand(side).values.items()}
    hand = observation.hand(side)
    if hand is None:
        return HandLook(numbers)
    palm_px = palm_size_px(hand.landmarks_px)
    return HandLook(
        numbers,
        palm_px=palm_px,
        palm_share=palm_px / observation.height_px,
        forearm_inside=_forearm_inside(observation, hand, palm_px),
        axis_sd_deg=None if hand.forearm is None else hand.forearm.sd_deg,
        brightness=None if clear is None else clear[0],
        sharpness=None if clear is None else clear[1],
    )


def _number(one: Measurement) -> float | Refusal:
    if one.sd is not None:
        return one.sd
    assert one.refusal is not None
    return one.refusal


def _forearm_inside(observation: Observation, hand: HandObservation, palm_px: float) -> bool | None:
    """Whether a hand's length of forearm beside the wrist lies in the picture."""
    if hand.forearm is None:
        return None
    along = hand.forearm.towards_elbow_px - hand.forearm.wrist_px
    length = float(np.hypot(*along))
    if not length > 0:
        return None
    end = hand.forearm.wrist_px + along / length * _FOREARM_PALMS * palm_px
    return bool((end >= 0).all() and (end <= [observation.width_px, observation.height_px]).all())


def clearness(frame: Frame, hand: HandObservation) -> tuple[float, float] | None:
    """Brightness and sharpness of the picture around a hand, as `HandLook` has them; None where it is not in view.

    Sharpness is the mean size of the differences between neighbouring pixels over their deviation, which a blur lessens
    and brightness does not change.
    """
    points = hand.landmarks_px[:, :2]
    low = np.clip(points.min(axis=0), 0, None).astype(int)
    high = np.clip(points.max(axis=0), None, [frame.width_px, frame.height_px]).astype(int)
    if (high - low < 8).any():
        return None
    patch = frame.image_bgr[low[1] : high[1], low[0] : high[0]]
    scale = _PATCH_PX / max(patch.shape[:2])
    if scale < 1:
        patch = cv2.resize(patch, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)  # type: ignore[assignment]
    grey = cv2.cvtColor(patch, cv2.COLOR_BGR2GRAY).astype(np.float32)
    steps = float(np.abs(np.diff(grey, axis=0)).mean() + np.abs(np.diff(grey, axis=1)).mean()) / 2
    return float(np.percentile(grey, 90)) / 255.0, steps / max(float(grey.std()), 1.0)


def placement_json(found: Placement) -> dict[str, Any]:
    """What is said of a view, in JSON's types."""
    return {
        "enough": found.enough,
        "rate_hz": round(found.rate_hz, 1),
        "towards_head_deg": None if found.towards_head_deg is None else round(found.towards_head_deg),
        "grades": [
            {
                "side": one.side,
                "name": one.name,
                "grade": one.grade.value,
                "sd": None if one.sd is None else round(one.sd, 1),
                "share": round(one.share, 2),
                "refusal": None if one.refusal is None else one.refusal.value,
            }
            for one in found.graded
        ],
        "advice": None
        if found.advice is None
        else {
            "help": found.advice.help.value,
            "side": found.advice.side,
            "move_deg": found.advice.move_deg,
        },
    }
