"""What a player and the light look like: skin, clothes, hair, lamps. Colours are linear RGB."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.body.bodies import Bodies, Body
from calibration.body.geometry import unit
from calibration.body.hand_pose import Hand, bone_suffix
from posturewatch.model.arrays import FloatArray
from posturewatch.model.observation import SIDES

SKIN_TONES = np.array(
    [
        (0.78, 0.52, 0.41),
        (0.66, 0.42, 0.31),
        (0.56, 0.33, 0.22),
        (0.40, 0.22, 0.14),
        (0.24, 0.12, 0.07),
        (0.11, 0.055, 0.035),
    ]
)
HAIR_TONES = np.array(
    [
        (0.012, 0.010, 0.009),
        (0.03, 0.018, 0.012),
        (0.09, 0.045, 0.02),
        (0.22, 0.12, 0.05),
        (0.45, 0.31, 0.15),
        (0.33, 0.09, 0.03),
        (0.4, 0.39, 0.38),
    ]
)
NO_SLEEVE = 0.12


@dataclass(frozen=True)
class Cloth:
    """pattern: kind (0 plain, 1 stripes, 2 checks, 3 spots), repeats per metre, share, fold frequency."""

    colour_a: FloatArray
    colour_b: FloatArray
    pattern: FloatArray
    rough: float


@dataclass(frozen=True)
class Look:
    """Appearance of one scene. sleeves: arm coordinate where each sleeve ends (1 elbow, 2 wrist); bands: watch or
    bracelet per side as (start, end) arm coordinates or None."""

    skin: FloatArray
    skin_marks: FloatArray
    iris: FloatArray
    hair: FloatArray
    hair_line: float | None
    hair_m: float
    long_hair_m: float
    shirt: Cloth
    trousers: Cloth
    sleeves: tuple[float, float]
    looseness_m: float
    neckline_m: float
    bands: tuple[tuple[float, float] | None, tuple[float, float] | None]
    band: Cloth


@dataclass(frozen=True)
class Light:
    sky: FloatArray
    ground: FloatArray
    key_direction: FloatArray
    key_colour: FloatArray
    fill_direction: FloatArray
    fill_colour: FloatArray
    lamp_m: FloatArray
    lamp_colour: FloatArray
    shadow_soft: float
    exposure: float
    wood_gloss: float


def _cloth(rng: np.random.Generator) -> Cloth:
    kind = int(rng.choice([0, 1, 2, 3], p=[0.62, 0.15, 0.12, 0.11]))
    if rng.random() < 0.45:
        base = np.full(3, rng.choice([0.015, 0.05, 0.2, 0.5, 0.75])) * rng.uniform(0.7, 1.2, 3)
    else:
        base = rng.uniform(0.01, 0.7, 3) ** 1.5
    if rng.random() < 0.08:
        base = SKIN_TONES[rng.integers(6)] * rng.uniform(0.7, 1.3, 3)
    other = np.clip(base * rng.uniform(0.3, 2.0), 0, 0.8) if rng.random() < 0.5 else rng.uniform(0.01, 0.7, 3)
    return Cloth(
        colour_a=np.clip(base, 0.008, 0.8),
        colour_b=other,
        pattern=np.array([kind, rng.uniform(12, 60), rng.uniform(0.3, 0.7), rng.uniform(9, 28)]),
        rough=float(rng.uniform(0.08, 0.42)),
    )


def sample_sleeve(rng: np.random.Generator) -> float:
    """Arm coordinate of the cuff: none, short, any length, or long over the wrist."""
    kind = rng.random()
    if kind < 0.12:
        return NO_SLEEVE
    if kind < 0.40:
        return float(rng.uniform(0.3, 0.95))
    if kind < 0.70:
        return float(rng.uniform(1.0, 1.9))
    return float(rng.uniform(1.85, 2.12))


def sample_look(rng: np.random.Generator) -> Look:
    tone = rng.uniform(0, 5)
    low = int(tone)
    skin = SKIN_TONES[low] + (SKIN_TONES[min(low + 1, 5)] - SKIN_TONES[low]) * (tone - low)
    skin = skin * rng.uniform(0.88, 1.14) * (1 + rng.normal(0, 0.025, 3))
    sleeve = sample_sleeve(rng)
    other = sleeve if rng.random() < 0.85 else sample_sleeve(rng)
    bands: list[tuple[float, float] | None] = []
    for end in (sleeve, other):
        start = rng.uniform(1.72, 1.9)
        bands.append(
            (float(start), float(start + rng.uniform(0.02, 0.15)))
            if rng.random() < 0.22 and end < 1.7
            else None
        )
    has_hair = rng.random() < 0.9
    return Look(
        skin=np.clip(skin, 0.02, 0.9),
        skin_marks=np.array(
            [rng.uniform(0.05, 0.3), rng.uniform(0.2, 1.3), rng.uniform(0.1, 1.0), rng.uniform(0, 1)]
        ),
        iris=np.array([(0.10, 0.05, 0.02), (0.06, 0.10, 0.16), (0.07, 0.10, 0.05)][rng.integers(3)]),
        hair=HAIR_TONES[rng.integers(len(HAIR_TONES))] * rng.uniform(0.7, 1.3),
        hair_line=float(rng.uniform(-0.01, 0.02)) if has_hair else None,
        hair_m=float(rng.uniform(0.006, 0.03)),
        long_hair_m=float(rng.uniform(0.1, 0.32)) if has_hair and rng.random() < 0.35 else 0.0,
        shirt=_cloth(rng),
        trousers=_cloth(rng),
        sleeves=(sleeve, other),
        looseness_m=float(rng.choice([rng.uniform(0.003, 0.008), rng.uniform(0.006, 0.024)])),
        neckline_m=float(rng.uniform(-0.012, 0.05)),
        bands=(bands[0], bands[1]),
        band=_cloth(rng),
    )


def sample_light(rng: np.random.Generator) -> Light:
    warm = rng.uniform(-1, 1)
    tint = np.array([1 + 0.14 * warm, 1.0, 1 - 0.2 * warm])
    other = np.array([1 - 0.1 * warm, 1.0, 1 + 0.15 * warm]) * (1 + rng.normal(0, 0.03, 3))
    key = rng.uniform(0.15, 1.6)
    sky = rng.uniform(0.18, 0.75)
    key_direction = unit(np.array([rng.normal(0, 0.8), rng.uniform(0.15, 1.4), rng.uniform(-0.35, 1.0)]))
    fill_direction = unit(rng.normal(0, 1, 3) + np.array([0, 0.3, 0.6]))
    return Light(
        sky=sky * other,
        ground=sky * rng.uniform(0.25, 0.8) * np.array([1.0, 0.93, 0.85]),
        key_direction=key_direction,
        key_colour=key * tint,
        fill_direction=fill_direction,
        fill_colour=rng.uniform(0.0, 0.5) * (1 + rng.normal(0, 0.06, 3)),
        lamp_m=np.array([rng.uniform(-1.2, 1.2), rng.uniform(0.0, 1.5), rng.uniform(0.5, 1.8)]),
        lamp_colour=(rng.uniform(0, 0.8) if rng.random() < 0.4 else 0.0) * tint,
        shadow_soft=float(rng.uniform(0.5, 3.5) / 1024),
        exposure=float(rng.uniform(0.75, 1.25) / (0.5 * key + 0.9 * sky + 0.25)),
        wood_gloss=float(rng.uniform(0.02, 0.35)),
    )


def marks(bodies: Bodies) -> NDArray[np.float32]:
    """(V, 4) per vertex: arm coordinate, redness, eye, nail. The same for all identities."""
    body = bodies.body(0)
    points = body.vertices_m
    dominant = [body.shared.bone_labels[k] for k in body.shared.dominant]
    out = np.zeros((len(points), 4), np.float32)
    out[:, 0] = body.shared.arm_coordinate
    out[:, 2] = [label.startswith("eye") for label in dominant]
    for side in SIDES:
        hand = Hand(body, side)
        x = bone_suffix(side)
        local = (points - body.head("wrist" + x)) @ hand.rest_frame
        chosen = np.flatnonzero(body.shared.arm_coordinate > 1.9)
        chosen = chosen[np.sign(points[chosen, 0]) == (1 if side == "left" else -1)]
        joints = hand.rest_joints
        for k in range(5):
            for j, radius in ((0, 0.012), (1, 0.009), (2, 0.007)):
                away = np.linalg.norm(local[chosen] - joints[k, j], axis=1)
                out[chosen, 1] = np.maximum(out[chosen, 1], 0.8 * np.exp(-((away / radius / 1.4) ** 2)))
            tip = np.linalg.norm(local[chosen] - joints[k, 3], axis=1)
            out[chosen, 1] = np.maximum(out[chosen, 1], np.exp(-((tip / 0.011) ** 2)))
            axis = joints[k, 3] - joints[k, 2]
            along = (local[chosen] - joints[k, 2]) @ axis / (axis @ axis)
            radial = np.array([0.0, 0.0, 1.0]) if k else np.cross(axis, np.diff(joints[0], axis=0)[0])
            dorsal = unit(np.cross(radial, axis))
            dorsal = dorsal if dorsal[0] < 0 else -dorsal
            off = (local[chosen] - joints[k, 2]) @ dorsal
            width = (local[chosen] - joints[k, 2]) @ unit(np.cross(axis, dorsal))
            nail = (along > 0.5) & (along < 1.15) & (off > 0.002) & (np.abs(width) < 0.0055)
            out[chosen, 3] = np.maximum(out[chosen, 3], nail)
    return out


def finger_marks(bodies: Bodies) -> NDArray[np.float32]:
    """(V, 4) per vertex: place along the finger (0 knuckle, 1 and 2 its joints, 3 tip), to the back and to the side of
    its axis in units of its thickness, and which finger (1 thumb to 5 little, 0 none). The same for all identities."""
    body = bodies.body(0)
    points = body.vertices_m
    out = np.zeros((len(points), 4), np.float32)
    for side in SIDES:
        hand = Hand(body, side)
        chosen = np.flatnonzero(body.shared.arm_coordinate > 1.9)
        chosen = chosen[np.sign(points[chosen, 0]) == (1 if side == "left" else -1)]
        local = (points[chosen] - body.head("wrist" + bone_suffix(side))) @ hand.rest_frame
        nearest = np.full(len(chosen), np.inf)
        for k, joints in enumerate(hand.rest_joints):
            radial = np.array([0.0, 0.0, 1.0]) if k else np.cross(joints[2] - joints[0], [1.0, 0.0, 0.0])
            for j in range(3):
                axis = joints[j + 1] - joints[j]
                share = (local - joints[j]) @ axis / (axis @ axis)
                away = local - joints[j] - np.clip(share, -0.25 if j == 0 else 0, 1)[:, None] * axis
                distance = np.linalg.norm(away, axis=1)
                thick = 0.012 if k == 0 else 0.009
                back = unit(np.cross(radial, axis))
                back = back if back[0] < 0 else -back
                hit = (distance < np.minimum(nearest, 1.6 * thick)) & (share > (-0.25 if j == 0 else 0))
                nearest[hit] = distance[hit]
                values = np.stack(
                    [
                        j + np.minimum(share, 1),
                        away @ back / thick,
                        away @ unit(np.cross(axis, back)) / thick,
                        np.full(len(share), k + 1.0),
                    ],
                    1,
                )
                out[chosen[hit]] = values[hit]
    return out


def _wobble(points: FloatArray, rng: np.random.Generator, frequency: float) -> FloatArray:
    """Smooth noise in about -1 to 1 over points."""
    out = np.zeros(len(points), np.float32)
    for _ in range(4):
        out += np.sin(
            points @ (rng.normal(0, frequency, 3)).astype(np.float32) + np.float32(rng.uniform(0, 6.28))
        )
    return out * 0.5


def garments(body: Body, look: Look, rng: np.random.Generator) -> dict[str, FloatArray]:
    """(V, 2) per garment: how far the shell stands off the skin, and a level that is positive inside it."""
    points, arm = body.vertices_m, body.shared.arm_coordinate
    left = points[:, 0] >= 0
    neck = body.head("neck01")
    shoulder_y = body.head("upperarm01.L")[1]
    collar = (neck[1] + look.neckline_m) - (points[:, 1] + 0.55 * (points[:, 2] - neck[2]))
    end = np.where(left, look.sleeves[0], look.sleeves[1])
    sleeve = np.where(arm >= 0, (end - arm) * 0.26, 0.5)
    level = np.minimum(collar, sleeve)
    hem = points[:, 1] + 0.06
    wobble = _wobble(points, rng, 25.0)
    loose = look.looseness_m * (1 + 0.5 * wobble)
    cuff = np.where(arm > 0.25, np.exp(-np.maximum(end - arm, 0) / 0.25), 0.0)
    shirt = np.stack([0.003 + loose * (0.6 + 0.8 * cuff), np.minimum(level, hem)], 1)
    trousers = np.stack([0.006 + 0.5 * loose, np.where(arm < 0, -0.01 - points[:, 1], -1.0)], 1)
    bands = np.full((len(points), 2), -1.0, np.float32)
    bands[:, 0] = 0.0025
    for chosen, band in ((left, look.bands[0]), (~left, look.bands[1])):
        if band is not None:
            inside = np.minimum(arm - band[0], band[1] - arm)
            bands[:, 1] = np.where(chosen & (arm > 1), inside, bands[:, 1])
    skin_level = np.maximum(shirt[:, 1], np.where(arm < 0, -0.01 - points[:, 1], -1.0))
    out = {
        "skin": np.stack([np.zeros(len(points)), skin_level], 1),
        "shirt": shirt,
        "trousers": trousers,
    }
    if look.bands[0] or look.bands[1]:
        out["band"] = bands
    if look.hair_line is not None:
        eye = body.head("eye.L")
        crown = np.array([0.0, eye[1], body.head("head")[2]])
        away = points - crown
        line = 0.7 * away[:, 1] - 0.71 * away[:, 2] + 0.016 - look.hair_line - 0.12 * np.abs(away[:, 0])
        low = points[:, 1] - (neck[1] + 0.02 * 1)
        scalp = np.minimum(line, low)
        bone = body.shared.bone_labels.index("head")
        on_head = (body.shared.dominant == bone) | (points[:, 1] > shoulder_y + 0.12)
        thick = look.hair_m * np.clip(scalp / 0.03, 0.1, 1) * (1 + 0.35 * _wobble(points, rng, 38.0))
        out["hair"] = np.stack([0.003 + thick, np.where(on_head, scalp, -1.0)], 1)
    return {name: value.astype(np.float32) for name, value in out.items()}
