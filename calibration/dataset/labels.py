"""What is known of a rendered picture: the truth of both hands, and what of it can be seen.

Lengths are metres (mm where the name says so), angles degrees, pixels have their origin top left, camera axes are x
right, y down, z away.
"""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.body.geometry import unit
from calibration.body.hand_pose import (
    FINGERS,
    finger_flexions_deg,
    little_spread_deg,
    thumb_place_mm,
)
from calibration.render.render import PART_SCALE, PARTS
from calibration.scene.camera import Camera
from calibration.scene.neck import into, out_of
from calibration.scene.player import Player
from posturewatch.model.arrays import FloatArray
from posturewatch.model.observation import SIDES

STRINGS_BESIDE_M = 0.05  # how far to either side of the fingers the strings count
PLANE_BESIDE_M = 0.02  # the same for the points by which the networks learn where the plane lies
STRING_ROLES = ("fretting", "plucking")
FOREARM_SAMPLES = np.linspace(0.55, 0.97, 12)  # places from elbow to wrist that count as near the wrist


def label_of(player: Player, camera: Camera, parts: NDArray[np.uint8]) -> dict[str, Any]:
    """All that is known of a picture except how it was chosen."""
    return {
        "width_px": camera.width_px,
        "height_px": camera.height_px,
        "hfov_deg": camera.hfov_deg,
        "identity": player.body.identity,
        "handedness": player.handedness,
        "hands": [hand_label(player, side, camera, parts) for side in SIDES],
    }


def hand_label(player: Player, side: str, camera: Camera, parts: NDArray[np.uint8]) -> dict[str, Any]:
    """Truth of one hand."""
    state = player.hand(side)
    world = player.landmarks_m(side)
    hand = state.hand(player.body)
    local = hand.landmarks(state.fingers, state.thumb)
    joints = camera.to_camera(world)
    elbow = camera.to_camera(player.joint_m("lowerarm01", side))
    pixels = camera.to_pixels(joints)
    step = elbow - joints[0]
    near = camera.to_pixels(joints[0] + 0.001 * unit(step))
    along = unit(step)
    samples = joints[0] + (1 - FOREARM_SAMPLES)[:, None] * step
    return {
        "side": side,
        "role": state.role,
        "flexion_deg": state.flexion_deg,
        "ulnar_deviation_deg": state.ulnar_deviation_deg,
        "joints_px": _list(pixels, 2),
        "joints_m": _list(joints, 5),
        "elbow_px": _list(camera.to_pixels(elbow), 2),
        "elbow_m": _list(elbow, 5),
        "forearm_direction_px": _list(unit(near - pixels[0]), 5),
        "forearm_depth_slope": float(along[2] / max(np.hypot(along[0], along[1]), 1e-6)),
        "forearm_frame": _list(camera.axes @ state.forearm_frame, 6),
        "hand_frame": _list(camera.axes @ state.hand_frame, 6),
        "finger_flexion_deg": {
            name: _list(np.array(v), 2)
            for name, v in finger_flexions_deg(local, hand.thumb_axis(state.thumb)).items()
        },
        "finger_lift_mm": dict(zip(FINGERS, _list(state.lift_m * 1000, 2), strict=True)),
        "little_spread_deg": _list(np.array([little_spread_deg(local)]), 2)[0],
        "thumb_place_mm": round(thumb_place_mm(local), 2),
        "plane_px": _list(camera.to_pixels(camera.to_camera(plane_points(player, side, world))), 2),
        "strings_visible": strings_visible(player, side, world, camera, parts),
        "hand_visible": visible_share(pixels, parts, PARTS[f"hand_{side}"]),
        "forearm_visible": visible_share(
            camera.to_pixels(samples), parts, PARTS[f"forearm_{side}"], PARTS[f"hand_{side}"]
        ),
    }


def plane_points(player: Player, side: str, world: FloatArray) -> FloatArray:
    """(8, 3) points in the plane of the strings beside a hand: below each long fingertip, and on the first and the last
    string a little to either side of the fingers; world axes. NaN for a hand that plays no strings."""
    item = player.instrument
    if item is None or player.hand(side).role not in STRING_ROLES:
        return np.full((8, 3), np.nan)
    tips = into(player.instrument_matrix, world[[8, 12, 16, 20]])
    below = tips * [1.0, 1.0, 0.0]
    x = np.array([tips[:, 0].min() - PLANE_BESIDE_M, tips[:, 0].max() + PLANE_BESIDE_M])
    corners = [
        np.stack([x, item.string_y(np.full(2, string), x), np.zeros(2)], 1)
        for string in (0, item.strings - 1)
    ]
    return out_of(player.instrument_matrix, np.concatenate([below, *corners]))


def strings_visible(
    player: Player, side: str, world: FloatArray, camera: Camera, parts: NDArray[np.uint8]
) -> float:
    """Share of the plane of the strings beside a hand's fingers that is in the picture and hidden by nothing but the
    instrument itself."""
    item = player.instrument
    if item is None or player.hand(side).role not in STRING_ROLES:
        return 0.0
    tips = into(player.instrument_matrix, world[[8, 12, 16, 20]])[:, 0]
    x = np.linspace(tips.min() - STRINGS_BESIDE_M, tips.max() + STRINGS_BESIDE_M, 9)
    points = np.concatenate(
        [
            np.stack([x, item.string_y(np.full(9, string), x), np.zeros(9)], 1)
            for string in (0, item.strings // 2, item.strings - 1)
        ]
    )
    pixels = camera.to_pixels(camera.to_camera(out_of(player.instrument_matrix, points)))
    return visible_share(pixels, parts, PARTS["thing"])


def visible_share(pixels: FloatArray, parts: NDArray[np.uint8], *codes: int) -> float:
    """Share of points that lie in the picture and on (within 3 half-resolution pixels of) their own part."""
    table = np.zeros(256, np.uint8)
    table[list(codes)] = 1
    mask = cv2.LUT(parts, table)
    mask = cv2.dilate(mask, np.ones((5, 5), np.uint8))
    seen = 0
    for x, y in np.nan_to_num(pixels, nan=-1e6) / PART_SCALE:
        column, row = int(np.floor(x)), int(np.floor(y))
        if 0 <= row < mask.shape[0] and 0 <= column < mask.shape[1]:
            seen += int(mask[row, column])
    return seen / len(pixels)


def _list(array: FloatArray, digits: int) -> list[Any]:
    """JSON-ready; NaN becomes None."""
    if array.ndim > 1:
        return [_list(row, digits) for row in array]
    return [round(float(v), digits) if np.isfinite(v) else None for v in array]
