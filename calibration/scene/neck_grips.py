"""Ways of fretting hands round a neck beside fingertips on the strings and the thumb behind: the barre, for which the
index finger is laid flat over several strings, and the thumb over the neck."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.body.geometry import least_squares
from calibration.body.hand_pose import THUMB_RADIUS_M, TIP_RADIUS_M, Hand
from calibration.scene.instrument import ACTION_M, Instrument
from calibration.scene.neck import FINGER_HIGH, FINGER_LOW, THUMB_HIGH, THUMB_LOW, Habits, into
from posturewatch.model.arrays import FloatArray

__all__ = [
    "Placed",
    "barre_curl",
    "lay_flat",
    "over_the_neck",
    "place_grip",
    "possible",
    "round_roll",
    "strings_below",
]

MIDDLE_JOINT_M, END_JOINT_M = 0.0085, 0.0075  # from the middle of a finger's joint to its skin
FLAT_M = 0.002  # how far a joint of a flat finger may be from where it should be
LEAN = 0.3  # most that a flat finger may lean along the strings, of its length
WIDEST_NECK_M = 0.047  # at the nut, over which a thumb is laid
OVER_M = 0.008  # how far the thumb's pad may be from where it should be
SUNK_M = 0.004  # how deep a thumb may be in the neck: flesh gives way
_ALONG = np.linspace(0, 1, 5)[:, None]  # places along each bone of a thumb
_BEHIND = (
    np.arange(15) < 11
)  # of these places, those that have to be behind the neck: the end bone goes round it
_THUMB_START = np.radians([20.0, 15.0, 15.0, 30.0])


@dataclass(frozen=True)
class Placed:
    """A hand at an instrument. matrix: (3, 4) of the instrument; frame: of the hand; place: (3,) of the wrist."""

    hand: Hand
    item: Instrument
    matrix: FloatArray
    frame: FloatArray
    place: FloatArray

    def on_instrument(self, points: FloatArray) -> FloatArray:
        """Points (..., 3) in hand coordinates, in those of the instrument."""
        return into(self.matrix, points @ self.frame.T + self.place)


def possible(item: Instrument, habits: Habits) -> bool:
    """Whether hands of usual size do that on such an instrument."""
    return not habits.thumb_over or item.nut_width_m <= WIDEST_NECK_M


def round_roll(roll_deg: FloatArray, habits: Habits, rng: np.random.Generator) -> FloatArray:
    """How far hands are rolled round the neck: for a thumb over it the palm lies below, whatever the wrist does."""
    if not habits.thumb_over:
        return roll_deg
    return np.clip(rng.normal(100, 10, len(roll_deg)), 70, 125)


def barre_curl(
    curl: FloatArray, roll_deg: FloatArray, habits: Habits, rng: np.random.Generator
) -> FloatArray:
    """(n, 4, 4) finger states, for a barre with the index finger along the fingerboard of hands so far rolled."""
    if not habits.barre:
        return curl
    out = curl.copy()
    middle = np.clip(roll_deg * rng.uniform(0.1, 0.5, len(curl)), 3, 60)
    bends = np.stack([roll_deg - middle, np.zeros(len(curl)), middle, np.full(len(curl), 3.0)], axis=1)
    out[:, 0] = np.clip(np.radians(bends), FINGER_LOW, FINGER_HIGH)
    return out


def place_grip(
    item: Instrument,
    habits: Habits,
    joints: FloatArray,
    contact: FloatArray,
    local: FloatArray,
    rng: np.random.Generator,
) -> tuple[FloatArray, FloatArray]:
    """Which points (n, 3) of hands shall be where on the instrument. Those given are of fingertips on strings; for a
    barre it is the index finger's end joint, for a thumb over the neck its knuckle, beside the neck's edge. joints:
    (n, 4, 4, 3) of the fingers."""
    count, width, out = len(local), item.width(local[:, 0]), local.copy()
    if habits.barre:
        out[:, 1] = rng.uniform(-0.15, 0.3, count) * width
        out[:, 2] = END_JOINT_M
        return joints[:, 0, 2], out
    if habits.thumb_over:
        out[:, 1] = -0.5 * width - rng.uniform(0.008, 0.016, count)
        out[:, 2] = rng.uniform(-0.004, 0.008, count)
        return joints[:, 0, 0], out
    return contact, local


def lay_flat(placed: Placed, start: FloatArray) -> FloatArray | None:
    """(4,) state of an index finger whose last two bones lie across several strings, or None where the hand is not
    placed for that."""
    hand = placed.hand
    wished = np.array([MIDDLE_JOINT_M, END_JOINT_M, TIP_RADIUS_M])

    def laid(x: FloatArray) -> FloatArray:
        joints = hand.finger_joints(x, 0)
        points = np.concatenate([joints[:, 1:3], hand.tip_centres(joints)[:, None]], axis=1)
        return placed.on_instrument(points)

    def residuals(x: FloatArray) -> FloatArray:
        own = laid(x)
        along = (own[:, 2, 0] - own[:, 0, 0])[:, None]
        natural = np.stack([x[:, 1] / 0.3, (x[:, 3] - 0.05) / 0.4], axis=1)
        return np.concatenate([(own[:, :, 2] - wished) / 0.0007, along / 0.004, natural], axis=1)

    state, _ = least_squares(residuals, start[None], FINGER_LOW, FINGER_HIGH, 20)
    own = laid(state)[0]
    along, across = own[2, :2] - own[0, :2]
    if np.abs(own[:, 2] - wished).max() > FLAT_M or across < abs(along) / LEAN:
        return None
    finger = np.asarray(state[0])
    return finger if strings_below(placed, finger).sum() >= max(2, placed.item.strings // 2) else None


def strings_below(placed: Placed, finger: FloatArray) -> NDArray[np.bool_]:
    """(strings,) over which of them an index finger lies with its last two bones."""
    own = placed.on_instrument(placed.hand.finger_joints(finger, 0))
    y = placed.item.string_y(np.arange(placed.item.strings, dtype=float), own[2, 0])
    return np.asarray((y > own[1, 1] - 0.002) & (y < own[3, 1] + 0.002))


def over_the_neck(placed: Placed, x_m: float, rng: np.random.Generator) -> FloatArray | None:
    """(4,) thumb state with the thumb behind the neck and its pad on the bass side's edge at this place, or None where
    it does not reach so far, or only through the neck."""
    hand, item = placed.hand, placed.item
    edge = float(item.width(x_m)) / 2
    target = np.array([x_m, edge + 0.8 * THUMB_RADIUS_M, rng.uniform(-0.008, 0.004)])

    def line(x: FloatArray) -> FloatArray:
        joints = hand.thumb_joints(x)[:, :, None]
        bones = joints[:, :-1] * (1 - _ALONG) + joints[:, 1:] * _ALONG
        return placed.on_instrument(np.asarray(bones.reshape(len(x), 15, 3), float))

    def missed(own: FloatArray) -> FloatArray:
        return np.asarray(own[:, -1] * 0.75 + own[:, -5] * 0.25 - target)

    def depths(own: FloatArray) -> FloatArray:
        aside = item.width(own[..., 0]) / 2 + THUMB_RADIUS_M - np.abs(own[..., 1])
        behind = own[..., 2] - item.back_z + THUMB_RADIUS_M
        before = np.where(_BEHIND, np.inf, THUMB_RADIUS_M - ACTION_M - own[..., 2])
        return np.maximum(np.minimum(np.minimum(aside, behind), before), 0)

    def residuals(x: FloatArray) -> FloatArray:
        own = line(x)
        natural = (x - _THUMB_START) / 0.8
        return np.concatenate([missed(own) / 0.003, depths(own) / 0.0015, natural], axis=1)

    state, _ = least_squares(residuals, _THUMB_START[None], THUMB_LOW, THUMB_HIGH, 30)
    own = line(state)
    if np.linalg.norm(missed(own)) > OVER_M or depths(own).max() > SUNK_M:
        return None
    return np.asarray(state[0])
