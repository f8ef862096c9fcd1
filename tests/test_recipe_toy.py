"""Every stage of the recipe in toy size, on three bodies: what is rendered is tracked, kept, evaluated and packed.

Stages whose packages are not installed are left out in one sentence; with the `calibration` extra they run, too.
"""

from __future__ import annotations

import contextlib
import ctypes.util
import importlib.util
import io
import runpy
import shutil
import subprocess
import sys
import warnings
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from calibration.dataset.table import load
from calibration.recipe import main, read_stages
from posturewatch.config.resources import calibration_dir

BODIES = Path(__file__).parent / "data" / "few_bodies.npz"
WEIGHTS = calibration_dir() / "weights"
TRAINED = importlib.util.find_spec("torch") is not None


def _in_this_process(command: list[str], check: bool) -> subprocess.CompletedProcess[str]:
    """`python -m MODULE OPTIONS` without another start of Python for every stage."""
    python, flag, module, *options = command
    assert (python, flag, check) == (sys.executable, "-m", False)
    with pytest.MonkeyPatch.context() as patch, warnings.catch_warnings():
        patch.setattr(sys, "argv", [module, *options])
        warnings.simplefilter("default")
        warnings.simplefilter("error", RuntimeWarning)  # a mean of nothing, and the like
        warnings.filterwarnings(
            "ignore", ".*found in sys.modules", RuntimeWarning
        )  # another test imported it
        runpy.run_module(module, run_name="__main__", alter_sys=True)
    return subprocess.CompletedProcess(command, 0)


@pytest.fixture(scope="module")
def cooked(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, str]]:
    """The folder of a whole toy run, and what was printed of each stage."""
    if importlib.util.find_spec("moderngl") is None or ctypes.util.find_library("EGL") is None:
        pytest.skip("rendering wants moderngl and OpenGL through EGL")
    data = tmp_path_factory.mktemp("toy")
    said = io.StringIO()
    with pytest.MonkeyPatch.context() as patch, contextlib.redirect_stdout(said):
        patch.setattr(subprocess, "run", _in_this_process)
        options = ["--toy", "--data", str(data), "--bodies", str(BODIES), "--networks", str(WEIGHTS)]
        assert main(options) == (0 if TRAINED else 1)
        if not TRAINED:
            (data / "weights").mkdir()
            shutil.copy(WEIGHTS / "estimator.npz", data / "weights")
            assert main([*options, "evaluate"]) == 0
    stages: dict[str, str] = {}
    name = ""
    for line in said.getvalue().splitlines():
        name = next((one for one in read_stages() if line.startswith(f"{one}: ")), name)
        stages[name] = stages.get(name, "") + line + "\n"
    return data, stages


@pytest.mark.models
def test_every_stage_is_run_or_says_what_it_lacks(cooked: tuple[Path, dict[str, str]]) -> None:
    data, said = cooked
    assert list(said) == list(read_stages())
    assert said["bodies"] == f"bodies: taken from {BODIES}\n"
    for name in ("forearm", "fingers"):
        assert said[name] == f"{name}: taken from {WEIGHTS}\n"
    complete = {path.stem for path in (data / "complete").iterdir()}
    lacking = set() if TRAINED else {"estimator"}
    assert complete == set(read_stages()) - {"bodies", "forearm", "fingers"} - lacking
    if not TRAINED:
        sentence = "needs torch, not installed here; install posturewatch[calibration]."
        assert said["estimator"] == f"estimator: {sentence}\n"


def _shards(folder: Path, *splits: str) -> list[dict[str, NDArray[Any]]]:
    """Those in which a hand was found."""
    paths = [path for split in splits for path in sorted(folder.glob(f"{split}-all-*.npz"))]
    return [shard for shard in (dict(np.load(path)) for path in paths) if "valid" in shard]


@pytest.mark.models
def test_what_is_tracked_lies_where_the_truth_says(cooked: tuple[Path, dict[str, str]]) -> None:
    data, _ = cooked
    off = []
    for shard in _shards(data, "train", "cal", "calvideo", "test", "testvideo"):
        for row in np.flatnonzero(shard["valid"] & shard["found"]):
            # A pinhole camera in the middle of the image: x = f X / Z, with f from the angle across the width.
            width, height = shard["size"][row]
            focal_px = 0.5 * width / np.tan(np.radians(shard["hfov_deg"][row]) / 2)
            x, y, z = shard["true_joints_m"][row].T
            true_px = np.stack([focal_px * x / z + width / 2, focal_px * y / z + height / 2], 1)
            hand_px = np.linalg.norm(true_px[9] - true_px[0])
            found_px = shard["landmarks_px"][row, :, :2]
            off.append(np.linalg.norm(found_px - true_px, axis=1).mean() / hand_px)
    assert len(off) >= 10
    assert np.median(off) < 0.25  # of the way from the wrist to the middle knuckle


@pytest.mark.models
def test_no_body_is_in_two_splits(cooked: tuple[Path, dict[str, str]]) -> None:
    data, _ = cooked
    seen = {}
    for split in ("train", "cal", "test"):
        shards = _shards(data, split, f"{split}video")
        seen[split] = set(np.concatenate([one["identity"] for one in shards]).tolist())
        assert seen[split]
    assert len(set.union(*seen.values())) == sum(map(len, seen.values()))


@pytest.mark.models
def test_what_is_packed_is_evaluated_as_what_it_was_packed_from(cooked: tuple[Path, dict[str, str]]) -> None:
    data, _ = cooked
    whole, packed = load(data, "test"), load(data / "packed", "test")
    np.testing.assert_array_equal(packed.valid, whole.valid)
    np.testing.assert_array_equal(packed.y, whole.y)
    # Numbers are rounded to what the tracker is good for: a thousandth of their spread, as far as features go.
    np.testing.assert_allclose(packed.x, whole.x, atol=0.05)


@pytest.mark.models
def test_a_second_run_leaves_everything_as_it_is(
    cooked: tuple[Path, dict[str, str]], capsys: pytest.CaptureFixture[str]
) -> None:
    data, _ = cooked
    before = {path: path.stat().st_mtime_ns for path in data.rglob("*") if path.is_file()}
    main(["--toy", "--data", str(data), "--bodies", str(BODIES), "--networks", str(WEIGHTS)])
    assert "python -m" not in capsys.readouterr().out
    assert {path: path.stat().st_mtime_ns for path in data.rglob("*") if path.is_file()} == before
