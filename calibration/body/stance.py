"""How a player sits or stands: torso, head, legs, shoulders."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from calibration.body.arm import Trunk, turned
from calibration.body.bodies import Body
from calibration.body.geometry import rotation_x, rotation_y, rotation_z, turn_vector, unit
from calibration.body.hand_pose import bone_suffix
from posturewatch.model.arrays import FloatArray
from posturewatch.model.observation import SIDES


@dataclass(frozen=True)
class Stance:
    """Everything but the arms: turns of torso, head and legs by bone label, shoulders and trunk."""

    turns: dict[str, FloatArray]
    shoulders: dict[str, FloatArray]
    trunk: Trunk
    belly: FloatArray
    seated: bool


def sample_stance(body: Body, rng: np.random.Generator, neck_side: float = 1.0) -> Stance:
    """Torso lean, head turned towards the neck, legs, shoulders."""
    seated = bool(rng.random() < 0.75)
    lean = rotation_y(np.radians(rng.normal(0, 8))) @ rotation_x(np.radians(rng.normal(8, 7)))
    lean = lean @ rotation_z(np.radians(rng.normal(0, 4)))
    turns: dict[str, FloatArray] = {}
    for share, bone in zip(
        (0.2, 0.4, 0.6, 0.8, 1.0), ("spine05", "spine04", "spine03", "spine02", "spine01"), strict=True
    ):
        turns[bone] = turned(_axis(lean), share * _degrees(lean))
    chest = turns["spine01"]
    look = rotation_y(np.radians(neck_side * rng.uniform(-10, 55))) @ rotation_x(
        np.radians(rng.uniform(-8, 35))
    )
    look = look @ rotation_z(np.radians(rng.normal(0, 8)))
    for share, bone in zip((0.25, 0.45, 0.65, 1.0), ("neck01", "neck02", "neck03", "head"), strict=True):
        turns[bone] = chest @ turned(_axis(look), share * _degrees(look))
    for side, sign in (("L", 1), ("R", -1)):
        raise_deg = rng.normal(1, 4)
        shoulder = (
            chest
            @ rotation_y(np.radians(sign * rng.normal(-3, 4)))
            @ rotation_z(np.radians(sign * raise_deg))
        )
        turns[f"clavicle.{side}"] = turns[f"shoulder01.{side}"] = shoulder
        if seated:
            thigh = rotation_y(np.radians(sign * rng.uniform(5, 28))) @ rotation_x(
                np.radians(-rng.uniform(72, 97))
            )
            shank = rotation_y(np.radians(sign * rng.uniform(-5, 20))) @ rotation_x(
                np.radians(rng.uniform(-10, 15))
            )
            turns[f"upperleg01.{side}"] = turns[f"upperleg02.{side}"] = thigh
            turns[f"lowerleg01.{side}"] = turns[f"lowerleg02.{side}"] = shank
    return stance_from(body, turns, seated)


def stance_from(body: Body, turns: dict[str, FloatArray], seated: bool) -> Stance:
    """Shoulders and trunk that follow from the torso's turns."""
    full = fill_turns(body, turns)
    heads = body.skeleton(full, np.zeros(3))
    trunk = body.skin(full, heads, body.shared.trunk_vertices)
    height = trunk[:, 1]
    middle = trunk[(height > 0.08) & (height < 0.36)]
    low, high = np.percentile(middle[:, [0, 2]], [3, 97], axis=0)
    shoulders: dict[str, FloatArray] = {
        side: heads[body.bone("upperarm01" + bone_suffix(side))] for side in SIDES
    }
    levels = np.linspace(0.0, 0.45, 10)
    belly = np.array([np.percentile(trunk[np.abs(height - y) < 0.04, 2], 97) for y in levels])
    return Stance(
        turns=turns,
        shoulders=shoulders,
        trunk=Trunk(centre=(low + high) / 2, half=(high - low) / 2 + 0.035),
        belly=np.stack([levels, belly], 1),
        seated=seated,
    )


def fill_turns(body: Body, turns: dict[str, FloatArray]) -> FloatArray:
    """(B, 3, 3): named turns, every other bone following its parent."""
    full = np.empty((len(body.shared.bone_labels), 3, 3))
    for bone, (label, parent) in enumerate(
        zip(body.shared.bone_labels, body.shared.bone_parents, strict=True)
    ):
        full[bone] = turns.get(label, np.eye(3) if parent < 0 else full[parent])
    return full


def _axis(turn: FloatArray) -> FloatArray:

    return unit(turn_vector(turn))


def _degrees(turn: FloatArray) -> float:

    return float(np.degrees(np.linalg.norm(turn_vector(turn))))
