"""A camera that is moved as a player is told to: round, nearer, turned.

Every move leaves the rest as it was. `View` says where the camera stands: azimuth towards the player's left, and the
point that it looks at lies `distance_m` straight ahead of it.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from calibration.body.geometry import rotation_y, turn_about, unit
from calibration.scene.view import View
from posturewatch.model.arrays import FloatArray

__all__ = [
    "inside",
    "nearer",
    "round_player",
    "target_m",
    "turned_inside",
    "turned_to",
    "until_inside",
]

_STEP, _FURTHEST = 1.08, 3.0


def target_m(view: View) -> FloatArray:
    """(3,) the point that the camera looks at."""
    return np.asarray(view.camera.eye_m + view.distance_m * view.camera.axes[2])


def round_player(view: View, towards_left_deg: float) -> View:
    """Carried round the upright line through the point that it looks at, towards the player's left; height, distance
    and that point stay."""
    turn = rotation_y(np.radians(towards_left_deg))
    return _about(view, turn, azimuth_deg=view.azimuth_deg + towards_left_deg)


def _about(view: View, turn: FloatArray, **changes: float) -> View:
    middle, camera = target_m(view), view.camera
    eye = middle + turn @ (camera.eye_m - middle)
    return replace(view, camera=replace(camera, eye_m=eye, axes=camera.axes @ turn.T), **changes)


def nearer(view: View, factor: float) -> View:
    """Along its line of sight, to `factor` of its distance; beyond 1 it is further away."""
    middle = target_m(view)
    eye = middle + factor * (view.camera.eye_m - middle)
    return replace(view, camera=replace(view.camera, eye_m=eye), distance_m=factor * view.distance_m)


def turned_to(view: View, point_m: FloatArray, share: float = 1.0, most_deg: float = 180.0) -> View:
    """Turned where it stands, the shortest way, by this share of what brings a point to the middle of the picture."""
    ahead, wanted = view.camera.axes[2], unit(point_m - view.camera.eye_m)
    angle = share * float(np.degrees(np.arccos(np.clip(ahead @ wanted, -1.0, 1.0))))
    if angle < 1e-6:
        return view
    axis = unit(np.cross(ahead, wanted))
    turn = turn_about(axis, np.radians(min(angle, most_deg)))
    return replace(view, camera=replace(view.camera, axes=view.camera.axes @ turn.T))


def inside(view: View, points_m: FloatArray, margin: float = 0.02) -> bool:
    """Whether all points (N, 3) are in the picture, by a share of its sides from the edge."""
    camera = view.camera
    pixels = camera.to_pixels(camera.to_camera(points_m)) / [camera.width_px, camera.height_px]
    return bool(np.isfinite(pixels).all() and (pixels >= margin).all() and (pixels <= 1 - margin).all())


def until_inside(view: View, points_m: FloatArray, least: float = 1.0) -> View:
    """Moved back along its line of sight until all points are in the picture, by the factor `least` at least, and to
    three times its distance at most."""
    factor = least
    while factor * _STEP <= _FURTHEST and not inside(nearer(view, factor), points_m):
        factor *= _STEP
    return nearer(view, factor)


def turned_inside(view: View, points_m: FloatArray, most_deg: float = 180.0) -> View:
    """Turned where it stands, no further than needed, until all points are in the picture; as far as allowed, where
    they do not fit."""
    middle = 0.5 * (points_m.min(axis=0) + points_m.max(axis=0))
    for share in np.linspace(0.0, 1.0, 21):
        moved = turned_to(view, middle, float(share), most_deg)
        if inside(moved, points_m):
            return moved
    return turned_to(view, middle, 1.0, most_deg)
