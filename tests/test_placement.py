"""How well a view measures, and what would help: by hand-made looks, and against the errors on rendered players."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from page_stand_ins import Player

from calibration.dataset.rows import FRAMES_A_VIDEO
from calibration.dataset.table import read
from calibration.evaluate.placement import judged_videos, lines
from calibration.evaluate.videos import EITHER
from calibration.evaluate.weights import read_weights
from posturewatch.comfort.looks import FAIR_ERROR, WELL_ERROR, Advice, Grade, HandLook, Help, Look
from posturewatch.comfort.placement import PlacementCheck, grade, placement_sentence
from posturewatch.config.settings import Settings
from posturewatch.kinematics.estimator import Estimator
from posturewatch.kinematics.network import Ensemble
from posturewatch.kinematics.viewpoint import towards_head_deg
from posturewatch.model.frame import Frame
from posturewatch.model.measurement import FrameMeasurement, HandMeasurement, Measurement, Refusal
from posturewatch.model.observation import BODY_LANDMARKS, BodyObservation, HandObservation, Side
from posturewatch.model.quantities import QUANTITY_NAMES
from posturewatch.model.reading import Reading
from posturewatch.pipeline.view.camera_moved import CameraMoved
from posturewatch.pipeline.view.placement_watch import PlacementWatch, clearness, placement_json

EVALUATION = Path(__file__).resolve().parents[1] / "calibration" / "evaluate" / "data"
WRIST = ("wrist_flexion", "wrist_ulnar_deviation")
MATTERS: dict[Side, tuple[str, ...]] = {"left": (*WRIST, "index_lift", "ring_lift"), "right": WRIST}

GOOD = HandLook(dict.fromkeys(QUANTITY_NAMES, 4.0), 60.0, 0.1, True, 2.0, 0.6, 0.14)
GONE = HandLook(dict.fromkeys(QUANTITY_NAMES, Refusal.HAND_NOT_SEEN))


def check(
    left: HandLook = GOOD, right: HandLook = GOOD, rate_hz: float = 25.0, **more: Any
) -> PlacementCheck:
    """Six seconds of the same view."""
    made = PlacementCheck(MATTERS)
    for frame in range(round(6 * rate_hz)):
        made.add(Look(frame / rate_hz, {"left": left, "right": right}, **more))
    return made


def hand(sd: float | Refusal = 8.0, **changes: Any) -> HandLook:
    return replace(GOOD, numbers=dict.fromkeys(QUANTITY_NAMES, sd), **changes)


@pytest.mark.parametrize(
    ("sd", "share", "unit", "expected"),
    [
        (5.4, 0.9, "deg", Grade.WELL),
        (5.4, 0.5, "deg", Grade.FAIRLY),
        (8.9, 0.9, "deg", Grade.FAIRLY),
        (12.0, 0.9, "deg", Grade.POORLY),
        (3.0, 0.3, "deg", Grade.NOT),
        (None, 0.0, "deg", Grade.NOT),
        (1.0, 1.0, "mm", Grade.FAIRLY),
        (9.0, 1.0, "mm", Grade.POORLY),
    ],
)
def test_grades(sd: float | None, share: float, unit: str, expected: Grade) -> None:
    assert grade(sd, share, unit) is expected


def test_a_good_view_needs_nothing() -> None:
    found = check().result()
    assert found.enough
    assert found.advice is None
    assert found.rate_hz == pytest.approx(25.0)
    assert [(one.side, one.name, one.grade.value) for one in found.graded] == [
        ("left", "wrist_flexion", "well"),
        ("left", "wrist_ulnar_deviation", "well"),
        ("left", "finger_lift", "fairly"),
        ("right", "wrist_flexion", "well"),
        ("right", "wrist_ulnar_deviation", "well"),
    ]
    assert placement_sentence(found.graded) == (
        "This view measures left wrist flexion, left wrist deviation, right wrist flexion, right wrist deviation well; "
        "left finger lift fairly."
    )


@pytest.mark.parametrize(
    ("left", "right", "more", "expected"),
    [
        (GONE, GONE, {}, Advice(Help.SHOW_HANDS)),
        (GONE, GOOD, {}, Advice(Help.SHOW_HANDS, "left")),
        (GOOD, GONE, {}, Advice(Help.SHOW_HANDS, "right")),
        # Something was taken for a hand, and is none.
        (hand(Refusal.HAND_NOT_SEEN, axis_sd_deg=60.0), GOOD, {}, Advice(Help.SHOW_HANDS, "left")),
        (hand(Refusal.HAND_NOT_SEEN, axis_sd_deg=60.0), GONE, {}, Advice(Help.SHOW_HANDS)),
        (hand(12.0), GOOD, {"people": 2}, Advice(Help.ONE_PLAYER)),
        # However well it goes, whose hands these are has to be beyond doubt.
        (GOOD, GOOD, {"people": 2}, Advice(Help.ONE_PLAYER)),
        (hand(Refusal.HAND_CUT_OFF), GOOD, {}, Advice(Help.WHOLE_HAND, "left")),
        (hand(palm_px=22.0), replace(GOOD, palm_px=25.0), {}, Advice(Help.CLOSER, "left")),
        (hand(Refusal.HAND_TOO_SMALL), GOOD, {}, Advice(Help.CLOSER, "left")),
        (hand(palm_share=0.6), GOOD, {}, Advice(Help.FURTHER, "left")),
        (GOOD, hand(brightness=0.1), {}, Advice(Help.LIGHT, "right")),
        (hand(sharpness=0.02), GOOD, {}, Advice(Help.SHARPER, "left")),
        (hand(forearm_inside=False), GOOD, {}, Advice(Help.FOREARM, "left")),
        (hand(Refusal.FOREARM_NOT_SEEN), GOOD, {}, Advice(Help.SLEEVE, "left")),
        (hand(axis_sd_deg=14.0), GOOD, {}, Advice(Help.SLEEVE, "left")),
        (hand(), GOOD, {"rate_hz": 6.0}, Advice(Help.FRAME_RATE)),
        (hand(), GOOD, {"towards_head_deg": -2.0}, Advice(Help.TOWARDS_HEAD, "left", 30.0)),
        (hand(), GOOD, {"towards_head_deg": 82.0}, Advice(Help.TOWARDS_FRONT, "left", 50.0)),
        # Nothing is known that would help here.
        (hand(12.0), GOOD, {"towards_head_deg": 30.0}, None),
        (hand(8.0), GOOD, {"towards_head_deg": 30.0}, None),
        # A camera that stands too far round is what else is said of a hand comes from; darkness is not.
        (
            hand(12.0, axis_sd_deg=20.0),
            GOOD,
            {"towards_head_deg": -20.0},
            Advice(Help.TOWARDS_HEAD, "left", 50.0),
        ),
        (GONE, GOOD, {"towards_head_deg": 70.0}, Advice(Help.TOWARDS_FRONT, "left", 40.0)),
        (hand(12.0, brightness=0.1), GOOD, {"towards_head_deg": -20.0}, Advice(Help.LIGHT, "left")),
        # A hand that alone is small is turned away.
        (hand(12.0, palm_px=22.0, axis_sd_deg=20.0), GOOD, {}, Advice(Help.SLEEVE, "left")),
        # What is measured well is left alone, whatever else could be said of it.
        (hand(4.0, axis_sd_deg=20.0), GOOD, {"towards_head_deg": 82.0}, Advice(Help.SLEEVE, "left")),
        (GOOD, GOOD, {"towards_head_deg": 82.0}, None),
    ],
)
def test_one_advice_at_a_time(
    left: HandLook, right: HandLook, more: dict[str, Any], expected: Advice | None
) -> None:
    # Lifts are never more than fairly known, so that only wrist angles ask for another place.
    assert check(left, right, **more).result().advice == expected


def test_only_the_last_seconds_count_and_too_few_say_nothing() -> None:
    made = check(GONE, GONE)
    for frame in range(150, 300):
        made.add(Look(frame / 25, {"left": GOOD, "right": GOOD}))
    assert made.result().advice is None
    made.add(Look(0.0, {"left": GONE, "right": GONE}))
    found = made.result()
    assert (found.enough, found.advice) == (False, None)


def body(towards_left_deg: float, visibility: float = 1.0) -> BodyObservation:
    """Shoulders square to a player whom the camera sees from that angle."""
    metres = np.zeros((33, 3))
    turn = math.radians(towards_left_deg)
    across = np.array([math.cos(turn), 0.0, -math.sin(turn)]) * 0.19
    metres[BODY_LANDMARKS["left_shoulder"]] = across
    metres[BODY_LANDMARKS["right_shoulder"]] = -across
    return BodyObservation(metres, metres, np.full(33, visibility), 0.0)


def test_where_the_camera_stands() -> None:
    straight = towards_head_deg(body(0.0), "left")
    assert straight is not None
    for turned in (-20.0, 35.0):
        assert towards_head_deg(body(turned), "left") == pytest.approx(straight + turned)
        # The head of a left-handed player's instrument is on the other side.
        assert towards_head_deg(body(turned), "right") == pytest.approx(straight - turned)
    assert towards_head_deg(body(0.0, 0.5), "left") is None
    assert towards_head_deg(body(150.0), "left") is None


def picture(seed: int, shift_px: int = 0) -> np.ndarray[Any, np.dtype[np.uint8]]:
    """A background of blocks, and a player who is elsewhere every time."""
    blocks = np.random.default_rng(1).integers(0, 255, (18, 40, 3), dtype=np.uint8)
    image = np.kron(blocks, np.ones((20, 20, 1), np.uint8))[:, shift_px : shift_px + 640]
    player = np.random.default_rng(100 + seed)
    left = int(player.integers(200, 300))
    image = image.copy()
    image[100:, left : left + 160] = player.integers(0, 255, (260, 160, 3), dtype=np.uint8)
    return image


def test_a_moved_camera_is_noticed_once_and_a_moving_player_is_not() -> None:
    watch = CameraMoved()
    assert not any(watch.update(picture(seed)) for seed in range(30))
    moved = [watch.update(picture(seed, 40)) for seed in range(30, 50)]
    assert moved.count(True) == 1
    assert moved.index(True) <= 5
    assert not any(watch.update((picture(seed, 40) * 0.5).astype(np.uint8)) for seed in range(50, 60))


def test_without_a_background_nothing_is_said() -> None:
    watch = CameraMoved()
    noise = np.random.default_rng(3)
    assert not any(watch.update(noise.integers(0, 255, (90, 160, 3), dtype=np.uint8)) for _ in range(30))
    assert not any(watch.update(np.zeros((90, 160, 3), np.uint8)) for _ in range(30))


def test_light_and_blur_around_a_hand() -> None:
    import cv2

    points = np.zeros((21, 3))
    points[:, 0], points[:, 1] = np.linspace(200, 400, 21), np.linspace(80, 260, 21)
    seen = HandObservation("left", 1.0, 1.0, points, points, True, None)
    sharp = picture(0)
    found = [
        clearness(Frame(0, 0.0, np.asarray(image, np.uint8)), seen)
        for image in (sharp, cv2.GaussianBlur(sharp, (0, 0), 8), sharp * 0.2)
    ]
    (bright, crisp), (_, blurred), (dark, still_crisp) = (one for one in found if one is not None)
    assert blurred < 0.6 * crisp
    assert dark < 0.25 * bright
    assert still_crisp == pytest.approx(crisp, rel=0.1)
    assert clearness(Frame(0, 0.0, sharp), replace(seen, landmarks_px=points - 1000)) is None


def reading(index: int, sd: float, shift_px: int = 0) -> Reading:
    time_s = index / 10
    made = Player().reading(index, time_s, (10.0, 5.0), (0.0, 0.0))
    values = dict.fromkeys(QUANTITY_NAMES, Measurement.of(10.0, sd))
    measurement = FrameMeasurement(
        index, time_s, HandMeasurement("left", values), HandMeasurement("right", values)
    )
    return replace(made, frame=Frame(index, time_s, picture(index, shift_px)), measurement=measurement)


def test_the_view_is_graded_again_where_the_camera_is_moved() -> None:
    watch = PlacementWatch(Settings)
    for index in range(80):
        watch.put(reading(index, 4.0))
    notices = [watch.notice]
    said = placement_json(watch.result())
    assert said["enough"]
    assert {one["grade"] for one in said["grades"]} == {"well", "fairly"}
    for index in range(80, 160):
        watch.put(reading(index, 12.0, 40))
    notices.append(watch.notice)
    watch.put(reading(0, 4.0))  # the next session
    assert [*notices, watch.notice] == [
        None,
        "The camera was moved. This view measures left wrist flexion, left wrist deviation, left finger lift, "
        "right wrist flexion, right wrist deviation poorly.",
        None,
    ]


def test_grades_are_true_of_rendered_players() -> None:
    """A guard on videos that the bounds were not chosen on; `python -m calibration.evaluate.placement` tells of all."""
    columns = read(EVALUATION, "testvideo")
    videos = np.unique(columns["t_frame"] // FRAMES_A_VIDEO)[1::5]
    keep = {
        name: values[
            np.isin(columns["t_frame" if name.startswith("t_") else "frame"] // FRAMES_A_VIDEO, videos)
        ]
        for name, values in columns.items()
    }
    judged = list(judged_videos(keep, Estimator(Ensemble(read_weights(None)), fretting=EITHER)))
    assert len(judged) > 25
    well = [one.error <= WELL_ERROR for one in judged if one.grade is Grade.WELL]
    fairly = [one.error <= FAIR_ERROR for one in judged if one.grade is Grade.FAIRLY]
    assert np.mean(well) >= 0.85
    assert np.mean(fairly) >= 0.85
    assert "rank correlation" in lines(judged)[0]
