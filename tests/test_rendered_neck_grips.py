"""Barres and thumbs over the neck of rendered players, against the neck's own dimensions."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from calibration.body.arm import Arm
from calibration.body.bodies import load_bodies
from calibration.body.stance import sample_stance
from calibration.scene.hands import HandState, fret
from calibration.scene.instrument import Instrument, random_instrument
from calibration.scene.neck import NO_HABITS, Habits
from calibration.scene.neck_grips import WIDEST_NECK_M, Placed, strings_below

BODIES = Path(__file__).parent / "data" / "few_bodies.npz"
WRIST_DEG = (20.0, 5.0)


def found(habits: Habits, count: int) -> list[tuple[HandState, Instrument, NDArray[Any], Placed]]:
    """So many fretting hands with these habits: the state, the instrument and the 21 joints on it."""
    body, rng, out = load_bodies(BODIES).body(0), np.random.default_rng(11), []
    for _ in range(200):
        stance, item = sample_stance(body, rng), random_instrument(rng)
        one = fret(body, stance, item, WRIST_DEG, rng, habits)
        if one is None:
            continue
        state, _, matrix = one
        arm = Arm(body, "left")
        place = stance.shoulders["left"] + arm.upper_m * state.upper + arm.fore_m * state.fore
        placed = Placed(state.hand(body), item, matrix, state.hand_frame, place)
        joints = placed.on_instrument(placed.hand.landmarks(state.fingers, state.thumb))
        out.append((state, item, joints, placed))
        if len(out) == count:
            return out
    raise AssertionError(f"{len(out)} hands in 200 tries")


def angles_deg(state: HandState) -> NDArray[Any]:
    # scipy's intrinsic Z-X'-Y'' sequence, the one of Wu et al. 2005 for the wrist.
    turn = Rotation.from_matrix(state.forearm_frame.T @ state.hand_frame)
    return np.asarray(turn.as_euler("ZXY", degrees=True))


def test_a_barre_lies_flat_across_at_least_half_of_the_strings() -> None:
    for state, item, joints, placed in found(replace(NO_HABITS, barre=True), 5):
        middle, end, tip = joints[6:9]
        # A finger is 13 to 17 mm thick; its middle line lies half of that above the strings.
        assert all(0.004 < joint[2] < 0.012 for joint in (middle, end, tip))
        assert tip[1] - middle[1] > 0.9 * np.linalg.norm(tip - middle)
        below = [middle[1] - 0.002 < item.string_y(k, end[0]) < tip[1] + 0.002 for k in range(item.strings)]
        assert sum(below) >= item.strings // 2
        np.testing.assert_array_equal(strings_below(placed, state.fingers[0]), below)
        assert state.lift_m[0] == 0.0
        np.testing.assert_allclose(angles_deg(state), [*WRIST_DEG, 0.0], atol=1e-6)


def test_a_thumb_over_the_neck_goes_round_behind_it_to_the_bass_side() -> None:
    for state, item, joints, _ in found(replace(NO_HABITS, thumb_over=True), 3):
        assert item.nut_width_m <= WIDEST_NECK_M
        base, knuckle, tip = joints[2], joints[3], joints[4]
        half = item.width(joints[:, 0]) / 2
        assert base[1] < half[2]  # the bass side is y > 0
        pad = 0.75 * tip + 0.25 * knuckle
        assert pad[1] > half[4] - 0.004
        assert pad[2] > item.back_z  # no lower than the neck's back
        line = np.concatenate([np.linspace(base, knuckle, 9), np.linspace(knuckle, tip, 9)])
        across = np.abs(line[:, 1]) < item.width(line[:, 0]) / 2 - 0.004
        assert across.any()
        assert (line[across, 2] < item.back_z).all()
        np.testing.assert_allclose(angles_deg(state), [*WRIST_DEG, 0.0], atol=1e-6)


def test_no_thumb_goes_over_a_wide_neck() -> None:
    body, rng = load_bodies(BODIES).body(0), np.random.default_rng(3)
    wide = replace(random_instrument(rng), nut_width_m=0.052)
    for _ in range(20):
        habits = replace(NO_HABITS, thumb_over=True)
        assert fret(body, sample_stance(body, rng), wide, WRIST_DEG, rng, habits) is None
