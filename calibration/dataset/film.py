"""A rendered video before it is rendered: all that its seed drew, and what may be exchanged of it.

The camera, the clothes, the light and what hinders the picture can be exchanged (`dataclasses.replace`,
`calibration.dataset.scenes.dressed`); the player and the movement stay.
"""

from __future__ import annotations

import copy
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.render.imaging import smear
from calibration.render.render import PARTS, Figure
from calibration.render.sensor import Sensor
from calibration.scene.looks import Light
from calibration.scene.motion import Performance
from calibration.scene.photo import Photo
from calibration.scene.player import Player
from calibration.scene.view import View
from posturewatch.model.arrays import FloatArray
from posturewatch.model.observation import SIDES

__all__ = ["Film", "Hindrance", "blurred_hands", "dimmed", "hindered"]

_SHARP_PX = 0.6  # blur of a lens that is in focus and clean, in pixels of a picture 1280 wide
_NOISE_IN_THE_DARK = 4.0  # times the noise of a picture that is dark


@dataclass(frozen=True)
class Hindrance:
    """What hinders the picture beyond its seed. dim: share of the brightness that is left; blur_px: of a lens out of
    focus, in pixels of a picture 1280 wide; sharp: whether the lens was seen to."""

    dim: float = 1.0
    blur_px: float = 0.0
    sharp: bool = False


@dataclass(frozen=True)
class Film:
    """performance: as it stands after its first moment; player: of that moment; dressing: the stream of chance numbers
    from which clothes and chair are made; photo: None for the plain look; about: split, seed and framing."""

    performance: Performance
    player: Player
    figure: Figure
    dressing: np.random.Generator
    light: Light
    photo: Photo | None
    room: NDArray[np.uint8]
    view: View
    shutter: float
    style: int
    quality: int
    about: dict[str, Any]
    hindrance: Hindrance = Hindrance()

    def players(self, times_s: Sequence[float]) -> Iterator[Player]:
        """The player at rising times, the same on every call."""
        performance = copy.copy(self.performance)  # which replaces what it remembers, and changes none of it
        for time_s in times_s:
            yield performance.at(time_s)


def hindered(sensor: Sensor, film: Film) -> Sensor:
    """A photographed film's camera with what hinders it."""
    one = film.hindrance
    if one.dim != 1.0:
        sensor = replace(
            sensor,
            brightness=sensor.brightness * one.dim,
            highlights=sensor.highlights * one.dim,
            shot=sensor.shot * _NOISE_IN_THE_DARK,
            read=sensor.read * _NOISE_IN_THE_DARK,
        )
    if one.sharp:
        sensor = replace(sensor, blur=min(sensor.blur, _SHARP_PX), glare=0.0)
    return replace(sensor, blur=sensor.blur + one.blur_px) if one.blur_px else sensor


def dimmed(picture: NDArray[np.uint8], film: Film) -> NDArray[np.uint8]:
    """A plain film's picture with what hinders it."""
    one = film.hindrance
    if one.blur_px:
        sigma = one.blur_px * picture.shape[1] / 1280
        picture = np.asarray(cv2.GaussianBlur(picture, (0, 0), sigma), np.uint8)
    if one.dim == 1.0:
        return picture
    return np.asarray(cv2.convertScaleAbs(picture, alpha=one.dim ** (1 / 2.2)), np.uint8)


def blurred_hands(picture: NDArray[Any], parts: NDArray[np.uint8], shift_px: FloatArray) -> NDArray[Any]:
    """Motion blur of each hand by its mean shift (2 hands, 21, 2) while the shutter was open."""
    for side, shift in zip(SIDES, np.nan_to_num(shift_px).mean(1), strict=True):
        length = float(np.hypot(*shift))
        if length >= 2:
            mask = np.isin(parts, [PARTS[f"hand_{side}"], PARTS[f"forearm_{side}"]]) * np.uint8(255)
            picture = smear(picture, mask, -float(np.degrees(np.arctan2(shift[1], shift[0]))), length)
    return picture
