"""What a webcam does to a picture: blur, exposure, noise, compression. Pictures are uint8 BGR."""

from __future__ import annotations

from functools import cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

Picture = NDArray[np.uint8]


@cache
def noise_tile() -> NDArray[np.float32]:
    """A fixed large tile of white noise; pictures take random windows of it."""
    return np.random.default_rng(7).normal(0, 1, (1700, 1700, 3)).astype(np.float32)


def smear(
    picture: NDArray[Any], where: NDArray[np.uint8], angle_deg: float, length_px: float
) -> NDArray[Any]:
    """Motion blur of ``length_px`` where the mask (any size, 0-255) is set, softly."""
    size = int(length_px) | 1
    if size < 3:
        return picture
    kernel = np.zeros((size, size), np.float32)
    kernel[size // 2] = 1
    turn = cv2.getRotationMatrix2D((size / 2 - 0.5, size / 2 - 0.5), angle_deg, 1)
    kernel = np.asarray(cv2.warpAffine(kernel, turn, (size, size)), np.float32)
    moved = cv2.filter2D(picture, -1, kernel / kernel.sum())
    mask = cv2.resize(where, (picture.shape[1], picture.shape[0]))
    mask = cv2.dilate(mask, np.ones((9, 9), np.uint8))
    soft = cv2.blur(mask, (25, 25)).astype(np.float32)[:, :, None] / 255
    return np.asarray(picture + (moved.astype(np.float32) - picture) * soft, picture.dtype)


def tone_curve(rng: np.random.Generator) -> Picture:
    """A (256, 1, 3) look-up table: white balance, exposure, gamma, contrast."""
    x = np.linspace(0, 1, 256)[:, None]
    gain = rng.uniform(0.75, 1.3) * (1 + rng.normal(0, 0.05, 3))
    gamma = rng.uniform(0.8, 1.25)
    lift = rng.uniform(0, 0.07) if rng.random() < 0.4 else 0.0
    y = np.clip(x * gain, 0, None) ** gamma
    contrast = rng.uniform(0, 0.4)
    y = np.clip(y, 0, 1)
    y = (1 - contrast) * y + contrast * (3 * y**2 - 2 * y**3)
    return np.clip((lift + (1 - lift) * y) * 255, 0, 255).astype(np.uint8)[:, None, :]


def develop(picture: Picture, rng: np.random.Generator, grain: np.random.Generator | None = None) -> Picture:
    """Random webcam treatment before compression; ``grain`` draws the noise where it shall differ by frame."""
    h, w = picture.shape[:2]
    if rng.random() < 0.3:
        scale = rng.uniform(0.45, 0.9)
        small = cv2.resize(picture, (int(w * scale), int(h * scale)), interpolation=cv2.INTER_AREA)
        picture = np.asarray(cv2.resize(small, (w, h), interpolation=cv2.INTER_LINEAR), np.uint8)
    sigma = rng.choice([rng.uniform(0.3, 0.8), rng.uniform(0.8, 2.2)], p=[0.75, 0.25]) * w / 1280
    blurred = cv2.GaussianBlur(picture, (0, 0), max(float(sigma), 0.3))
    picture = np.asarray(cv2.LUT(blurred, tone_curve(rng)), np.uint8)
    colourful = rng.uniform(0.6, 1.2)
    if abs(colourful - 1) > 0.05:
        grey = cv2.cvtColor(cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY), cv2.COLOR_GRAY2BGR)
        mixed = cv2.addWeighted(picture, float(colourful), grey, float(1 - colourful), 0)
        picture = np.asarray(mixed, np.uint8)
    if rng.random() < 0.3:
        smooth = cv2.GaussianBlur(picture, (0, 0), 2.0)
        amount = float(rng.uniform(0.3, 1.0))
        picture = np.asarray(cv2.addWeighted(picture, 1 + amount, smooth, -amount, 0), np.uint8)
    strength = float(rng.choice([rng.uniform(0.5, 3), rng.uniform(3, 11)], p=[0.7, 0.3]))
    soft = bool(rng.random() < 0.5)
    return add_grain(picture, grain or rng, strength, soft)


def add_grain(picture: Picture, rng: np.random.Generator, strength: float, soft: bool) -> Picture:
    """Sensor noise of ``strength`` grey levels, optionally smoothed as by a camera's own denoising."""
    h, w = picture.shape[:2]
    y, x = int(rng.integers(0, 1700 - h)), int(rng.integers(0, 1700 - w))
    grain = noise_tile()[y : y + h, x : x + w]
    if soft:
        grain = cv2.GaussianBlur(grain, (0, 0), 0.8) * 1.9
    return np.asarray(cv2.add(picture, grain * strength, dtype=cv2.CV_8U), np.uint8)


def jpeg(picture: Picture, quality: int) -> bytes:
    """JPEG file bytes."""
    done, data = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, quality])
    if not done:
        raise ValueError("the picture could not be encoded as JPEG")
    return bytes(data)
