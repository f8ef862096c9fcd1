"""The estimator's features: the symmetries they are meant to take away, and what is missing."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from calibration.dataset.table import load
from calibration.evaluate.weights import read_weights
from posturewatch.kinematics.features import (
    BLOCKS,
    FEATURE_COUNT,
    FEATURES,
    FIRST_GUESS,
    features,
    focal_px,
    palm_size_px,
)
from posturewatch.model.estimator_outputs import OUTPUTS
from posturewatch.model.network_outputs import GUESS_UNIT, FingerOutputs, ForearmOutputs
from posturewatch.model.observation import (
    BodyObservation,
    ForearmAxis,
    HandObservation,
    Observation,
    Side,
    other_side,
)
from posturewatch.tracking.crop import WIDE
from posturewatch.tracking.forearm import axis_of

EVALUATION = Path(__file__).resolve().parents[1] / "calibration" / "evaluate" / "data"
WIDTH_PX, HEIGHT_PX = 1280, 720
RNG = np.random.default_rng(5)
#: A left hand somewhere in the picture; the shape is of no matter to what is tested here.
HAND_PX = np.column_stack([RNG.uniform(500, 700, 21), RNG.uniform(250, 450, 21), RNG.normal(0, 20, 21)])
HAND_M = RNG.normal(0, 0.05, (21, 3))
#: What `fingers.onnx` and `forearm.onnx` give.
FINGER_COUNT, FOREARM_COUNT = 118, 21
SAID_OF_FINGERS: FingerOutputs[Any] = FingerOutputs.from_rows(RNG.normal(0, 1, FINGER_COUNT))
SAID_OF_FOREARM: ForearmOutputs[Any] = ForearmOutputs.from_rows(RNG.normal(0, 1, FOREARM_COUNT))
OF_FINGERS = replace(SAID_OF_FINGERS, strings_spread=np.array(0.1))
OF_FOREARM = replace(SAID_OF_FOREARM, strings_logit=np.array(2.0))
BODY_PX = np.column_stack([RNG.uniform(100, 1100, 33), RNG.uniform(50, 700, 33), RNG.normal(0, 50, 33)])
BODY_M = RNG.normal(0, 0.3, (33, 3))


def axis(elbow_px: tuple[float, float] = (600.0, 600.0)) -> ForearmAxis:
    return ForearmAxis(HAND_PX[0, :2], np.array(elbow_px), 4.0, OF_FOREARM)


def seen(
    side: Side = "left", forearm: ForearmAxis | None = None, body: bool = True, fingers: bool = True
) -> Observation:
    hand = HandObservation(side, 0.9, 0.95, HAND_PX, HAND_M, True, forearm, OF_FINGERS if fingers else None)
    watched = BodyObservation(BODY_PX, BODY_M, np.full(33, 0.8), 0.0) if body else None
    return Observation(0, 0.0, WIDTH_PX, HEIGHT_PX, (hand,), watched)


def mirrored(observation: Observation) -> Observation:
    """What a mirror shows: x turned about the picture's middle, left and right exchanged."""

    def px(points: NDArray[Any]) -> NDArray[Any]:
        out = points.copy()
        out[..., 0] = WIDTH_PX - out[..., 0]
        return out

    def metres(points: NDArray[Any]) -> NDArray[Any]:
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


def of(observation: Observation) -> NDArray[Any]:
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
    for block in BLOCKS.values():
        assert not vector[block].any()
    full = of(seen(forearm=axis(), fingers=True))
    assert [full[block.start] for block in BLOCKS.values()] == [1.0, 1.0, 1.0]
    assert vector.shape == (FEATURE_COUNT,)


def test_every_number_of_the_vector_has_one_name() -> None:
    parts = [part for at in FEATURES.values() for part in range(at.start, at.stop)]
    assert parts == list(range(FEATURE_COUNT))


def test_what_the_networks_say_reaches_the_estimator_in_the_order_of_their_rows() -> None:
    """On recorded rows: the order is that of the file, which the weights were trained on."""
    raw = {name: np.load(EVALUATION / f"{name}-test.npz")["output"] for name in ("forearm", "fingers")}
    x = load(EVALUATION, "test").x
    forearm, fingers = x[:, BLOCKS["forearm"]], x[:, BLOCKS["fingers"]]
    # The block begins with a flag, direction, deviation and slope of the axis; all but the first four of the row
    # follow, then two pairs of angles.
    assert np.array_equal(forearm[:, 5:-4], raw["forearm"][:, 4:].clip(-6, 6))
    assert np.array_equal(forearm[:, 4], raw["forearm"][:, 3].clip(-3, 3))
    assert np.array_equal(fingers[:, 1:-2], raw["fingers"][:, :117].clip(-6, 6))


def test_features_lie_as_the_weights_in_use_remember_them() -> None:
    """The weights keep mean and spread of every feature over the players they were trained on. Other players' features
    are spread alike, each in its own place; of features that are one place further the means correlate by 0.4."""
    weights, x = read_weights(), load(EVALUATION, "test").x
    varied = weights["x_scale"] > 0.01  # a flag that is always up has no spread
    assert np.corrcoef(x.mean(axis=0), weights["x_mean"])[0, 1] > 0.9
    spread, scale = np.log(x.std(axis=0)[varied]), np.log(weights["x_scale"][varied])
    assert np.corrcoef(spread, scale)[0, 1] > 0.9


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
    flat = np.hypot(*forearm[:2, 1])
    of_forearm: ForearmOutputs[Any] = ForearmOutputs.from_rows(np.zeros(FOREARM_COUNT))
    of_fingers: FingerOutputs[Any] = FingerOutputs.from_rows(np.zeros(FINGER_COUNT))
    said_of_forearm = replace(
        of_forearm,
        direction=forearm[:2, 1] / flat,
        depth_slope=forearm[2, 1] / flat,
        hand_proximal=hand[:, 1],
        hand_radial=hand[:, 2],
        forearm_radial=forearm[:, 2],
        wrist_guess=np.array([flexion, deviation]) / GUESS_UNIT,
    )
    said_of_fingers = replace(
        of_fingers,
        hand_proximal=hand[:, 1],
        hand_radial=hand[:, 2],
        guess=np.arange(len(OUTPUTS)) / 10,
    )
    observation = seen(side, axis_of(said_of_forearm, WIDE.transform(HAND_PX, side)))
    hand_seen = replace(observation.hands[0], fingers=said_of_fingers)
    vector = features(replace(observation, hands=(hand_seen,)), hand_seen)
    assert (vector @ FIRST_GUESS)[:2] == pytest.approx([flexion, deviation], abs=0.2)
    assert (vector @ FIRST_GUESS)[2:] == pytest.approx(np.arange(2, len(OUTPUTS)) * GUESS_UNIT / 10)


def test_an_old_body_says_nothing() -> None:
    stale = replace(seen(), time_s=2.0)
    assert not of(stale)[BLOCKS["body"]].any()


def test_focal_length_of_a_right_angle() -> None:
    # A field of view of 90 degrees spans as much to either side as ahead (trigonometry).
    assert focal_px(1280, 720, 90.0) == pytest.approx(640.0)
    assert focal_px(720, 1280, 90.0) == pytest.approx(640.0)


def test_palm_size_survives_foreshortening() -> None:
    flat = np.zeros((21, 3))
    flat[5, :2], flat[9, :2], flat[13, :2], flat[17, :2] = (-40, -90), (-13, -95), (13, -92), (38, -85)
    short = flat * [1.0, 0.3, 1.0]
    assert palm_size_px(short) > 0.8 * palm_size_px(flat) > 0
