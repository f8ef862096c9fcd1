"""Flat things in a hand: a sheet of music, a book, a tablet, a board. A hand that grips one looks much like a hand on a
neck, and is as often seen along its edge.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.body.geometry import across, turn_about, unit
from calibration.body.hand_pose import THUMB_RADIUS_M, TIP_RADIUS_M, Hand
from calibration.scene.instrument import METAL, PLAIN, MeshBuilder
from calibration.scene.neck import FINGER_HIGH, FINGER_LOW, curl_template, solve_thumb
from posturewatch.model.arrays import FloatArray

__all__ = ["Gripped", "grip", "gripped_mesh"]

TRIES = 40
THINNEST_M, THICKEST_M = 0.001, 0.028
_THUMB_TIP = 4
_PADS = [8, 12, 16]  # the tips that press against the thumb
_BEFORE_PADS = [7, 11, 15]
_BONES = np.array(
    [5, 6, 7, 9, 10, 11, 13, 14, 15, 17, 18, 19]
)  # where the fingers' bones begin; they end at the next
_CLEAR_M = 0.003  # between its faces and the joints' middles
_SIZES_M = ((0.21, 0.30), (0.15, 0.21), (0.30, 0.42), (0.07, 0.15), (0.25, 0.18))  # sheets, a phone, a tablet


@dataclass(frozen=True)
class Gripped:
    """A flat thing. matrix: (3, 4) from its own axes (along its edge, outwards from the hand, through its thickness) to
    the hand's coordinates (``hand_pose.Hand``); low, high: (3,) its corners in its own axes, metres; style: seed of its
    look."""

    matrix: FloatArray
    low: FloatArray
    high: FloatArray
    style: int


def grip(hand: Hand, rng: np.random.Generator) -> tuple[FloatArray, FloatArray, Gripped] | None:
    """Fingers, thumb and what they hold between them; None where no plausible grip was found."""
    for _ in range(TRIES):
        curl = curl_template(np.array([rng.uniform(50, 150)]), rng, 1)[0]
        if rng.random() < 0.6:  # mostly bent at the knuckles, as flat things are gripped
            curl[:, [0, 2, 3]] *= [1.9, 0.5, 0.4]
        fingers = np.clip(curl + rng.normal(0, 0.04, curl.shape), FINGER_LOW, FINGER_HIGH)
        start = np.radians(rng.uniform([20, -25, -5, -5], [65, 30, 35, 45]))
        joints = hand.landmarks(fingers, start)
        pads = joints[_PADS].mean(0)
        end = (joints[_PADS] - joints[_BEFORE_PADS]).mean(0)
        facing = unit(np.array([-end[1], end[0], 0.0]))  # bent fingers face the palm
        between = rng.uniform(THINNEST_M, THICKEST_M) + TIP_RADIUS_M + THUMB_RADIUS_M
        thumb = solve_thumb(hand, pads + between * facing, start)
        joints = hand.landmarks(fingers, thumb)
        apart = pads - joints[_THUMB_TIP]
        distance = float(np.linalg.norm(apart))
        thickness = distance - TIP_RADIUS_M - THUMB_RADIUS_M
        if not THINNEST_M < thickness < THICKEST_M:
            continue
        through = apart / distance
        middle = joints[_THUMB_TIP] + through * (THUMB_RADIUS_M + thickness / 2)
        outwards = unit(across(middle[None], through[None]))[0]
        outwards = turn_about(through, float(np.radians(rng.normal(0, 25)))) @ outwards
        axes = np.stack([np.cross(outwards, through), outwards, through], axis=1)
        size = np.array(_SIZES_M[int(rng.integers(len(_SIZES_M)))]) * rng.uniform(0.85, 1.15)
        start, inwards = rng.uniform(0.1, 0.9) * size[0], rng.uniform(0.008, 0.03)
        low = np.array([-start, -inwards, -thickness / 2])
        high = np.array([size[0] - start, size[1] - inwards, thickness / 2])
        gripped = Gripped(np.concatenate([axes, middle[:, None]], 1), low, high, int(rng.integers(2**31)))
        if not _cuts(gripped, joints):
            return fingers, thumb, gripped
    return None


def _cuts(gripped: Gripped, joints: FloatArray) -> bool:
    """Whether it passes through the hand: any bone's middle or joint within it."""
    middles = 0.5 * (joints[_BONES] + joints[_BONES + 1])
    own = (np.concatenate([joints, middles]) - gripped.matrix[:, 3]) @ gripped.matrix[:, :3]
    return bool(((own > gripped.low - _CLEAR_M) & (own < gripped.high + _CLEAR_M)).all(1).any())


def gripped_mesh(gripped: Gripped) -> NDArray[np.float32]:
    """Triangles in its own axes: plain, with lines as of print, or with squares."""
    rng = np.random.default_rng(gripped.style)
    mesh = MeshBuilder()
    paper = np.array([0.7, 0.69, 0.65]) if rng.random() < 0.6 else rng.uniform(0.01, 0.6, 3)
    ink = np.full(3, 0.015) if paper.mean() > 0.25 else np.full(3, 0.55)
    mesh.box(gripped.low, gripped.high, paper * rng.uniform(0.6, 1.1), METAL if rng.random() < 0.3 else PLAIN)
    kind = rng.choice(["plain", "lines", "squares"], p=[0.35, 0.4, 0.25])
    margin = 0.012
    x0, y0 = gripped.low[:2] + margin
    x1, y1 = gripped.high[:2] - margin
    for face in (gripped.low[2] - 0.0004, gripped.high[2]):
        if kind == "lines":
            step = rng.uniform(0.004, 0.012)
            for y in np.arange(y0, y1, step):
                end = x0 + (x1 - x0) * rng.uniform(0.5, 1.0)
                mesh.box([x0, y, face], [end, y + 0.25 * step, face + 0.0004], ink, PLAIN)
        elif kind == "squares":
            step = rng.uniform(0.018, 0.045)
            for i, x in enumerate(np.arange(x0, x1 - step, step)):
                for j, y in enumerate(np.arange(y0, y1 - step, step)):
                    if (i + j) % 2:
                        mesh.box([x, y, face], [x + step, y + step, face + 0.0004], ink, PLAIN)
    return mesh.array()
