"""Fretted instruments of our own invention: dimensions, frame and mesh.

Instrument coordinates, metres: origin in the plane of the strings over the bridge, x along the strings towards
the nut, y across them towards the bass side, z out of the fingerboard. The strings lie in z = 0.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from posturewatch.model.arrays import FloatArray

ACTION_M = 0.0025  # strings above the fingerboard
BOARD_M = 0.006
PLAIN, WOOD, METAL = 0.0, 1.0, 2.0


@dataclass(frozen=True)
class Instrument:
    """Dimensions in metres, colours as linear RGB."""

    scale_m: float
    strings: int
    nut_width_m: float
    joint_width_m: float
    joint_fret: int
    neck_m: float
    body_length_m: float
    lower_bout_m: float
    waist_m: float
    upper_bout_m: float
    depth_m: float
    solid: bool
    cutaway: float
    top: tuple[float, float, float]
    sides: tuple[float, float, float]
    neck: tuple[float, float, float]
    board: tuple[float, float, float]
    burst: float
    fretted: bool = True
    height_m: float | None = None  # of the strings above the soundboard, where it is not the usual one

    def fret_x(self, fret: FloatArray | float) -> FloatArray:
        """Place of a fret along the strings (0 is the nut)."""
        return self.scale_m * 2.0 ** (-np.asarray(fret, float) / 12)

    def width(self, x: FloatArray | float) -> FloatArray:
        """Width of the fingerboard at a place along the strings."""
        joint = self.fret_x(self.joint_fret)
        share = (self.scale_m - np.asarray(x, float)) / (self.scale_m - joint)
        return self.nut_width_m + (self.joint_width_m - self.nut_width_m) * share

    def string_y(self, string: FloatArray | float, x: FloatArray | float) -> FloatArray:
        """Place across of string 0 (treble) to strings-1 (bass) at ``x``."""
        share = np.asarray(string, float) / (self.strings - 1) - 0.5
        return share * (self.width(x) - 0.009)

    @property
    def back_z(self) -> float:
        """Height of the back of the neck at its middle."""
        return -(ACTION_M + BOARD_M + self.neck_m)

    @property
    def top_z(self) -> float:
        """Height of the soundboard."""
        if self.height_m is not None:
            return -self.height_m
        return -0.016 if self.solid else -0.011

    @property
    def body_end_x(self) -> float:
        return float(self.fret_x(self.joint_fret)) - self.body_length_m

    def outline(self, count: int = 64) -> FloatArray:
        """Closed outline (count, 2) of the body in x and y, anticlockwise seen from +z."""
        t = 0.5 - 0.5 * np.cos(np.linspace(0, np.pi, count // 2 + 1))
        knots_t = np.array([0.0, 0.12, 0.26, 0.45, 0.60, 0.74, 0.86, 1.0])
        lower, waist, upper = self.lower_bout_m, self.waist_m, self.upper_bout_m
        widths = [
            0.93 * lower,
            0.98 * lower,
            lower,
            0.5 * (lower + waist),
            waist,
            0.97 * upper,
            upper,
            0.9 * upper,
        ]
        y = 0.5 * _smooth_interp(t, knots_t, np.array(widths))
        for end, reach in ((t, 0.23), (1 - t, 0.16)):
            y *= (1 - np.clip(1 - end / reach, 0, 1) ** 2.2) ** 0.55
        x = self.body_end_x + t * self.body_length_m
        treble = y.copy()
        if self.cutaway > 0:
            treble *= 1 - self.cutaway * np.exp(-(((t - 0.93) / 0.09) ** 2))
        return np.concatenate([np.stack([x, -treble], 1), np.stack([x, y], 1)[-2:0:-1]])


def _smooth_interp(t: FloatArray, knots: FloatArray, values: FloatArray) -> FloatArray:
    """Cubic through knots."""
    slope = np.gradient(values, knots)
    k = np.clip(np.searchsorted(knots, t, side="right") - 1, 0, len(knots) - 2)
    h = knots[k + 1] - knots[k]
    s = (t - knots[k]) / h
    return np.asarray(
        (2 * s**3 - 3 * s**2 + 1) * values[k]
        + (s**3 - 2 * s**2 + s) * h * slope[k]
        + (-2 * s**3 + 3 * s**2) * values[k + 1]
        + (s**3 - s**2) * h * slope[k + 1]
    )


def random_instrument(rng: np.random.Generator) -> Instrument:
    """Mostly guitars, some small or long instruments."""
    kind = rng.choice(["classical", "steel", "electric", "small", "bass"], p=[0.38, 0.27, 0.18, 0.1, 0.07])
    base = {
        #           scale  str nut   joint  fret  neck   length lower  waist  upper  depth solid
        "classical": (0.650, 6, 0.052, 0.062, 12, 0.020, 0.485, 0.365, 0.235, 0.280, 0.098, False),
        "steel": (0.645, 6, 0.044, 0.055, 14, 0.019, 0.500, 0.390, 0.250, 0.290, 0.108, False),
        "electric": (0.635, 6, 0.043, 0.055, 19, 0.019, 0.420, 0.330, 0.230, 0.270, 0.045, True),
        "small": (0.400, 4, 0.037, 0.045, 13, 0.016, 0.300, 0.225, 0.150, 0.170, 0.070, False),
        "bass": (0.830, 4, 0.042, 0.060, 19, 0.021, 0.470, 0.340, 0.240, 0.280, 0.045, True),
    }[str(kind)]
    woods = np.array(
        [(0.55, 0.30, 0.12), (0.68, 0.45, 0.22), (0.30, 0.13, 0.06), (0.40, 0.20, 0.09), (0.75, 0.58, 0.34)]
    )
    top = woods[rng.integers(5)] * rng.uniform(0.7, 1.25)
    sides = woods[rng.integers(4)] * rng.uniform(0.4, 1.0)
    if base[-1] or rng.random() < 0.15:
        top = rng.uniform(0.02, 0.8, 3)
        sides = top * rng.uniform(0.5, 1)
    board = woods[2] * rng.uniform(0.15, 1.1) if rng.random() < 0.85 else woods[4]
    size = rng.uniform(0.95, 1.05)
    scale, strings, nut, joint, fret, neck, length, lower, waist, upper, depth, solid = base
    return Instrument(
        scale_m=scale * rng.uniform(0.97, 1.02),
        strings=strings,
        nut_width_m=nut,
        joint_width_m=joint,
        joint_fret=fret,
        neck_m=neck * rng.uniform(0.9, 1.1),
        body_length_m=length * size,
        lower_bout_m=lower * size,
        waist_m=waist * size * rng.uniform(0.93, 1.08),
        upper_bout_m=upper * size,
        depth_m=depth * rng.uniform(0.85, 1.1),
        solid=solid,
        cutaway=float(rng.uniform(0.3, 0.7)) if solid or rng.random() < 0.2 else 0.0,
        top=_colour(top),
        sides=_colour(sides),
        neck=_colour(woods[rng.integers(5)] * rng.uniform(0.4, 1.1)),
        board=_colour(board),
        burst=float(rng.uniform(0, 0.8)) if rng.random() < 0.3 else 0.0,
    )


def _colour(value: FloatArray) -> tuple[float, float, float]:
    red, green, blue = (float(v) for v in np.clip(value, 0.005, 0.95))
    return red, green, blue


class MeshBuilder:
    """Collects triangles: position 3, normal 3, colour 3, material 1."""

    def __init__(self) -> None:
        self.blocks: list[FloatArray] = []

    def triangles(self, points: FloatArray, normals: FloatArray, colour: Any, material: float) -> None:
        """points, normals: (n, 3, 3); colour: (3,) or (n, 3, 3)."""
        count = len(points)
        block = np.empty((count, 3, 10), np.float32)
        block[..., :3], block[..., 3:6] = points, normals
        block[..., 6:9], block[..., 9] = colour, material
        self.blocks.append(block.reshape(-1, 10))

    def strip(
        self, a: FloatArray, b: FloatArray, na: FloatArray, nb: FloatArray, colour: Any, material: float
    ) -> None:
        """Quads between two polylines (n, 3)."""
        p = np.concatenate([np.stack([a[:-1], b[:-1], b[1:]], 1), np.stack([a[:-1], b[1:], a[1:]], 1)])
        n = np.concatenate([np.stack([na[:-1], nb[:-1], nb[1:]], 1), np.stack([na[:-1], nb[1:], na[1:]], 1)])
        self.triangles(p, n, colour, material)

    def box(self, low: Any, high: Any, colour: Any, material: float, frame: FloatArray | None = None) -> None:
        """Axis-aligned box, optionally moved by a (3, 4) matrix."""
        low, high = np.asarray(low, float), np.asarray(high, float)
        for axis in range(3):
            for sign in (-1, 1):
                u, v = (axis + 1) % 3, (axis + 2) % 3
                corners = np.zeros((4, 3))
                corners[:, axis] = high[axis] if sign > 0 else low[axis]
                corners[:, u] = [low[u], high[u], high[u], low[u]]
                corners[:, v] = [low[v], low[v], high[v], high[v]]
                normal = np.zeros(3)
                normal[axis] = sign
                if frame is not None:
                    corners = corners @ frame[:, :3].T + frame[:, 3]
                    normal = frame[:, :3] @ normal
                p = np.stack([corners[[0, 1, 2]], corners[[0, 2, 3]]])
                self.triangles(p, np.broadcast_to(normal, p.shape), colour, material)

    def tube(self, start: Any, end: Any, radius: float, colour: Any, material: float, sides: int = 6) -> None:
        start, end = np.asarray(start, float), np.asarray(end, float)
        axis = (end - start) / np.linalg.norm(end - start)
        helper = np.array([0.0, 0.0, 1.0]) if abs(axis[2]) < 0.8 else np.array([1.0, 0.0, 0.0])
        u = np.cross(axis, helper)
        u /= np.linalg.norm(u)
        angle = np.linspace(0, 2 * np.pi, sides + 1)
        ring = np.cos(angle)[:, None] * u + np.sin(angle)[:, None] * np.cross(axis, u)
        self.strip(start + radius * ring, end + radius * ring, ring, ring, colour, material)

    def fan(self, centre: Any, rim: FloatArray, normal: Any, colour: Any, material: float) -> None:
        rim = np.concatenate([rim, rim[:1]])
        p = np.stack([np.broadcast_to(np.asarray(centre, float), rim[:-1].shape), rim[:-1], rim[1:]], 1)
        self.triangles(p, np.broadcast_to(np.asarray(normal, float), p.shape), colour, material)

    def array(self) -> NDArray[np.float32]:
        return np.concatenate(self.blocks).astype(np.float32)


def build_mesh(item: Instrument) -> NDArray[np.float32]:
    """Triangle soup (n, 10): position, normal, colour, material, in instrument coordinates."""
    mesh = MeshBuilder()
    _neck(mesh, item)
    _body(mesh, item)
    _head(mesh, item)
    return mesh.array()


def _neck(mesh: MeshBuilder, item: Instrument) -> None:
    nut, joint = item.scale_m, float(item.fret_x(item.joint_fret))
    low = joint - 0.02
    xs = np.linspace(low, nut, 12)
    angle = np.linspace(0, np.pi, 13)
    top = -(ACTION_M + BOARD_M)
    rings = []
    for x in xs:
        half = float(item.width(x)) / 2
        rings.append(
            np.stack([np.full(13, x), half * np.cos(angle), top - item.neck_m * np.sin(angle) ** 0.8], axis=1)
        )
    normals = np.stack([np.zeros(13), np.cos(angle), -np.sin(angle)], 1)
    for a, b in pairwise(rings):
        mesh.strip(a, b, normals, normals, item.neck, WOOD)
    end = joint - (0.12 if not item.solid else 0.05)
    if not item.fretted:
        end = 0.17 * item.scale_m
    for x0, x1 in zip(np.linspace(end, nut, 9)[:-1], np.linspace(end, nut, 9)[1:], strict=True):
        half = float(item.width((x0 + x1) / 2)) / 2
        mesh.box([x0, -half, top], [x1, half, -ACTION_M], item.board, WOOD)
    frets = int(12 * np.log2(item.scale_m / max(end, 0.05)))
    for fret in range(0, (min(frets, 24) if item.fretted else 0) + 1):
        x = float(item.fret_x(fret))
        half = float(item.width(x)) / 2
        colour = (0.85, 0.82, 0.72) if fret == 0 else (0.62, 0.6, 0.55)
        thick = 0.0022 if fret == 0 else 0.0009
        mesh.box([x - thick, -half, -ACTION_M], [x + thick, half, -ACTION_M + 0.0012], colour, METAL)
        if fret in (3, 5, 7, 9, 12, 15):
            c = float(item.fret_x(fret) + item.fret_x(fret - 1)) / 2
            mesh.box(
                [c - 0.003, -0.003, -ACTION_M],
                [c + 0.003, 0.003, -ACTION_M + 0.0003],
                (0.8, 0.8, 0.75),
                PLAIN,
            )
    for string in range(item.strings):
        y0, y1 = float(item.string_y(string, 0.0)) * 0.95, float(item.string_y(string, nut))
        radius = 0.0005 + 0.0005 * string / item.strings
        mesh.tube([0, y0, 0], [nut, y1, 0], radius, (0.75, 0.72, 0.66), METAL, sides=4)


def _body(mesh: MeshBuilder, item: Instrument) -> None:
    rim = item.outline()
    top, bottom = item.top_z, item.top_z - item.depth_m
    centre = np.array([rim[:, 0].mean(), 0.0])
    closed = np.concatenate([rim, rim[:1]])
    edge = np.roll(rim, -1, axis=0) - np.roll(rim, 1, axis=0)
    out = np.stack([edge[:, 1], -edge[:, 0], np.zeros(len(rim))], 1)
    out /= np.linalg.norm(out, axis=1, keepdims=True) + 1e-9
    out = np.concatenate([out, out[:1]])
    up, down = np.array([0, 0, 1.0]), np.array([0, 0, -1.0])
    bevel = 0.004

    def level(z: float, inset: float) -> FloatArray:
        return np.asarray(np.concatenate([closed, np.full((len(closed), 1), z)], 1) - inset * out)

    mesh.strip(level(top - bevel, 0), level(bottom + bevel, 0), out, out, item.sides, WOOD)
    mesh.strip(
        level(top, bevel), level(top - bevel, 0), (out + up) * 0.7, out, np.array(item.top) * 0.6, WOOD
    )
    mesh.strip(level(bottom + bevel, 0), level(bottom, bevel), out, (out + down) * 0.7, item.sides, WOOD)
    # The soundboard in rings, so that a burst finish can darken the rim.
    inner = np.concatenate([np.broadcast_to(centre, closed.shape), np.full((len(closed), 1), top)], 1)
    outer = level(top, bevel)
    flat = np.broadcast_to(up, outer.shape)
    for a, b in ((0.0, 0.6), (0.6, 0.85), (0.85, 1.0)):
        shade = 1 - item.burst * (b > 0.6) * (0.5 if b < 1 else 1.0)
        mesh.strip(
            inner + (outer - inner) * a,
            inner + (outer - inner) * b,
            flat,
            flat,
            np.array(item.top) * shade,
            WOOD,
        )
    mesh.fan([*centre, bottom], level(bottom, bevel)[::-1], down, item.sides, WOOD)
    if item.solid:
        for x in (0.045, 0.16):
            mesh.box([x - 0.018, -0.035, top], [x + 0.018, 0.035, top + 0.008], (0.03, 0.03, 0.03), METAL)
        mesh.box([-0.02, -0.04, top], [0.012, 0.04, -0.002], (0.6, 0.6, 0.6), METAL)
    elif item.fretted:
        hole = float(item.fret_x(item.joint_fret)) * 0.47 + 0.0
        radius = 0.118 * item.lower_bout_m
        angle = np.linspace(0, 2 * np.pi, 32, endpoint=False)
        for r, z, colour in (
            (1.3, 0.0004, (0.12, 0.06, 0.03)),
            (1.18, 0.0006, (0.6, 0.4, 0.2)),
            (1.0, 0.0009, (0.008, 0.006, 0.005)),
        ):
            ring = np.stack(
                [hole + r * radius * np.cos(angle), r * radius * np.sin(angle), np.full(32, top + z)], 1
            )
            mesh.fan([hole, 0, top + z], ring, up, colour, PLAIN)
        mesh.box(
            [-0.015, -0.09 * item.lower_bout_m / 0.365, top],
            [0.012, 0.09 * item.lower_bout_m / 0.365, -0.003],
            np.array(item.board) * 1.2,
            WOOD,
        )
        mesh.box([-0.002, -0.04, top], [0.001, 0.04, -0.0005], (0.85, 0.82, 0.72), PLAIN)


def _head(mesh: MeshBuilder, item: Instrument) -> None:
    tilt = np.radians(13 if not item.solid else 6)
    frame = np.array(
        [
            [np.cos(tilt), 0, np.sin(tilt), item.scale_m],
            [0, 1, 0, 0],
            [-np.sin(tilt), 0, np.cos(tilt), -ACTION_M - 0.002],
        ]
    )
    length = 0.19 if item.strings == 6 else 0.15
    half = item.nut_width_m / 2 + 0.009
    mesh.box([0, -half + 0.006, -0.016], [0.04, half - 0.006, 0], item.neck, WOOD, frame)
    mesh.box([0.03, -half, -0.016], [length, half, 0], item.neck, WOOD, frame)
    per_side = item.strings // 2
    for k in range(per_side):
        x = 0.06 + k * (length - 0.085) / max(per_side - 1, 1)
        for sign in (-1, 1):
            y = sign * half
            mesh.box(
                [x - 0.004, min(y, y + sign * 0.016), -0.011],
                [x + 0.004, max(y, y + sign * 0.016), -0.004],
                (0.7, 0.66, 0.5),
                METAL,
                frame,
            )
            mesh.box(
                [x - 0.008, min(y + sign * 0.014, y + sign * 0.024), -0.016],
                [x + 0.008, max(y + sign * 0.014, y + sign * 0.024), 0.0],
                (0.85, 0.82, 0.72),
                METAL,
                frame,
            )
            mesh.tube(
                (frame @ [x, sign * half * 0.5, 0, 1]),
                (frame @ [x, sign * half * 0.5, 0.008, 1]),
                0.003,
                (0.8, 0.78, 0.7),
                METAL,
            )
