"""Where the camera stands."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from calibration.scene.camera import Camera, look_at
from calibration.scene.player import Player
from posturewatch.model.arrays import FloatArray
from posturewatch.model.observation import SIDES

#: How much of the player a camera sees: in data sets, by their places here.
FRAMINGS = ("upper", "headless", "close")


@dataclass(frozen=True)
class View:
    camera: Camera
    azimuth_deg: float
    elevation_deg: float
    distance_m: float


def sample_view(player: Player, framing: str, size: tuple[int, int], rng: np.random.Generator) -> View:
    """A camera for a framing; azimuth is towards the player's left, mirrored for left-handed players."""
    facing = 1 if player.handedness == "right" else -1
    fret = "left" if facing > 0 else "right"
    azimuth = float(facing * rng.uniform(-25, 95))
    elevation = float(np.clip(rng.normal(6, 13), -22, 45))
    hfov = float(rng.uniform(50, 80))
    if size[0] < size[1]:
        hfov = float(rng.uniform(38, 58))
    roll = float(rng.normal(0, 2.5))
    hands = np.concatenate([player.landmarks_m(side)[[0, 5, 12, 17]] for side in SIDES])
    elbows = np.stack([player.joint_m("lowerarm01", side) for side in SIDES])
    head = player.heads[player.body.bone("head")] + player.turns[player.body.bone("head")] @ np.array(
        [0, 0.1, 0.03]
    )
    shoulders = np.stack([player.joint_m("upperarm01", side) for side in SIDES])
    if framing == "upper":
        points = np.concatenate([hands, elbows, head[None], head[None] + [[0, 0.13, 0]], shoulders])
        margin = rng.uniform(1.03, 1.5)
    elif framing == "headless":
        points = np.concatenate([hands, elbows if rng.random() < 0.75 else elbows[:1]])
        margin = rng.uniform(1.05, 1.5)
    else:
        wrist, elbow = player.joint_m("wrist", fret), player.joint_m("lowerarm01", fret)
        reach = rng.choice([rng.uniform(0.2, 0.6), rng.uniform(0.6, 1.0)], p=[0.6, 0.4])
        points = np.concatenate(
            [player.landmarks_m(fret)[[0, 5, 8, 12, 17, 20]], [wrist + reach * (elbow - wrist)]]
        )
        margin = rng.uniform(1.15, 2.0)
    target = 0.5 * (points.min(0) + points.max(0))
    spread = (points.max(0) - points.min(0)).mean()
    target = target + rng.normal(0, 0.06, 3) * spread * margin
    camera = look_at(target, azimuth, elevation, 1.0, roll, size, hfov)
    distance = fit_distance(camera, points, target, margin)
    camera = look_at(target, azimuth, elevation, distance, roll, size, hfov)
    if framing == "headless":
        chin = camera.to_pixels(camera.to_camera(head - [0, 0.1, 0]))
        if np.isfinite(chin).all() and chin[1] > -5:
            drop = (chin[1] + rng.uniform(5, 60)) / camera.focal_px * distance
            target = target + camera.axes[1] * min(float(drop), 0.35)
            camera = look_at(target, azimuth, elevation, distance, roll, size, hfov)
    return View(camera, azimuth, elevation, distance)


def fit_distance(camera: Camera, points: FloatArray, target: FloatArray, margin: float) -> float:
    """Distance from the target at which all points are inside the picture, times a margin."""
    offset = (points - target) @ camera.axes.T
    half_x = camera.width_px / 2 / camera.focal_px
    half_y = camera.height_px / 2 / camera.focal_px
    needed = np.maximum(np.abs(offset[:, 0]) / half_x, np.abs(offset[:, 1]) / half_y) * margin - offset[:, 2]
    return float(max(needed.max(), 0.22 - offset[:, 2].min()))
