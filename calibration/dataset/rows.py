"""One row for each hand in a rendered picture: what was seen of it, its crops, and the truth beside them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.dataset.crop_jitter import padded_crop_of, read_crop_jitter
from calibration.dataset.crops import TARGETS, elsewhere, outputs_of, targets_of
from calibration.scene.view import FRAMINGS
from posturewatch.model.estimator_outputs import OUTPUTS
from posturewatch.model.observation import HandObservation, Observation, Side, other_side
from posturewatch.tracking.crop import CLOSE, WIDE, Crop

__all__ = [
    "CROPS",
    "FRAMES_A_VIDEO",
    "PADDED_CROPS",
    "Row",
    "crop_rows",
    "crops_of",
    "match",
    "pack",
    "rows_of",
    "truth_row",
    "video_frame",
]

#: The crops of a hand that are kept, by the prefix of their columns.
CROPS = {"crop": WIDE, "close": CLOSE}
#: What the networks' training crops are taken from, by the same.
PADDED_CROPS = {name: padded_crop_of(crop, read_crop_jitter()) for name, crop in CROPS.items()}
CROPPED_FROM = 0.4  # share of a hand in view from which its crop is of use
SMALLEST_PX = 25
_MATCHED = 0.6  # mean landmark distance, in palm lengths, up to which a found hand is that true hand
_WRONG_SIDE_SHARE = 0.2
_ELSEWHERE_SHARE = 0.4

#: How the frames of videos are numbered.
FRAMES_A_VIDEO = 10_000
_VIDEOS_A_SEED = 1_000

Row = dict[str, Any]


def video_frame(seed: int, video: int, frame: int) -> int:
    """The number of a video's frame; videos of several seeds can lie beside each other."""
    return (seed * _VIDEOS_A_SEED + video) * FRAMES_A_VIDEO + frame


def match(hand: HandObservation, truths: Sequence[dict[str, Any]]) -> dict[str, Any] | None:
    """The true hand that the found one lies on, or None."""
    best: tuple[float, dict[str, Any]] | None = None
    for truth in truths:
        points = np.asarray(truth["joints_px"], float)
        palm = np.linalg.norm(points[[5, 9, 13, 17]] - points[0], axis=1).max()
        apart = np.linalg.norm(hand.landmarks_px[:, :2] - points, axis=1).mean()
        if apart < _MATCHED * max(palm, 10.0) and (best is None or apart < best[0]):
            best = (float(apart), truth)
    return None if best is None else best[1]


def rows_of(
    observation: Observation,
    image_bgr: NDArray[np.uint8],
    label: dict[str, Any],
    frame: int,
    rng: np.random.Generator,
    raw: bool = False,
) -> Iterator[Row]:
    """A row for each found hand, and further ones under the wrong side. raw: crops as pixels instead of JPEG."""
    for hand in observation.hands:
        truth = match(hand, label["hands"])
        right_side = truth is not None and truth["side"] == hand.side
        yield {
            **_row(observation, label, frame, hand, truth, right_side),
            **crops_of(image_bgr, hand.landmarks_px, hand.side, raw=raw),
            "found": np.bool_(True),
        }
        if truth is not None and (not right_side or rng.random() < _WRONG_SIDE_SHARE):
            turned = HandObservation(
                side=other_side(hand.side),
                side_confidence=1 - hand.side_confidence,
                score=hand.score,
                landmarks_px=hand.landmarks_px,
                landmarks_m=hand.landmarks_m,
                label_agrees=not hand.label_agrees,
                forearm=None,
            )
            yield {
                **_row(observation, label, frame, turned, truth, not right_side),
                **crops_of(image_bgr, turned.landmarks_px, turned.side, raw=raw),
                "found": np.bool_(False),
            }


def _row(
    observation: Observation,
    label: dict[str, Any],
    frame: int,
    hand: HandObservation,
    truth: dict[str, Any] | None,
    valid: bool,
) -> Row:
    body = observation.body
    return {
        "landmarks_px": hand.landmarks_px.astype(np.float32),
        "landmarks_m": hand.landmarks_m.astype(np.float32),
        "side": np.int8(hand.side == "right"),
        "side_confidence": np.float32(hand.side_confidence),
        "score": np.float32(hand.score),
        "label_agrees": np.bool_(hand.label_agrees),
        "size": np.array([observation.width_px, observation.height_px], np.int16),
        "has_body": np.bool_(body is not None),
        "body_px": np.zeros((33, 3), np.float32) if body is None else body.landmarks_px.astype(np.float32),
        "body_m": np.zeros((33, 3), np.float32) if body is None else body.landmarks_m.astype(np.float32),
        "body_visibility": np.zeros(33, np.float32) if body is None else body.visibility.astype(np.float32),
        "body_age_s": np.float32(0 if body is None else observation.time_s - body.time_s),
        "valid": np.bool_(valid),
        "matched": np.bool_(truth is not None),
        **_truth(truth, WIDE.transform(hand.landmarks_px, hand.side)),
        "frame": np.int64(frame),
        "time_s": np.float32(observation.time_s),
        **_scene(label),
    }


def crops_of(
    image_bgr: NDArray[np.uint8],
    landmarks_px: NDArray[Any],
    side: Side,
    kinds: dict[str, Crop] = CROPS,
    raw: bool = False,
) -> Row:
    """Both crops of a hand, as JPEG, or as pixels (size, size, 3)."""
    cut = {name: crop.cut(image_bgr, crop.transform(landmarks_px, side)) for name, crop in kinds.items()}
    return cut if raw else {name: _encoded(crop) for name, crop in cut.items()}


def _encoded(crop: NDArray[np.uint8]) -> NDArray[np.uint8]:
    good, encoded = cv2.imencode(".jpg", crop, [cv2.IMWRITE_JPEG_QUALITY, 88])
    if not good:
        raise RuntimeError("OpenCV could not encode a crop")
    return np.asarray(encoded.ravel(), np.uint8)


def _truth(truth: dict[str, Any] | None, affine: NDArray[Any]) -> Row:
    """What is known of the hand that was found, NaN where it is none."""
    if truth is None:
        return {
            "y": np.full(len(OUTPUTS), np.nan, np.float32),
            "fretting": np.bool_(False),
            **{name: np.full(length, np.nan, np.float32) for name, length in TARGETS.items()},
            "picture_direction_rad": np.float32(np.nan),
            "true_joints_m": np.full((21, 3), np.nan, np.float32),
            **{name: np.float32(0) for name in ("forearm_visible", "hand_visible", "strings_visible")},
        }
    in_picture = np.arctan2(truth["forearm_direction_px"][1], truth["forearm_direction_px"][0])
    return {
        "y": outputs_of(truth),
        "fretting": np.bool_(truth["role"] == "fretting"),
        **targets_of(truth, affine),
        "picture_direction_rad": np.float32(in_picture),
        "true_joints_m": np.asarray(truth["joints_m"], np.float32),
        **{name: np.float32(truth[name]) for name in ("forearm_visible", "hand_visible", "strings_visible")},
    }


def crop_rows(
    image_bgr: NDArray[np.uint8], label: dict[str, Any], rng: np.random.Generator, raw: bool = False
) -> Iterator[Row]:
    """Rows for the networks alone: the padded crops of each true hand in view, and now and then one of a place
    without a hand. raw: as pixels instead of JPEG."""
    for truth in label["hands"]:
        points = np.asarray(truth["joints_px"], float) if truth["hand_visible"] > CROPPED_FROM else None
        if points is None or not np.isfinite(points).all() or np.ptp(points, axis=0).max() < SMALLEST_PX:
            continue
        yield {
            **_truth(truth, WIDE.transform(points, truth["side"])),
            **_scene(label),
            "valid": np.bool_(True),
            **crops_of(image_bgr, points, truth["side"], PADDED_CROPS, raw),
        }
        place = elsewhere(points, label, rng) if rng.random() < _ELSEWHERE_SHARE / 2 else None
        if place is not None:
            yield {
                **_truth(None, WIDE.transform(points, "left")),
                **_scene(label),
                "valid": np.bool_(False),
                **crops_of(image_bgr, place, "left", PADDED_CROPS, raw),
            }


def _scene(label: dict[str, Any]) -> Row:
    return {
        "framing": np.int8(FRAMINGS.index(label["framing"])),
        "azimuth_deg": np.float32(label["azimuth_deg"]),
        "elevation_deg": np.float32(label["elevation_deg"]),
        "hfov_deg": np.float32(label["hfov_deg"]),
        "identity": np.int32(label["identity"]),
    }


def truth_row(label: dict[str, Any], truth: dict[str, Any], found: HandObservation | None, frame: int) -> Row:
    """One true hand in view, found or not: what the shares of measured hands are counted on."""
    return {
        "t_frame": np.int64(frame),
        "t_side": np.int8(truth["side"] == "right"),
        "t_fretting": np.bool_(truth["role"] == "fretting"),
        "t_time_s": np.float32(label.get("time_s", 0.0)),
        "t_angles": np.array([truth["flexion_deg"], truth["ulnar_deviation_deg"]], np.float32),
        "t_lifts": np.array(
            [np.nan if v is None else v for v in truth["finger_lift_mm"].values()], np.float32
        ),
        "t_strings_visible": np.float32(truth["strings_visible"]),
        "t_visible": np.float32(truth["hand_visible"]),
        "t_found": np.bool_(found is not None),
        "t_framing": np.int8(FRAMINGS.index(label["framing"])),
    }


def pack(rows: list[Row], truths: list[Row]) -> dict[str, NDArray[Any]]:
    """Columns of many rows; the crops' bytes end to end with their lengths, or their pixels."""
    out: dict[str, NDArray[Any]] = {}
    for table in (rows, truths):
        for name in table[0] if table else ():
            if name not in CROPS:
                out[name] = np.stack([row[name] for row in table])
    for name in CROPS:
        if rows and rows[0][name].ndim == 3:
            out[f"{name}_pixels"] = np.stack([row[name] for row in rows])
            continue
        out[f"{name}_bytes"] = np.concatenate([row[name] for row in rows]) if rows else np.zeros(0, np.uint8)
        out[f"{name}_length"] = np.array([len(row[name]) for row in rows], np.int32)
    return out
