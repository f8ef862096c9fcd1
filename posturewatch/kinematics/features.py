"""From an observation to the vector that the learned estimator reads.

Training and run time go through this one function. Everything is brought to one canonical image: right hands
are mirrored into left ones, the image is turned so that the palm points up, and lengths are divided by the
hand's size, so that the network need not learn these symmetries. What was not seen is 0 with its flag at 0.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping

import numpy as np
from numpy.typing import ArrayLike

from posturewatch.kinematics.geometry import angles_between, mirror_sign
from posturewatch.model.arrays import Array
from posturewatch.model.estimator_outputs import OUTPUTS
from posturewatch.model.network_outputs import (
    GUESS_UNIT,
    FingerOutputs,
    ForearmOutputs,
    NetworkOutputs,
    slices_of,
)
from posturewatch.model.observation import (
    BODY_LANDMARKS,
    BodyObservation,
    ForearmAxis,
    HandObservation,
    Observation,
    Side,
    other_side,
)

__all__ = [
    "BLOCKS",
    "DEFAULT_HFOV_DEG",
    "FEATURES",
    "FEATURE_COUNT",
    "FIRST_GUESS",
    "features",
    "focal_px",
    "hand_frame",
    "palm_size_px",
]


#: Horizontal field of view assumed for an unknown webcam; common practice: most lie between 55 and 80 degrees.
DEFAULT_HFOV_DEG = 65.0

#: Degrees.
ANGLE_UNIT = 45.0

#: The body is looked for less often than the hands; older than this it says nothing about this frame.
_BODY_AGE_S = 0.6

_PALM = (5, 9, 13, 17)
_TYPICAL_HAND_M = 0.09
_CLIP = 6.0


def focal_px(width_px: int, height_px: int, hfov_deg: float | None = None) -> float:
    """Focal length of a camera.

    Parameters
    ----------
    width_px, height_px
        Of its image, upright or not.
    hfov_deg
        What the longer side of the image spans, degrees; `DEFAULT_HFOV_DEG` where it is not known.

    Returns
    -------
    Pixels.
    """
    hfov = DEFAULT_HFOV_DEG if hfov_deg is None else hfov_deg
    return 0.5 * max(width_px, height_px) / math.tan(math.radians(hfov) / 2)


def palm_size_px(landmarks_px: Array) -> float:
    """A hand's size in the image that a foreshortened view does not shrink to nothing.

    Parameters
    ----------
    landmarks_px
        (21, 2) or (21, 3).

    Returns
    -------
    Pixels: the greater of the mean distance from wrist to knuckles and 1.2 times the breadth over the knuckles,
    which are about equal on a flat hand.
    """
    length = float(np.linalg.norm(landmarks_px[list(_PALM), :2] - landmarks_px[0, :2], axis=1).mean())
    breadth = 1.2 * float(np.linalg.norm(landmarks_px[5, :2] - landmarks_px[17, :2]))
    return max(length, breadth, 1e-6)


def _unit(v: Array) -> Array:
    return np.asarray(v / (math.sqrt(float(v @ v)) + 1e-9))


def _cross(a: Array, b: Array) -> Array:
    """As `np.cross` of two vectors (3,), in a tenth of its time; features are made of dozens in every frame."""
    (a0, a1, a2), (b0, b1, b2) = a.tolist(), b.tolist()
    return np.array([a1 * b2 - a2 * b1, a2 * b0 - a0 * b2, a0 * b1 - a1 * b0])


def _frame(landmarks: Array) -> Array:
    """Rough hand frame for features (columns: long, dorsal or palmar, lateral); exactness is not needed here."""
    x = _unit(landmarks[9] - landmarks[0])
    lateral = landmarks[5] - landmarks[17]
    z = _unit(lateral - x * float(lateral @ x))
    return np.array([x, _cross(z, x), z]).T


def _anatomical(proximal: Array, radial: Array) -> Array:
    """(3, 3) anatomical frame of a left hand or forearm, which every hand looks like here, from two directions."""
    y = _unit(proximal)
    z = _unit(radial - y * float(radial @ y))
    return np.array([mirror_sign("left") * _cross(y, z), y, z]).T


def hand_frame(hand: HandObservation) -> Array | None:
    """How the camera sees a hand, whichever way it is turned in the picture.

    Returns
    -------
    (3, 3) the hand's anatomical frame (`kinematics.geometry`) in the axes of the wide crop (x right, y down, z away
    from the camera), in which every hand is a left one that points up; None without a look at the forearm.
    """
    if hand.forearm is None:
        return None
    said = hand.forearm.outputs
    return _anatomical(np.asarray(said.hand_proximal, float), np.asarray(said.hand_radial, float))


def _angles(
    said: ForearmOutputs[Array] | FingerOutputs[Array], towards_elbow: Array, forearm_radial: Array
) -> Array:
    """(2,) ISB flexion and deviation, in units of `ANGLE_UNIT`, of the hand as a network sees it against the
    forearm."""
    hand = _anatomical(said.hand_proximal, said.hand_radial)
    angles = angles_between(_anatomical(towards_elbow, forearm_radial), hand)
    return np.clip(np.array(angles) / ANGLE_UNIT, -3, 3)


def _naive(frame: Array, towards_elbow: Array) -> Array:
    """Bend of the forearm against the hand frame: two angles in units of `ANGLE_UNIT`."""
    f = frame.T @ _unit(towards_elbow)
    out = np.degrees([math.atan2(f[1], -f[0]), math.atan2(f[2], -f[0])]) / ANGLE_UNIT
    return np.clip(out, -3, 3)


def _forearm(axis: ForearmAxis, flip: float, turn: Array, hand: Array) -> dict[str, Array]:
    direction = turn @ _unit((axis.towards_elbow_px - axis.wrist_px) * np.array([flip, 1.0]))
    said = axis.outputs
    slope = np.clip(said.depth_slope, -3, 3)
    towards_elbow = np.array([*direction, slope])
    return {
        "forearm.seen": np.ones(1),
        "forearm.direction": direction,
        "forearm.log_sd": np.log(max(axis.sd_deg, 0.1)),
        "forearm.depth_slope": slope,
        **_handed_on("forearm", said, _OF_FOREARM),
        "forearm.landmark_bend": _naive(hand, towards_elbow),
        "forearm.angles": _angles(said, towards_elbow, said.forearm_radial),
    }


def _fingers(said: FingerOutputs[Array], forearm: Mapping[str, Array]) -> dict[str, Array]:
    """forearm: that block of the features."""
    out = {"fingers.seen": np.ones(1), **_handed_on("fingers", said, _OF_FINGERS)}
    if forearm:
        towards_elbow = np.append(forearm["forearm.direction"], forearm["forearm.depth_slope"])
        out["fingers.angles"] = _angles(said, towards_elbow, forearm["forearm.forearm_radial"])
    return out


def _handed_on(block: str, said: NetworkOutputs[Array], names: Iterable[str]) -> dict[str, Array]:
    """Not yet held within `_CLIP`; see `_HANDED_ON`."""
    return {f"{block}.{name}": getattr(said, name) for name in names}


def _body(
    body: BodyObservation, side: Side, wrist_px: Array, size: float, flip: float, turn: Array, hand: Array
) -> dict[str, Array]:
    other = other_side(side)
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
    return {
        "body.seen": np.ones(1),
        "body.bones_px": np.clip(flat @ turn.T / 3.0, -_CLIP, _CLIP),
        "body.bones_m": np.clip(spatial, -_CLIP, _CLIP),
        "body.visibility": body.visibility[[*at, at_other]],
        "body.landmark_bend": _naive(hand, spatial[0]),
    }


def features(observation: Observation, hand: HandObservation, hfov_deg: float | None = None) -> Array:
    """(FEATURE_COUNT,) canonical features of one hand of an observation, in the order of `FEATURES`.

    Parameters
    ----------
    observation
        The frame's.
    hand
        One of its hands.
    hfov_deg
        The camera's horizontal field of view, `DEFAULT_HFOV_DEG` where it is not known.
    """
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
    middle = np.array([observation.width_px, observation.height_px]) / 2
    ray = (centre - middle) * np.array([flip, 1.0]) / focal
    named: dict[str, ArrayLike] = {
        "hand.landmarks_px": np.clip(px[1:], -_CLIP, _CLIP),
        "hand.landmarks_m": np.clip(metres[1:], -_CLIP, _CLIP),
        "hand.frame": frame,
        "view.ray_turned": turn @ ray,
        "view.ray": ray,
        "view.size": size / focal * 5,
        "view.up": (sin, cos),
        "view.score": hand.score,
        "view.label_agrees": float(hand.label_agrees),
        "view.side_confidence": hand.side_confidence,
    }
    forearm = {} if hand.forearm is None else _forearm(hand.forearm, flip, turn, frame)
    named.update(forearm)
    body = observation.body
    if body is not None and observation.time_s - body.time_s <= _BODY_AGE_S:
        named.update(_body(body, hand.side, hand.landmarks_px[0, :2], size, flip, turn, frame))
    if hand.fingers is not None:
        named.update(_fingers(hand.fingers, forearm))
    vector = np.zeros(FEATURE_COUNT)
    for name, numbers in named.items():
        vector[FEATURES[name]] = np.ravel(numbers)
    for at in _HANDED_ON:
        np.clip(vector[at], -_CLIP, _CLIP, out=vector[at])
    return vector


def _handed_on_names(kind: type[NetworkOutputs[Array]], without: set[str]) -> dict[str, int]:
    return {name: width for name, width in kind.widths().items() if name not in without}


#: What the networks say and the estimator reads as it is, with how many numbers each is. The forearm's axis is read
#: in the frame instead.
_OF_FOREARM = _handed_on_names(ForearmOutputs, {"direction", "direction_log_scale", "depth_slope"})
_OF_FINGERS = _handed_on_names(FingerOutputs, {"strings_spread", "places"})

#: Where each named feature lies. `landmark_bend` and `angles` are two angles in units of `ANGLE_UNIT`: how the
#: forearm is bent against the hand as the tracker's landmarks have it, and the ISB angles with the hand as the network
#: has it.
FEATURES = slices_of(
    {
        "hand.landmarks_px": 60, "hand.landmarks_m": 60, "hand.frame": 9,
        "view.ray_turned": 2, "view.ray": 2, "view.size": 1, "view.up": 2, "view.score": 1, "view.label_agrees": 1,
        "view.side_confidence": 1,
        "forearm.seen": 1, "forearm.direction": 2, "forearm.log_sd": 1, "forearm.depth_slope": 1,
        **{f"forearm.{name}": width for name, width in _OF_FOREARM.items()},
        "forearm.landmark_bend": 2, "forearm.angles": 2,
        "body.seen": 1, "body.bones_px": 8, "body.bones_m": 9, "body.visibility": 4, "body.landmark_bend": 2,
        "fingers.seen": 1,
        **{f"fingers.{name}": width for name, width in _OF_FINGERS.items()},
        "fingers.angles": 2,
    }
)  # fmt: skip

FEATURE_COUNT = max(at.stop for at in FEATURES.values())


def _block(name: str) -> slice:
    parts = [at for feature, at in FEATURES.items() if feature.startswith(f"{name}.")]
    return slice(parts[0].start, parts[-1].stop)


#: The blocks that may be missing as a whole: what was seen of the forearm, of the body, and of the fingers.
BLOCKS = {name: _block(name) for name in ("forearm", "body", "fingers")}


def _between(first: str, last: str) -> slice:
    return slice(FEATURES[first].start, FEATURES[last].stop)


#: Where what the networks say is handed on as it is, in one stretch for each.
_HANDED_ON = tuple(
    _between(f"{block}.{next(iter(names))}", f"{block}.{[*names][-1]}")
    for block, names in (("forearm", _OF_FOREARM), ("fingers", _OF_FINGERS))
)


def _first_guess() -> Array:
    """(FEATURE_COUNT, outputs), see `FIRST_GUESS`."""
    out = np.zeros((FEATURE_COUNT, len(OUTPUTS)))
    np.fill_diagonal(out[FEATURES["fingers.guess"]], GUESS_UNIT)
    wrist = slice(0, FEATURES["forearm.wrist_guess"].stop - FEATURES["forearm.wrist_guess"].start)
    out[FEATURES["fingers.guess"], wrist] = 0.0
    for name, unit in (
        ("forearm.wrist_guess", GUESS_UNIT), ("forearm.angles", ANGLE_UNIT), ("fingers.angles", ANGLE_UNIT)
    ):  # fmt: skip
        np.fill_diagonal(out[FEATURES[name], wrist], unit / 3)
    return out


#: Features (FEATURE_COUNT,) times this is what the networks together say of each output before anything is learned of
#: their mistakes: of the wrist the mean of the forearm network's guess and of the exact angles between the forearm and
#: the hand as either network sees it, of the rest the finger network's guess.
FIRST_GUESS = _first_guess()
