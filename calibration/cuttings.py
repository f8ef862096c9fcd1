"""What the networks are to say of a cutting: the truth of a hand, brought into the cutting's own picture."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calibration.geometry import shortest_turn, unit
from posturewatch.kinematics.outputs import OUTPUTS
from posturewatch.tracking.cutting import WIDE

__all__ = ["TARGETS", "outputs_of", "targets_of"]

FloatArray = NDArray[np.floating[Any]]

_STRAIGHT_ON = np.array([0.0, 0.0, 1.0])
_MIDDLE_KNUCKLE = 9
_ELBOW_REACH = 6.0  # hand scales, beyond which an elbow's place is of no more use

#: The columns that hold the truth of a cutting, with their lengths.
TARGETS = {"direction": 2, "slope": 1, "axes": 6, "forearm_radial": 3, "elbow": 2, "joints": 60}


def targets_of(truth: dict[str, Any], affine: FloatArray) -> dict[str, np.ndarray]:
    """truth: label of the hand (``labels.hand_label``); affine: (2, 3) from the picture to the wide cutting,
    which is turned as the close one is.

    Directions are those of a camera that looks straight at the wrist, since a cutting says nothing of where in the
    picture it came from; x right, y down, z away, mirrored with the cutting.
    """
    joints = np.asarray(truth["joints_m"], float)
    straight = shortest_turn(joints[0], _STRAIGHT_ON)
    linear = np.eye(3)
    linear[:2, :2] = affine[:, :2] / math.sqrt(abs(float(np.linalg.det(affine[:, :2]))))
    turn = linear @ straight
    hand, forearm = turn @ np.asarray(truth["hand_frame"]), turn @ np.asarray(truth["forearm_frame"])
    along = turn @ unit(np.asarray(truth["elbow_m"], float) - joints[0])
    direction = unit(affine[:, :2] @ np.asarray(truth["forearm_direction_px"], float))
    elbow = np.full(2, np.nan)
    if None not in truth["elbow_px"]:
        wrist = np.asarray(truth["joints_px"][0], float)
        hands = affine[:, :2] @ (np.asarray(truth["elbow_px"], float) - wrist) / WIDE.hand_px
        elbow = np.clip(hands, -_ELBOW_REACH, _ELBOW_REACH)
    from_wrist = (joints[1:] - joints[0]) @ turn.T
    palm = float(np.linalg.norm(joints[_MIDDLE_KNUCKLE] - joints[0]))
    return {
        "direction": direction.astype(np.float32),
        "slope": np.array([along[2] / max(float(np.hypot(along[0], along[1])), 1e-6)], np.float32),
        "axes": np.concatenate([hand[:, 1], hand[:, 2]]).astype(np.float32),
        "forearm_radial": forearm[:, 2].astype(np.float32),
        "elbow": elbow.astype(np.float32),
        "joints": (from_wrist / palm).ravel().astype(np.float32),
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
