"""A pinhole camera looking at the player."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from calibration.body.geometry import unit
from posturewatch.model.arrays import FloatArray

NEAR_M, FAR_M = 0.05, 12.0


@dataclass(frozen=True)
class Camera:
    """eye_m: (3,) world; axes: (3, 3) rows are x right, y down, z away in world coordinates."""

    eye_m: FloatArray
    axes: FloatArray
    width_px: int
    height_px: int
    hfov_deg: float

    @property
    def focal_px(self) -> float:
        return self.width_px / 2 / float(np.tan(np.radians(self.hfov_deg) / 2))

    def to_camera(self, world: FloatArray) -> FloatArray:
        """Points (..., 3) in camera axes, metres."""
        return (world - self.eye_m) @ self.axes.T

    def to_pixels(self, camera: FloatArray) -> FloatArray:
        """Pixels (..., 2) of points in camera axes; NaN behind the camera."""
        depth = np.where(camera[..., 2:] > NEAR_M, camera[..., 2:], np.nan)
        middle = np.array([self.width_px, self.height_px]) / 2
        return np.asarray(camera[..., :2] / depth * self.focal_px + middle)

    def matrix(self) -> FloatArray:
        """World to clip space with y down, so that the first row read back is the top of the picture."""
        projection = np.zeros((4, 4))
        projection[0, 0] = 2 * self.focal_px / self.width_px
        projection[1, 1] = 2 * self.focal_px / self.height_px
        projection[2, 2] = (FAR_M + NEAR_M) / (FAR_M - NEAR_M)
        projection[2, 3] = -2 * FAR_M * NEAR_M / (FAR_M - NEAR_M)
        projection[3, 2] = 1.0
        view = np.eye(4)
        view[:3, :3] = self.axes
        view[:3, 3] = -self.axes @ self.eye_m
        return projection @ view


def look_at(
    target_m: FloatArray,
    azimuth_deg: float,
    elevation_deg: float,
    distance_m: float,
    roll_deg: float,
    size_px: tuple[int, int],
    hfov_deg: float,
) -> Camera:
    """Azimuth 0 is in front of the player, positive towards the player's left; elevation positive above."""
    azimuth, elevation = np.radians(azimuth_deg), np.radians(elevation_deg)
    back = np.array(
        [np.sin(azimuth) * np.cos(elevation), np.sin(elevation), np.cos(azimuth) * np.cos(elevation)]
    )
    away = -back
    right = unit(np.cross(away, [0.0, 1.0, 0.0]))
    down = np.cross(away, right)
    r = np.radians(roll_deg)
    right, down = np.cos(r) * right + np.sin(r) * down, np.cos(r) * down - np.sin(r) * right
    return Camera(
        target_m + distance_m * back, np.stack([right, down, away]), size_px[0], size_px[1], hfov_deg
    )
