"""A camera looking at the player: a pinhole, or a lens that bows straight lines."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.body.geometry import unit
from posturewatch.model.arrays import FloatArray

NEAR_M, FAR_M = 0.05, 12.0


@dataclass(frozen=True)
class Camera:
    """eye_m: (3,) world; axes: (3, 3) rows are x right, y down, z away in world coordinates. lens: the first radial
    coefficient of the usual model (Brown 1966, Photogrammetric Engineering 32:444-462, from memory): below 0 lines bow
    outwards, as in wide webcams. The picture is then enlarged until its corners show what a pinhole shows; hfov_deg is
    the pinhole's."""

    eye_m: FloatArray
    axes: FloatArray
    width_px: int
    height_px: int
    hfov_deg: float
    lens: float = 0.0

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
        rays = camera[..., :2] / depth
        # Far outside the picture the model would fold back.
        square = np.minimum((rays**2).sum(-1, keepdims=True), 1.2 * self._corner_square)
        return np.asarray(rays * (1 + self.lens * square) * self._enlarged * self.focal_px + middle)

    @property
    def _corner_square(self) -> float:
        return (self.width_px**2 + self.height_px**2) / 4 / self.focal_px**2

    @property
    def _enlarged(self) -> float:
        return 1 / (1 + self.lens * self._corner_square) if self.lens < 0 else 1.0

    def distorted(self, picture: NDArray[Any]) -> NDArray[Any]:
        """A pinhole's picture, or one of its parts at half the size (a single channel), as this lens shows it."""
        if self.lens == 0:
            return picture
        height, width = picture.shape[:2]
        scale = width / self.width_px
        focal = self.focal_px * scale
        x, y = np.meshgrid(np.arange(width, dtype=np.float32), np.arange(height, dtype=np.float32))
        x, y = (x + 0.5 - width / 2) / focal, (y + 0.5 - height / 2) / focal
        told = np.sqrt(x * x + y * y) / np.float32(self._enlarged)
        true = told.copy()
        for _ in range(6):
            true -= (true * (1 + self.lens * true * true) - told) / (1 + 3 * self.lens * true * true)
        ratio = true / np.maximum(told * np.float32(self._enlarged), 1e-9)
        across, down = (axis * ratio * focal + size / 2 - 0.5 for axis, size in ((x, width), (y, height)))
        way = cv2.INTER_NEAREST if picture.ndim == 2 else cv2.INTER_LINEAR
        return cv2.remap(
            picture, across.astype(np.float32), down.astype(np.float32), way, borderMode=cv2.BORDER_REPLICATE
        )

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
