"""The tracking library's four networks, run by its own graphs: what the program's networks are held to.

Thresholds and tensor layouts are those of mediapipe's graphs `hand_landmark_tracking_cpu` and `pose_landmark_cpu`.
"""

from __future__ import annotations

import contextlib
import os
import sys
import threading
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from posturewatch.errors import UnavailableError

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

Array = NDArray[np.float64]
Image = NDArray[np.uint8]

#: Side of the square picture each network takes, in pixels.
PALM_INPUT_PX = 192
HAND_INPUT_PX = 224
PERSON_INPUT_PX = 224
BODY_INPUT_PX = 256

#: The library counts hand depth 2.5 times larger than its network does ("normalize_z: 0.4").
_HAND_DEPTH_SCALE = 2.5


@dataclass(frozen=True)
class Found:
    """One detection in a square picture, all in units of its side: box (xmin, ymin, width, height),
    keypoints (k, 2), score 0..1."""

    box: Array
    keypoints: Array
    score: float


@dataclass(frozen=True)
class RawHand:
    """landmarks_px (21, 3) in pixels of the crop (z in the same scale, negative towards the camera),
    landmarks_m (21, 3) along the crop's axes, presence 0..1, label_left 0..1: the library's probability of
    "Left", which it means for a mirrored picture."""

    landmarks_px: Array
    landmarks_m: Array
    presence: float
    label_left: float


@dataclass(frozen=True)
class RawBody:
    """landmarks_px (39, 3) in pixels of the crop (33 points of the body, two that span the next crop,
    four unused), landmarks_m (39, 3) along the crop's axes, visibility (39,), presence 0..1."""

    landmarks_px: Array
    landmarks_m: Array
    visibility: Array
    presence: float


@contextlib.contextmanager
def _quiet() -> Iterator[None]:
    """Keeps the library's native start-up messages off the terminal: they are written straight to file
    descriptor 2, some before any log level can be set. Errors still arrive as exceptions."""
    try:
        sys.stderr.flush()
        kept = os.dup(2)
    except (OSError, ValueError, AttributeError):  # no terminal at all, as under pythonw
        yield
        return
    try:
        with open(os.devnull, "wb") as nowhere:  # noqa: PTH123 - a device, not a file
            os.dup2(nowhere.fileno(), 2)
        yield
    finally:
        os.dup2(kept, 2)
        os.close(kept)


_start = threading.Lock()


def _library() -> ModuleType:
    os.environ.setdefault("GLOG_minloglevel", "2")
    os.environ.setdefault("TF_CPP_MIN_LOG_LEVEL", "3")
    try:
        import mediapipe
        from mediapipe.python._framework_bindings import resource_util
    except ImportError as error:
        raise UnavailableError(
            "The tracking library mediapipe is missing; install posturewatch on Python 3.10, 3.11 or 3.12."
        ) from error
    resource_util.set_resource_dir(str(Path(mediapipe.__file__).resolve().parent.parent))
    return mediapipe  # type: ignore[no-any-return]


class _Net:
    """One graph: `start` hands it a square RGB picture and returns at once, `wait` collects the packets.

    The graph computes on its own thread, so that two networks started one after the other run side by side.
    """

    _graph_text = ""
    _outputs: tuple[str, ...] = ()
    _input_px = 0
    _side_packets: tuple[tuple[str, int], ...] = ()

    def __init__(self) -> None:
        self._packets: dict[str, Any] = {}
        self._clock = 0
        self._graph: Any = None
        with _start, _quiet():
            library = _library()
            self._create_packet = library.packet_creator
            self._read_packet = library.packet_getter
            self._rgb = library.ImageFormat.SRGB
            # A chain of calculators needs no more than one thread; the library would start one per core.
            graph = library.CalculatorGraph(graph_config="num_threads: 1\n" + self._graph_text)
            for name in self._outputs:
                graph.observe_output_stream(name, self._packets.__setitem__, True)
            graph.start_run({k: self._create_packet.create_int(v) for k, v in self._side_packets})
            self._graph = graph
            # The first picture makes the library say what it has to say.
            self.start(np.zeros((self._input_px, self._input_px, 3), np.uint8))
            self._wait_packets()

    def start(self, image_rgb: Image) -> None:
        if self._graph is None:
            raise ValueError("this network is closed")
        self._packets.clear()
        self._clock += 1
        packet = self._create_packet.create_image_frame(data=image_rgb, image_format=self._rgb)
        self._graph.add_packet_to_input_stream("image", packet.at(self._clock))

    @property
    def done(self) -> bool:
        """Whether `wait` would return at once."""
        return len(self._packets) == len(self._outputs)

    def _wait_packets(self) -> dict[str, Any]:
        self._graph.wait_until_idle()
        return self._packets

    def close(self) -> None:
        graph, self._graph = self._graph, None
        if graph is not None:
            graph.close()

    def _points(self, name: str) -> Array:
        points = self._read_packet.get_proto(self._packets[name]).landmark
        return np.array([(p.x, p.y, p.z) for p in points], dtype=np.float64)


def _image_node(size_px: int, low: int) -> str:
    return f"""
node {{ calculator: "ImageToTensorCalculator" input_stream: "IMAGE:image" output_stream: "TENSORS:input"
  options {{ [mediapipe.ImageToTensorCalculatorOptions.ext] {{
    output_tensor_width: {size_px} output_tensor_height: {size_px} keep_aspect_ratio: true
    output_tensor_float_range {{ min: {low} max: 1 }} }} }} }}"""


def _inference_node(resolver: bool = False) -> str:
    return f"""
node {{ calculator: "InferenceCalculator" input_stream: "TENSORS:input" output_stream: "TENSORS:output"
  input_side_packet: "MODEL:model" {'input_side_packet: "OP_RESOLVER:resolver"' if resolver else ""}
  options {{ [mediapipe.InferenceCalculatorOptions.ext] {{ delegate {{ xnnpack {{ }} }} }} }} }}"""


def _model_node(path: str) -> str:
    return f"""
node {{ calculator: "ConstantSidePacketCalculator" output_side_packet: "PACKET:model_path"
  options {{ [mediapipe.ConstantSidePacketCalculatorOptions.ext] {{
    packet {{ string_value: "mediapipe/modules/{path}" }} }} }} }}
node {{ calculator: "ResourceProviderCalculator"
  input_side_packet: "RESOURCE_ID:model_path" output_side_packet: "RESOURCE:model_data" }}
node {{ calculator: "TfLiteModelCalculator"
  input_side_packet: "MODEL_RESOURCE:model_data" output_side_packet: "MODEL:model" }}"""


def _split_node(count: int) -> str:
    streams = " ".join(f'output_stream: "tensor_{i}"' for i in range(count))
    ranges = " ".join(f"ranges {{ begin: {i} end: {i + 1} }}" for i in range(count))
    return f"""
node {{ calculator: "SplitTensorVectorCalculator" input_stream: "output" {streams}
  options {{ [mediapipe.SplitVectorCalculatorOptions.ext] {{ {ranges} }} }} }}"""


def _float_node(tensor: str, name: str) -> str:
    return f"""
node {{ calculator: "TensorsToFloatsCalculator"
  input_stream: "TENSORS:{tensor}" output_stream: "FLOAT:{name}" }}"""


def _points_node(tensor: str, tag: str, name: str, count: int, options: str = "") -> str:
    return f"""
node {{ calculator: "TensorsToLandmarksCalculator"
  input_stream: "TENSORS:{tensor}" output_stream: "{tag}:{name}"
  options {{ [mediapipe.TensorsToLandmarksCalculatorOptions.ext] {{ num_landmarks: {count} {options} }} }} }}"""


def _detector_graph(path: str, size_px: int, strides: tuple[int, ...], keypoints: int, low: int) -> str:
    layers = " ".join(f"strides: {stride}" for stride in strides)
    boxes = sum((size_px // stride) ** 2 * 2 for stride in strides)
    return f"""
input_stream: "image"
output_stream: "found"
{_model_node(path)}
{_image_node(size_px, low)}
node {{ calculator: "TfLiteCustomOpResolverCalculator" output_side_packet: "OP_RESOLVER:resolver" }}
{_inference_node(resolver=True)}
node {{ calculator: "SsdAnchorsCalculator" output_side_packet: "anchors"
  options {{ [mediapipe.SsdAnchorsCalculatorOptions.ext] {{
    input_size_width: {size_px} input_size_height: {size_px} min_scale: 0.1484375 max_scale: 0.75
    anchor_offset_x: 0.5 anchor_offset_y: 0.5 num_layers: {len(strides)} {layers}
    aspect_ratios: 1 fixed_anchor_size: true }} }} }}
node {{ calculator: "TensorsToDetectionsCalculator" input_stream: "TENSORS:output"
  output_stream: "DETECTIONS:unfiltered" input_side_packet: "ANCHORS:anchors"
  options {{ [mediapipe.TensorsToDetectionsCalculatorOptions.ext] {{
    num_classes: 1 num_boxes: {boxes} num_coords: {4 + 2 * keypoints}
    x_scale: {size_px} y_scale: {size_px} w_scale: {size_px} h_scale: {size_px}
    keypoint_coord_offset: 4 num_keypoints: {keypoints} num_values_per_keypoint: 2 box_coord_offset: 0
    reverse_output_order: true sigmoid_score: true score_clipping_thresh: 100 min_score_thresh: 0.2 }} }} }}
node {{ calculator: "NonMaxSuppressionCalculator" input_stream: "unfiltered" output_stream: "found"
  options {{ [mediapipe.NonMaxSuppressionCalculatorOptions.ext] {{
    min_suppression_threshold: 0.3 overlap_type: INTERSECTION_OVER_UNION algorithm: WEIGHTED }} }} }}
"""


class _Detector(_Net):
    _outputs = ("found",)

    def wait(self) -> list[Found]:
        """Detections of the started picture, best first; scores from 0.2."""
        packet = self._wait_packets().get("found")
        if packet is None or packet.is_empty():
            return []
        found = []
        for detection in self._read_packet.get_proto_list(packet):
            data = detection.location_data
            box = data.relative_bounding_box
            found.append(
                Found(
                    np.array([box.xmin, box.ymin, box.width, box.height], dtype=np.float64),
                    np.array([(p.x, p.y) for p in data.relative_keypoints], dtype=np.float64),
                    float(detection.score[0]),
                )
            )
        return sorted(found, key=lambda one: -one.score)


class PalmNet(_Detector):
    """Finds palms in a square RGB picture of 192 pixels. Seven keypoints: 0 the wrist, 2 the middle knuckle."""

    _input_px = PALM_INPUT_PX
    _graph_text = _detector_graph(
        "palm_detection/palm_detection_full.tflite", PALM_INPUT_PX, (8, 16, 16, 16), keypoints=7, low=0
    )


class PersonNet(_Detector):
    """Finds persons in a square RGB picture of 224 pixels. Keypoints 0, the hips' centre, and 1, which lies
    the body's radius above it, span the crop for `BodyNet`."""

    _input_px = PERSON_INPUT_PX
    _graph_text = _detector_graph(
        "pose_detection/pose_detection.tflite", PERSON_INPUT_PX, (8, 16, 32, 32, 32), keypoints=4, low=-1
    )


class HandNet(_Net):
    """21 landmarks of the one hand in a square RGB crop of 224 pixels, fingers upwards."""

    _input_px = HAND_INPUT_PX
    _outputs = ("landmarks", "world", "presence", "label")
    _graph_text = "".join(
        (
            'input_stream: "image"\n',
            *(f'output_stream: "{name}"\n' for name in _outputs),
            _model_node("hand_landmark/hand_landmark_full.tflite"),
            _image_node(HAND_INPUT_PX, 0),
            _inference_node(),
            _split_node(4),
            _points_node("tensor_0", "LANDMARKS", "landmarks", 21),
            _float_node("tensor_1", "presence"),
            _float_node("tensor_2", "label"),
            _points_node("tensor_3", "LANDMARKS", "world", 21),
        )
    )

    def wait(self) -> RawHand:
        packets = self._wait_packets()
        landmarks_px = self._points("landmarks")
        landmarks_px[:, 2] *= _HAND_DEPTH_SCALE
        return RawHand(
            landmarks_px,
            self._points("world"),
            float(self._read_packet.get_float(packets["presence"])),
            float(self._read_packet.get_float(packets["label"])),
        )


class BodyNet(_Net):
    """Landmarks of the one body in a square RGB crop of 256 pixels."""

    _input_px = BODY_INPUT_PX
    _outputs = ("landmarks", "world", "presence")
    _graph_text = "".join(
        (
            'input_stream: "image"\n',
            *(f'output_stream: "{name}"\n' for name in _outputs),
            _model_node("pose_landmark/pose_landmark_full.tflite"),
            _image_node(BODY_INPUT_PX, 0),
            _inference_node(),
            _split_node(5),
            _points_node(
                "tensor_0",
                "NORM_LANDMARKS",
                "rough",
                39,
                f"input_image_width: {BODY_INPUT_PX} input_image_height: {BODY_INPUT_PX} "
                "visibility_activation: SIGMOID presence_activation: SIGMOID",
            ),
            'node { calculator: "RefineLandmarksFromHeatmapCalculator" input_stream: "NORM_LANDMARKS:rough" '
            'input_stream: "TENSORS:tensor_3" output_stream: "NORM_LANDMARKS:landmarks" options { '
            "[mediapipe.RefineLandmarksFromHeatmapCalculatorOptions.ext] { kernel_size: 7 } } }",
            _float_node("tensor_1", "presence"),
            _points_node("tensor_4", "LANDMARKS", "world", 39),
        )
    )

    def wait(self) -> RawBody:
        packets = self._wait_packets()
        points = self._read_packet.get_proto(packets["landmarks"]).landmark
        return RawBody(
            self._points("landmarks") * BODY_INPUT_PX,
            self._points("world"),
            np.array([p.visibility for p in points], dtype=np.float64),
            float(self._read_packet.get_float(packets["presence"])),
        )
