"""A seated or standing player holding an instrument, every wrist angle set exactly.

The player is laid out right-handed (left hand frets) and mirrored at the end for a left-handed one. World axes
as in ``bodies``: x to the player's left, y up, z to the front, metres.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calibration.arm import Arm, ArmPose, Reach, Trunk, turned
from calibration.bodies import Body
from calibration.geometry import across, least_squares, turn_vector, turn_x, turn_y, turn_z, unit
from calibration.hand_pose import THUMB_RADIUS_M, TIP_RADIUS_M, Hand, bone_suffix, wrist_turn
from calibration.instrument import Instrument, random_instrument

FloatArray = NDArray[np.floating[Any]]

CANDIDATES = 28
FINGER_LOW = np.radians([-25.0, -20.0, 2.0, -6.0])
FINGER_HIGH = np.radians([92.0, 20.0, 112.0, 75.0])
THUMB_LOW = np.radians([-15.0, -35.0, -15.0, -25.0])
THUMB_HIGH = np.radians([80.0, 40.0, 55.0, 70.0])
MIRROR = np.diag([-1.0, 1.0, 1.0])


@dataclass(frozen=True)
class HandState:
    """One posed arm and hand. Frames: anatomical, world axes. lift_m: (4,) pad above the strings."""

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


@dataclass(frozen=True)
class Player:
    """A posed player. turns: (B, 3, 3) world turns of the bones; heads: (B, 3); instrument_matrix: (3, 4)."""

    body: Body
    handedness: str
    turns: FloatArray
    heads: FloatArray
    hands: tuple[HandState, HandState]
    instrument: Instrument
    instrument_matrix: FloatArray
    seated: bool

    def hand(self, side: str) -> HandState:
        return next(hand for hand in self.hands if hand.side == side)

    def landmarks_m(self, side: str) -> FloatArray:
        """(21, 3) joints in world coordinates."""
        state = self.hand(side)
        local = Hand(self.body, side).landmarks(state.fingers, state.thumb)
        return local @ state.hand_frame.T + self.heads[self.body.bone("wrist" + bone_suffix(side))]

    def joint_m(self, name: str, side: str) -> FloatArray:
        return self.heads[self.body.bone(name + bone_suffix(side))]


@dataclass(frozen=True)
class Stance:
    """Everything but the arms: turns of torso, head and legs by bone label, shoulders and trunk."""

    turns: dict[str, FloatArray]
    shoulders: dict[str, FloatArray]
    trunk: Trunk
    belly: FloatArray
    seated: bool


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


def sample_stance(body: Body, rng: np.random.Generator, neck_side: float = 1.0) -> Stance:
    """Torso lean, head turned towards the neck, legs, shoulders."""
    seated = bool(rng.random() < 0.75)
    lean = turn_y(np.radians(rng.normal(0, 8))) @ turn_x(np.radians(rng.normal(8, 7)))
    lean = lean @ turn_z(np.radians(rng.normal(0, 4)))
    turns: dict[str, FloatArray] = {}
    for share, bone in zip(
        (0.2, 0.4, 0.6, 0.8, 1.0), ("spine05", "spine04", "spine03", "spine02", "spine01"), strict=True
    ):
        turns[bone] = turned(_axis(lean), share * _degrees(lean))
    chest = turns["spine01"]
    look = turn_y(np.radians(neck_side * rng.uniform(-10, 55))) @ turn_x(np.radians(rng.uniform(-8, 35)))
    look = look @ turn_z(np.radians(rng.normal(0, 8)))
    for share, bone in zip((0.25, 0.45, 0.65, 1.0), ("neck01", "neck02", "neck03", "head"), strict=True):
        turns[bone] = chest @ turned(_axis(look), share * _degrees(look))
    for side, sign in (("L", 1), ("R", -1)):
        raise_deg = rng.normal(1, 4)
        shoulder = chest @ turn_y(np.radians(sign * rng.normal(-3, 4))) @ turn_z(np.radians(sign * raise_deg))
        turns[f"clavicle.{side}"] = turns[f"shoulder01.{side}"] = shoulder
        if seated:
            thigh = turn_y(np.radians(sign * rng.uniform(5, 28))) @ turn_x(np.radians(-rng.uniform(72, 97)))
            shank = turn_y(np.radians(sign * rng.uniform(-5, 20))) @ turn_x(np.radians(rng.uniform(-10, 15)))
            turns[f"upperleg01.{side}"] = turns[f"upperleg02.{side}"] = thigh
            turns[f"lowerleg01.{side}"] = turns[f"lowerleg02.{side}"] = shank
    return stance_from(body, turns, seated)


def stance_from(body: Body, turns: dict[str, FloatArray], seated: bool) -> Stance:
    """Shoulders and trunk that follow from the torso's turns."""
    full = fill_turns(body, turns)
    heads = body.skeleton(full, np.zeros(3))
    trunk = body.skin(full, heads, body.shared.trunk_vertices)
    height = trunk[:, 1]
    middle = trunk[(height > 0.08) & (height < 0.36)]
    low, high = np.percentile(middle[:, [0, 2]], [3, 97], axis=0)
    shoulders = {side: heads[body.bone("upperarm01" + bone_suffix(side))] for side in ("left", "right")}
    levels = np.linspace(0.0, 0.45, 10)
    belly = np.array([np.percentile(trunk[np.abs(height - y) < 0.04, 2], 97) for y in levels])
    return Stance(
        turns=turns,
        shoulders=shoulders,
        trunk=Trunk(centre=(low + high) / 2, half=(high - low) / 2 + 0.035),
        belly=np.stack([levels, belly], 1),
        seated=seated,
    )


def fill_turns(body: Body, turns: dict[str, FloatArray]) -> FloatArray:
    """(B, 3, 3): named turns, every other bone following its parent."""
    full = np.empty((len(body.shared.bone_labels), 3, 3))
    for bone, (label, parent) in enumerate(
        zip(body.shared.bone_labels, body.shared.bone_parents, strict=True)
    ):
        full[bone] = turns.get(label, np.eye(3) if parent < 0 else full[parent])
    return full


def _axis(turn: FloatArray) -> FloatArray:

    return unit(turn_vector(turn))


def _degrees(turn: FloatArray) -> float:

    return float(np.degrees(np.linalg.norm(turn_vector(turn))))


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


def curl_template(total_deg: FloatArray, rng: np.random.Generator, count: int) -> FloatArray:
    """(count, 4, 4) finger states whose three joints together bend by about ``total_deg`` (count,)."""
    share = np.array([0.22, 0.48, 0.30])
    bend = total_deg[:, None, None] * share + rng.normal(0, 4, (count, 4, 3))
    state = np.zeros((count, 4, 4))
    state[:, :, 0], state[:, :, 2], state[:, :, 3] = bend[..., 0], bend[..., 1], bend[..., 2]
    state[:, :, 1] = rng.normal(0, 2, (count, 4))
    return np.clip(np.radians(state), FINGER_LOW, FINGER_HIGH)


def into(matrix: FloatArray, points: FloatArray) -> FloatArray:
    """World points (..., 3) in the coordinates of a (3, 4) frame."""
    return (points - matrix[:, 3]) @ matrix[:, :3]


def out_of(matrix: FloatArray, points: FloatArray) -> FloatArray:
    return points @ matrix[:, :3].T + matrix[:, 3]


def solve_fingers(
    hand: Hand, target: FloatArray, start: FloatArray, prior: FloatArray, steps: int = 14
) -> FloatArray:
    """(4, 4) finger states whose tip centres reach ``target`` (4, 3), hand coordinates."""

    def residuals(x: FloatArray) -> FloatArray:
        finger = np.tile(np.arange(4), len(x) // 4)
        miss = hand.tip_centres(hand.finger_joints(x, finger)) - target[finger]
        natural = np.stack(
            [(x[:, 3] - 0.62 * x[:, 2]) / 0.5, x[:, 1] / 0.35, (x[:, 0] - prior[finger, 0]) / 1.2], axis=1
        )
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
    return state[0]


@dataclass(frozen=True)
class Touch:
    """What the fretting fingers do: place along and string of each finger, wished height of the pads."""

    x_m: FloatArray
    string: NDArray[np.int64]
    lift_m: FloatArray
    thumb: FloatArray  # (3,) thumb target in instrument coordinates


def touch_target(item: Instrument, touch: Touch) -> FloatArray:
    """(4, 3) wished tip centres in instrument coordinates."""
    y = item.string_y(touch.string, touch.x_m)
    return np.stack([touch.x_m, y, touch.lift_m + TIP_RADIUS_M], axis=1)


def sample_touch(item: Instrument, tips: FloatArray, rng: np.random.Generator) -> Touch:
    """Strings near where the relaxed tips (4, 3) already are; some fingers lifted by a known height."""
    x = tips[:, 0] + rng.normal(0, 0.005, 4)
    grid = item.string_y(np.arange(item.strings)[:, None], x[None])
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


def inside_neck(item: Instrument, points: FloatArray, margin: float) -> NDArray[np.bool_]:
    """Which points (..., 3) in instrument coordinates are in the neck, grown by ``margin``."""
    half = item.width(points[..., 0]) / 2
    return (
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
    return (
        (points[..., 0] > item.body_end_x)
        & (points[..., 0] < joint)
        & (np.abs(points[..., 1]) < half + margin)
        & (points[..., 2] < item.top_z + margin)
        & (points[..., 2] > item.top_z - item.depth_m - margin)
    )


def _fret(
    body: Body, stance: Stance, item: Instrument, wrist: tuple[float, float], rng: np.random.Generator
) -> tuple[HandState, FloatArray] | None:
    """The fretting hand (left) and the instrument's matrix, or None when no candidate is plausible."""
    arm, hand = Arm(body, "left"), Hand(body, "left")
    count = CANDIDATES
    matrices = place_instruments(item, stance, rng, count)
    axes = matrices[:, :, :3]
    roll = np.clip(50 - 0.6 * wrist[0] + rng.normal(0, 16, count), -15, 100)
    curl = curl_template(90 + roll - rng.uniform(0, 40, count), rng, count)
    frame = hand_on_neck(axes, roll, rng.normal(0, 14, count), rng.normal(0, 10, count))
    joints = np.stack([hand.finger_joints(curl[:, k], k) for k in range(4)], 1)
    contact = hand.tip_centres(joints).mean(1)
    last = item.joint_fret - (2 if not item.solid else 6)
    x = item.fret_x(rng.uniform(1.5, last, count))
    y = rng.uniform(-0.32, 0.32, count) * item.width(x)
    local = np.stack([x, y, np.full(count, TIP_RADIUS_M + 0.004)], 1)
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
        & (pose.strain < 0.6)
    )
    for k in np.flatnonzero(good)[np.argsort(pose.frame_error_deg[good] + rng.exponential(14, good.sum()))][
        :8
    ]:
        state = _finish_fretting(hand, item, matrices[k], pose, k, curl[k], wrist, rng)
        if state is not None:
            return state, matrices[k]
    return None


def hand_on_neck(
    axes: FloatArray, roll_deg: FloatArray, yaw_deg: FloatArray, tilt_deg: FloatArray
) -> FloatArray:
    """Left-hand frames: distal direction across the neck, rolled to its front; then yaw and tilt."""
    r = np.radians(roll_deg)[:, None]
    along, up, front = axes[:, :, 0], axes[:, :, 1], axes[:, :, 2]
    distal = np.cos(r) * up + np.sin(r) * front
    palmar = np.sin(r) * up - np.cos(r) * front
    frame = np.stack([palmar, -distal, along], axis=2)
    return turned(front, yaw_deg) @ turned(distal, tilt_deg) @ frame


def _finish_fretting(
    hand: Hand,
    item: Instrument,
    matrix: FloatArray,
    pose: ArmPose,
    k: int,
    curl: FloatArray,
    wrist: tuple[float, float],
    rng: np.random.Generator,
) -> HandState | None:
    frame, place = pose.hand_frame[k], pose.wrist[k]
    relaxed = hand.tip_centres(hand.finger_joints(curl, np.arange(4)))
    touch = sample_touch(item, into(matrix, relaxed @ frame.T + place), rng)
    fingers, thumb, lift, miss = touch_strings(hand, item, matrix, frame, place, touch, curl, np.zeros(4))
    if (np.abs(lift) < 0.0015).sum() < 1 or lift.min() < -0.003 or (miss > 0.02).any():
        return None
    landmarks = into(matrix, hand.landmarks(fingers, thumb) @ frame.T + place)
    palm = np.concatenate([landmarks[[5, 9, 13, 17]], 0.5 * (landmarks[[0]] + landmarks[[5, 17]])])
    middle = 0.5 * (landmarks[[5, 9, 13, 17]] + landmarks[[6, 10, 14, 18]])
    if inside_neck(item, palm, 0.006).any() or inside_neck(item, middle, 0.003).any():
        return None
    arm_points = place + np.linspace(0, 0.8, 6)[:, None] * (pose.elbow[k] - place)
    if inside_neck(item, into(matrix, arm_points), 0.02).any():
        return None
    if inside_body(item, into(matrix, np.concatenate([arm_points, place[None]])), 0.025).any():
        return None
    return _state("left", "fretting", wrist, pose, k, fingers, thumb, lift)


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
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Finger and thumb states on the strings, pad heights (4,) and misses (4,) in metres."""
    target = (out_of(matrix, touch_target(item, touch)) - place) @ frame
    state = solve_fingers(hand, target, fingers, fingers, steps)
    tips = hand.tip_centres(hand.finger_joints(state, np.arange(4)))
    miss = np.linalg.norm(tips - target, axis=1)
    lift = into(matrix, tips @ frame.T + place)[:, 2] - TIP_RADIUS_M
    goal = (out_of(matrix, touch.thumb) - place) @ frame
    return state, solve_thumb(hand, goal, thumb), lift, miss


def _pluck(
    body: Body,
    stance: Stance,
    item: Instrument,
    matrix: FloatArray,
    wrist: tuple[float, float],
    rng: np.random.Generator,
) -> HandState | None:
    arm, hand = Arm(body, "right"), Hand(body, "right")
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
    frame = np.stack([-front, -distal, radial], axis=2) @ turn_z(np.radians(pitch))
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
        return _state("right", "plucking", wrist, pose, k, curl[k], thumb, lift)
    return None


def _state(
    side: str,
    role: str,
    wrist: tuple[float, float],
    pose: ArmPose,
    k: int,
    fingers: FloatArray,
    thumb: FloatArray,
    lift: FloatArray,
) -> HandState:
    return HandState(
        side=side,
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
    )


def assemble(
    body: Body, stance: Stance, item: Instrument, matrix: FloatArray, hands: tuple[HandState, HandState]
) -> Player:
    """The posed skeleton of a right-handed player."""
    turns = dict(stance.turns)
    for state in hands:
        turns |= Arm(body, state.side).turns(state.upper, state.fore, state.forearm_frame)
        turns |= Hand(body, state.side).turns(state.hand_frame, state.fingers, state.thumb)
    full = fill_turns(body, turns)
    heads = body.skeleton(full, np.zeros(3))
    return Player(body, "right", full, heads, hands, item, matrix, stance.seated)


def mirrored(player: Player) -> Player:
    """The same player with left and right exchanged; the instrument's frame becomes left-handed."""
    labels = player.body.shared.bone_labels
    other = {".L": ".R", ".R": ".L"}
    swap = [labels.index(label[:-2] + other.get(label[-2:], label[-2:])) for label in labels]
    turns = MIRROR @ player.turns[swap] @ MIRROR
    flip = {"left": "right", "right": "left"}
    hands = tuple(
        replace(
            hand,
            side=flip[hand.side],
            upper=MIRROR @ hand.upper,
            fore=MIRROR @ hand.fore,
            forearm_frame=MIRROR @ hand.forearm_frame,
            hand_frame=MIRROR @ hand.hand_frame,
        )
        for hand in player.hands
    )
    return replace(
        player,
        handedness=flip[player.handedness],
        turns=turns,
        heads=player.body.skeleton(turns, player.heads[0]),
        hands=hands,
        instrument_matrix=MIRROR @ player.instrument_matrix,
    )


def sample_player(body: Body, rng: np.random.Generator, left_handed: bool, tries: int = 200) -> Player:
    """A random plausible player. Wrist angles are kept while arms, stance and instrument are tried anew."""
    fret_wrist, pluck_wrist = sample_wrist(rng, "fretting"), sample_wrist(rng, "plucking")
    for attempt in range(tries):
        if attempt and attempt % 12 == 0:
            fret_wrist = sample_wrist(rng, "fretting")
        if attempt and attempt % 6 == 0:
            pluck_wrist = sample_wrist(rng, "plucking")
        stance = sample_stance(body, rng)
        item = random_instrument(rng)
        fretting = _fret(body, stance, item, fret_wrist, rng)
        if fretting is None:
            continue
        for _ in range(3):
            plucking = _pluck(body, stance, item, fretting[1], pluck_wrist, rng)
            if plucking is not None:
                player = assemble(body, stance, item, fretting[1], (fretting[0], plucking))
                return mirrored(player) if left_handed else player
    raise RuntimeError(f"no plausible pose found for body {body.identity}")
