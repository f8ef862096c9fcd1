"""Mandolins, banjos, violins, violas, cellos, double basses and bows: dimensions, meshes and how they are held.

Coordinates as in ``instrument``.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from calibration.body.arm import turned
from calibration.body.geometry import across, unit
from calibration.body.stance import Stance
from calibration.scene.instrument import METAL, PLAIN, WOOD, Instrument, MeshBuilder, build_mesh
from posturewatch.model.arrays import FloatArray

CHIN_KINDS = ("violin", "viola")
KNEE_KINDS = ("cello", "double bass")
PLUCKED_KINDS = ("mandolin", "banjo", "ukulele")
SIZES = {
    #              scale  str nut    joint  fret neck   length lower  waist  upper  depth  height
    "mandolin": (0.350, 8, 0.030, 0.036, 12, 0.016, 0.330, 0.255, 0.200, 0.170, 0.055, 0.012),
    "banjo": (0.660, 5, 0.032, 0.040, 16, 0.019, 0.290, 0.285, 0.285, 0.285, 0.075, 0.014),
    "ukulele": (0.350, 4, 0.035, 0.043, 12, 0.016, 0.245, 0.180, 0.130, 0.150, 0.062, 0.011),
    "violin": (0.328, 4, 0.025, 0.031, 7, 0.014, 0.356, 0.206, 0.112, 0.167, 0.036, 0.030),
    "viola": (0.375, 4, 0.026, 0.033, 7, 0.015, 0.410, 0.240, 0.130, 0.190, 0.042, 0.033),
    "cello": (0.690, 4, 0.033, 0.044, 7, 0.022, 0.755, 0.440, 0.240, 0.340, 0.120, 0.075),
    "double bass": (1.050, 4, 0.043, 0.060, 7, 0.028, 1.100, 0.640, 0.360, 0.500, 0.190, 0.120),
}
BOW_M = {"violin": 0.65, "viola": 0.65, "cello": 0.61, "double bass": 0.55}
STICK_M = 0.020  # of a bow above its hair


def other_instrument(kind: str, rng: np.random.Generator) -> Instrument:
    """One of ``SIZES`` with its usual variation."""
    scale, strings, nut, joint, fret, neck, length, lower, waist, upper, depth, height = SIZES[kind]
    size = rng.uniform(0.96, 1.04)
    bowed = kind in BOW_M
    wood = np.array([(0.42, 0.16, 0.05), (0.55, 0.25, 0.08), (0.30, 0.10, 0.04), (0.60, 0.36, 0.14)])
    top = wood[rng.integers(4)] * rng.uniform(0.5, 1.2)
    if kind == "banjo":
        top = np.full(3, rng.uniform(0.55, 0.85))
    return Instrument(
        scale_m=scale * size,
        strings=strings,
        nut_width_m=nut,
        joint_width_m=joint,
        joint_fret=fret,
        neck_m=neck * rng.uniform(0.92, 1.08),
        body_length_m=length * size,
        lower_bout_m=lower * size,
        waist_m=waist * size,
        upper_bout_m=upper * size,
        depth_m=depth,
        solid=False,
        cutaway=0.0,
        top=_tuple(top),
        sides=_tuple(wood[rng.integers(4)] * rng.uniform(0.4, 0.9)),
        neck=_tuple(wood[rng.integers(4)] * rng.uniform(0.6, 1.3)),
        board=_tuple(np.array([0.02, 0.015, 0.012]) * rng.uniform(0.5, 3)),
        burst=float(rng.uniform(0, 0.6)) if rng.random() < 0.4 else 0.0,
        fretted=not bowed,
        height_m=height,
    )


def _tuple(value: FloatArray) -> tuple[float, float, float]:
    red, green, blue = (float(v) for v in np.clip(value, 0.005, 0.95))
    return red, green, blue


def _matrices(along: FloatArray, front: FloatArray, point: FloatArray, local: FloatArray) -> FloatArray:
    """(n, 3, 4) frames in which ``local`` (3,) lies at world points (n, 3)."""
    axes = np.stack([along, np.cross(front, along), front], axis=2)
    origin = point - axes @ local
    return np.concatenate([axes, origin[:, :, None]], axis=2)


def under_the_chin(item: Instrument, stance: Stance, rng: np.random.Generator, count: int) -> FloatArray:
    """(count, 3, 4): the instrument's end on the left collarbone, its neck to the front and the left."""
    aside = np.radians(rng.uniform(20, 75, count))
    rise = np.radians(rng.uniform(-22, 18, count))
    along = np.stack([np.sin(aside) * np.cos(rise), np.sin(rise), np.cos(aside) * np.cos(rise)], 1)
    front = across(np.broadcast_to([0.0, 1.0, 0.0], along.shape), along)
    front = np.einsum("bij,bj->bi", turned(along, rng.uniform(5, 42, count)), front)
    middle = 0.5 * (stance.shoulders["left"] + stance.shoulders["right"])
    place = middle + rng.uniform([0.035, 0.035, 0.045], [0.085, 0.075, 0.09], (count, 3))
    return _matrices(along, front, place, np.array([item.body_end_x + 0.02, 0.0, item.top_z]))


def between_the_knees(item: Instrument, stance: Stance, rng: np.random.Generator, count: int) -> FloatArray:
    """(count, 3, 4): upright before the trunk, its neck beside the left ear."""
    along = unit(
        np.stack([rng.uniform(-0.02, 0.28, count), np.ones(count), rng.uniform(-0.45, -0.08, count)], axis=1)
    )
    front = across(np.broadcast_to([0.0, 0.0, 1.0], along.shape), along)
    front = np.einsum("bij,bj->bi", turned(along, rng.uniform(-18, 18, count)), front)
    joint = float(item.fret_x(item.joint_fret))
    left = stance.shoulders["left"]
    y = left[1] + rng.uniform(-0.20, -0.02, count)
    x = left[0] * rng.uniform(0.15, 0.75, count)
    z = np.interp(y - 0.08, stance.belly[:, 0], stance.belly[:, 1]) + rng.uniform(0.01, 0.05, count)
    back = np.array([joint - 0.03, 0.0, item.top_z - item.depth_m])
    return _matrices(along, front, np.stack([x, y, z], 1), back)


def bow_mesh(length_m: float, rng: np.random.Generator) -> NDArray[np.float32]:
    """A bow: x from the frog to the tip along the hair, z from the strings to the stick."""
    mesh = MeshBuilder()
    wood = np.array([0.22, 0.08, 0.03]) * rng.uniform(0.3, 1.4)
    for start, end, high, low in ((-0.05, 0.35, STICK_M, 0.014), (0.35, 1.0, 0.014, STICK_M)):
        mesh.tube([start * length_m, 0, high], [end * length_m, 0, low], 0.004, _tuple(wood), WOOD, sides=8)
    mesh.box([0.0, -0.005, -0.001], [length_m, 0.005, 0.0005], (0.7, 0.68, 0.6), PLAIN)
    mesh.box([-0.035, -0.006, -0.001], [0.015, 0.006, STICK_M], (0.01, 0.01, 0.01), PLAIN)
    mesh.box([length_m - 0.01, -0.005, -0.001], [length_m + 0.008, 0.005, STICK_M + 0.004], wood, WOOD)
    mesh.box([-0.06, -0.005, STICK_M - 0.005], [-0.05, 0.005, STICK_M + 0.005], (0.7, 0.7, 0.7), METAL)
    return mesh.array()


def scroll_and_holes(mesh: MeshBuilder, item: Instrument) -> None:
    """What a bowed instrument has instead of a round sound hole: two slits, a high bridge, a tailpiece."""
    joint = float(item.fret_x(item.joint_fret))
    dark, top = (0.006, 0.005, 0.004), item.top_z
    for sign in (-1, 1):
        for k in np.linspace(-1, 1, 7):
            x = 0.02 * item.scale_m + 0.1 * item.scale_m * k
            y = sign * (0.16 + 0.03 * k) * item.lower_bout_m
            mesh.box(
                [x - 0.018 * item.scale_m, y - 0.006 * item.scale_m, top],
                [x + 0.018 * item.scale_m, y + 0.006 * item.scale_m, top + 0.0005],
                dark,
                PLAIN,
            )
    half = 0.1 * item.lower_bout_m
    mesh.box([-0.002, -half, top], [0.002, half, -0.001], (0.55, 0.36, 0.16), WOOD)
    end = item.body_end_x
    mesh.box([end + 0.01, -half, top + 0.008], [0.55 * end, half, top + 0.014], (0.015, 0.012, 0.01), WOOD)
    for string in range(item.strings):
        y = float(item.string_y(string, 0.0))
        mesh.tube([0.55 * end, y, top + 0.014], [0, y, 0], 0.0007, (0.6, 0.6, 0.6), METAL, sides=4)
    mesh.box([0.16 * item.scale_m, -0.012, -0.012], [joint, 0.012, -0.004], item.board, WOOD)


def full_mesh(item: Instrument) -> NDArray[np.float32]:
    """The mesh of any instrument."""
    if item.fretted:
        return build_mesh(item)
    mesh = MeshBuilder()
    scroll_and_holes(mesh, item)
    return np.concatenate([build_mesh(item), mesh.array()])
