"""From an observation to the vector that the learned estimator reads.

Training and run time go through this one function. Everything is brought to one canonical picture: right hands
are mirrored into left ones, the picture is turned so that the palm points up, and lengths are divided by the
hand's size, so that the network need not learn these symmetries. What was not seen is 0 with its flag at 0.
"""

from __future__ import annotations

import itertools
import math

import numpy as np
from numpy.typing import NDArray

from posturewatch.kinematics.geometry import angles_between, mirror_sign
from posturewatch.kinematics.outputs import OUTPUTS
from posturewatch.model.observation import (
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
    "FINGER_FEATURES",
    "FINGER_PARTS",
    "FIRST_GUESS",
    "FOREARM_FEATURES",
    "GUESS_UNIT",
    "HAND_AXES",
    "features",
    "focal_px",
    "palm_size_px",
]

Array = NDArray[np.float64]

#: Horizontal field of view assumed for an unknown webcam; common practice: most lie between 55 and 80 degrees.
DEFAULT_HFOV_DEG = 65.0

#: Further outputs of the forearm network that are read here (see `tracking.forearm`).
FOREARM_FEATURES = 17

#: Among them, the hand's proximal and radial direction, and the forearm's radial one; then a first guess at the
#: wrist's angles in units of `GUESS_UNIT`. The last is the logit of the hand being of the side it was cut for.
HAND_AXES, FOREARM_RADIAL, WRIST_GUESS = slice(3, 9), slice(9, 12), slice(14, 16)

#: What the finger network says (see `tracking.fingers`), in the close crop's own picture: the hand's proximal and
#: radial direction, a first guess at every output of the estimator in units of `GUESS_UNIT`, the log of its Laplace
#: scale in the same units, logits of each finger being lifted from the strings, the logit of the strings being in
#: view, where the joints 1 to 20 lie from the wrist, in palm lengths, the logits of there being a hand at all and of
#: its being of the side it was cut for, and, which is no feature, how widely spread the places are where the outer
#: strings may be, in hand scales.
FINGER_PARTS = {
    "axes": slice(0, 6),
    "guess": slice(6, 6 + len(OUTPUTS)),
    "log_scale": slice(6 + len(OUTPUTS), 6 + 2 * len(OUTPUTS)),
    "lifted": slice(6 + 2 * len(OUTPUTS), 10 + 2 * len(OUTPUTS)),
    "strings": slice(10 + 2 * len(OUTPUTS), 11 + 2 * len(OUTPUTS)),
    "joints": slice(11 + 2 * len(OUTPUTS), 71 + 2 * len(OUTPUTS)),
    "hand": slice(71 + 2 * len(OUTPUTS), 72 + 2 * len(OUTPUTS)),
    "side": slice(72 + 2 * len(OUTPUTS), 73 + 2 * len(OUTPUTS)),
    "plane_spread": slice(73 + 2 * len(OUTPUTS), 74 + 2 * len(OUTPUTS)),
}
FINGER_FEATURES = FINGER_PARTS["side"].stop

#: Degrees or millimetres.
GUESS_UNIT = 30.0

#: Degrees.
ANGLE_UNIT = 45.0

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


def _anatomical(proximal: Array, radial: Array) -> Array:
    """(3, 3) anatomical frame of a left hand or forearm, which every hand looks like here, from two directions."""
    y = _unit(proximal)
    z = _unit(radial - y * float(radial @ y))
    return np.stack([mirror_sign("left") * np.cross(y, z), y, z], axis=1)


def _angles(axes: Array, towards_elbow: Array, forearm_radial: Array) -> Array:
    """(2,) ISB flexion and deviation, in units of `ANGLE_UNIT`, of the hand whose proximal and radial directions are
    `axes` (6,) against the forearm."""
    angles = angles_between(_anatomical(towards_elbow, forearm_radial), _anatomical(axes[:3], axes[3:]))
    return np.clip(np.array(angles[:2]) / ANGLE_UNIT, -3, 3)


def _naive(frame: Array, towards_elbow: Array) -> Array:
    """Bend of the forearm against the hand frame: two angles in units of `ANGLE_UNIT`."""
    f = frame.T @ _unit(towards_elbow)
    out = np.degrees([math.atan2(f[1], -f[0]), math.atan2(f[2], -f[0])]) / ANGLE_UNIT
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
    out[_FOREARM_EXTRA][: len(extra)] = np.clip(extra, -_CLIP, _CLIP)
    towards_elbow = np.array([direction[0], direction[1], slope])
    out[-4:-2] = _naive(hand, towards_elbow)
    if len(extra) == FOREARM_FEATURES:
        out[-2:] = _angles(extra[HAND_AXES], towards_elbow, extra[FOREARM_RADIAL])
    return out


def _fingers(seen: Array | None, forearm: Array) -> Array:
    """forearm: that block of the features."""
    out = np.zeros(_FINGER_COUNT)
    if seen is None or len(seen) < FINGER_FEATURES:
        return out
    out[0] = 1.0
    out[1 : 1 + FINGER_FEATURES] = np.clip(seen[:FINGER_FEATURES], -_CLIP, _CLIP)
    if forearm[0]:
        radial = forearm[_FOREARM_EXTRA][FOREARM_RADIAL]
        out[-2:] = _angles(seen[FINGER_PARTS["axes"]], forearm[_TOWARDS_ELBOW], radial)
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
    forearm = _forearm(hand.forearm, flip, turn, frame)
    vector = np.concatenate(
        [
            np.clip(px[1:], -_CLIP, _CLIP).ravel(),
            np.clip(metres[1:], -_CLIP, _CLIP).ravel(),
            frame.ravel(),
            view,
            forearm,
            _body(observation.body, hand.side, observation.time_s, wrist, size, flip, turn, frame),
            _fingers(hand.fingers, forearm),
        ]
    )
    if vector.shape != (FEATURE_COUNT,):
        raise AssertionError(f"features have {vector.shape}, expected {(FEATURE_COUNT,)}")
    return np.asarray(vector)


_HAND_COUNT = 60 + 60 + 9 + 10
_FOREARM_COUNT = 1 + 2 + 2 + FOREARM_FEATURES + 4
_TOWARDS_ELBOW = [1, 2, 4]  # among the forearm's: direction and slope
_FOREARM_EXTRA = slice(5, 5 + FOREARM_FEATURES)
_BODY_COUNT = 1 + 8 + 9 + 4 + 2
_FINGER_COUNT = 1 + FINGER_FEATURES + 2
_ENDS = (
    _HAND_COUNT,
    _HAND_COUNT + _FOREARM_COUNT,
    _HAND_COUNT + _FOREARM_COUNT + _BODY_COUNT,
    _HAND_COUNT + _FOREARM_COUNT + _BODY_COUNT + _FINGER_COUNT,
)
FEATURE_COUNT = _ENDS[-1]

#: The blocks that may be missing as a whole: what was seen of the forearm, of the body, and of the fingers.
BLOCKS = tuple(slice(first, last) for first, last in itertools.pairwise(_ENDS))


def _first_guess() -> Array:
    """(FEATURE_COUNT, outputs), see `FIRST_GUESS`."""
    out = np.zeros((FEATURE_COUNT, len(OUTPUTS)))
    forearm, fingers = BLOCKS[0], BLOCKS[2]
    guess = fingers.start + 1 + FINGER_PARTS["guess"].start
    for k in range(len(OUTPUTS)):
        out[guess + k, k] = GUESS_UNIT
    for k in range(_WRIST_ANGLES):
        out[guess + k, k] = 0.0
        out[forearm.start + _FOREARM_EXTRA.start + WRIST_GUESS.start + k, k] = GUESS_UNIT / 3
        out[forearm.stop - _WRIST_ANGLES + k, k] = ANGLE_UNIT / 3
        out[fingers.stop - _WRIST_ANGLES + k, k] = ANGLE_UNIT / 3
    return out


_WRIST_ANGLES = 2

#: Features (FEATURE_COUNT,) times this is what the networks together say of each output before anything is learned of
#: their mistakes: of the wrist the mean of the forearm network's guess and of the exact angles between the forearm and
#: the hand as either network sees it, of the rest the finger network's guess.
FIRST_GUESS = _first_guess()
