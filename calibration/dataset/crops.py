"""What the networks are to say of a crop: the truth of a hand, brought into the crop's own picture."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calibration.body.geometry import rotation_between, unit
from posturewatch.model.arrays import FloatArray
from posturewatch.model.estimator_outputs import OUTPUTS
from posturewatch.tracking.crop import WIDE, hand_scale_px

__all__ = ["TARGETS", "elsewhere", "outputs_of", "targets_of"]


_STRAIGHT_ON = np.array([0.0, 0.0, 1.0])
_MIDDLE_KNUCKLE = 9
NO_HAND_WITHIN = 1.1  # hand scales between the middles of the palms
_ELBOW_REACH = 6.0  # hand scales, beyond which an elbow's place is of no more use

#: The columns that hold the truth of a crop, with their lengths. `places` are those of the joints and of the points
#: in the plane of the strings that `labels.plane_points` gives, in hand scales from the wrist.
TARGETS = {"direction": 2, "slope": 1, "axes": 6, "forearm_radial": 3, "elbow": 2, "joints": 60, "places": 58}


def targets_of(truth: dict[str, Any], affine: FloatArray) -> dict[str, NDArray[Any]]:
    """truth: label of the hand (``labels.hand_label``); affine: (2, 3) from the picture to the wide crop,
    which is turned as the close one is.

    Directions are those of a camera that looks straight at the wrist, since a crop says nothing of where in the
    picture it came from; x right, y down, z away, mirrored with the crop.
    """
    joints = np.asarray(truth["joints_m"], float)
    straight = rotation_between(joints[0], _STRAIGHT_ON)
    linear = np.eye(3)
    linear[:2, :2] = affine[:, :2] / math.sqrt(abs(float(np.linalg.det(affine[:, :2]))))
    turn = linear @ straight
    hand, forearm = turn @ np.asarray(truth["hand_frame"]), turn @ np.asarray(truth["forearm_frame"])
    along = turn @ unit(np.asarray(truth["elbow_m"], float) - joints[0])
    direction = unit(affine[:, :2] @ np.asarray(truth["forearm_direction_px"], float))
    joints_px = np.array(truth["joints_px"], float)  # NaN where a joint is behind the camera

    def in_hands(points_px: FloatArray) -> FloatArray:
        return np.asarray((points_px - joints_px[0]) @ affine[:, :2].T / WIDE.hand_px)

    elbow = np.clip(in_hands(np.array(truth["elbow_px"], float)), -_ELBOW_REACH, _ELBOW_REACH)
    places = in_hands(np.concatenate([joints_px, np.array(truth["plane_px"], float)]))
    from_wrist = (joints[1:] - joints[0]) @ turn.T
    palm = float(np.linalg.norm(joints[_MIDDLE_KNUCKLE] - joints[0]))
    return {
        "direction": direction.astype(np.float32),
        "slope": np.array([along[2] / max(float(np.hypot(along[0], along[1])), 1e-6)], np.float32),
        "axes": np.concatenate([hand[:, 1], hand[:, 2]]).astype(np.float32),
        "forearm_radial": forearm[:, 2].astype(np.float32),
        "elbow": elbow.astype(np.float32),
        "joints": (from_wrist / palm).ravel().astype(np.float32),
        "places": places.ravel().astype(np.float32),
    }


def outputs_of(truth: dict[str, Any]) -> NDArray[np.float32]:
    """(outputs,) the estimator's targets, NaN where they have no meaning (lifts of the plucking hand)."""
    named: dict[str, float | None] = {
        "wrist_flexion": truth["flexion_deg"],
        "wrist_ulnar_deviation": truth["ulnar_deviation_deg"],
        "little_spread": truth["little_spread_deg"],
        "thumb_place": truth["thumb_place_mm"],
    }
    for finger, (mcp, pip, dip) in truth["finger_flexion_deg"].items():
        if finger == "thumb":  # its three joints are cmc, mcp and ip
            named |= {"thumb_mcp": pip, "thumb_ip": dip}
        else:
            named |= {f"{finger}_mcp": mcp, f"{finger}_pip": pip, f"{finger}_dip": dip}
    if truth["role"] == "fretting":
        named |= {f"{finger}_lift": lift for finger, lift in truth["finger_lift_mm"].items()}
    values = (named.get(name) for name in OUTPUTS)
    return np.array([np.nan if value is None else value for value in values], np.float32)


def elsewhere(hand_px: FloatArray, label: dict[str, Any], rng: np.random.Generator) -> FloatArray | None:
    """A hand's landmarks (21, 2) moved, turned and scaled to a place in the picture where no hand is, None where none
    was found: beside a hand, at an elbow, or anywhere."""
    palm = [0, 5, 9, 13, 17]
    scale = hand_scale_px(hand_px) * float(np.exp(rng.normal(0, 0.35)))
    hands = [np.asarray(truth["joints_px"], float)[palm].mean(axis=0) for truth in label["hands"]]
    size = np.array([label["width_px"], label["height_px"]], float)
    elbows = [np.asarray(t["elbow_px"], float) for t in label["hands"] if None not in t["elbow_px"]]
    for _ in range(8):
        kind = rng.random()
        if kind < 0.35:
            way = rng.uniform(0, 2 * math.pi)
            middle = hand_px[palm].mean(axis=0) + rng.uniform(1.2, 2.5) * scale * np.array(
                [math.cos(way), math.sin(way)]
            )
        elif kind < 0.5 and elbows:
            middle = elbows[rng.integers(len(elbows))] + rng.normal(0, 0.4, 2) * scale
        else:
            middle = rng.uniform(0, 1, 2) * size
        near = [np.hypot(*(middle - hand)) < NO_HAND_WITHIN * scale for hand in hands]
        if ((middle > 0) & (middle < size)).all() and not any(near):
            turn = rng.uniform(0, 2 * math.pi)
            c, s = math.cos(turn), math.sin(turn)
            shape = (hand_px - hand_px[palm].mean(axis=0)) * (scale / hand_scale_px(hand_px))
            return np.asarray(middle + shape @ np.array([[c, s], [-s, c]]))
    return None
