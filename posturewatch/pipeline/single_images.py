"""What is measured in single images, in JSON's types, and the same drawn into them."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from posturewatch.capture.bounds import LONGEST_IMAGE_PX, check_size, stated_image_size
from posturewatch.errors import InputError
from posturewatch.model.estimator_outputs import LONG_FINGERS
from posturewatch.model.frame import Frame
from posturewatch.model.measurement import HandMeasurement, Measurement
from posturewatch.model.observation import HandObservation
from posturewatch.model.quantities import QUANTITIES, in_group
from posturewatch.pipeline.build import Built
from posturewatch.pipeline.drawing import draw_hand, drawable

__all__ = ["measure_image", "read_image"]


def read_image(path: Path) -> NDArray[np.uint8]:
    """The image as BGR, (height, width, 3); phones' rotation is honoured.

    Raises
    ------
    InputError
        With one sentence where there is none.
    """
    if path.exists() and not path.is_file():
        raise InputError(f"{path} is no file; name an image, such as a JPEG or PNG file.")
    try:
        data = np.fromfile(path, dtype=np.uint8)
    except OSError as error:
        raise InputError(f"The image {path} cannot be read ({error.strerror}); check the name.") from error
    stated = stated_image_size(data.tobytes())
    if stated is not None:
        check_size(path, stated, LONGEST_IMAGE_PX)
    try:
        image = cv2.imdecode(data, cv2.IMREAD_COLOR) if len(data) else None
    except cv2.error:  # of other kinds, too large for the library
        image = None
    if image is not None:
        check_size(path, (image.shape[1], image.shape[0]), LONGEST_IMAGE_PX)
    if image is None:
        raise InputError(
            f"{path} is not an image that can be read; use JPEG or PNG (for videos: posturewatch analyse)."
        )
    return np.asarray(image, dtype=np.uint8)


def measure_image(path: Path, image: NDArray[np.uint8], built: Built, overlay: Path | None) -> dict[str, Any]:
    """One image's result in JSON's types: what `posturewatch analyse` says of a video's first frame.

    Parameters
    ----------
    path
        Where the image came from.
    image
        (height, width, 3) BGR.
    built
        What looks and measures; the images before are forgotten.
    overlay
        Folder for the image with what was measured, None for none.

    Raises
    ------
    InputError
        The overlay cannot be written.
    """
    observation = built.tracker.observe(Frame(0, 0.0, image))
    built.measurer.reset()
    measured = built.measurer.measure(observation)
    hands = [(hand, measured.hand(hand.side)) for hand in observation.hands]
    if overlay is not None:
        _draw(image, hands, overlay / f"{path.stem}.png")
    return {"image": str(path), "hands": [_hand(*each) for each in hands]}


def _draw(
    image: NDArray[np.uint8], hands: list[tuple[HandObservation, HandMeasurement]], target: Path
) -> None:
    drawn, written = image.copy(), None
    for hand, measured in hands:
        if drawable(measured):
            written = draw_hand(drawn, hand, measured, written)
    good, data = cv2.imencode(".png", drawn)
    if not good:
        raise InputError(f"{target} cannot be written as an image.")
    try:
        target.write_bytes(data.tobytes())
    except OSError as error:
        raise InputError(f"{target} cannot be written ({error.strerror}); choose another folder.") from error


def _hand(hand: HandObservation, measured: HandMeasurement) -> dict[str, Any]:
    flexion, deviation = (measured.values[entry.name] for entry in in_group("wrist"))
    refusal = flexion.refusal or deviation.refusal
    axis = hand.forearm
    return {
        "side": hand.side,
        "score": round(hand.score, 3),
        "hand_axis_px": [_xy(hand.landmarks_px[0]), _xy(hand.landmarks_px[9])],
        "forearm_axis_px": None if axis is None else [_xy(axis.towards_elbow_px), _xy(axis.wrist_px)],
        "wrist": {
            "flexion_deg": _rounded(flexion.value),
            "flexion_sd_deg": _rounded(flexion.sd),
            "ulnar_deviation_deg": _rounded(deviation.value),
            "ulnar_deviation_sd_deg": _rounded(deviation.sd),
            "status": "measured" if refusal is None else "not measurable",
            "reason": None if refusal is None else refusal.value,
        },
        "fingers": [_finger(finger, measured) for finger in LONG_FINGERS],
        "lift_plane": measured.lift_plane,
        "quantities": {
            entry.name: {"unit": entry.unit, **_measurement(measured.values[entry.name])}
            for entry in QUANTITIES
        },
    }


def _finger(finger: str, measured: HandMeasurement) -> dict[str, Any]:
    """The bends of one finger's joints and its lift, with their deviations; null where there is none, and for the lift
    the reason."""
    row: dict[str, Any] = {"finger": finger}
    for joint in ("pip", "dip"):
        one = measured.values[f"{finger}_{joint}"]
        row[f"{joint}_flexion_deg"], row[f"{joint}_flexion_sd_deg"] = _rounded(one.value), _rounded(one.sd)
    lift = _measurement(measured.values[f"{finger}_lift"])
    return row | {"lift_mm": lift["value"], "lift_sd_mm": lift["sd"], "lift_reason": lift["reason"]}


def _measurement(one: Measurement) -> dict[str, Any]:
    return {
        "value": _rounded(one.value),
        "sd": _rounded(one.sd),
        "reason": None if one.refusal is None else one.refusal.value,
    }


def _rounded(value: float | None) -> float | None:
    """As in `samples.csv`; adding 0 makes a plain zero of what is rounded to -0."""
    return None if value is None else round(value, 2) + 0.0


def _xy(point: NDArray[np.float64]) -> list[float]:
    return [round(float(point[0]), 1), round(float(point[1]), 1)]
