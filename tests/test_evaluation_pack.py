"""The small evaluation set: what is left out and rounded must not change what the program would say."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

from calibration.dataset import pack
from calibration.dataset.pack import LEFT_OUT, packed
from calibration.dataset.rows import FRAMES_A_VIDEO, video_frame
from calibration.dataset.table import read, read_shards, table_of
from calibration.evaluate.weights import read_weights
from posturewatch.kinematics.network import Ensemble

EVALUATION = Path(__file__).resolve().parents[1] / "calibration" / "evaluate" / "data"


def test_rounding_and_what_is_left_out_hardly_move_the_angles() -> None:
    columns = read(EVALUATION, "test")
    rng = np.random.default_rng(3)
    # What a camera would give: more decimals, and a body with landmarks that no feature reads.
    exact = dict(columns)
    exact["landmarks_px"] = columns["landmarks_px"] + rng.uniform(-0.05, 0.05, columns["landmarks_px"].shape)
    exact["body_px"] = columns["body_px"] + rng.uniform(-0.25, 0.25, columns["body_px"].shape)
    for name in LEFT_OUT:
        exact[name] = np.zeros((len(columns["side"]), 3))
    elsewhere = np.setdiff1d(np.arange(33), [11, 12, 13, 14, 15, 16])  # shoulders, elbows, wrists
    exact["body_px"][:, elsewhere] = rng.uniform(0, 700, (len(columns["side"]), len(elsewhere), 3))
    small, kept = packed(exact, 1)
    assert kept.all()
    assert not LEFT_OUT & set(small)
    assert (small["body_px"][:, elsewhere] == 0).all()
    ensemble = Ensemble(read_weights())
    before, after = (ensemble.estimate(table_of(each).x)[0][:, :2] for each in (exact, small))
    assert np.median(np.abs(after - before)) < 0.05
    assert np.percentile(np.abs(after - before), 99) < 1.0


def test_every_second_frame_of_each_video_is_kept_with_its_truth() -> None:
    columns = dict(read_shards(EVALUATION, "test"))
    frames = np.array([video_frame(42, 3, k) for k in range(5)] + [video_frame(44, 3, k) for k in range(5)])
    assert len(np.unique(frames)) == 10
    for name, values in columns.items():
        columns[name] = values[:10]
    columns["frame"] = columns["t_frame"] = frames
    small, kept = packed(columns, 2)
    assert (small["frame"] % FRAMES_A_VIDEO).tolist() == [0, 2, 4, 0, 2, 4]
    assert small["t_frame"].tolist() == small["frame"].tolist()
    assert kept.sum() == len(small["side"]) == len(small["t_angles"]) == 6


def test_of_single_pictures_all_are_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    arguments = [
        "pack",
        "--data",
        EVALUATION,
        "--splits",
        "test",
        "testvideo",
        "--every",
        "3",
        "--out",
        tmp_path,
    ]
    monkeypatch.setattr(sys, "argv", [str(each) for each in arguments])
    pack.main()
    count = {}
    for split in ("test", "testvideo"):
        before = len(read_shards(EVALUATION, split)["side"])
        count[split] = before, len(read(tmp_path, split)["fingers"])
    assert count["test"][1] == count["test"][0]
    assert 0 < count["testvideo"][1] < 0.5 * count["testvideo"][0]
