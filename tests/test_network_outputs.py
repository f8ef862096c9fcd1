"""What the networks say, by name: against the files of the networks themselves, and rows against batches."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
import pytest

from posturewatch.config.resources import calibration_dir
from posturewatch.errors import UnavailableError
from posturewatch.model.network_outputs import FingerOutputs, ForearmOutputs, NetworkOutputs
from posturewatch.tracking.crop import CLOSE, WIDE, Crop, CropNet

BOTH = [("forearm", WIDE, ForearmOutputs), ("fingers", CLOSE, FingerOutputs)]


@pytest.mark.parametrize(("name", "crop", "kind"), BOTH)
def test_the_names_fill_the_row_that_the_network_gives(
    name: str, crop: Crop, kind: type[NetworkOutputs[Any]]
) -> None:
    # OpenCV's own reading of the network says how wide its row is.
    net = cv2.dnn.readNetFromONNX(str(calibration_dir() / "weights" / f"{name}.onnx"))
    net.setInput(np.zeros((2, 12, crop.size_px // 2, crop.size_px // 2), np.float32))
    rows = net.forward()
    assert rows.shape == (2, sum(kind.widths().values()))
    places = [place for at in kind.slices().values() for place in range(at.start, at.stop)]
    assert places == list(range(rows.shape[1]))


@pytest.mark.parametrize(("name", "crop", "kind"), BOTH)
def test_a_batch_says_of_each_row_what_the_row_says(
    name: str, crop: Crop, kind: type[NetworkOutputs[Any]]
) -> None:
    rows = np.random.default_rng(1).normal(size=(3, sum(kind.widths().values())))
    batch = kind.from_rows(rows)
    for k, row in enumerate(rows):
        one = kind.from_rows(row)
        flat = [np.ravel(getattr(one, field)) for field in kind.widths()]
        assert np.array_equal(np.concatenate(flat), row)
        for field in kind.widths():
            assert np.array_equal(getattr(batch, field)[k], getattr(one, field))


def test_rows_that_end_before_what_is_not_learned_leave_it_unknown() -> None:
    said: FingerOutputs[Any] = FingerOutputs.from_rows(np.ones((2, 117)))
    assert np.isnan(said.strings_spread).tolist() == [True, True]
    assert said.side_logit.tolist() == [1.0, 1.0]
    assert said.joints.shape == (2, 20, 3)


@pytest.mark.parametrize(
    ("kind", "width"),
    [(ForearmOutputs, 20), (ForearmOutputs, 22), (FingerOutputs, 116), (FingerOutputs, 119)],
)
def test_rows_of_another_width_are_refused(kind: type[NetworkOutputs[Any]], width: int) -> None:
    with pytest.raises(ValueError, match=f"{kind.__name__} are read from"):
        kind.from_rows(np.zeros((2, width)))
    with pytest.raises(UnavailableError, match="install posturewatch again"):
        CropNet.read(np.zeros(width), kind)
