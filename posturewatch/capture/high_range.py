"""High dynamic range brought to what a usual screen shows, so that hands look as the trackers know them."""

from __future__ import annotations

from functools import cache

import cv2
import numpy as np

from posturewatch.model.arrays import Image

__all__ = ["HLG", "PQ", "to_usual_range"]

#: Transfer characteristics by their numbers in ITU-T H.273, table 3.
PQ, HLG = 16, 18

#: Luminance of a white sheet in a high-range picture, and the brightest that HLG is graded for; ITU-R BT.2408, table 1.
_WHITE_NITS = 203.0
_HLG_PEAK_NITS = 1000.0

#: Above half of white, brighter and brighter light is drawn together into what is left.
_KNEE = 0.5


def to_usual_range(image_bgr: Image, transfer: int) -> Image:
    """The same picture for a usual screen; unchanged where `transfer` is neither PQ nor HLG.

    By colour channel. The wider colours of ITU-R BT.2020 stay a little pale: hands are found by their shape.
    """
    if transfer not in (PQ, HLG):
        return image_bgr
    return cv2.LUT(image_bgr, _table(transfer)).astype(np.uint8, copy=False)


@cache
def _table(transfer: int) -> Image:
    """(256,) from the code of one channel to the code on a usual screen."""
    code = np.arange(256) / 255.0
    light = (_pq_nits(code) if transfer == PQ else _hlg_nits(code)) / _WHITE_NITS
    drawn = np.where(light < _KNEE, light, 1.0 - (1.0 - _KNEE) * np.exp(-(light - _KNEE) / (1.0 - _KNEE)))
    # ITU-R BT.1886: a usual screen's light is the power 2.4 of its signal.
    codes: Image = np.round(255.0 * np.clip(drawn, 0.0, 1.0) ** (1 / 2.4)).astype(np.uint8)
    return codes


def _pq_nits(code: np.ndarray) -> np.ndarray:  # type: ignore[type-arg]
    """ITU-R BT.2100, table 4: the reference PQ EOTF."""
    m1, m2 = 2610 / 16384, 2523 / 4096 * 128
    c1, c2, c3 = 3424 / 4096, 2413 / 4096 * 32, 2392 / 4096 * 32
    root = code ** (1 / m2)
    return np.asarray(10_000.0 * (np.maximum(root - c1, 0.0) / (c2 - c3 * root)) ** (1 / m1))


def _hlg_nits(code: np.ndarray) -> np.ndarray:  # type: ignore[type-arg]
    """ITU-R BT.2100, table 5: the inverse of the HLG OETF, and its OOTF for a screen of 1000 nits."""
    a, b, c = 0.17883277, 0.28466892, 0.55991073
    scene = np.where(code <= 0.5, code**2 / 3, (np.exp((code - c) / a) + b) / 12)
    return np.asarray(_HLG_PEAK_NITS * scene**1.2)
