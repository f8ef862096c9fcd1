"""What stands or hangs about a rendered player: long hair, a chair."""

from __future__ import annotations

import numpy as np

from calibration.render.render import Solid
from calibration.scene.instrument import MeshBuilder
from calibration.scene.looks import Look
from calibration.scene.player import Player

__all__ = ["long_hair", "seat"]


def long_hair(player: Player, look: Look, rng: np.random.Generator) -> Solid:
    """A curtain around the back of the head, turning with it."""
    body = player.body
    head = body.bone("head")
    rest = body.heads_m[head]
    eye = body.head("eye.L")
    top = eye[1] + 0.02
    angle = np.linspace(np.radians(62), np.radians(298), 40)
    mesh = MeshBuilder()
    rings, normals = [], []
    wave = rng.uniform(0, 6.28, 3)
    for level in np.linspace(0, 1, 7):
        spread = 1 + 0.25 * level + 0.05 * np.sin(angle * 9 + wave[0] + level * 3)
        x = np.sin(angle) * 0.093 * spread
        z = np.cos(angle) * 0.105 * spread
        y = np.full_like(angle, top - level * (look.long_hair_m + 0.08))
        rings.append(np.stack([x, y, rest[2] + z - 0.01 * level], 1))
        normals.append(np.stack([np.sin(angle), 0.1 * np.ones_like(angle), np.cos(angle)], 1))
    for a, b, na, nb in zip(rings[:-1], rings[1:], normals[:-1], normals[1:], strict=True):
        mesh.strip(a, b, na, nb, look.hair, 3.0)
    turn = player.turns[head]
    matrix = np.concatenate([turn, (player.heads[head] - turn @ rest)[:, None]], 1)
    return Solid(mesh.array(), matrix, "head")


def seat(rng: np.random.Generator) -> Solid:
    """With a box for its back, or with bars."""
    mesh = MeshBuilder()
    colour = (
        rng.uniform(0.01, 0.5, 3)
        if rng.random() < 0.5
        else np.array([0.35, 0.2, 0.1]) * rng.uniform(0.2, 1.3)
    )
    half, top = rng.uniform(0.18, 0.3), rng.uniform(0.1, 0.65)
    back = -rng.uniform(0.12, 0.2)
    if rng.random() < 0.5:
        mesh.box([-half, top - 0.35, back - 0.05], [half, top, back], colour, 0.0)
    else:
        for x in np.linspace(-half, half - 0.03, int(rng.integers(2, 6))):
            mesh.box([x, -0.1, back - 0.04], [x + 0.03, top, back], colour, 1.0)
        mesh.box([-half, top - 0.08, back - 0.04], [half, top, back], colour, 1.0)
    mesh.box([-half, -0.16, -0.15], [half, -0.1, 0.35], colour, 0.0)
    return Solid(mesh.array(), np.eye(4)[:3])
