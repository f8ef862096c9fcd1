"""The rows that the estimator is trained on: what is said to it of the camera."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from calibration.dataset.table import Columns, makers_hfov_deg, read, stated_rows, table_of
from posturewatch.kinematics.features import FEATURES, focal_px

EVALUATION = Path(__file__).resolve().parents[1] / "calibration" / "evaluate" / "data"


#: What depends on the camera: where in its view the hand is, and how large it looks.
CAMERA = ("view.ray_turned", "view.ray", "view.size")


def few(count: int = 60) -> Columns:
    columns = read(EVALUATION, "test")
    return {name: values[:count] for name, values in columns.items()}


def test_the_field_of_view_is_across_the_longer_side() -> None:
    # 90 degrees across a width of 720 pixels is a focal length of 360 pixels; 1280 pixels are then 2 atan(640 / 360).
    columns = {
        "size": np.array([[1280, 720], [720, 1280]]),
        "hfov_deg": np.array([70.0, 90.0]),
    }
    expected = [70.0, 2 * math.degrees(math.atan(640 / 360))]
    assert makers_hfov_deg(columns) == pytest.approx(expected)
    assert focal_px(720, 1280, expected[1]) == pytest.approx(360.0)


def test_of_some_pictures_the_field_of_view_is_stated_and_of_others_not() -> None:
    columns = read(EVALUATION, "test")
    stated = stated_rows(columns, 0.3)
    assert stated.mean() == pytest.approx(0.3, abs=0.04)
    assert np.array_equal(stated, stated_rows(columns, 0.3))
    for frame in np.unique(columns["frame"][stated])[:20]:  # both hands of a picture were seen by one camera
        assert stated[columns["frame"] == frame].all()
    assert not stated_rows(columns, 0.0).any()
    assert stated_rows(columns, 1.0).all()


def test_a_stated_field_of_view_reaches_training_as_it_does_use() -> None:
    columns = few()
    unknown, known = table_of(columns).x, table_of(columns, 1.0).x
    moved = np.flatnonzero((unknown != known).any(axis=0))
    of_view = [np.arange(at.stop)[at] for name, at in FEATURES.items() if name in CAMERA]
    assert set(moved) == set(np.concatenate(of_view))
    some = table_of(columns, 0.5).x
    stated = stated_rows(columns, 0.5)
    assert 0 < stated.sum() < len(stated)
    assert np.array_equal(some[stated], known[stated])
    assert np.array_equal(some[~stated], unknown[~stated])
