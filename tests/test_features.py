"""The estimator's features: the symmetries they are meant to take away, and what is missing."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from posturewatch.kinematics.features import (
    BLOCKS,
    FEATURE_COUNT,
    FINGER_FEATURES,
    FINGER_PARTS,
    FIRST_GUESS,
    FOREARM_FEATURES,
    GUESS_UNIT,
    features,
    focal_px,
    palm_size_px,
)
from posturewatch.kinematics.outputs import OUTPUTS
from posturewatch.model.observation import (
    BodyObservation,
    ForearmAxis,
    HandObservation,
    Observation,
    Side,
    other_side,
)
from posturewatch.tracking import fingers
from posturewatch.tracking.crop import WIDE
from posturewatch.tracking.forearm import SIDE_FEATURE, axis_of

WIDTH_PX, HEIGHT_PX = 1280, 720
RNG = np.random.default_rng(5)
#: A left hand somewhere in the picture; the shape is of no matter to what is tested here.
HAND_PX = np.column_stack([RNG.uniform(500, 700, 21), RNG.uniform(250, 450, 21), RNG.normal(0, 20, 21)])
HAND_M = RNG.normal(0, 0.05, (21, 3))
OF_FINGERS = RNG.normal(0, 1, FINGER_FEATURES)
BODY_PX = np.column_stack([RNG.uniform(100, 1100, 33), RNG.uniform(50, 700, 33), RNG.normal(0, 50, 33)])
BODY_M = RNG.normal(0, 0.3, (33, 3))


def axis(elbow_px: tuple[float, float] = (600.0, 600.0)) -> ForearmAxis:
    return ForearmAxis(HAND_PX[0, :2], np.array(elbow_px), 4.0, 0.3, np.array([0.1, 0.5, -0.2, 2.0]))


def seen(
    side: Side = "left", forearm: ForearmAxis | None = None, body: bool = True, fingers: bool = True
) -> Observation:
    hand = HandObservation(side, 0.9, 0.95, HAND_PX, HAND_M, True, forearm, OF_FINGERS if fingers else None)
    watched = BodyObservation(BODY_PX, BODY_M, np.full(33, 0.8), 0.0) if body else None
    return Observation(0, 0.0, WIDTH_PX, HEIGHT_PX, (hand,), watched)


def mirrored(observation: Observation) -> Observation:
    """What a mirror shows: x turned about the picture's middle, left and right exchanged."""

    def px(points: np.ndarray) -> np.ndarray:
        out = points.copy()
        out[..., 0] = WIDTH_PX - out[..., 0]
        return out

    def metres(points: np.ndarray) -> np.ndarray:
        return points * [-1.0, 1.0, 1.0]

    hand = observation.hands[0]
    forearm = hand.forearm
    if forearm is not None:
        forearm = replace(
            forearm, wrist_px=px(forearm.wrist_px), towards_elbow_px=px(forearm.towards_elbow_px)
        )
    hand = replace(
        hand,
        side=other_side(hand.side),
        landmarks_px=px(hand.landmarks_px),
        landmarks_m=metres(hand.landmarks_m),
        forearm=forearm,
    )
    body = observation.body
    if body is not None:
        # The body's landmarks from 11 on come in pairs, left then right.
        order = np.arange(33)
        order[11:] = np.arange(11, 33).reshape(-1, 2)[:, ::-1].ravel()
        body = replace(
            body,
            landmarks_px=px(body.landmarks_px)[order],
            landmarks_m=metres(body.landmarks_m)[order],
            visibility=body.visibility[order],
        )
    return replace(observation, hands=(hand,), body=body)


def of(observation: Observation) -> np.ndarray:
    return features(observation, observation.hands[0])


def test_a_right_hand_is_its_mirror_image() -> None:
    left = seen(forearm=axis(), fingers=True)
    assert of(mirrored(left)) == pytest.approx(of(left), abs=1e-9)


def test_size_in_the_picture_does_not_matter_to_the_shape() -> None:
    near = seen(forearm=axis())
    hand = near.hands[0]
    far = replace(near, hands=(replace(hand, landmarks_px=hand.landmarks_px * 0.5),), body=None)
    assert of(far)[:129] == pytest.approx(of(near)[:129], abs=1e-9)


def test_what_was_not_seen_is_zero_with_its_flag() -> None:
    vector = of(seen(forearm=None, body=False, fingers=False))
    for block in BLOCKS:
        assert not vector[block].any()
    full = of(seen(forearm=axis(), fingers=True))
    assert [full[block.start] for block in BLOCKS] == [1.0, 1.0, 1.0]
    assert vector.shape == (FEATURE_COUNT,)


def test_what_the_finger_network_says_is_handed_on() -> None:
    block = of(seen(fingers=True))[BLOCKS[2]]
    assert block[1 : 1 + FINGER_FEATURES] == pytest.approx(OF_FINGERS)
    parts = [part for at in FINGER_PARTS.values() for part in range(at.start, at.stop)]
    assert parts == list(range(FINGER_FEATURES + 1))
    # What it says further, of how well it can place the strings, is no feature.
    hand = seen(fingers=True)
    more = replace(hand, hands=(replace(hand.hands[0], fingers=np.append(OF_FINGERS, 0.3)),))
    assert of(more)[BLOCKS[2]] == pytest.approx(block)


def test_the_side_lies_where_the_tracker_reads_it() -> None:
    assert FINGER_PARTS["side"].start == fingers.SIDE_AT
    assert FOREARM_FEATURES == SIDE_FEATURE + 1


@pytest.mark.parametrize("side", ["left", "right"])
@pytest.mark.parametrize(("flexion", "deviation"), [(0.0, 0.0), (40.0, -15.0), (-30.0, 25.0)])
def test_the_first_guess_is_the_isb_angle_of_what_the_networks_see(
    side: Side, flexion: float, deviation: float
) -> None:
    # scipy's intrinsic Z-X'-Y'' sequence, the one of Wu et al. 2005 for the wrist, on frames with the columns volar,
    # proximal, radial; in a crop every hand is a left one, whose volar axis is mirrored.
    mirror = np.diag([-1.0, 1.0, 1.0])
    forearm = Rotation.from_euler("XYZ", [20.0, 30.0, 10.0], degrees=True).as_matrix() @ mirror
    hand = forearm @ Rotation.from_euler("ZXY", [flexion, deviation, 0.0], degrees=True).as_matrix()
    axes = [*hand[:, 1], *hand[:, 2]]
    flat = np.hypot(*forearm[:2, 1])
    guess = np.array([flexion, deviation]) / GUESS_UNIT
    row = [
        *(forearm[:2, 1] / flat), -3.0, forearm[2, 1] / flat, 0.0, 0.0, 0.0,
        *axes, *forearm[:, 2], 0.0, 0.0, *guess, 0.0,
    ]  # fmt: skip
    said = np.zeros(FINGER_FEATURES)
    said[FINGER_PARTS["axes"]] = axes
    said[FINGER_PARTS["guess"]] = np.arange(len(OUTPUTS)) / 10
    seen_forearm = axis_of(np.array(row), WIDE.transform(HAND_PX, side))
    observation = seen(side, seen_forearm)
    hand_seen = replace(observation.hands[0], fingers=said)
    vector = features(replace(observation, hands=(hand_seen,)), hand_seen)
    assert (vector @ FIRST_GUESS)[:2] == pytest.approx([flexion, deviation], abs=0.2)
    assert (vector @ FIRST_GUESS)[2:] == pytest.approx(np.arange(2, len(OUTPUTS)) * GUESS_UNIT / 10)


def test_a_network_of_another_form_says_nothing() -> None:
    observation = seen()
    hand = replace(observation.hands[0], fingers=np.ones(7))
    assert not of(replace(observation, hands=(hand,)))[BLOCKS[2]].any()


def test_an_old_body_says_nothing() -> None:
    stale = replace(seen(), time_s=2.0)
    assert not of(stale)[BLOCKS[1]].any()


def test_focal_length_of_a_right_angle() -> None:
    # A field of view of 90 degrees spans as much to either side as ahead (trigonometry).
    assert focal_px(1280, 720, 90.0) == pytest.approx(640.0)
    assert focal_px(720, 1280, 90.0) == pytest.approx(640.0)


def test_palm_size_survives_foreshortening() -> None:
    flat = np.zeros((21, 3))
    flat[5, :2], flat[9, :2], flat[13, :2], flat[17, :2] = (-40, -90), (-13, -95), (13, -92), (38, -85)
    short = flat * [1.0, 0.3, 1.0]
    assert palm_size_px(short) > 0.8 * palm_size_px(flat) > 0
