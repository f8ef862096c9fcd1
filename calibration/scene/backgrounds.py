"""Procedural rooms: walls, furniture, windows, pictures and clutter, as flat pictures behind the player."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from posturewatch.model.arrays import FloatArray


def _tone(rng: np.random.Generator) -> FloatArray:
    """A room colour, BGR 0-255: mostly muted, sometimes wood or saturated."""
    kind = rng.random()
    if kind < 0.6:
        return np.clip(rng.uniform(30, 240) * (1 + rng.normal(0, 0.07, 3)), 0, 255)
    if kind < 0.85:
        return np.clip(
            np.array([0.45, 0.65, 0.9]) * rng.uniform(50, 235) * (1 + rng.normal(0, 0.1, 3)), 0, 255
        )
    return rng.uniform(0, 255, 3)


def _rect(
    image: FloatArray, rng: np.random.Generator, x0: float, y0: float, x1: float, y1: float, tone: FloatArray
) -> None:
    h, w = image.shape[:2]
    skew = rng.normal(0, 0.02, (4, 2)) * [(x1 - x0) * w, (y1 - y0) * h]
    corners = np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]]) * [w, h] + skew
    cv2.fillPoly(image, [np.round(corners).astype(np.int32)], tuple(float(v) for v in tone), cv2.LINE_AA)


def _shelf(image: FloatArray, rng: np.random.Generator) -> None:
    x0, y0 = rng.uniform(-0.1, 0.8), rng.uniform(-0.1, 0.4)
    w, rows = rng.uniform(0.15, 0.4), int(rng.integers(2, 5))
    height = rng.uniform(0.12, 0.22)
    board = _tone(rng)
    _rect(image, rng, x0, y0, x0 + w, y0 + rows * height, board * 0.6)
    for row in range(rows):
        x, base = x0 + 0.01, y0 + (row + 1) * height - 0.01
        while x < x0 + w - 0.02:
            step = rng.uniform(0.008, 0.035)
            if rng.random() < 0.85:
                _rect(
                    image,
                    rng,
                    x,
                    base - height * rng.uniform(0.5, 0.9),
                    min(x + step, x0 + w),
                    base,
                    _tone(rng),
                )
            x += step
        _rect(image, rng, x0, base, x0 + w, base + 0.012, board)


def _window(image: FloatArray, rng: np.random.Generator) -> None:
    x0, y0, w, h = (
        rng.uniform(-0.1, 0.8),
        rng.uniform(-0.2, 0.3),
        rng.uniform(0.15, 0.45),
        rng.uniform(0.3, 0.7),
    )
    bright = np.clip(np.array([255, 248, 240]) * rng.uniform(0.75, 1.05), 0, 255)
    _rect(image, rng, x0 - 0.012, y0 - 0.02, x0 + w + 0.012, y0 + h + 0.02, _tone(rng))
    panes = int(rng.integers(1, 4))
    for k in range(panes):
        _rect(
            image,
            rng,
            x0 + k * w / panes,
            y0,
            x0 + (k + 0.93) * w / panes,
            y0 + h,
            bright * rng.uniform(0.85, 1),
        )


def _curtain(image: FloatArray, rng: np.random.Generator) -> None:
    w = image.shape[1]
    x0, x1 = sorted((rng.uniform(0, 1, 2) * w).astype(int))
    x1 = max(x1, x0 + 20)
    x = np.arange(x0, min(x1, w))
    fold = 1 + 0.25 * np.sin(x / rng.uniform(4, 16) + np.sin(x / 31.0))
    image[:, x0 : min(x1, w)] = np.clip(_tone(rng) * fold[None, :, None], 0, 255)


def _picture(image: FloatArray, rng: np.random.Generator) -> None:
    x0, y0, w, h = rng.uniform(0, 0.9), rng.uniform(0, 0.5), rng.uniform(0.05, 0.25), rng.uniform(0.08, 0.35)
    _rect(image, rng, x0, y0, x0 + w, y0 + h, _tone(rng))
    size = (max(int(w * image.shape[1] * 0.8), 4), max(int(h * image.shape[0] * 0.8), 4))
    k = int(rng.integers(2, 9))
    colours = np.stack([np.stack([_tone(rng) for _ in range(k)]) for _ in range(k)])
    art = cv2.resize(colours.astype(np.float32), size, interpolation=cv2.INTER_CUBIC)
    y, x = int((y0 + 0.1 * h) * image.shape[0]), int((x0 + 0.1 * w) * image.shape[1])
    region = image[y : y + size[1], x : x + size[0]]
    region[:] = np.clip(art[: region.shape[0], : region.shape[1]], 0, 255)


def _plant(image: FloatArray, rng: np.random.Generator) -> None:
    h, w = image.shape[:2]
    cx, cy, size = rng.uniform(0, 1) * w, rng.uniform(0.4, 1.0) * h, rng.uniform(0.06, 0.2) * h
    for _ in range(int(rng.integers(12, 40))):
        angle, length = rng.uniform(0, 2 * np.pi), size * rng.uniform(0.4, 1.3)
        tip = (int(cx + np.cos(angle) * length), int(cy - abs(np.sin(angle)) * length))
        tone = np.array([40, 120, 50]) * rng.uniform(0.4, 1.6)
        cv2.line(
            image,
            (int(cx), int(cy)),
            tip,
            tuple(float(v) for v in tone),
            int(rng.integers(2, 9)),
            cv2.LINE_AA,
        )


def _furniture(image: FloatArray, rng: np.random.Generator) -> None:
    x0, w, h = rng.uniform(-0.2, 0.9), rng.uniform(0.1, 0.6), rng.uniform(0.1, 0.5)
    top = rng.uniform(0.4, 0.95)
    tone = _tone(rng)
    _rect(image, rng, x0, top, x0 + w, top + h, tone)
    _rect(image, rng, x0, top, x0 + w, top + 0.03, np.clip(tone * 1.25, 0, 255))
    for _ in range(int(rng.integers(0, 4))):
        y = top + rng.uniform(0.05, max(h, 0.06))
        _rect(image, rng, x0, y, x0 + w, y + 0.006, tone * 0.6)


def _poster(image: FloatArray, rng: np.random.Generator) -> None:
    """A large soft colour field, as from something close and out of focus."""
    k = int(rng.integers(2, 7))
    h, w = image.shape[:2]
    colours = np.stack([np.stack([_tone(rng) for _ in range(k)]) for _ in range(k)])
    art = cv2.resize(colours.astype(np.float32), (w, h), interpolation=cv2.INTER_CUBIC)
    image[:] = np.clip(image * 0.3 + art * 0.7, 0, 255)


def make_background(rng: np.random.Generator, size: tuple[int, int]) -> NDArray[np.uint8]:
    """A room (h, w, 3) BGR of ``size`` (width, height), made at half resolution."""
    w, h = size[0] // 2, size[1] // 2
    image = np.empty((h, w, 3), np.float32)
    wall, floor = _tone(rng), _tone(rng)
    y, x = np.linspace(0, 1, h)[:, None, None], np.linspace(0, 1, w)[None, :, None]
    slope = 1 + rng.normal(0, 0.25) * (x - 0.5) + rng.normal(0, 0.3) * (y - 0.5)
    image[:] = wall * slope
    corner = rng.uniform(-0.5, 1.5)
    image[:, x[0, :, 0] > corner] *= rng.uniform(0.7, 1.15)
    skirting = rng.uniform(0.6, 1.3)
    if skirting < 1:
        image[int(skirting * h) :] = floor * np.linspace(0.8, 1.1, h - int(skirting * h))[:, None, None]
    things = (_shelf, _window, _curtain, _picture, _plant, _furniture, _furniture, _poster)
    weights = np.array([0.16, 0.14, 0.1, 0.2, 0.08, 0.14, 0.14, 0.04])
    for _ in range(int(rng.choice([0, rng.integers(1, 5), rng.integers(4, 12)], p=[0.12, 0.5, 0.38]))):
        things[int(rng.choice(8, p=weights))](image, rng)
    blur = rng.choice([0.0, rng.uniform(0.3, 1.5), rng.uniform(1.5, 6)], p=[0.25, 0.45, 0.3])
    if blur > 0.3:
        image = np.asarray(cv2.GaussianBlur(image, (0, 0), float(blur)), image.dtype)
    grain = cv2.resize(
        rng.normal(0, 1, (h // 4, w // 4)).astype(np.float32), (w, h), interpolation=cv2.INTER_CUBIC
    )
    image += grain[:, :, None] * rng.uniform(0, 3)
    image *= rng.uniform(0.45, 1.05)
    small = cv2.resize(np.clip(image, 0, 255).astype(np.uint8), size, interpolation=cv2.INTER_LINEAR)
    return np.asarray(small, np.uint8)
