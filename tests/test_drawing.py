"""The overlay of single pictures: words of two hands do not cover each other."""

from __future__ import annotations

import dataclasses
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import cv2
import numpy as np
import pytest

from posturewatch.model.measurement import FrameMeasurement, HandMeasurement, Measurement, Refusal
from posturewatch.model.observation import ForearmAxis, HandObservation, Observation, Side
from posturewatch.model.quantities import QUANTITY_NAMES
from posturewatch.pipeline.build import Built
from posturewatch.pipeline.drawing import draw_hand, draw_lines
from posturewatch.pipeline.single_images import measure_image


def hand(side: Side, x: float, y: float) -> HandObservation:
    points = np.column_stack([np.linspace(x, x + 40, 21), np.linspace(y, y + 40, 21), np.zeros(21)])
    return HandObservation(side, 0.9, 0.9, points, points / 1000, True, None)


def measured(side: Side) -> HandMeasurement:
    refused = HandMeasurement.refused(side, QUANTITY_NAMES, Refusal.TOO_UNCERTAIN)
    return HandMeasurement(side, {**refused.values, "wrist_flexion": Measurement.of(12.0, 6.0)})


@pytest.mark.parametrize("y", [10.0, 300.0, 650.0])
def test_words_of_two_hands_stand_apart_and_inside_the_picture(y: float) -> None:
    image = np.zeros((720, 1280, 3), np.uint8)
    first = draw_hand(image, hand("left", 500, y), measured("left"))
    second = draw_hand(image, hand("right", 560, y + 12), measured("right"), first)
    assert first[3] <= second[1] or second[3] <= first[1]
    for left, top, right, bottom in (first, second):
        assert min(left, top, 1280 - right, 720 - bottom) >= 0
        assert image[top:bottom, left:right].any()
    alone = draw_hand(np.zeros_like(image), hand("right", 560, y + 12), measured("right"))
    assert min(first[3], alone[3]) > max(first[1], alone[1])  # without care they would meet


def test_hand_and_forearm_are_told_apart_without_colour() -> None:
    """In grey, as ITU-R BT.601 weighs colours (OpenCV's conversion): the forearm in dashes, the hand in one piece, and
    both stand out from a light ground and from a dark one."""
    points = np.zeros((21, 3))
    points[:, :2] = np.linspace([300, 200], [300, 40], 21)
    seen = HandObservation("left", 0.9, 0.9, points, points / 1000, True, None)
    axis = ForearmAxis(np.array([300.0, 200.0]), np.array([100.0, 200.0]), 1.0, cast(Any, None))
    for ground in (0, 255):
        image = np.full((240, 400, 3), ground, np.uint8)
        draw_lines(image, dataclasses.replace(seen, forearm=axis), 1)
        grey = cv2.cvtColor(image, cv2.COLOR_BGR2GRAY).astype(int)
        forearm, hand_axis = grey[200, 110:290], grey[130:190, 300]
        assert np.ptp(hand_axis) < 20
        dashes = np.diff((forearm != ground).astype(int))
        assert (dashes == 1).sum() >= 8
        beside = grey[150, 290:311]
        assert beside.max() - beside.min() > 100


def test_only_a_hand_that_is_measured_is_drawn(tmp_path: Path) -> None:
    """A phantom hand, refused as a whole, leaves the picture as it is; so does a forearm that no angle was sought
    with."""
    phantom = HandMeasurement.refused("left", QUANTITY_NAMES, Refusal.HAND_NOT_SEEN)
    drawn = {}
    for name, one in {
        "phantom": phantom,
        "unsure": measured("left"),
        "fingers": HandMeasurement("left", {**phantom.values, "index_pip": Measurement.of(30.0, 5.0)}),
    }.items():
        _drawn_over(tmp_path / f"{name}.jpg", one)
        drawn[name] = cv2.imread(str(tmp_path / f"{name}.png"))
    assert not drawn["phantom"].any()
    assert drawn["unsure"].any()
    assert drawn["fingers"].any()
    assert drawn["unsure"][200, 300].any()
    assert not drawn["fingers"][200, 300].any()


def _drawn_over(path: Path, measurement: HandMeasurement) -> None:
    seen = dataclasses.replace(
        hand("left", 100, 100),
        forearm=ForearmAxis(np.array([300.0, 200.0]), np.array([200.0, 200.0]), 1.0, cast(Any, None)),
    )
    observation = Observation(0, 0.0, 1280, 720, (seen,), None)
    tracker = SimpleNamespace(observe=lambda frame: observation)
    frame = FrameMeasurement(
        0, 0.0, measurement, HandMeasurement.refused("right", QUANTITY_NAMES, Refusal.HAND_NOT_SEEN)
    )
    measurer = SimpleNamespace(reset=lambda: None, measure=lambda observation: frame)
    built = cast(Built, SimpleNamespace(tracker=tracker, measurer=measurer))
    measure_image(path, np.zeros((720, 1280, 3), np.uint8), built, path.parent)
