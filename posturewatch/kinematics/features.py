"""From an observation to the vector that the learned estimator reads.

Training and run time go through this one function. Everything is brought to one canonical picture: right hands
are mirrored into left ones, the picture is turned so that the palm points up, and lengths are divided by the
hand's size, so that the network need not learn these symmetries. What was not seen is 0 with its flag at 0.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from posturewatch.kinematics.outputs import OUTPUTS
from posturewatch.observation import (
    BODY_LANDMARKS,
    BodyObservation,
    ForearmAxis,
    HandObservation,
    Observation,
    Side,
)

__all__ = [
    "BLOCKS",
    "DEFAULT_HFOV_DEG",
    "FEATURE_COUNT",
    "FOREARM_FEATURES",
    "HAND_AXES",
    "features",
    "focal_px",
    "palm_size_px",
]

Array = NDArray[np.float64]

#: Horizontal field of view assumed for an unknown webcam; common practice: most lie between 55 and 80 degrees.
DEFAULT_HFOV_DEG = 65.0

#: Further outputs of the forearm network that are read here (see `tracking.forearm`).
FOREARM_FEATURES = 14 + len(OUTPUTS)

#: Among them, the hand's proximal and radial direction.
HAND_AXES = slice(3, 9)

#: The body is looked for less often than the hands; older than this it says nothing about this frame.
_BODY_AGE_S = 0.6

_PALM = (5, 9, 13, 17)
_TYPICAL_HAND_M = 0.09
_CLIP = 6.0


def focal_px(width_px: int, height_px: int, hfov_deg: float | None = None) -> float:
    """Focal length in pixels of a camera whose longer picture side spans `hfov_deg` degrees."""
    hfov = DEFAULT_HFOV_DEG if hfov_deg is None else hfov_deg
    return 0.5 * max(width_px, height_px) / math.tan(math.radians(hfov) / 2)


def palm_size_px(landmarks_px: Array) -> float:
    """A hand's size in the picture that a foreshortened view does not shrink to nothing: the greater of the mean
    distance wrist to knuckles and 1.2 times the breadth over the knuckles (about equal on a flat hand)."""
    length = float(np.linalg.norm(landmarks_px[list(_PALM), :2] - landmarks_px[0, :2], axis=1).mean())
    breadth = 1.2 * float(np.linalg.norm(landmarks_px[5, :2] - landmarks_px[17, :2]))
    return max(length, breadth, 1e-6)


def _unit(v: Array) -> Array:
    return np.asarray(v / (np.linalg.norm(v, axis=-1, keepdims=True) + 1e-9))


def _frame(landmarks: Array) -> Array:
    """Rough hand frame for features (columns: long, dorsal or palmar, lateral); exactness is not needed here."""
    x = _unit(landmarks[9] - landmarks[0])
    lateral = landmarks[5] - landmarks[17]
    z = _unit(lateral - x * float(lateral @ x))
    return np.stack([x, np.cross(z, x), z], axis=1)


def _seen_frame(axes: Array) -> Array:
    """The hand frame, as `_frame` gives it, from the network's proximal and radial directions (6,)."""
    x = _unit(-axes[:3])
    z = _unit(axes[3:] - x * float(axes[3:] @ x))
    return np.stack([x, np.cross(z, x), z], axis=1)


def _naive(frame: Array, towards_elbow: Array) -> Array:
    """Bend of the forearm against the hand frame: two angles in units of 45 degrees, and how sure geometry is."""
    f = frame.T @ _unit(towards_elbow)
    out = np.array([math.atan2(f[1], -f[0]), math.atan2(f[2], -f[0])]) / math.radians(45)
    return np.clip(out, -3, 3)


def _forearm(axis: ForearmAxis | None, flip: float, turn: Array, hand: Array) -> Array:
    out = np.zeros(_FOREARM_COUNT)
    if axis is None:
        return out
    direction = (axis.towards_elbow_px - axis.wrist_px) * np.array([flip, 1.0])
    direction = turn @ _unit(direction)
    slope = 0.0 if math.isnan(axis.depth_slope) else float(np.clip(axis.depth_slope, -3, 3))
    out[0] = 1.0
    out[1:3] = direction
    out[3] = math.log(max(axis.sd_deg, 0.1))
    out[4] = slope
    extra = axis.features[:FOREARM_FEATURES]
    out[5 : 5 + len(extra)] = np.clip(extra, -_CLIP, _CLIP)
    towards_elbow = np.array([direction[0], direction[1], slope])
    out[-4:-2] = _naive(hand, towards_elbow)
    if len(extra) == FOREARM_FEATURES:
        out[-2:] = _naive(_seen_frame(extra[HAND_AXES]), towards_elbow)
    return out


def _body(
    body: BodyObservation | None,
    side: Side,
    now_s: float,
    wrist_px: Array,
    size: float,
    flip: float,
    turn: Array,
    hand: Array,
) -> Array:
    out = np.zeros(_BODY_COUNT)
    if body is None or now_s - body.time_s > _BODY_AGE_S:
        return out
    other: Side = "right" if side == "left" else "left"
    at = [BODY_LANDMARKS[f"{side}_{part}"] for part in ("shoulder", "elbow", "wrist")]
    at_other = BODY_LANDMARKS[f"{other}_shoulder"]
    mirror2, mirror3 = np.array([flip, 1.0]), np.array([flip, 1.0, 1.0])
    px = body.landmarks_px[:, :2] * mirror2
    shoulder, elbow, wrist = (px[k] for k in at)
    here = wrist_px * mirror2
    flat = np.stack([elbow - here, shoulder - elbow, wrist - here, px[at_other] - shoulder]) / size
    m = body.landmarks_m * mirror3
    spatial = np.stack([m[at[1]] - m[at[2]], m[at[0]] - m[at[1]], m[at_other] - m[at[0]]]) / 0.25
    spatial[:, :2] = spatial[:, :2] @ turn.T
    out[0] = 1.0
    out[1:9] = np.clip((flat @ turn.T).ravel() / 3.0, -_CLIP, _CLIP)
    out[9:18] = np.clip(spatial.ravel(), -_CLIP, _CLIP)
    out[18:22] = body.visibility[[*at, at_other]]
    out[22:24] = _naive(hand, spatial[0])
    return out


def features(observation: Observation, hand: HandObservation, hfov_deg: float | None = None) -> Array:
    """(FEATURE_COUNT,) canonical features of one hand of an observation."""
    flip = 1.0 if hand.side == "left" else -1.0
    focal = focal_px(observation.width_px, observation.height_px, hfov_deg)
    size = palm_size_px(hand.landmarks_px)
    px = (hand.landmarks_px - hand.landmarks_px[0]) * np.array([flip, 1.0, 1.0]) / size
    metres = (hand.landmarks_m - hand.landmarks_m[0]) * np.array([flip, 1.0, 1.0]) / _TYPICAL_HAND_M
    up = px[list(_PALM), :2].mean(axis=0)
    angle = math.atan2(up[0], -up[1])
    cos, sin = math.cos(angle), math.sin(angle)
    turn = np.array([[cos, sin], [-sin, cos]])  # takes `up` to (0, -1)
    px[:, :2] = px[:, :2] @ turn.T
    metres[:, :2] = metres[:, :2] @ turn.T
    frame = _frame(metres)
    centre = hand.landmarks_px[[0, *_PALM], :2].mean(axis=0)
    ray = (
        (centre - np.array([observation.width_px, observation.height_px]) / 2) * np.array([flip, 1.0]) / focal
    )
    view = np.array(
        [
            *(turn @ ray),
            *ray,
            size / focal * 5,
            sin,
            cos,
            hand.score,
            float(hand.label_agrees),
            hand.side_confidence,
        ]
    )
    wrist = hand.landmarks_px[0, :2]
    vector = np.concatenate(
        [
            np.clip(px[1:], -_CLIP, _CLIP).ravel(),
            np.clip(metres[1:], -_CLIP, _CLIP).ravel(),
            frame.ravel(),
            view,
            _forearm(hand.forearm, flip, turn, frame),
            _body(observation.body, hand.side, observation.time_s, wrist, size, flip, turn, frame),
        ]
    )
    if vector.shape != (FEATURE_COUNT,):
        raise AssertionError(f"features have {vector.shape}, expected {(FEATURE_COUNT,)}")
    return np.asarray(vector)


_HAND_COUNT = 60 + 60 + 9 + 10
_FOREARM_COUNT = 1 + 2 + 2 + FOREARM_FEATURES + 4
_BODY_COUNT = 1 + 8 + 9 + 4 + 2
FEATURE_COUNT = _HAND_COUNT + _FOREARM_COUNT + _BODY_COUNT

#: The two blocks that may be missing as a whole: what was seen of the forearm, and of the body.
BLOCKS = (
    slice(_HAND_COUNT, _HAND_COUNT + _FOREARM_COUNT),
    slice(_HAND_COUNT + _FOREARM_COUNT, FEATURE_COUNT),
)
