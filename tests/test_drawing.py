"""The overlay of single pictures: words of two hands do not cover each other."""

from __future__ import annotations

import numpy as np
import pytest

from posturewatch.model.measurement import HandMeasurement, Measurement, Refusal
from posturewatch.model.observation import HandObservation, Side
from posturewatch.model.quantities import QUANTITY_NAMES
from posturewatch.pipeline.drawing import draw_hand


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
