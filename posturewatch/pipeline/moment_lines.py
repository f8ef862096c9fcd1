"""Forearm and hand drawn into the picture of a moment, for reports; the number beside it is the one that was kept."""

from __future__ import annotations

import threading
from dataclasses import replace
from typing import Any

import cv2
import numpy as np

from posturewatch.errors import UnavailableError
from posturewatch.model.arrays import Array, Image
from posturewatch.model.frame import Frame
from posturewatch.model.observation import ForearmAxis, HandObservation, Side
from posturewatch.pipeline import build as assembly
from posturewatch.pipeline.build import Parts
from posturewatch.pipeline.drawing import draw_lines

__all__ = ["MomentLines"]

_QUALITY = 82

#: The picture that is shown is so many times as wide as what is drawn, and at least so wide before it is enlarged.
_ROOM = 2.6
_LEAST_PX = 200
_WIDE_PX = 640


class MomentLines:
    """Looks at pictures as at photographs. The models are loaded with the first; may be called from any thread."""

    def __init__(self, parts: Parts) -> None:
        self._parts = parts
        self._lock = threading.Lock()
        self._built: assembly.Built | None = None
        self._missing = False

    def __call__(self, picture: bytes, side: Side) -> bytes | None:
        """The JPEG with the lines of that hand drawn in; None where it is not seen, or nothing can be looked for."""
        image: Any = cv2.imdecode(np.frombuffer(picture, np.uint8), cv2.IMREAD_COLOR)
        if image is None:
            return None
        with self._lock:
            if self._built is None and not self._missing:
                try:
                    self._built = self._parts.build("still", self._parts.settings)
                except UnavailableError:
                    self._missing = True
            if self._built is None:
                return None
            pixels = image.astype(np.uint8, copy=False)
            hand = self._built.tracker.observe(Frame(0, 0.0, pixels)).hand(side)
        if hand is None or hand.forearm is None:
            return None
        shown = _around(pixels, hand)
        _, encoded = cv2.imencode(".jpg", shown, [cv2.IMWRITE_JPEG_QUALITY, _QUALITY])
        return encoded.tobytes()

    def close(self) -> None:
        """Hands the models back."""
        with self._lock:
            if self._built is not None:
                self._built.release()
                self._built, self._missing = None, True


def _around(image_bgr: Image, hand: HandObservation) -> Image:
    """The part of the picture around hand and forearm, in the shape of 4:3, enlarged, with the lines in it."""
    height, width = image_bgr.shape[:2]
    points = [hand.landmarks_px[:, :2]]
    if hand.forearm is not None:
        points.append(hand.forearm.towards_elbow_px[None])
    drawn = np.concatenate(points)
    low, high = drawn.min(axis=0), drawn.max(axis=0)
    middle = (low + high) / 2
    wide = float(max(_LEAST_PX, _ROOM * (high[0] - low[0]), _ROOM * (high[1] - low[1]) * 4 / 3))
    wide = min(wide, width, height * 4 / 3)
    size = np.array([wide, wide * 3 / 4])
    corner = np.clip(middle - size / 2, 0, np.maximum(0, np.array([width, height]) - size))
    x, y = (int(one) for one in corner)
    cut = image_bgr[y : y + int(size[1]), x : x + int(size[0])]
    scale = max(1.0, _WIDE_PX / cut.shape[1])
    shown: Any = cv2.resize(cut, None, fx=scale, fy=scale, interpolation=cv2.INTER_CUBIC)
    pixels: Image = shown.astype(np.uint8, copy=False)
    moved = replace(
        hand,
        landmarks_px=(hand.landmarks_px - [x, y, 0]) * [scale, scale, 1],
        forearm=None if hand.forearm is None else _moved(hand.forearm, np.array([x, y]), scale),
    )
    draw_lines(pixels, moved, max(1, round(pixels.shape[1] / 480)))
    return pixels


def _moved(axis: ForearmAxis, corner: Array, scale: float) -> ForearmAxis:
    return replace(
        axis,
        wrist_px=(axis.wrist_px - corner) * scale,
        towards_elbow_px=(axis.towards_elbow_px - corner) * scale,
    )
