"""Runs networks on the processor: the only module that knows the inference library.

OpenVINO reads the tracking library's models (TFLite) and our own (ONNX) alike. Every network computes in single
precision, so that processors which offer shorter numbers give the same angles as those that do not.
"""

from __future__ import annotations

import threading
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from posturewatch.errors import UnavailableError
from posturewatch.model.arrays import Image

__all__ = ["Network", "Request"]

Floats = NDArray[np.float32]

_lock = threading.Lock()
_core: Any = None


def _library() -> Any:
    try:
        import openvino
    except ImportError as error:
        raise UnavailableError(
            'The inference library openvino is missing; install it with "pip install openvino".'
        ) from error
    return openvino


def _shared_core() -> Any:
    """One for the process, since each holds threads of its own."""
    global _core
    with _lock:
        if _core is None:
            _core = _library().Core()
        return _core


class Request:
    """One computation at a time: `start` returns at once, `wait` gives the outputs.

    Attributes
    ----------
    images
        (n, height, width, 3) what the network reads, in the library's own memory, so that nothing is copied or
        allocated for a frame. To be written to between `wait` and `start` only.
    """

    def __init__(self, request: Any) -> None:
        self._request: Any = request
        self.images: Image = request.get_input_tensor(0).data

    def start(self) -> None:
        """Starts on what lies in `images`. Raises ValueError where the request was closed."""
        if self._request is None:
            raise ValueError("this network is closed")
        self._request.start_async()

    @property
    def done(self) -> bool:
        """Whether `wait` would return at once."""
        return self._request is None or bool(self._request.wait_for(0))

    def wait(self) -> list[Floats]:
        """The outputs of what was started, in the model's order; copies, so they stay as they are."""
        if self._request is None:
            raise ValueError("this network is closed")
        self._request.wait()
        return [np.array(tensor.data, dtype=np.float32) for tensor in self._request.output_tensors]

    def close(self) -> None:
        """May be called twice."""
        request, self._request = self._request, None
        if request is not None:
            request.wait()


class Network:
    """A network that takes images as bytes and computes on one core a request.

    Parameters
    ----------
    source
        The model's file (TFLite or ONNX), or an ONNX model's bytes.
    low
        What the value 0 of a byte becomes, 0 or -1; 255 becomes 1.
    crop_px
        Side of the BGR crops (images, crop_px, crop_px, 3) of a model that takes them as (n, 12, crop_px / 2,
        crop_px / 2): each two by two pixels behind one another, row by row and each as red, green and blue, from -1 to
        1. A first convolution that takes these says the same as one that halves the image by itself, in two thirds of
        its time. None for a model that takes images (1, size, size, 3) as they are.
    images
        How many crops a request takes at once: two cost a fifth less than one after the other.
    streams
        How many of its requests compute side by side.

    Raises
    ------
    UnavailableError
        Where the library or the file is missing, or the file is no network.
    """

    def __init__(
        self,
        source: Path | bytes,
        *,
        low: int = 0,
        crop_px: int | None = None,
        images: int = 1,
        streams: int = 1,
    ) -> None:
        core = _shared_core()
        try:
            model = core.read_model(source if isinstance(source, bytes) else str(source))
            model = _takes_bytes(model, low) if crop_px is None else _takes_crops(model, crop_px, images)
            self._compiled = core.compile_model(
                model,
                "CPU",
                {
                    "INFERENCE_PRECISION_HINT": "f32",
                    "NUM_STREAMS": streams,
                    "INFERENCE_NUM_THREADS": streams,
                    # Several networks compute side by side, and each alone would be pinned to the same first core.
                    "ENABLE_CPU_PINNING": False,
                },
            )
        except RuntimeError as error:
            raise UnavailableError(
                "A network of posturewatch cannot be read; install posturewatch again."
            ) from error

    def request(self) -> Request:
        return Request(self._compiled.create_infer_request())


def _takes_bytes(model: Any, low: int) -> Any:
    """The model with bytes as its input, brought to low..1."""
    openvino = _library()
    steps = openvino.preprocess.PrePostProcessor(model)
    steps.input().tensor().set_element_type(openvino.Type.u8)
    change = steps.input().preprocess().convert_element_type(openvino.Type.f32)
    if low == -1:
        change.mean(127.5).scale(127.5)
    elif low == 0:
        change.scale(255.0)
    else:
        raise ValueError(f"low is 0 or -1, got {low}")
    return steps.build()


def _takes_crops(model: Any, size: int, images: int) -> Any:
    """The model with BGR crops (images, size, size, 3) of bytes as its input."""
    ops, half = _library().opset13, size // 2
    model.reshape([images, 12, half, half])
    (first,) = model.input(0).get_target_inputs()
    constant = first.get_node().input_value(1).get_node()
    if constant.get_type_name() != "Constant":
        raise RuntimeError("the network does not begin with a convolution")
    weights = constant.data
    # Red and blue change places in the weights: there it costs nothing.
    bgr = weights.reshape(len(weights), 4, 3, *weights.shape[2:])[:, :, ::-1].reshape(weights.shape)
    first.get_node().input(1).replace_source_output(ops.constant(np.ascontiguousarray(bgr)).output(0))
    crop = ops.parameter([images, size, size, 3], _library().Type.u8, name="crop")
    rows = ops.reshape(crop, np.array([images, half, 2, half, 6]), False)
    blocks = ops.reshape(
        ops.transpose(rows, np.array([0, 1, 3, 2, 4])), np.array([images, half, half, 12]), False
    )
    values = ops.subtract(ops.divide(ops.convert(blocks, "f32"), np.float32(127.5)), np.float32(1))
    first.replace_source_output(ops.transpose(values, np.array([0, 3, 1, 2])).output(0))
    return _library().Model(model.get_results(), [crop], "crop")
