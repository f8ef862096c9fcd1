"""Players of other instruments than guitars, and hands without one: bowed instruments, hands on their way, resting in
the lap, gesturing, waving. Every wrist angle is set exactly, as in ``player``.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from calibration.body.arm import Arm, Reach, turned
from calibration.body.bodies import Body
from calibration.body.geometry import rotation_y, rotation_z, unit
from calibration.body.hand_pose import TIP_RADIUS_M, Hand, wrist_turn
from calibration.body.stance import Stance, sample_stance, stance_from
from calibration.scene.grip import grip
from calibration.scene.hands import HandState, Hold, arm_state, fret, pluck, sample_wrist
from calibration.scene.instrument import Instrument, random_instrument
from calibration.scene.neck import (
    FINGER_HIGH,
    FINGER_LOW,
    Habits,
    curl_template,
    inside_body,
    into,
    sample_habits,
)
from calibration.scene.other_instruments import (
    BOW_M,
    CHIN_KINDS,
    KNEE_KINDS,
    PLUCKED_KINDS,
    STICK_M,
    between_the_knees,
    other_instrument,
    under_the_chin,
)
from calibration.scene.player import Player, assemble, mirrored, sample_player
from posturewatch.model.arrays import FloatArray

TRIES = 120
FREE_CANDIDATES = 16
KINDS = ("guitar", "plucked", "violin", "viola", "cello", "double bass", "one hand", "no instrument")
SHARES = (0.52, 0.09, 0.08, 0.02, 0.07, 0.02, 0.08, 0.12)
NATURAL_SHARE = 0.55
HOLDING_SHARE = 0.35  # of hands that play nothing, raised or before the player
BARRE_SHARE, THUMB_OVER_SHARE = 0.12, 0.08  # of fretting hands, where no bow is used
AT_THE_CHIN = Hold(under_the_chin, 92.0, (46.0, 13.0), 2.2)
AT_THE_KNEES = Hold(between_the_knees)


def natural_wrist(rng: np.random.Generator, role: str) -> tuple[float, float]:
    """Flexion and ulnar deviation as players mostly hold them; else as broadly as ``sample_wrist``."""
    if rng.random() > NATURAL_SHARE:
        return sample_wrist(rng, "fretting" if role == "fretting" else "plucking")
    middle, spread = {
        "fretting": ((24.0, 3.0), (20.0, 12.0)),
        "plucking": ((15.0, 2.0), (20.0, 12.0)),
        "bowing": ((5.0, 4.0), (20.0, 12.0)),
        "none": ((-3.0, 3.0), (24.0, 11.0)),
    }[role]
    flexion, deviation = rng.normal(middle, spread)
    return float(np.clip(flexion, -60, 75)), float(np.clip(deviation, -28, 36))


def sample_cup(rng: np.random.Generator) -> float:
    """Arch of the palm in radians. The little finger's metacarpal bends by up to some 25 degrees in a grip, and the
    outer knuckles sink; to who knows flat palms alone that looks like ulnar deviation."""
    return float(np.radians(np.clip(rng.normal(9, 8), 0, 25)))


def sample_any_player(body: Body, rng: np.random.Generator, left_handed: bool) -> Player:
    """A random plausible player of anything. Raises RuntimeError when nothing plausible is found."""
    kind = str(rng.choice(KINDS, p=SHARES))
    habits = sample_habits(rng)
    if kind not in BOW_M:
        habits = _with_a_grip(habits, rng)
    if kind == "guitar" and rng.random() > NATURAL_SHARE:
        return sample_player(body, rng, left_handed, habits)
    habits = replace(habits, cup=sample_cup(rng))
    for _ in range(TRIES):
        player = _one(body, rng, kind, habits)
        if player is not None:
            return mirrored(player) if left_handed else player
    raise RuntimeError(f"no plausible pose found for body {body.identity} ({kind})")


def _with_a_grip(habits: Habits, rng: np.random.Generator) -> Habits:
    """Perhaps with a barre, or with the thumb over the neck."""
    drawn = rng.random()
    barre = bool(drawn < BARRE_SHARE)
    return replace(habits, barre=barre, thumb_over=not barre and bool(drawn < BARRE_SHARE + THUMB_OVER_SHARE))


def _one(body: Body, rng: np.random.Generator, kind: str, habits: Habits) -> Player | None:
    stance = sample_stance(body, rng)
    if kind == "no instrument":
        return _without(body, stance, rng)
    wrist = natural_wrist(rng, "fretting")
    if kind in BOW_M:
        return _bowed(body, stance, rng, kind, wrist, habits)
    plucked = kind == "plucked"
    item = other_instrument(str(rng.choice(PLUCKED_KINDS)), rng) if plucked else random_instrument(rng)
    found = fret(body, stance, item, wrist, rng, habits)
    if found is None:
        return None
    left, _, matrix = found
    right = pluck(body, stance, item, matrix, natural_wrist(rng, "plucking"), rng, sample_cup(rng))
    if right is None:
        return None
    if kind == "one hand":  # the other is on its way, gestures or rests
        free = "left" if rng.random() < 0.5 else "right"
        state = _free_hand(body, stance, free, rng, item, matrix)
        if state is None:
            return None
        left, right = (state, right) if free == "left" else (left, state)
    return assemble(body, stance, item, matrix, (left, right))


def _bowed(
    body: Body,
    stance: Stance,
    rng: np.random.Generator,
    kind: str,
    wrist: tuple[float, float],
    habits: Habits,
) -> Player | None:
    item = other_instrument(kind, rng)
    if kind in KNEE_KINDS:
        stance = _knees_apart(body, stance, rng)
    hold = AT_THE_CHIN if kind in CHIN_KINDS else AT_THE_KNEES
    found = fret(body, stance, item, wrist, rng, habits, hold)
    if found is None:
        return None
    left, _, matrix = found
    if rng.random() < 0.12:
        free = _free_hand(body, stance, "right", rng, item, matrix)
        return None if free is None else assemble(body, stance, item, matrix, (left, free))
    bowing = _bow(body, stance, item, matrix, kind, rng)
    if bowing is None:
        return None
    right, bow = bowing
    return replace(assemble(body, stance, item, matrix, (left, right)), bow=bow, bow_m=BOW_M[kind])


def _knees_apart(body: Body, stance: Stance, rng: np.random.Generator) -> Stance:
    turns = dict(stance.turns)
    if stance.seated:
        apart = np.radians(rng.uniform(12, 26))
        for side, sign in (("L", 1), ("R", -1)):
            for bone in ("upperleg01", "upperleg02", "lowerleg01", "lowerleg02"):
                turns[f"{bone}.{side}"] = rotation_y(sign * apart) @ turns[f"{bone}.{side}"]
    return stance_from(body, turns, stance.seated)


def _bow(
    body: Body, stance: Stance, item: Instrument, matrix: FloatArray, kind: str, rng: np.random.Generator
) -> tuple[HandState, FloatArray] | None:
    """The bow hand (right) and the bow's matrix."""
    arm, hand = Arm(body, "right"), Hand(body, "right", sample_cup(rng))
    count = FREE_CANDIDATES
    across_, front = matrix[:, 1], matrix[:, 2]
    sign = 1.0 if kind in CHIN_KINDS else -1.0
    lean = np.radians(rng.uniform(-22, 22, count))[:, None]
    way = sign * (np.cos(lean) * across_ + np.sin(lean) * front)
    stick = np.cos(lean) * front - np.sin(lean) * across_
    string = rng.integers(item.strings)
    x = rng.uniform(0.04, 0.16) * item.scale_m
    contact = matrix[:, :3] @ [x, float(item.string_y(string, x)), 0.0] + matrix[:, 3]
    frog = contact - rng.uniform(0.08, 0.92, count)[:, None] * BOW_M[kind] * way
    total = rng.uniform(50, 135, count)
    curl = curl_template(total, rng, count)
    curl[:, 3, [0, 2]] -= np.radians(rng.uniform(0, 20, (count, 1)))  # the little finger stands more upright
    joints = np.stack([hand.finger_joints(curl[:, k], k) for k in range(4)], 1)
    tips = hand.tip_centres(joints).mean(1)
    frame = np.stack([-stick, np.cross(way, -stick), way], axis=2)
    frame = frame @ rotation_z(np.radians(rng.uniform(-35, 45, count)))
    frame = turned(stick, rng.normal(0, 14, count)) @ turned(way, rng.normal(0, 10, count)) @ frame
    reach = Reach(
        point=frog + stick * (STICK_M + TIP_RADIUS_M) + way * rng.uniform(-0.01, 0.05, (count, 1)),
        axes=np.stack([way, np.cross(stick, way), stick], axis=2),
        tolerance_m=np.tile([0.01, 0.004, 0.004], (count, 1)),
        frame=frame,
        frame_tolerance_deg=12.0,
        contact=tips,
        turn=np.stack([wrist_turn(*natural_wrist(rng, "bowing"))] * count),
    )
    shoulder = np.broadcast_to(stance.shoulders["right"], (count, 3))
    place = reach.point - np.einsum("bij,bj->bi", frame, tips)
    upper, fore = arm.guess(shoulder, place, rng.uniform(-0.4, 1.1, count))
    pose = arm.solve(shoulder, reach, stance.trunk, upper, fore)
    good = (pose.point_error_m.max(1) < 0.012) & (pose.frame_error_deg < 45) & (pose.strain < 0.8)
    for k in np.flatnonzero(good)[np.argsort(pose.frame_error_deg[good] + rng.exponential(12, good.sum()))]:
        thumb = np.radians(rng.uniform([25, -10, 0, 15], [60, 25, 25, 55]))
        points = hand.landmarks(curl[k], thumb) @ pose.hand_frame[k].T + pose.wrist[k]
        if inside_body(item, into(matrix, points), 0.004).any():
            continue
        tip = hand.tip_centres(hand.finger_joints(curl[k], np.arange(4))).mean(0)
        grip = tip @ pose.hand_frame[k].T + pose.wrist[k] - stick[k] * (STICK_M + TIP_RADIUS_M)
        start = frog[k] + stick[k] * ((grip - frog[k]) @ stick[k])
        bow = np.stack([way[k], np.cross(stick[k], way[k]), stick[k], start], axis=1)
        lift = np.full(4, np.nan)
        return arm_state(hand, "bowing", _angles(reach.turn[k]), pose, int(k), curl[k], thumb, lift), bow
    return None


def _angles(turn: FloatArray) -> tuple[float, float]:
    """Flexion and ulnar deviation in degrees of a ``wrist_turn``."""
    return (
        float(np.degrees(np.arctan2(-turn[0, 1], turn[0, 0]))),
        float(np.degrees(np.arctan2(turn[2, 1], turn[2, 2]))),
    )


def sample_bystander(body: Body, rng: np.random.Generator) -> Player:
    """Somebody without an instrument. Raises RuntimeError when nothing plausible is found."""
    for _ in range(TRIES):
        player = _without(body, sample_stance(body, rng), rng)
        if player is not None:
            return player
    raise RuntimeError(f"no plausible pose found for body {body.identity}")


def elsewhere(player: Player, turn_rad: float, shift_m: FloatArray) -> Player:
    """The same player turned about the vertical and moved."""
    turn = rotation_y(turn_rad)
    hands = tuple(
        replace(
            hand,
            upper=turn @ hand.upper,
            fore=turn @ hand.fore,
            forearm_frame=turn @ hand.forearm_frame,
            hand_frame=turn @ hand.hand_frame,
        )
        for hand in player.hands
    )
    return replace(
        player, turns=turn @ player.turns, heads=player.heads @ turn.T + shift_m, hands=(hands[0], hands[1])
    )


def _without(body: Body, stance: Stance, rng: np.random.Generator) -> Player | None:
    left = _free_hand(body, stance, "left", rng)
    right = _free_hand(body, stance, "right", rng)
    if left is None or right is None:
        return None
    return assemble(body, stance, None, np.eye(4)[:3], (left, right))


def _free_hand(
    body: Body,
    stance: Stance,
    side: str,
    rng: np.random.Generator,
    item: Instrument | None = None,
    matrix: FloatArray | None = None,
) -> HandState | None:
    """A hand that plays nothing: in the lap, gesturing, raised, or hanging; some hold something flat."""
    arm, hand = Arm(body, side), Hand(body, side, sample_cup(rng))
    count, out = FREE_CANDIDATES, 1.0 if side == "left" else -1.0
    kind = rng.choice(["lap", "gesture", "raised", "hanging"], p=[0.25, 0.45, 0.2, 0.1])
    low, high = {
        "lap": ([0.02, 0.02, 0.22], [0.22, 0.14, 0.45]),
        "gesture": ([-0.05, 0.08, 0.2], [0.45, 0.55, 0.5]),
        "raised": ([0.1, 0.4, 0.05], [0.55, 0.85, 0.45]),
        "hanging": ([0.24, -0.25, -0.1], [0.42, 0.05, 0.2]),
    }[str(kind)]
    place = rng.uniform(low, high, (count, 3)) * [out, 1.0, 1.0]
    wrist = natural_wrist(rng, "none")
    frame = turned(rng.normal(0, 1, (count, 3)), rng.uniform(0, 180, count))
    if kind == "lap":  # palms down, more or less
        way = unit(rng.normal([-0.4 * out, 0, 1.0], [0.5, 0.2, 0.4], (count, 3)))
        palm = unit(np.cross(np.cross(way, [0.0, -1.0, 0.0]), way))
        frame = np.stack([palm, -way, np.cross(palm, -way)], axis=2)
        frame = frame @ rotation_y(np.radians(rng.normal(0, 30, count)))
    if side == "left":  # its frames are mirrored
        frame = frame * np.array([1.0, 1.0, -1.0])
    reach = Reach(
        point=place,
        axes=np.broadcast_to(np.eye(3), (count, 3, 3)),
        tolerance_m=np.full((count, 3), 0.03),
        frame=frame,
        frame_tolerance_deg=25.0,
        contact=np.zeros((count, 3)),
        turn=np.broadcast_to(wrist_turn(*wrist), (count, 3, 3)),
    )
    shoulder = np.broadcast_to(stance.shoulders[side], (count, 3))
    upper, fore = arm.guess(shoulder, place, rng.uniform(-0.6, 0.9, count))
    pose = arm.solve(shoulder, reach, stance.trunk, upper, fore)
    holding = kind in ("gesture", "raised") and rng.random() < HOLDING_SHARE
    for k in np.flatnonzero((pose.point_error_m.max(1) < 0.12) & (pose.strain < 0.6)):
        found = grip(hand, rng) if holding else None
        fingers, thumb, gripped = found or (*_free_fingers(rng), None)
        points = hand.landmarks(fingers, thumb) @ pose.hand_frame[k].T + pose.wrist[k]
        points = np.concatenate([points, np.linspace(pose.elbow[k], pose.wrist[k], 6)])
        inside = (points[:, [0, 2]] - stance.trunk.centre) / stance.trunk.half
        if ((inside**2).sum(1) < 0.8)[:21].any() and (points[:21, 1] < stance.shoulders[side][1]).any():
            continue
        if item is not None and matrix is not None and inside_body(item, into(matrix, points), 0.02).any():
            continue
        state = arm_state(hand, "none", wrist, pose, int(k), fingers, thumb, np.full(4, np.nan))
        return replace(state, gripped=gripped)
    return None


def _free_fingers(rng: np.random.Generator) -> tuple[FloatArray, FloatArray]:
    """Fingers and thumb of an empty hand: open, relaxed, a fist, or single ones stretched out."""
    total = float(
        rng.choice([rng.uniform(0, 50), rng.uniform(40, 120), rng.uniform(150, 240)], p=[0.4, 0.4, 0.2])
    )
    curl = curl_template(np.array([total]), rng, 1)[0]
    if rng.random() < 0.3:
        straight = rng.random(4) < 0.45
        curl[straight] = curl_template(np.array([15.0]), rng, 1)[0][straight]
    curl[:, 1] += rng.uniform(-0.03, 0.2) * np.array([-1.0, -0.3, 0.4, 1.1]) + rng.normal(0, 0.03, 4)
    thumb = np.radians(rng.uniform([-5, -25, -5, -5], [60, 35, 35, 50]))
    return np.clip(curl, FINGER_LOW, FINGER_HIGH), thumb
