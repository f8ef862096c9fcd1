"""Both arms of a right-handed player on an instrument, every wrist angle set exactly.

World axes as in ``bodies``: x to the player's left, y up, z to the front, metres.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from calibration.body.arm import Arm, ArmPose, Reach, turned
from calibration.body.bodies import Body
from calibration.body.geometry import across, rotation_z
from calibration.body.hand_pose import TIP_RADIUS_M, Hand, wrist_turn
from calibration.body.stance import Stance
from calibration.scene.grip import Gripped
from calibration.scene.instrument import Instrument
from calibration.scene.neck import (
    Habits,
    Touch,
    curl_template,
    hand_on_neck,
    inside_body,
    inside_neck,
    into,
    sample_touch,
    touch_strings,
    tuck,
)
from calibration.scene.neck_grips import (
    Placed,
    barre_curl,
    lay_flat,
    over_the_neck,
    place_grip,
    possible,
    round_roll,
)
from posturewatch.model.arrays import FloatArray

CANDIDATES = 28
THROUGH_M = -0.003  # a lift below which a fingertip is in the fingerboard


@dataclass(frozen=True)
class HandState:
    """One posed arm and hand. role: fretting, plucking, bowing or none. Frames: anatomical, world axes. lift_m: (4,)
    pad above the strings, NaN where there are none. gripped: a flat thing in it, in the hand's own coordinates."""

    side: str
    role: str
    flexion_deg: float
    ulnar_deviation_deg: float
    upper: FloatArray
    fore: FloatArray
    forearm_frame: FloatArray
    hand_frame: FloatArray
    fingers: FloatArray
    thumb: FloatArray
    lift_m: FloatArray
    cup: float = 0.0
    gripped: Gripped | None = None

    def hand(self, body: Body) -> Hand:
        """Its hand's kinematics."""
        return Hand(body, self.side, self.cup)


def sample_wrist(rng: np.random.Generator, role: str) -> tuple[float, float]:
    """Flexion and ulnar deviation, broad, inside an oblique ellipse-like envelope (Li 2005; Crisco 2011)."""
    low_high = (-60.0, 75.0, -30.0, 40.0) if role == "fretting" else (-45.0, 60.0, -28.0, 38.0)
    while True:
        flexion = rng.uniform(low_high[0], low_high[1])
        deviation = rng.uniform(low_high[2], low_high[3])
        centre = 4.0 + 0.12 * flexion
        a = (flexion - 8) / 76
        d = (deviation - centre) / 38
        if a * a + d * d < 1:
            return float(flexion), float(deviation)


@dataclass(frozen=True)
class Hold:
    """How an instrument is held: places for it, how far the hand is rolled round its neck at a straight wrist, how the
    knuckles' row is turned against the strings (mean and spread), and how much the arm may be strained."""

    place: Callable[[Instrument, Stance, np.random.Generator, int], FloatArray]
    roll_deg: float = 50.0
    yaw_deg: tuple[float, float] = (0.0, 14.0)
    strain: float = 0.6


def place_instruments(item: Instrument, stance: Stance, rng: np.random.Generator, count: int) -> FloatArray:
    """(count, 3, 4) plausible instrument matrices in front of the trunk."""
    rise = np.radians(rng.uniform(0, 55, count) if stance.seated else rng.uniform(-2, 45, count))
    swing = np.radians(rng.uniform(-5, 42, count))
    along = np.stack([np.cos(rise) * np.cos(swing), np.sin(rise), np.cos(rise) * np.sin(swing)], 1)
    front = across(np.broadcast_to([0.0, 0.0, 1.0], along.shape), along)
    front = np.einsum("bij,bj->bi", turned(along, -rng.uniform(-5, 35, count)), front)
    up = np.cross(front, along)
    axes = np.stack([along, up, front], axis=2)
    size = item.body_length_m / 0.485
    centre = np.array([item.body_end_x + 0.45 * item.body_length_m, 0.0, item.top_z - item.depth_m])
    y = rng.uniform(0.12, 0.30, count) + (1 - min(size, 1)) * 0.2
    x = rng.uniform(-0.2, 0.02, count)
    z = np.interp(y, stance.belly[:, 0], stance.belly[:, 1]) + rng.uniform(-0.005, 0.03, count)
    # A neck that swings forwards would push the lower bout into the belly: move out by half of that.
    z = z + 0.5 * np.abs(np.sin(swing)) * item.lower_bout_m * 0.5
    origin = np.stack([x, y, z], 1) - np.einsum("bij,j->bi", axes, centre)
    return np.concatenate([axes, origin[:, :, None]], axis=2)


def fret(
    body: Body,
    stance: Stance,
    item: Instrument,
    wrist: tuple[float, float],
    rng: np.random.Generator,
    habits: Habits,
    hold: Hold | None = None,
) -> tuple[HandState, Touch, FloatArray] | None:
    """The fretting hand (left), what it touches and the instrument's matrix, or None. ``hold`` says how it is
    held, as a guitar where it is left out."""
    if not possible(item, habits):
        return None
    arm, hand = Arm(body, "left"), Hand(body, "left", habits.cup)
    count = CANDIDATES
    hold = hold or Hold(place_instruments)
    matrices = hold.place(item, stance, rng, count)
    axes = matrices[:, :, :3]
    roll = np.clip(hold.roll_deg - 0.6 * wrist[0] + rng.normal(0, 16, count), -15, hold.roll_deg + 50)
    roll = round_roll(roll, habits, rng)
    curl = curl_template(90 + roll - rng.uniform(0, 40, count), rng, count)
    curl = barre_curl(curl, roll, habits, rng)
    frame = hand_on_neck(axes, roll, rng.normal(*hold.yaw_deg, count), rng.normal(0, 10, count))
    joints = np.stack([hand.finger_joints(curl[:, k], k) for k in range(4)], 1)
    contact = hand.tip_centres(joints).mean(1)
    last = item.joint_fret - (2 if not item.solid else 6)
    x = item.fret_x(rng.uniform(1.5, last, count))
    y = rng.uniform(-0.32, 0.32, count) * item.width(x)
    local = np.stack([x, y, np.full(count, TIP_RADIUS_M + 0.004)], 1)
    contact, local = place_grip(item, habits, joints, contact, local, rng)
    reach = Reach(
        point=np.einsum("bij,bj->bi", axes, local) + matrices[:, :, 3],
        axes=axes,
        tolerance_m=np.tile([0.02, 0.0025, 0.002], (count, 1)),
        frame=frame,
        frame_tolerance_deg=11.0,
        contact=contact,
        turn=np.broadcast_to(wrist_turn(*wrist), (count, 3, 3)),
    )
    shoulder = np.broadcast_to(stance.shoulders["left"], (count, 3))
    upper, fore = arm.guess(
        shoulder, reach.point - np.einsum("bij,bj->bi", frame, contact), rng.uniform(-0.7, 0.7, count)
    )
    pose = arm.solve(shoulder, reach, stance.trunk, upper, fore)
    good = (
        (pose.point_error_m[:, 1:].max(1) < 0.006)
        & (pose.point_error_m[:, 0] < 0.06)
        & (pose.frame_error_deg < 42)
        & (pose.strain < hold.strain)
    )
    for k in np.flatnonzero(good)[np.argsort(pose.frame_error_deg[good] + rng.exponential(14, good.sum()))][
        :8
    ]:
        found = _finish_fretting(hand, item, matrices[k], pose, k, curl[k], wrist, rng, habits)
        if found is not None:
            return *found, matrices[k]
    return None


def _finish_fretting(
    hand: Hand,
    item: Instrument,
    matrix: FloatArray,
    pose: ArmPose,
    k: int,
    curl: FloatArray,
    wrist: tuple[float, float],
    rng: np.random.Generator,
    habits: Habits,
) -> tuple[HandState, Touch] | None:
    frame, place = pose.hand_frame[k], pose.wrist[k]
    relaxed = hand.tip_centres(hand.finger_joints(curl, np.arange(4)))
    touch = replace(sample_touch(item, into(matrix, relaxed @ frame.T + place), rng), habits=habits)
    fingers, thumb, lift, miss = touch_strings(hand, item, matrix, frame, place, touch, curl, np.zeros(4))
    placed = Placed(hand, item, matrix, frame, place)
    if habits.barre:
        flat = lay_flat(placed, curl[0])
        if flat is None:
            return None
        fingers, lift, miss = np.concatenate([flat[None], fingers[1:]]), np.append(0.0, lift[1:]), miss[1:]
    if habits.thumb_over:
        over = over_the_neck(placed, float(touch.x_m[:2].mean() + rng.normal(0.005, 0.015)), rng)
        if over is None:
            return None
        thumb = over
    if (np.abs(lift) < 0.0015).sum() < 1 or lift.min() < THROUGH_M or (miss > 0.02).any():
        return None
    fingers, lift = tuck(hand, item, matrix, frame, place, touch, fingers, lift)
    if cuts(hand, item, matrix, frame, place, pose.elbow[k], fingers, thumb):
        return None
    return arm_state(hand, "fretting", wrist, pose, k, fingers, thumb, lift), touch


def cuts(
    hand: Hand,
    item: Instrument,
    matrix: FloatArray,
    frame: FloatArray,
    place: FloatArray,
    elbow: FloatArray,
    fingers: FloatArray,
    thumb: FloatArray,
) -> bool:
    """Whether palm, fingers or arm pass through the instrument. place, elbow: (3,) of the wrist and of the elbow."""
    landmarks = into(matrix, hand.landmarks(fingers, thumb) @ frame.T + place)
    palm = np.concatenate([landmarks[[5, 9, 13, 17]], 0.5 * (landmarks[[0]] + landmarks[[5, 17]])])
    middle = 0.5 * (landmarks[[5, 9, 13, 17]] + landmarks[[6, 10, 14, 18]])
    if inside_neck(item, palm, 0.006).any() or inside_neck(item, middle, 0.003).any():
        return True
    arm_points = place + np.linspace(0, 0.8, 6)[:, None] * (elbow - place)
    if inside_neck(item, into(matrix, arm_points), 0.02).any():
        return True
    return bool(inside_body(item, into(matrix, np.concatenate([arm_points, place[None]])), 0.025).any())


def pluck(
    body: Body,
    stance: Stance,
    item: Instrument,
    matrix: FloatArray,
    wrist: tuple[float, float],
    rng: np.random.Generator,
    cup: float = 0.0,
) -> HandState | None:
    arm, hand = Arm(body, "right"), Hand(body, "right", cup)
    count = CANDIDATES
    axes = np.broadcast_to(matrix[:, :3], (count, 3, 3))
    total = rng.uniform(40, 170, count)
    curl = curl_template(total, rng, count)
    joints = np.stack([hand.finger_joints(curl[:, k], k) for k in range(4)], 1)
    contact = hand.tip_centres(joints).mean(1)
    angle, pitch = np.radians(rng.uniform(5, 80, count))[:, None], rng.uniform(-5, 55, count)
    along, up, front = axes[:, :, 0], axes[:, :, 1], axes[:, :, 2]
    distal = np.cos(angle) * along - np.sin(angle) * up
    radial = np.cos(angle) * up + np.sin(angle) * along
    frame = np.stack([-front, -distal, radial], axis=2) @ rotation_z(np.radians(pitch))
    frame = turned(rng.normal(0, 1, (count, 3)), rng.normal(0, 10, count)) @ frame
    x = float(item.fret_x(item.joint_fret)) * 0.47 + rng.normal(0, 0.05, count)
    height = TIP_RADIUS_M + rng.uniform(-0.002, 0.014, count)
    local = np.stack([x, rng.normal(0, 0.014, count), height], 1)
    reach = Reach(
        point=local @ matrix[:, :3].T + matrix[:, 3],
        axes=axes,
        tolerance_m=np.tile([0.02, 0.01, 0.003], (count, 1)),
        frame=frame,
        frame_tolerance_deg=12.0,
        contact=contact,
        turn=np.broadcast_to(wrist_turn(*wrist), (count, 3, 3)),
    )
    shoulder = np.broadcast_to(stance.shoulders["right"], (count, 3))
    place = reach.point - np.einsum("bij,bj->bi", frame, contact)
    upper, fore = arm.guess(shoulder, place, rng.uniform(-1.0, 1.0, count))
    pose = arm.solve(shoulder, reach, stance.trunk, upper, fore)
    good = (
        (pose.point_error_m[:, 2] < 0.012)
        & (pose.point_error_m.max(1) < 0.07)
        & (pose.frame_error_deg < 45)
        & (pose.strain < 0.6)
    )
    for k in np.flatnonzero(good)[np.argsort(pose.frame_error_deg[good] + rng.exponential(12, good.sum()))][
        :8
    ]:
        thumb = np.radians(rng.uniform([5, -25, -5, 0], [45, 20, 25, 35]))
        joints_k = into(matrix, hand.landmarks(curl[k], thumb) @ pose.hand_frame[k].T + pose.wrist[k])
        if (inside_body(item, joints_k, 0.005)).any():
            continue
        arm_points = pose.wrist[k] + np.linspace(0, 1, 7)[:, None] * (pose.elbow[k] - pose.wrist[k])
        if inside_body(item, into(matrix, arm_points), 0.025).any():
            continue
        tips = hand.tip_centres(hand.finger_joints(curl[k], np.arange(4)))
        lift = into(matrix, tips @ pose.hand_frame[k].T + pose.wrist[k])[:, 2] - TIP_RADIUS_M
        return arm_state(hand, "plucking", wrist, pose, k, curl[k], thumb, lift)
    return None


def arm_state(
    hand: Hand,
    role: str,
    wrist: tuple[float, float],
    pose: ArmPose,
    k: int,
    fingers: FloatArray,
    thumb: FloatArray,
    lift: FloatArray,
) -> HandState:
    """The state of candidate ``k`` of a solved arm."""
    return HandState(
        side=hand.side,
        role=role,
        flexion_deg=wrist[0],
        ulnar_deviation_deg=wrist[1],
        upper=pose.upper[k],
        fore=pose.fore[k],
        forearm_frame=pose.forearm_frame[k],
        hand_frame=pose.hand_frame[k],
        fingers=fingers,
        thumb=thumb,
        lift_m=lift,
        cup=hand.cup,
    )
