"""Where the camera stands around the player, as the shoulders tell it."""

from __future__ import annotations

import math

from posturewatch.model.observation import BODY_LANDMARKS, BodyObservation, Side

__all__ = ["towards_head_deg"]

#: Both shoulders have to be seen at least so well.
_MIN_VISIBILITY = 0.8

#: Players turn their shoulders towards the head of the instrument by so much, degrees: the middle difference on
#: rendered players whose upper body is in view (`python -m calibration.evaluate.placement`); half of them are told
#: within 12 degrees.
_SHOULDERS_TURNED_DEG = 18.0

#: Seen from behind or from the side, the shoulders tell nothing.
_MOST_DEG = 100.0


def towards_head_deg(body: BodyObservation, fretting: Side) -> float | None:
    """Degrees from straight ahead of the player to the camera, towards the head of the instrument.

    Parameters
    ----------
    body
        As seen.
    fretting
        The hand on the fingerboard, on whose side the head is.

    Returns
    -------
    None where the shoulders do not tell.
    """
    left, right = (BODY_LANDMARKS[f"{side}_shoulder"] for side in ("left", "right"))
    if min(body.visibility[left], body.visibility[right]) < _MIN_VISIBILITY:
        return None
    across = body.landmarks_m[left] - body.landmarks_m[right]
    # A camera on the player's left sees the left shoulder nearer.
    towards_left = math.degrees(math.atan2(-across[2], across[0]))
    if not abs(towards_left) < _MOST_DEG:
        return None
    return (towards_left if fretting == "left" else -towards_left) + _SHOULDERS_TURNED_DEG
