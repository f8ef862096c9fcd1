"""A second look at every hand from every camera, with crops placed where all cameras together see it.

The tracker lays its landmarks wrongly in some views, and the crops with them. Where two cameras and more agree, the
hand's joints are known in space, and so is where they lie in each picture; the networks look again there.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from calibration.evaluate.real.cameras import Camera, Rig
from calibration.evaluate.real.material import Source, shots
from calibration.evaluate.real.seen import HeatmapPlaces, networks_name
from calibration.evaluate.real.truth import Group, View, points_of, reproject
from posturewatch.model.observation import Side
from posturewatch.pipeline.build import fingers_path, forearm_path
from posturewatch.tracking import ForearmNet

__all__ = ["Sighting", "looked_again"]

Array = NDArray[np.float64]
_ROUNDS = 2
_MIDDLE_KNUCKLE = 9
_DROPPED = 0.3  # hand scales: a view farther from what the others see does not show the hand
_LEAST_INSIDE = 0.75  # share of the joints in the picture
#: Hand scale of the landmarks by which the tracker places its crops, in that of the joints that the finger network then
#: points at, in the middle. Places follow the crop: of one a third too wide they lie a sixth too far apart on real
#: hands, in every camera's picture alike. So crops are as wide as a hand of the person's size asks for, not as the
#: places before: that made hands of 80 to 170 mm of one.
_CROP_SCALE = 0.88


@dataclass(frozen=True)
class Sighting:
    """One hand at one moment: frame of each camera, the tracker's row in each camera that found it, and the views of
    the second look."""

    moment: int
    frames: dict[int, int]
    rows: dict[int, int]
    group: Group


def looked_again(
    sightings: list[Sighting], videos: list[Source], rig: Rig, cache: Path, key: str
) -> list[Sighting]:
    """The same with views by the networks in use around where all views together see the hand; key: begins the name
    under which they are kept, for these very sightings."""
    name = networks_name(forearm_path(), fingers_path())
    path = cache / f"second-{key}-{_digest(sightings)}-{name}.npz"
    if path.exists():
        with np.load(path) as archive:
            table = archive["views"]
    else:
        table = _looks(sightings, videos, rig)
        np.savez_compressed(path, views=table)
    views: dict[int, list[View]] = {}
    for row in table:
        views.setdefault(int(row[0]), []).append(_view(row))
    return [
        replace(s, group=Group(s.group.side, tuple(_kept(views.get(k, []), rig.cameras))))
        for k, s in enumerate(sightings)
    ]


def _digest(sightings: list[Sighting]) -> str:
    """A short name of what was sighted: what is kept of one list would mix up the hands of another."""
    told = hashlib.sha256()
    for one in sightings:
        told.update(f"{one.moment} {one.group.side}".encode())
        for view in one.group.views:
            told.update(f"{view.camera} {one.frames[view.camera]}".encode())
            told.update(np.round(view.places_px, 1).tobytes())
    return told.hexdigest()[:10]


def _view(row: Array) -> View:
    """From one row of the table: sighting, camera, places (63), axis (4), its sd."""
    places = row[2:65].reshape(21, 3)
    return View(int(row[1]), -1, places[:, :2], row[65:69].reshape(2, 2), float(row[69]), 0.0, places[:, 2])


def _kept(views: list[View], cameras: dict[int, Camera]) -> list[View]:
    """Without those that do not show what the others see, the worst first."""
    left = list(views)
    while len(left) > 2:
        off = [reproject(v, points_of([w for w in left if w is not v], cameras), cameras) for v in left]
        worst = int(np.argmax(off))
        if off[worst] < _DROPPED:
            break
        left.pop(worst)
    return left


def _looks(sightings: list[Sighting], videos: list[Source], rig: Rig) -> NDArray[np.float64]:
    forearm, heatmap = ForearmNet(forearm_path()), HeatmapPlaces(fingers_path())
    groups = [sighting.group.views for sighting in sightings]
    rows: list[Array] = []
    palm_m: float | None = None
    for _ in range(_ROUNDS):
        joints = [points_of(views, rig.cameras) if len(views) > 1 else None for views in groups]
        palm_m = palm_m or float(np.median([_palm_m(points) for points in joints if points is not None]))
        joints = [None if points is None else _of_size(points, palm_m) for points in joints]
        rows = []
        for video in videos:
            rows += _in_video(video, rig.cameras[video.camera], sightings, joints, forearm, heatmap)
        again: list[list[View]] = [[] for _ in sightings]
        for row in rows:
            again[int(row[0])].append(_view(row))
        groups = [tuple(_kept(views, rig.cameras)) for views in again]
    return np.array(rows)


def _palm_m(joints_m: Array) -> float:
    return float(np.linalg.norm(joints_m[_MIDDLE_KNUCKLE] - joints_m[0]))


def _of_size(joints_m: Array, palm_m: float) -> Array:
    """The same joints around the same wrist, the palm being so long."""
    return np.asarray(joints_m[0] + (joints_m - joints_m[0]) * (palm_m / max(_palm_m(joints_m), 1e-3)))


def _in_video(
    video: Source,
    camera: Camera,
    sightings: list[Sighting],
    joints: list[Array | None],
    forearm: ForearmNet,
    heatmap: HeatmapPlaces,
) -> list[Array]:
    at_frame: dict[int, list[int]] = {}
    for k, sighting in enumerate(sightings):
        if video.camera in sighting.frames:
            at_frame.setdefault(sighting.frames[video.camera], []).append(k)
    out = []
    for shot in shots(video):
        size = np.array(shot.image_bgr.shape[1::-1])
        hands: list[tuple[int, tuple[Array, Side]]] = []
        for k in at_frame.get(shot.frame, []):
            points = joints[k]
            if points is None or not camera.sees(points):
                continue
            px = camera.project(points)
            if ((px >= 0) & (px < size)).all(axis=1).mean() >= _LEAST_INSIDE:
                placing = px[0] + (px - px[0]) * _CROP_SCALE
                hands.append((k, (placing, sightings[k].group.side)))
        if hands:
            looks = [hand for _, hand in hands]
            places = heatmap.places(shot.image_bgr, looks)
            for (k, _), place, axis in zip(
                hands, places, forearm.measure(shot.image_bgr, looks), strict=True
            ):
                ends = [*axis.wrist_px, *axis.towards_elbow_px, axis.sd_deg]
                out.append(np.array([k, video.camera, *place.ravel(), *ends], float))
    return out
