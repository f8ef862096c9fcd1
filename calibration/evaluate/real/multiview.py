"""One person before several cameras at once: every hand in every picture, beside what the other cameras say of it."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from calibration.dataset.table import Columns
from calibration.evaluate.real.cameras import Camera, Rig, solve
from calibration.evaluate.real.consensus import Sighting, looked_again
from calibration.evaluate.real.material import Source, moments
from calibration.evaluate.real.measured import Measured
from calibration.evaluate.real.truth import Truth, View, agreeing, mean_palm, truth_of
from posturewatch.model.observation import Side

__all__ = ["AXIS_BIAS_DEG", "HandView", "Session", "in_picture", "session_of"]

Array = NDArray[np.float64]
_HALF_FOREARM_M = 0.13
_INSIDE_PX = 4.0
#: By how much the forearm network's midlines make the deviation of real wrists too great: between 2.3 and 4.1, by two
#: readers' outlines and elbow joints (`outlines`; the report prints what they leave of it now).
AXIS_BIAS_DEG = 2.5


@dataclass(frozen=True)
class HandView:
    """One hand at one moment in one camera's picture.

    row: where it lies among the camera's rows, None where it was not found; in_view: whether wrist, knuckles and half a
    forearm lie in the picture (hidden or not); truth: what the other cameras say, None where fewer than two see it;
    everybody: what all of them say.
    """

    session: str
    moment: int
    camera: int
    side: Side
    row: int | None
    in_view: bool
    truth: Truth | None
    everybody: Truth


@dataclass(frozen=True)
class Session:
    """views: of every hand on which two cameras agree. strangers: (camera, row) of what was found and is none of them.
    columns and measured by camera."""

    name: str
    rig: Rig
    views: list[HandView]
    strangers: list[tuple[int, int]]
    columns: dict[int, Columns]
    measured: dict[int, Measured]


def in_picture(camera: Camera, truth: Truth, width_px: int, height_px: int) -> bool:
    """Whether wrist, knuckles and half a forearm lie in the camera's picture."""
    points = np.vstack([truth.palm_m, truth.wrist_m + _HALF_FOREARM_M * truth.forearm])
    if not camera.sees(points):
        return False
    at = camera.project(points)
    inside = (at > _INSIDE_PX) & (at < np.array([width_px, height_px]) - _INSIDE_PX)
    return bool(inside.all())


def _views(columns: Columns, camera: int, frame: int) -> Iterator[View]:
    for row in np.flatnonzero(columns["frame"] == frame) if "frame" in columns else ():
        confidence = min(max(float(columns["side_confidence"][row]), 0.5), 0.98)
        odds = math.log(confidence / (1 - confidence)) + 0.2
        yield View(
            camera,
            int(row),
            columns["places"][row, :, :2].astype(float),
            np.stack([columns["axis_wrist_px"][row], columns["axis_towards_elbow_px"][row]]).astype(float),
            float(columns["axis_sd_deg"][row]),
            -odds if columns["side"][row] else odds,
            columns["places"][row, :, 2].astype(float),
        )


def session_of(
    folder: Path,
    videos: list[Source],
    cache: Path,
    columns: dict[int, Columns],
    measured: dict[int, Measured],
) -> Session:
    """videos, columns and measured: of each camera of the session in that folder."""
    rig = solve(folder, videos, cache)
    looked_at = {camera: set(some["frames_frame"].tolist()) for camera, some in columns.items()}
    sightings: list[Sighting] = []
    strangers = []
    for moment, frames in enumerate(moments(folder)):
        if not all(frame in looked_at[camera] for camera, frame in frames.items()):
            continue
        views = [v for camera, frame in frames.items() for v in _views(columns[camera], camera, frame)]
        found = agreeing(views, rig.cameras)
        sightings += [Sighting(moment, frames, {v.camera: v.row for v in g.views}, g) for g in found]
        taken = {(v.camera, v.row) for group in found for v in group.views}
        strangers += [(v.camera, v.row) for v in views if (v.camera, v.row) not in taken]
    again = looked_again(sightings, videos, rig, cache, f"{folder.name}")
    shapes = mean_palm([(sighting.group, rig.cameras) for sighting in again])
    out = [
        view
        for sighting in again
        for view in _of_sighting(folder.name, sighting, rig, shapes[sighting.group.side], columns)
    ]
    return Session(folder.name, rig, out, strangers, columns, measured)


def _of_sighting(
    session: str, sighting: Sighting, rig: Rig, shape: Array, columns: dict[int, Columns]
) -> Iterator[HandView]:
    everybody = truth_of(sighting.group, rig.cameras, shape, axis_bias_deg=AXIS_BIAS_DEG)
    if everybody is None:
        return
    for camera in sighting.frames:
        width, height = (int(v) for v in columns[camera]["size"][0])
        yield HandView(
            session,
            sighting.moment,
            camera,
            sighting.group.side,
            sighting.rows.get(camera),
            in_picture(rig.cameras[camera], everybody, width, height),
            truth_of(sighting.group, rig.cameras, shape, camera, AXIS_BIAS_DEG),
            everybody,
        )
