"""Fingers and thumb on the neck of an instrument; what is inside what."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calibration.body.arm import turned
from calibration.body.geometry import least_squares
from calibration.body.hand_pose import THUMB_RADIUS_M, TIP_RADIUS_M, Hand
from calibration.scene.instrument import Instrument
from posturewatch.model.arrays import FloatArray

FINGER_LOW = np.radians([-25.0, -20.0, 2.0, -36.0])
FINGER_HIGH = np.radians([92.0, 20.0, 112.0, 75.0])
THUMB_LOW = np.radians([-15.0, -35.0, -15.0, -25.0])
THUMB_HIGH = np.radians([80.0, 40.0, 55.0, 70.0])
CURL_SHARE = np.array([0.22, 0.48, 0.30])  # of the whole bend: knuckle, middle and end joint
END_PER_MIDDLE = 0.62  # natural bend of the end joint for each degree of the middle joint
PRESSING_M = 0.001
TUCKED_LOW = np.radians([55.0, -10.0, 75.0, 20.0])
TUCKED_HIGH = np.radians([88.0, 5.0, 108.0, 60.0])


def curl_template(total_deg: FloatArray, rng: np.random.Generator, count: int) -> FloatArray:
    """(count, 4, 4) finger states whose three joints together bend by about ``total_deg`` (count,)."""
    bend = total_deg[:, None, None] * CURL_SHARE + rng.normal(0, 4, (count, 4, 3))
    state = np.zeros((count, 4, 4))
    state[:, :, 0], state[:, :, 2], state[:, :, 3] = bend[..., 0], bend[..., 1], bend[..., 2]
    state[:, :, 1] = rng.normal(0, 2, (count, 4))
    return np.clip(np.radians(state), FINGER_LOW, FINGER_HIGH)


def into(matrix: FloatArray, points: FloatArray) -> FloatArray:
    """World points (..., 3) in the coordinates of a (3, 4) frame."""
    return np.asarray((points - matrix[:, 3]) @ matrix[:, :3])


def out_of(matrix: FloatArray, points: FloatArray) -> FloatArray:
    return np.asarray(points @ matrix[:, :3].T + matrix[:, 3])


@dataclass(frozen=True)
class Habits:
    """What a hand does beyond what it needs to. end_bend: (4,) bend of the end joints in radians that the fingers
    keep to while pressing, negative for joints that give way backwards, NaN where they bend naturally. tucked:
    (4,) the little finger's state where it is curled under the neck, else None. held_share: how often a lifted
    finger of a video stays high for seconds. cup: arch of the palm in radians, see ``Hand``. barre: the index finger
    lies flat over several strings; thumb_over: the thumb reaches over the neck. Of these two one at most, and in single
    poses only."""

    end_bend: FloatArray
    tucked: FloatArray | None = None
    held_share: float = 0.0
    cup: float = 0.0
    barre: bool = False
    thumb_over: bool = False


NO_HABITS = Habits(np.full(4, np.nan))


def sample_habits(rng: np.random.Generator) -> Habits:
    """Every third player has end joints that give way; one in ten tucks the little finger under."""
    gives_way = (rng.random() < 0.35) & (rng.random(4) < 0.55)
    tucked = rng.uniform(TUCKED_LOW, TUCKED_HIGH) if rng.random() < 0.1 else None
    return Habits(np.where(gives_way, np.radians(rng.uniform(-34, 2, 4)), np.nan), tucked, 0.12)


@dataclass(frozen=True)
class Touch:
    """What the fretting fingers do: place along and string of each finger, wished height of the pads."""

    x_m: FloatArray
    string: NDArray[Any]
    lift_m: FloatArray
    thumb: FloatArray  # (3,) thumb target in instrument coordinates
    habits: Habits = NO_HABITS

    @property
    def end_bend(self) -> FloatArray:
        """(4,) the bend that each end joint keeps to now: only a finger that presses is pushed backwards."""
        return np.where(self.lift_m < PRESSING_M, self.habits.end_bend, np.nan)


def touch_target(item: Instrument, touch: Touch) -> FloatArray:
    """(4, 3) wished tip centres in instrument coordinates."""
    y = item.string_y(touch.string, touch.x_m)
    return np.stack([touch.x_m, y, touch.lift_m + TIP_RADIUS_M], axis=1)


def sample_touch(item: Instrument, tips: FloatArray, rng: np.random.Generator) -> Touch:
    """Strings near where the relaxed tips (4, 3) already are; some fingers lifted by a known height."""
    x = tips[:, 0] + rng.normal(0, 0.005, 4)
    grid = item.string_y(np.arange(item.strings, dtype=float)[:, None], x[None])
    nearest = np.abs(grid - tips[:, 1]).argmin(0) + rng.integers(-1, 2, 4) * (rng.random(4) < 0.45)
    down = rng.random(4) < 0.62
    if not down.any():
        down[rng.integers(3)] = True
    lift = np.where(down, 0.0, rng.choice([rng.uniform(0.002, 0.02, 4), rng.uniform(0.002, 0.06, 4)]))
    thumb_x = x[:2].mean() + rng.normal(0, 0.012)
    half = float(item.width(thumb_x)) / 2
    y = rng.uniform(-0.5, 0.5) * half
    surface = item.back_z + (1 - np.sqrt(1 - (y / half) ** 2)) * item.neck_m
    return Touch(
        x_m=x,
        string=np.clip(nearest, 0, item.strings - 1),
        lift_m=lift,
        thumb=np.array([thumb_x, y, surface - THUMB_RADIUS_M]),
    )


def solve_fingers(
    hand: Hand,
    target: FloatArray,
    start: FloatArray,
    prior: FloatArray,
    steps: int = 14,
    end_bend: FloatArray = NO_HABITS.end_bend,
) -> FloatArray:
    """(4, 4) finger states whose tip centres reach ``target`` (4, 3), hand coordinates. end_bend: see ``Habits``."""
    kept = np.isfinite(end_bend)
    wished = np.where(kept, end_bend, 0.0)

    def residuals(x: FloatArray) -> FloatArray:
        finger = np.tile(np.arange(4), len(x) // 4)
        miss = hand.tip_centres(hand.finger_joints(x, finger)) - target[finger]
        end = np.where(
            kept[finger], (x[:, 3] - wished[finger]) / 0.06, (x[:, 3] - END_PER_MIDDLE * x[:, 2]) / 0.5
        )
        natural = np.stack([end, x[:, 1] / 0.35, (x[:, 0] - prior[finger, 0]) / 1.2], axis=1)
        return np.concatenate([miss / 0.001, natural], axis=1)

    state, _ = least_squares(residuals, start, FINGER_LOW, FINGER_HIGH, steps)
    return state


def solve_thumb(hand: Hand, target: FloatArray, start: FloatArray, steps: int = 12) -> FloatArray:
    """(4,) thumb state whose tip reaches ``target`` (3,), hand coordinates, as far as it can."""

    def residuals(x: FloatArray) -> FloatArray:
        joints = hand.thumb_joints(x)
        tip = joints[:, 3] - (joints[:, 3] - joints[:, 2]) * 0.25
        return np.concatenate([(tip - target) / 0.003, (x - np.array([0.5, 0, 0.1, 0.2])) / 0.6], axis=1)

    state, _ = least_squares(residuals, start[None], THUMB_LOW, THUMB_HIGH, steps)
    return np.asarray(state[0])


def touch_strings(
    hand: Hand,
    item: Instrument,
    matrix: FloatArray,
    frame: FloatArray,
    place: FloatArray,
    touch: Touch,
    fingers: FloatArray,
    thumb: FloatArray,
    steps: int = 14,
    prior: FloatArray | None = None,
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Finger and thumb states on the strings, pad heights (4,) and misses (4,) in metres."""
    target = (out_of(matrix, touch_target(item, touch)) - place) @ frame
    state = solve_fingers(hand, target, fingers, fingers if prior is None else prior, steps, touch.end_bend)
    tips = hand.tip_centres(hand.finger_joints(state, np.arange(4)))
    miss = np.linalg.norm(tips - target, axis=1)
    lift = into(matrix, tips @ frame.T + place)[:, 2] - TIP_RADIUS_M
    goal = (out_of(matrix, touch.thumb) - place) @ frame
    return state, solve_thumb(hand, goal, thumb), lift, miss


def tuck(
    hand: Hand,
    item: Instrument,
    matrix: FloatArray,
    frame: FloatArray,
    place: FloatArray,
    touch: Touch,
    fingers: FloatArray,
    lift: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """States (4, 4) and lifts (4,) with the little finger tucked under where that is its habit and there is room; the
    lift of a tucked finger is NaN: it is not above the strings at all."""
    if touch.habits.tucked is None:
        return fingers, lift
    curled = np.concatenate([fingers[:3], touch.habits.tucked[None]])
    joints = into(matrix, hand.finger_joints(curled[3], 3) @ frame.T + place)
    if inside_neck(item, joints, 0.004).any():
        return fingers, lift
    return curled, np.append(lift[:3], np.nan)


def hand_on_neck(
    axes: FloatArray, roll_deg: FloatArray, yaw_deg: FloatArray, tilt_deg: FloatArray
) -> FloatArray:
    """Left-hand frames: distal direction across the neck, rolled to its front; then yaw and tilt."""
    r = np.radians(roll_deg)[:, None]
    along, up, front = axes[:, :, 0], axes[:, :, 1], axes[:, :, 2]
    distal = np.cos(r) * up + np.sin(r) * front
    palmar = np.sin(r) * up - np.cos(r) * front
    frame = np.stack([palmar, -distal, along], axis=2)
    return np.asarray(turned(front, yaw_deg) @ turned(distal, tilt_deg) @ frame)


def inside_neck(item: Instrument, points: FloatArray, margin: float) -> NDArray[np.bool_]:
    """Which points (..., 3) in instrument coordinates are in the neck, grown by ``margin``."""
    half = item.width(points[..., 0]) / 2
    return np.asarray(
        (np.abs(points[..., 1]) < half + margin)
        & (points[..., 2] < 0)
        & (points[..., 2] > item.back_z - margin)
        & (points[..., 0] < item.scale_m)
    )


def inside_body(item: Instrument, points: FloatArray, margin: float) -> NDArray[np.bool_]:
    """Which points (..., 3) in instrument coordinates are in the instrument's body, roughly."""
    joint = float(item.fret_x(item.joint_fret))
    t = (points[..., 0] - item.body_end_x) / item.body_length_m
    lower, waist, upper = item.lower_bout_m, item.waist_m, item.upper_bout_m
    widths = [0.5 * lower, 0.95 * lower, lower, waist, upper, 0.5 * upper]
    half = 0.5 * np.interp(t, [0, 0.15, 0.3, 0.6, 0.8, 1.0], widths)
    return np.asarray(
        (points[..., 0] > item.body_end_x)
        & (points[..., 0] < joint)
        & (np.abs(points[..., 1]) < half + margin)
        & (points[..., 2] < item.top_z + margin)
        & (points[..., 2] > item.top_z - item.depth_m - margin)
    )
