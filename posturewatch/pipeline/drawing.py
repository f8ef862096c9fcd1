"""Draws what was measured into an image: the two lines whose angle is the wrist's, and the numbers."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from posturewatch.model.arrays import Image
from posturewatch.model.measurement import HandMeasurement, Measurement, Refusal
from posturewatch.model.observation import HandObservation
from posturewatch.model.quantities import in_group

__all__ = ["draw_hand", "draw_lines", "drawable"]


#: Bones of the hand as pairs of landmarks, drawn thinly.
_BONES = (
    (0, 1), (1, 2), (2, 3), (3, 4), (0, 5), (5, 6), (6, 7), (7, 8), (5, 9), (9, 10), (10, 11), (11, 12),
    (9, 13), (13, 14), (14, 15), (15, 16), (13, 17), (17, 18), (18, 19), (19, 20), (0, 17),
)  # fmt: skip
_HAND_BGR = (235, 235, 235)
_AXIS_BGR = (60, 200, 250)
_FOREARM_BGR = (250, 170, 60)
#: Around both axes, which stand out from light and dark then.
_CASING_BGR = (20, 20, 20)
#: Length of the forearm's dashes and of the gaps between them, in widths of the thin lines; round ends take 5 of a gap.
_DASH, _GAP = 8.0, 11.0


#: Left, top, right and bottom of a place in the image, pixels.
Box = tuple[int, int, int, int]


def _point(xy: NDArray[np.float64]) -> tuple[int, int]:
    return (round(float(xy[0])), round(float(xy[1])))


def draw_lines(image_bgr: Image, hand: HandObservation, unit: int, *, forearm: bool = True) -> None:
    """Into the image itself: hand skeleton thinly, hand axis and forearm axis strongly, the forearm's in dashes, so
    that they are told apart without colour. unit: the thin lines' width, pixels. forearm: whether its axis is drawn
    where there is one."""
    points = hand.landmarks_px
    for a, b in _BONES:
        cv2.line(image_bgr, _point(points[a]), _point(points[b]), _HAND_BGR, unit, cv2.LINE_AA)
    _axis(image_bgr, points[0, :2], points[9, :2], _AXIS_BGR, unit)
    if forearm and hand.forearm is not None:
        wrist, elbow = hand.forearm.wrist_px, hand.forearm.towards_elbow_px
        length = float(np.hypot(*(elbow - wrist)))
        along = (elbow - wrist) / max(length, 1e-6)
        for begin in np.arange(0.0, length, (_DASH + _GAP) * unit):
            end = min(begin + _DASH * unit, length)
            _axis(image_bgr, wrist + begin * along, wrist + end * along, _FOREARM_BGR, unit)


def _axis(
    image_bgr: Image,
    begin: NDArray[np.float64],
    end: NDArray[np.float64],
    bgr: tuple[int, int, int],
    unit: int,
) -> None:
    for colour, width in ((_CASING_BGR, 5), (bgr, 3)):
        cv2.line(image_bgr, _point(begin), _point(end), colour, width * unit, cv2.LINE_AA)


def drawable(measurement: HandMeasurement) -> bool:
    """Whether anything of the hand is measured, or only too uncertain; what was refused as a whole may be no hand."""
    return any(_judged(one) for one in measurement.values.values())


def _judged(one: Measurement) -> bool:
    return one.measured or one.refusal is Refusal.TOO_UNCERTAIN


def draw_hand(
    image_bgr: Image, hand: HandObservation, measurement: HandMeasurement, written: Box | None = None
) -> Box:
    """Into the image itself: hand skeleton thinly, hand axis and the forearm axis that an angle was sought with
    strongly, angles in words.

    written: where the other hand's words stand, which are not written over. Returns where this hand's stand.
    """
    unit = max(1, round(max(image_bgr.shape[:2]) / 640))
    points = hand.landmarks_px
    wrist = [measurement.values[entry.name] for entry in in_group("wrist")]
    draw_lines(image_bgr, hand, unit, forearm=any(_judged(one) for one in wrist))
    lines = [f"{hand.side} hand"]
    for entry in in_group("wrist"):
        one = measurement.values[entry.name]
        if one.value is None or one.sd is None:
            reason = "" if one.refusal is None else one.refusal.value
            lines.append(f"{entry.label}: not measurable, {reason}")
            continue
        direction, size = entry.towards(one.value)
        lines.append(f"{entry.label}: {size:.0f} +- {one.sd:.0f} {entry.unit} {direction}")
    return _write(image_bgr, lines, points[:, :2].max(axis=0), unit, written)


def _write(
    image_bgr: Image, lines: list[str], corner: NDArray[np.float64], unit: int, written: Box | None
) -> Box:
    """Lines of words at the hand's lower right corner, moved so that they lie inside the image and, above or below,
    beside what is written already."""
    height, width = image_bgr.shape[:2]
    size, thickness = 0.45 * unit, unit
    boxes = [cv2.getTextSize(line, cv2.FONT_HERSHEY_SIMPLEX, size, thickness)[0] for line in lines]
    step = max(box[1] for box in boxes) + 6 * unit
    wide, high = max(box[0] for box in boxes), step * len(lines) + 4 * unit
    x = int(np.clip(corner[0], 4, max(4, width - wide - 4)))
    y = int(np.clip(corner[1], 4, max(4, height - high - 4)))
    if (
        written is not None
        and x < written[2]
        and written[0] < x + wide
        and y < written[3]
        and written[1] < y + high
    ):
        y = written[1] - high if written[1] >= high else written[3]
    for k, line in enumerate(lines):
        at = (x, y + (k + 1) * step)
        cv2.putText(
            image_bgr, line, at, cv2.FONT_HERSHEY_SIMPLEX, size, (0, 0, 0), 3 * thickness, cv2.LINE_AA
        )
        cv2.putText(image_bgr, line, at, cv2.FONT_HERSHEY_SIMPLEX, size, _HAND_BGR, thickness, cv2.LINE_AA)
    return (x, y, x + wide, y + high)
