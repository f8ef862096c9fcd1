"""The tracking library's four networks, each behind one small call.

The models lie inside mediapipe's wheel (0.10.21). They are run one by one, on crops made here, instead of
through the library's ready-made pipelines: so each hand can be followed on its own core, searched for where it
was lost, and looked at again with a better crop. Thresholds and tensor layouts are those of the library's
own graphs `hand_landmark_tracking_cpu` and `pose_landmark_cpu`; a test holds every output to these.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path

import numpy as np

from posturewatch.errors import UnavailableError
from posturewatch.model.arrays import Array, Image
from posturewatch.tracking.detector import Found, anchors, decode, suppress
from posturewatch.tracking.engine import Network

__all__ = [
    "BODY_INPUT_PX",
    "HAND_INPUT_PX",
    "PALM_INPUT_PX",
    "PERSON_INPUT_PX",
    "BodyNet",
    "Found",
    "HandNet",
    "PalmNet",
    "PersonNet",
    "RawBody",
    "RawHand",
]


#: Side of the square image each network takes, in pixels.
PALM_INPUT_PX = 192
HAND_INPUT_PX = 224
PERSON_INPUT_PX = 224
BODY_INPUT_PX = 256

#: The library counts hand depth 2.5 times larger than its network does ("normalize_z: 0.4").
_HAND_DEPTH_SCALE = 2.5

#: Side of the square of the heatmap's cells around a body landmark whose mean refines it ("kernel_size"), and the least
#: confidence there for which it does ("min_confidence_to_refine", the library's default).
_REFINE_CELLS = 7
_REFINE_FROM = 0.5


@dataclass(frozen=True)
class RawHand:
    """What the landmark network says of a hand's crop.

    Attributes
    ----------
    landmarks_px
        (21, 3) pixels of the crop; z in the same scale, negative towards the camera.
    landmarks_m
        (21, 3) metres along the crop's axes.
    presence
        Probability of there being a hand, 0..1.
    label_left
        The library's probability of "Left", 0..1, which it means for a mirrored image.
    """

    landmarks_px: Array
    landmarks_m: Array
    presence: float
    label_left: float


@dataclass(frozen=True)
class RawBody:
    """What the landmark network says of a body's crop.

    Attributes
    ----------
    landmarks_px
        (39, 3) pixels of the crop: 33 points of the body, two that span the next crop, four unused.
    landmarks_m
        (39, 3) metres along the crop's axes.
    visibility
        (39,) 0..1.
    presence
        Probability of there being a body, 0..1.
    """

    landmarks_px: Array
    landmarks_m: Array
    visibility: Array
    presence: float


@functools.lru_cache
def _network(model: str, low: int, streams: int) -> Network:
    """Compiled once a process: networks of one kind share their weights."""
    spec = find_spec("mediapipe")
    for folder in () if spec is None else spec.submodule_search_locations or ():
        path = Path(folder) / "modules" / model
        if path.is_file():
            return Network(path, low=low, streams=streams)
    raise UnavailableError(
        "The tracking library mediapipe is missing; install posturewatch on Python 3.10, 3.11 or 3.12."
    )


class _Net:
    """`start` hands the network a square RGB image and returns at once, `wait` collects what it says.

    Without an image it starts on what was written to `image_rgb`, which spares a copy.

    It computes on a thread of its own, so that two networks started one after the other run side by side.
    """

    _model = ""
    _low = 0
    #: How many of a kind compute at the same time; each more takes memory.
    _side_by_side = 2

    def __init__(self) -> None:
        self._request = _network(self._model, self._low, self._side_by_side).request()

    @property
    def image_rgb(self) -> Image:
        """What the network reads; to be written to while it does not compute."""
        image: Image = self._request.images[0]
        return image

    def start(self, image_rgb: Image | None = None) -> None:
        if image_rgb is not None:
            self._request.images[0] = image_rgb
        self._request.start()

    @property
    def done(self) -> bool:
        """Whether `wait` would return at once."""
        return self._request.done

    def close(self) -> None:
        self._request.close()

    def _outputs(self) -> list[Array]:
        return [np.asarray(output[0], dtype=np.float64) for output in self._request.wait()]


class _Detector(_Net):
    _input_px = 0
    _strides: tuple[int, ...] = ()

    def __init__(self) -> None:
        super().__init__()
        self._anchors = anchors(self._input_px, self._strides)

    def wait(self) -> list[Found]:
        """Detections of the started image, best first; scores from 0.2."""
        boxes, logits = self._outputs()
        return suppress(*decode(boxes, logits[:, 0], self._anchors, self._input_px))


class PalmNet(_Detector):
    """Finds palms in a square RGB image of 192 pixels. Seven keypoints: 0 the wrist, 2 the middle knuckle."""

    _model = "palm_detection/palm_detection_full.tflite"
    _input_px = PALM_INPUT_PX
    _strides = (8, 16, 16, 16)


class PersonNet(_Detector):
    """Finds persons in a square RGB image of 224 pixels. Keypoints 0, the hips' centre, and 1, which lies
    the body's radius above it, span the crop for `BodyNet`."""

    _model = "pose_detection/pose_detection.tflite"
    _low = -1
    _side_by_side = 1
    _input_px = PERSON_INPUT_PX
    _strides = (8, 16, 32, 32, 32)


class HandNet(_Net):
    """21 landmarks of the one hand in a square RGB crop of 224 pixels, fingers upwards."""

    _model = "hand_landmark/hand_landmark_full.tflite"

    def wait(self) -> RawHand:
        landmarks, presence, label, world = self._outputs()
        landmarks_px = landmarks.reshape(21, 3)
        landmarks_px[:, 2] *= _HAND_DEPTH_SCALE
        return RawHand(landmarks_px, world.reshape(21, 3), float(presence[0]), float(label[0]))


class BodyNet(_Net):
    """Landmarks of the one body in a square RGB crop of 256 pixels."""

    _model = "pose_landmark/pose_landmark_full.tflite"
    _side_by_side = 1

    def wait(self) -> RawBody:
        landmarks, presence, _, heatmap, world = self._outputs()
        points = landmarks.reshape(39, 5)
        visibility = 1 / (1 + np.exp(-np.clip(points[:, 3], -50, 50)))
        refined = _refined(points[:, :3] / BODY_INPUT_PX, heatmap)
        return RawBody(refined * BODY_INPUT_PX, world.reshape(39, 3), visibility, float(presence[0]))


def _refined(points: Array, heatmap: Array) -> Array:
    """Points (n, 3) in units of the image, x and y moved to the mean of the heatmap (rows, columns, n; raw) around them
    where it is sure of them there."""
    rows, columns = heatmap.shape[:2]
    reach = _REFINE_CELLS // 2
    out = points.copy()
    for index, (x, y) in enumerate(points[:, :2]):
        column, row = int(x * columns), int(y * rows)
        if not (0 <= column < columns and 0 <= row < rows):
            continue
        top, left = max(0, row - reach), max(0, column - reach)
        raw = heatmap[top : row + reach + 1, left : column + reach + 1, index]
        confidence = 1 / (1 + np.exp(-np.clip(raw, -50, 50)))
        if confidence.max() < _REFINE_FROM:
            continue
        down, right = np.mgrid[: raw.shape[0], : raw.shape[1]]
        total = confidence.sum()
        out[index, 0] = ((left + right) * confidence).sum() / total / columns
        out[index, 1] = ((top + down) * confidence).sum() / total / rows
    return out
