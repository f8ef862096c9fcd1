"""A hand as an articulated chain over a plane of strings, by scipy's rotations: what lift is measured against."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from posturewatch.model.observation import HAND_LANDMARKS

FINGERS = ("index", "middle", "ring", "little")

# Buryanov & Kotiuk 2010, Int J Morphol 28(3): metacarpal, proximal, middle, distal in mm (seen in an abstract). The
# carpus and the pulp that make a hand of these bones up to a whole hand's length are put to the metacarpals.
CARPUS_MM = 26.0
BONES = {
    "index": (68.1, 39.8, 22.4, 15.8 + 3.8),
    "middle": (64.6, 44.6, 26.3, 17.4 + 4.0),
    "ring": (58.0, 41.4, 25.7, 17.3 + 4.0),
    "little": (53.7, 32.7, 18.1, 16.0 + 3.7),
}
HAND_MM = CARPUS_MM + sum(BONES["middle"])
FAN_DEG = {"index": -14.0, "middle": 0.0, "ring": 11.0, "little": 24.0}
LEFT = np.array([1.0, 1.0, -1.0])


def chains(finger: str, knuckle_deg: NDArray[Any], bend_deg: tuple[float, float]) -> NDArray[Any]:
    """Knuckle to tip (n, 4, 3), mm, in the right hand's ISB axes (X volar, Y proximal, Z radial), wrist at the
    origin, for flexions at the knuckle (n,) and the same flexions of the two other joints throughout."""
    metacarpal, *bones = BONES[finger]
    fan = Rotation.from_euler("X", FAN_DEG[finger], degrees=True)
    points = [np.tile(fan.apply([0.0, -(CARPUS_MM + metacarpal), 0.0]), (len(knuckle_deg), 1))]
    frame = fan
    for flexion, length in zip((knuckle_deg, *bend_deg), bones, strict=True):
        frame = frame * Rotation.from_rotvec(
            np.multiply.outer(np.radians(np.asarray(flexion)), [0.0, 0.0, 1.0])
        )
        points.append(points[-1] + frame.apply([0.0, -length, 0.0]))
    return np.stack(points, axis=1)


@dataclass(frozen=True)
class Strings:
    """A plane in the hand's axes: its unit normal, away from the strings towards the hand, and where it lies."""

    normal: NDArray[Any]
    offset_mm: float

    def height(self, points: NDArray[Any]) -> NDArray[Any]:
        return np.asarray(points @ self.normal - self.offset_mm)

    def at(self, finger: str, lift_mm: NDArray[Any], bend_deg: tuple[float, float]) -> NDArray[Any]:
        """The finger (n, 4, 3) with its tip at these heights (n,), by turning it at the knuckle."""
        angles = np.arange(-75.0, 90.0, 0.25)
        height = self.height(chains(finger, angles, bend_deg)[:, -1])
        # From stretched back to as deep as this finger reaches; beyond that it curls up again.
        reach = slice(int(np.argmax(height)), int(np.argmin(height)) + 1)
        if not (height[reach].min() <= lift_mm.min() and lift_mm.max() <= height[reach].max()):
            raise ValueError(f"the {finger} finger reaches {height[reach].min()} to {height[reach].max()} mm")
        return chains(finger, np.interp(-lift_mm, -height[reach], angles[reach]), bend_deg)


def strings(lean_deg: float = 0.0, tilt_deg: float = 0.0) -> Strings:
    """A plane under a hand with bent fingers; leaning from finger to finger, tilting from wrist to fingertip."""
    turned = Rotation.from_euler("YZ", [lean_deg, tilt_deg], degrees=True)
    normal = turned.apply([-1.0, 0.0, 0.0])
    rest = np.mean([chains(finger, np.array([8.0]), (40.0, 20.0))[0, -1] for finger in FINGERS], axis=0)
    return Strings(normal, float(rest @ normal))


def hands(
    under: Strings, lift_mm: dict[str, NDArray[Any]], bend_deg: dict[str, tuple[float, float]], side: str
) -> NDArray[Any]:
    """(n, 21, 3) in mm, in the hand's axes (mirrored for the left hand): fingertips at these heights (n,)."""
    points = np.zeros((len(lift_mm["index"]), 21, 3))
    for finger in FINGERS:
        at = HAND_LANDMARKS[f"{finger}_mcp"]
        points[:, at : at + 4] = under.at(finger, lift_mm[finger], bend_deg[finger])
    points[:, 1:5] = [(10.0, -30.0 - 25.0 * i, 25.0 + 10.0 * i) for i in range(4)]
    return points * LEFT if side == "left" else points


def played_lifts(rng: np.random.Generator, seconds: float, rate_hz: float, highest_mm: float) -> NDArray[Any]:
    """Lifts (n,) of one finger that plays: down on the string, then up and down again, over and over."""
    count = round(seconds * rate_hz)
    time_s, marks, heights = 0.0, [0.0], [0.0]
    while time_s < seconds:
        down_s, up_s, move_s = rng.uniform(0.25, 0.9), rng.uniform(0.1, 0.6), rng.uniform(0.08, 0.15)
        height = rng.uniform(0.4, 1.0) * highest_mm
        for step_s, value in ((down_s, 0.0), (move_s, height), (up_s, height), (move_s, 0.0)):
            time_s += step_s
            marks.append(time_s)
            heights.append(value)
    lifts: NDArray[Any] = np.interp(np.arange(count) / rate_hz, marks, heights)
    return lifts
