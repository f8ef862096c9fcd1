"""What the learned estimator gives, in its order."""

from __future__ import annotations

__all__ = ["FINGER_JOINTS", "LONG_FINGERS", "OUTPUTS"]

#: The fingers that fret; guitarists number them 1 to 4.
LONG_FINGERS: tuple[str, ...] = ("index", "middle", "ring", "little")

FINGER_JOINTS: tuple[str, ...] = ("mcp", "pip", "dip")

#: Wrist angles (ISB signs) and joint flexions (negative beyond straight) in degrees; lifts from the plane of the
#: strings in millimetres; by how many degrees the little finger points away from the ring finger in the plane of the
#: palm; how many millimetres the thumb's tip lies to the radial side of the middle knuckle.
OUTPUTS: tuple[str, ...] = (
    "wrist_flexion",
    "wrist_ulnar_deviation",
    "thumb_mcp",
    "thumb_ip",
    *(f"{finger}_{joint}" for finger in LONG_FINGERS for joint in FINGER_JOINTS),
    *(f"{finger}_lift" for finger in LONG_FINGERS),
    "little_spread",
    "thumb_place",
)
