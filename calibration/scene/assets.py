"""Photographed skins and rooms for the renders, read from ``assets``; colours are linear RGB."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from posturewatch.model.arrays import FloatArray

FOLDER = Path(__file__).parent / "assets"
SKINS = tuple(sorted(path.stem for path in (FOLDER / "skin").glob("*.jpg")))
ROOMS = tuple(sorted(path.stem for path in (FOLDER / "room_light").glob("*.jpg")))
RADIANCE_STEPS, RADIANCE_TOP = 64.0, 200.0  # see assets/README.md
LAMP_REACH_DEG = 24.0  # what lies this near to the brightest place counts as the lamp
LAMP_OVER_MEAN = 2.5  # and is so much brighter than the room
GAMMA = 2.2


@dataclass(frozen=True)
class RoomLight:
    """A panorama, its lamp taken out of the smooth part. Directions are in the panorama's own axes (y up).

    radiance: (h, w, 3) float16, the row of the zenith first; harmonics: (9, 3) irradiance over pi as coefficients for
    ``harmonic_basis``, without the lamp; lamp_direction: (3,); lamp_irradiance: (3,) over pi, on a surface facing it.
    """

    radiance: NDArray[np.float16]
    harmonics: FloatArray
    lamp_direction: FloatArray
    lamp_irradiance: FloatArray


def harmonic_basis(direction: FloatArray) -> FloatArray:
    """Real spherical harmonics (..., 9) up to the second band (Ramamoorthi & Hanrahan 2001, SIGGRAPH, p. 497-500)."""
    x, y, z = direction[..., 0], direction[..., 1], direction[..., 2]
    return np.stack(
        [
            np.full_like(x, 0.282095),
            0.488603 * y,
            0.488603 * z,
            0.488603 * x,
            1.092548 * x * y,
            1.092548 * y * z,
            0.315392 * (3 * z * z - 1),
            1.092548 * x * z,
            0.546274 * (x * x - y * y),
        ],
        axis=-1,
    )


#: By what a clamped cosine weighs each band, over pi (the same paper).
COSINE_BANDS = np.array([1.0, *[2 / 3] * 3, *[1 / 4] * 5])


def panorama_directions(height: int, width: int) -> FloatArray:
    """(h, w, 3) unit directions of a panorama's pixels: its middle column looks along +z, columns run towards +x."""
    polar = (np.arange(height) + 0.5) / height * np.pi
    around = ((np.arange(width) + 0.5) / width - 0.5) * 2 * np.pi
    sine = np.sin(polar)[:, None]
    return np.stack(
        [
            sine * np.sin(around),
            np.broadcast_to(np.cos(polar)[:, None], (height, width)),
            sine * np.cos(around),
        ],
        axis=-1,
    )


@cache
def room_light(name: str) -> RoomLight:
    """One of ``ROOMS``."""
    path = FOLDER / "room_light" / f"{name}.jpg"
    stored = cv2.imread(str(path), cv2.IMREAD_COLOR)
    if stored is None:
        raise FileNotFoundError(f"{path} is missing or not a picture")
    top = np.log2(1 + RADIANCE_STEPS * RADIANCE_TOP)
    radiance = (2 ** (stored[:, :, ::-1].astype(np.float32) / 255 * top) - 1) / RADIANCE_STEPS
    small = cv2.resize(radiance, (128, 64), interpolation=cv2.INTER_AREA)
    direction = panorama_directions(64, 128)
    solid = np.sin((np.arange(64) + 0.5) / 64 * np.pi)[:, None] * (np.pi / 64) * (2 * np.pi / 128)
    bright = small.mean(2)
    blurred = cv2.GaussianBlur(bright, (0, 0), 2.0)
    blurred[48:] = 0  # no lamp is sought on the floor
    peak = direction[np.unravel_index(int(blurred.argmax()), blurred.shape)]
    mean = float((bright * solid).sum() / (4 * np.pi))
    lamp = (direction @ peak > np.cos(np.radians(LAMP_REACH_DEG))) & (bright > LAMP_OVER_MEAN * mean)
    rest = np.where(lamp[..., None], np.minimum(small, LAMP_OVER_MEAN * mean), small)
    excess = ((small - rest) * solid[..., None]).sum((0, 1)) / np.pi
    weight = (small - rest).mean(2) * solid
    middle = (direction * weight[..., None]).sum((0, 1))
    length = float(np.linalg.norm(middle))
    basis = harmonic_basis(direction)
    harmonics = np.einsum("hwk,hwc,hw->kc", basis, rest, solid) * COSINE_BANDS[:, None]
    return RoomLight(
        radiance=radiance.astype(np.float16),
        harmonics=harmonics,
        lamp_direction=middle / length if length > 0 else np.array([0.0, 1.0, 0.0]),
        lamp_irradiance=excess,
    )


@cache
def skin_picture(name: str) -> NDArray[np.uint8]:
    """One of ``SKINS`` (h, w, 3), RGB as stored, not linear."""
    path = FOLDER / "skin" / f"{name}.jpg"
    stored = cv2.imread(str(path), cv2.IMREAD_COLOR)
    if stored is None:
        raise FileNotFoundError(f"{path} is missing or not a picture")
    return np.ascontiguousarray(stored[:, :, ::-1])


@cache
def skin_tone(name: str) -> tuple[float, float, float]:
    """Mean linear colour of a skin's forearms and hands."""
    picture = cv2.resize(skin_picture(name), (256, 256), interpolation=cv2.INTER_AREA)
    arms = (picture[40:62, 8:45].reshape(-1, 3).astype(float) / 255) ** GAMMA
    red, green, blue = (float(v) for v in np.median(arms, axis=0))
    return red, green, blue
