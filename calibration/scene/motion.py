"""Natural movement: wrist angles along smooth tracks, chords that change, a body that sways.

A ``Performance`` turns one ``Setting`` into a player for any moment; called with rising times, each moment starts
from the one before, so that the arm moves smoothly. Wrist angles are exact at every moment, as in stills.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from calibration.body.arm import Arm, Reach, turned
from calibration.body.geometry import rotation_x, rotation_y, rotation_z
from calibration.body.hand_pose import TIP_RADIUS_M, wrist_turn
from calibration.body.stance import Stance
from calibration.scene.hands import THROUGH_M, HandState, arm_state, cuts, sample_wrist
from calibration.scene.neck import (
    CURL_SHARE,
    FINGER_HIGH,
    FINGER_LOW,
    into,
    out_of,
    solve_fingers,
    touch_strings,
    tuck,
)
from calibration.scene.player import Player, Setting, mirrored
from posturewatch.model.arrays import FloatArray

ROLL_PER_FLEXION = -0.6  # the hand rolls back round the neck as the wrist flexes; as in still poses
REACH_M = 0.008  # a wrist angle is playable when the hand comes this near to the strings
#: Seconds between two moments that are taken out of playing, and how many poses, each found from the last, lead to one.
MOMENTS_APART_S, POSES_A_MOMENT = 3.0, 6


@dataclass(frozen=True)
class Track:
    """A value over time: moves of (start_s, duration_s, to), min-jerk, constant between them."""

    start: float
    moves: tuple[tuple[float, float, float], ...] = ()

    def __call__(self, time_s: float) -> float:
        value = self.start
        for begin, duration, to in self.moves:
            if time_s <= begin:
                break
            s = min((time_s - begin) / duration, 1.0)
            value += (to - value) * (10 * s**3 - 15 * s**4 + 6 * s**5)
        return value


@dataclass(frozen=True)
class Drift:
    """Smooth noise of about unit size: a few slow sines."""

    rates_hz: FloatArray
    phases: FloatArray

    @staticmethod
    def random(rng: np.random.Generator, slow_hz: float = 0.07, fast_hz: float = 0.7) -> Drift:
        return Drift(rng.uniform(slow_hz, fast_hz, 4), rng.uniform(0, 2 * np.pi, 4))

    def __call__(self, time_s: float) -> float:
        return float(np.sin(2 * np.pi * self.rates_hz * time_s + self.phases).sum() / 1.6)


@dataclass(frozen=True)
class Score:
    """What is played. Angles in degrees; strings and lifts per finger; shift_m along the neck."""

    flexion: Track
    deviation: Track
    pluck_flexion: Track
    pluck_deviation: Track
    strings: tuple[Track, Track, Track, Track]
    lifts_m: tuple[Track, Track, Track, Track]
    shift_m: Track


@dataclass
class Performance:
    """Moves one setting. Call ``at`` with rising times. Without a score it can only tell what is ``playable``."""

    setting: Setting
    score: Score | None
    rng: np.random.Generator
    left_handed: bool = False
    sway_deg: float = 1.2
    tremble_deg: float = 1.0
    _last: dict[str, HandState] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self._drifts = [Drift.random(self.rng) for _ in range(12)]
        self._quick = [Drift.random(self.rng, 1.2, 4.5) for _ in range(5)]
        self._last = {"left": self.setting.fretting, "right": self.setting.plucking}
        setting = self.setting
        flat = replace(setting.touch, lift_m=np.zeros(4))
        hand = setting.fretting.hand(setting.body)
        place = self._wrist(setting.fretting)
        target = out_of(setting.matrix, _targets(setting, flat.x_m, flat.string.astype(float), np.zeros(4)))
        local = (target - place) @ setting.fretting.hand_frame
        self._curl = solve_fingers(hand, local, setting.fretting.fingers, setting.fretting.fingers)
        self._middle = into(setting.matrix, target).mean(0)

    def _wrist(self, state: HandState) -> FloatArray:
        arm = Arm(self.setting.body, state.side)
        shoulder = self.setting.stance.shoulders[state.side]
        return np.asarray(shoulder + arm.upper_m * state.upper + arm.fore_m * state.fore)

    def at(self, time_s: float) -> Player:
        """The player at a time, swaying."""
        fretting = self._fretting(time_s)
        plucking = self._plucking(time_s)
        self._last = {"left": fretting, "right": plucking}
        setting = replace(self.setting, fretting=fretting, plucking=plucking, stance=self._nod(time_s))
        player = self._sway(setting.player(), time_s)
        return mirrored(player) if self.left_handed else player

    def playable(self, flexion_deg: float, deviation_deg: float) -> bool:
        """Whether the fretting hand stays on the strings at these angles, tried from the setting's own pose."""
        begin = self.setting.fretting
        for share in (0.35, 0.7, 1.0):
            flexion = self.setting.fretting.flexion_deg * (1 - share) + flexion_deg * share
            deviation = self.setting.fretting.ulnar_deviation_deg * (1 - share) + deviation_deg * share
            begin, miss, strain = self._reach(begin, flexion, deviation, 0.0, 10)
        return miss < REACH_M and strain < 0.6

    def plausible(self) -> bool:
        """Whether the fretting hand was on the strings and nothing of it in the instrument when it was last asked for:
        what single poses are chosen by, and what an arm that goes where the music wants it cannot always keep."""
        setting, state = self.setting, self._last["left"]
        if np.nanmin(state.lift_m) < THROUGH_M:
            return False
        elbow = setting.stance.shoulders["left"] + Arm(setting.body, "left").upper_m * state.upper
        place, hand = self._wrist(state), state.hand(setting.body)
        return not cuts(
            hand, setting.item, setting.matrix, state.hand_frame, place, elbow, state.fingers, state.thumb
        )

    def _reach(
        self, begin: HandState, flexion: float, deviation: float, shift_m: float, steps: int
    ) -> tuple[HandState, float, float]:
        """Arm for these wrist angles; fingers are left as they were. Also the miss (m) and the strain."""
        setting = self.setting
        axes = setting.matrix[:, :3]
        roll = ROLL_PER_FLEXION * (flexion - setting.fretting.flexion_deg)
        curl = self._rolled(roll)
        hand = setting.fretting.hand(setting.body)
        contact = hand.tip_centres(hand.finger_joints(curl, np.arange(4))).mean(0)
        reach = Reach(
            point=out_of(setting.matrix, self._middle + np.array([shift_m, 0, 0]))[None],
            axes=axes[None],
            tolerance_m=np.array([[0.008, 0.0025, 0.002]]),
            frame=(turned(axes[:, 0], roll) @ setting.fretting.hand_frame)[None],
            frame_tolerance_deg=11.0,
            contact=contact[None],
            turn=wrist_turn(flexion, deviation)[None],
        )
        arm = Arm(setting.body, "left")
        shoulder = setting.stance.shoulders["left"][None]
        pose = arm.solve(shoulder, reach, setting.stance.trunk, begin.upper[None], begin.fore[None], steps)
        state = arm_state(
            hand, "fretting", (flexion, deviation), pose, 0, begin.fingers, begin.thumb, begin.lift_m
        )
        return state, float(pose.point_error_m[0, 1:].max()), float(pose.strain[0])

    def _played(self) -> Score:
        if self.score is None:
            raise ValueError("a performance without a score cannot be played")
        return self.score

    def _rolled(self, roll_deg: float) -> FloatArray:
        """The natural curl when the hand is rolled round the neck by so much more."""
        curl = self._curl.copy()
        curl[:, [0, 2, 3]] += np.radians(roll_deg) * CURL_SHARE
        return np.clip(curl, FINGER_LOW, FINGER_HIGH)

    def _fretting(self, time_s: float) -> HandState:
        score, drift = self._played(), self._drifts
        flexion = score.flexion(time_s) + self.tremble_deg * drift[0](time_s)
        deviation = score.deviation(time_s) + self.tremble_deg * 0.7 * drift[1](time_s)
        shift = score.shift_m(time_s)
        state, _, _ = self._reach(self._last["left"], flexion, deviation, shift, 7)
        setting = self.setting
        hand = setting.fretting.hand(setting.body)
        place = self._wrist(state)
        strings = np.array([track(time_s) for track in score.strings])
        lifts = np.array([track(time_s) for track in score.lifts_m])
        touch = replace(setting.touch, x_m=setting.touch.x_m + shift, string=strings, lift_m=lifts)
        touch = replace(touch, thumb=touch.thumb + np.array([shift, 0, 0]))
        before = self._last["left"]
        prior = self._rolled(ROLL_PER_FLEXION * (flexion - setting.fretting.flexion_deg))
        fingers, thumb, lift, _ = touch_strings(
            hand,
            setting.item,
            setting.matrix,
            state.hand_frame,
            place,
            touch,
            before.fingers,
            before.thumb,
            6,
            prior,
        )
        fingers, lift = tuck(
            hand, setting.item, setting.matrix, state.hand_frame, place, touch, fingers, lift
        )
        return replace(state, fingers=fingers, thumb=thumb, lift_m=lift)

    def _plucking(self, time_s: float) -> HandState:
        setting, drift = self.setting, self._drifts
        base = setting.plucking
        flexion = self._played().pluck_flexion(time_s) + 2 * self.tremble_deg * drift[2](time_s)
        deviation = self._played().pluck_deviation(time_s) + 1.5 * self.tremble_deg * drift[3](time_s)
        hand = setting.plucking.hand(setting.body)
        stroke = np.array([max(quick(time_s), -0.5) for quick in self._quick[:4]])
        fingers = base.fingers.copy()
        fingers[:, 0] += np.radians(7) * stroke
        fingers[:, 2] += np.radians(10) * stroke
        fingers = np.clip(fingers, FINGER_LOW, FINGER_HIGH)
        thumb = base.thumb + np.radians([4, 6, 5, 5]) * self._quick[4](time_s)
        contact = hand.tip_centres(hand.finger_joints(base.fingers, np.arange(4))).mean(0)
        local = into(setting.matrix, contact @ base.hand_frame.T + self._wrist(base))
        local = local + np.array([0.012 * drift[4](time_s), 0.006 * drift[5](time_s), 0.0])
        axes = setting.matrix[:, :3]
        reach = Reach(
            point=out_of(setting.matrix, local)[None],
            axes=axes[None],
            tolerance_m=np.array([[0.02, 0.01, 0.003]]),
            frame=base.hand_frame[None],
            frame_tolerance_deg=12.0,
            contact=contact[None],
            turn=wrist_turn(flexion, deviation)[None],
        )
        last = self._last["right"]
        shoulder = setting.stance.shoulders["right"][None]
        pose = Arm(setting.body, "right").solve(
            shoulder, reach, setting.stance.trunk, last.upper[None], last.fore[None], 6
        )
        state = arm_state(hand, "plucking", (flexion, deviation), pose, 0, fingers, thumb, base.lift_m)
        tips = hand.tip_centres(hand.finger_joints(fingers, np.arange(4))) @ state.hand_frame.T
        lift = into(setting.matrix, tips + self._wrist(state))[:, 2] - TIP_RADIUS_M
        return replace(state, lift_m=lift)

    def _nod(self, time_s: float) -> Stance:
        drift = self._drifts
        nod = rotation_y(np.radians(3 * drift[6](time_s))) @ rotation_x(np.radians(2 * drift[7](time_s)))
        turns = dict(self.setting.stance.turns)
        for bone in ("neck03", "head"):
            turns[bone] = nod @ turns[bone]
        return replace(self.setting.stance, turns=turns)

    def _sway(self, player: Player, time_s: float) -> Player:
        """The whole figure with its instrument, rocked a little about the hips."""
        angle = np.radians(self.sway_deg)
        d = [self._drifts[k](time_s) for k in (8, 9, 10)]
        sway = rotation_x(angle * d[0]) @ rotation_z(angle * d[1]) @ rotation_y(angle * d[2])
        hands = tuple(
            replace(
                hand,
                upper=sway @ hand.upper,
                fore=sway @ hand.fore,
                forearm_frame=sway @ hand.forearm_frame,
                hand_frame=sway @ hand.hand_frame,
            )
            for hand in player.hands
        )
        return replace(
            player,
            turns=sway @ player.turns,
            heads=player.heads @ sway.T,
            hands=(hands[0], hands[1]),
            instrument_matrix=sway @ player.instrument_matrix,
        )


def moments(performance: Performance, count: int) -> Iterator[Player]:
    """The player at moments some seconds apart, each of them reached from the one before; a little later where nothing
    plausible comes of the moment itself, and fewer where nothing does for long."""
    waited = 0
    for number in range(1, 2 * count * POSES_A_MOMENT + 1):
        player = performance.at(number * MOMENTS_APART_S / POSES_A_MOMENT)
        waited += 1
        if waited >= POSES_A_MOMENT and performance.plausible():
            yield player
            waited, count = 0, count - 1
        if not count:
            return


def _targets(setting: Setting, x_m: FloatArray, strings: FloatArray, lift_m: FloatArray) -> FloatArray:
    y = setting.item.string_y(strings, x_m)
    return np.stack([x_m, y, lift_m + TIP_RADIUS_M], axis=1)


def random_score(
    setting: Setting, seconds: float, rng: np.random.Generator, probe: Performance | None = None
) -> Score:
    """Chords and wrist angles of a video: mostly small changes, sometimes a new posture, holds of 0.4 to 6 s."""
    start = setting.fretting
    flexion, deviation = start.flexion_deg, start.ulnar_deviation_deg
    flexions: list[tuple[float, float, float]] = []
    deviations: list[tuple[float, float, float]] = []
    time_s = rng.uniform(0.3, 2.0)
    while time_s < seconds:
        duration = float(rng.uniform(0.35, 1.1))
        for _ in range(12):
            if rng.random() < 0.5:
                to = (flexion + rng.normal(0, 12), deviation + rng.normal(0, 6))
            else:
                to = sample_wrist(rng, "fretting")
            if abs(to[0]) < 78 and -32 < to[1] < 42 and (probe is None or probe.playable(*to)):
                flexion, deviation = float(to[0]), float(to[1])
                flexions.append((time_s, duration, flexion))
                deviations.append((time_s, duration, deviation))
                break
        time_s += duration + rng.choice([rng.uniform(0.2, 1.5), rng.uniform(1.5, 6.0)])
    pluck = setting.plucking
    return Score(
        flexion=Track(start.flexion_deg, tuple(flexions)),
        deviation=Track(start.ulnar_deviation_deg, tuple(deviations)),
        pluck_flexion=_slow_track(pluck.flexion_deg, 14, seconds, rng),
        pluck_deviation=_slow_track(pluck.ulnar_deviation_deg, 8, seconds, rng),
        **chords(setting, seconds, rng),
    )


def _slow_track(start: float, spread: float, seconds: float, rng: np.random.Generator) -> Track:
    moves, time_s = [], float(rng.uniform(0.5, 3))
    while time_s < seconds:
        duration = float(rng.uniform(0.5, 1.5))
        moves.append((time_s, duration, start + float(rng.normal(0, spread))))
        time_s += duration + float(rng.uniform(0.5, 5))
    return Track(start, tuple(moves))


def chords(setting: Setting, seconds: float, rng: np.random.Generator) -> dict[str, Any]:
    """Strings and lifts of the four fingers: chords changed every 0.5 to 2.5 s, and shifts along the neck."""
    touch, count, held_share = setting.touch, setting.item.strings, setting.touch.habits.held_share
    free_s = [0.0] * 4
    strings: list[list[tuple[float, float, float]]] = [[] for _ in range(4)]
    lifts: list[list[tuple[float, float, float]]] = [[] for _ in range(4)]
    shifts: list[tuple[float, float, float]] = []
    time_s = float(rng.uniform(0.4, 1.5))
    where = 0.0
    while time_s < seconds:
        if rng.random() < 0.2:
            where = float(np.clip(where + rng.normal(0, 0.025), -0.05, 0.05))
            shifts.append((time_s, 0.35, where))
        for finger in range(4):
            if rng.random() < 0.55 and time_s >= free_s[finger]:
                lifts[finger].append((time_s, 0.16, float(rng.uniform(0.006, 0.022))))
                string = int(np.clip(touch.string[finger] + rng.integers(-1, 2), 0, count - 1))
                strings[finger].append((time_s + 0.08, 0.2, float(string)))
                down = 0.0 if rng.random() < 0.7 else float(rng.uniform(0.002, 0.04))
                if held_share and rng.random() < held_share:
                    down = float(rng.uniform(0.02, 0.05))
                    free_s[finger] = time_s + float(rng.uniform(1.5, 6.0))
                lifts[finger].append((time_s + 0.24, 0.16, down))
        time_s += float(rng.uniform(0.5, 2.5))
    return {
        "strings": tuple(Track(float(touch.string[k]), tuple(strings[k])) for k in range(4)),
        "lifts_m": tuple(Track(float(touch.lift_m[k]), tuple(lifts[k])) for k in range(4)),
        "shift_m": Track(0.0, tuple(shifts)),
    }
