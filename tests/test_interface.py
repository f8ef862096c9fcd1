"""What `import posturewatch` offers: light to import, its examples run, and its numbers are those of the commands."""

from __future__ import annotations

import doctest
import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from capture_videos import write_film
from log_factories import record

import posturewatch
from posturewatch.cli.main import main
from posturewatch.interface import measuring, tables
from posturewatch.review.derived import open_store
from posturewatch.review.entries import MarkEntry
from posturewatch.review.practice_log import PracticeLog
from posturewatch.storage import store as store_module

HEAVY = ("numpy", "cv2", "av", "openvino", "mediapipe", "fastapi", "scipy", "pydantic")


def loaded_by(code: str) -> list[str]:
    """Which of the heavy packages are there after that, in a fresh process."""
    code += f"\nimport sys\nprint([name for name in {HEAVY} if name in sys.modules])"
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=120
    )
    found: list[str] = json.loads(done.stdout.splitlines()[-1].replace("'", '"'))
    return found


def test_importing_loads_nothing_and_tables_load_no_models() -> None:
    assert loaded_by("import posturewatch; posturewatch.__version__; dir(posturewatch)") == []
    assert not {"cv2", "av", "openvino", "mediapipe", "fastapi"} & set(
        loaded_by("import posturewatch; posturewatch.quantities(); posturewatch.samples")
    )


def test_all_that_is_offered_is_there_and_said() -> None:
    assert posturewatch.__doc__ is not None
    for name in posturewatch.__all__:
        assert getattr(posturewatch, name) is not None
        assert name in dir(posturewatch)
        if name not in ("__version__", "Measured"):
            assert f"    {name} " in posturewatch.__doc__, name
    with pytest.raises(AttributeError, match="no attribute 'nonsense'"):
        _ = posturewatch.nonsense  # type: ignore[attr-defined]


@pytest.fixture
def log(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    """The user's own log, with one practice; its id."""
    folder = tmp_path / "data"
    monkeypatch.setattr(store_module, "default_data_dir", lambda: folder)
    with open_store(folder) as store:
        identity = record(
            store, 60.0, switches=((0.0, "Étude", "1-8"), (40.0, "Scales", "")), bent=(30.0, 40.0)
        )
        PracticeLog(store).add_mark(identity, MarkEntry.read({"time_s": 31.0, "note": "here"}))
    return identity


def test_the_examples_of_tables_run(log: str) -> None:
    found = doctest.testmod(tables)
    assert found.attempted > 10
    assert found.failed == 0


@pytest.mark.models
def test_the_examples_of_measuring_run() -> None:
    found = doctest.testmod(measuring)
    assert found.attempted > 8
    assert found.failed == 0


def test_practices_are_read_as_tables(log: str, tmp_path: Path) -> None:
    found = posturewatch.practices()
    assert {len(column) for column in found.values()} == {1}
    assert (found["id"][0], found["duration_s"][0], found["demo"][0]) == (log, 60.0, False)
    assert found["started_at"][0] == np.datetime64("2025-03-03T18:00:00.000")
    flexion = posturewatch.samples(log[:4], "left", "wrist_flexion", data_dir=tmp_path / "data")
    assert flexion["time_s"] == pytest.approx(np.arange(600) / 10)
    bent = (flexion["time_s"] >= 30.0) & (flexion["time_s"] < 40.0)
    assert flexion["value"] == pytest.approx(np.where(bent, 60.0, 10.0))
    assert set(flexion["sd"]) == {3.0}
    assert set(flexion["refusal"]) == {""}
    unseen = posturewatch.samples("last", "right", "wrist_flexion")
    assert np.isnan(unseen["value"]).all()
    assert set(unseen["refusal"]) <= {"hand not seen"}
    passages = posturewatch.events("last", "passages")
    assert passages["piece"].tolist() == ["Étude", "Scales"]
    assert passages["end_s"].tolist() == [40.0, 60.0]
    assert np.isnan(passages["tempo_bpm"]).all()
    marks = posturewatch.events("last", "marks")
    assert (marks["time_s"].tolist(), marks["note"].tolist()) == ([31.0], ["here"])
    beyond = posturewatch.events("last", "excursions")
    assert beyond["start_s"].dtype == np.float64


def test_an_empty_log_is_an_empty_table(tmp_path: Path) -> None:
    found = posturewatch.practices(tmp_path / "new")
    assert {len(column) for column in found.values()} == {0}
    assert found["started_at"].dtype == np.dtype("datetime64[ms]")
    assert not (tmp_path / "new").exists()


@pytest.mark.parametrize(
    "ask",
    [
        lambda: posturewatch.samples("last", "middle", "wrist_flexion"),  # type: ignore[arg-type]
        lambda: posturewatch.samples("last", "left", "wrist"),
        lambda: posturewatch.samples("none", "left", "wrist_flexion"),
        lambda: posturewatch.events("last", "warnings"),
        lambda: posturewatch.measure_picture("nowhere.jpg"),
        lambda: posturewatch.measure_picture(np.zeros((8, 8, 3), np.uint8), fretting=["both"]),  # type: ignore[list-item]
        lambda: next(posturewatch.measure_video("nowhere.mp4")),
        lambda: next(posturewatch.measure_video("nowhere.mp4", from_s=2.0, to_s=1.0)),
        lambda: next(posturewatch.measure_video("nowhere.mp4", from_s=-1.0)),
    ],
)
def test_what_is_wrong_is_one_sentence(ask: object, log: str) -> None:
    with pytest.raises(posturewatch.PosturewatchError) as caught:
        ask()  # type: ignore[operator]
    assert "\n" not in caught.value.sentence


def test_data_frames_want_pandas(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "pandas", None)
    with pytest.raises(posturewatch.PosturewatchError, match="pip install pandas"):
        posturewatch.data_frame(posturewatch.quantities())


@pytest.mark.models
def test_a_notebook_of_own_analysis_and_the_commands_say_the_same(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    film, folder = posturewatch.demo_film(), tmp_path / "data"
    frames = list(posturewatch.measure_video(film, to_s=1.5))
    assert [one.index for one in frames] == list(range(45))
    assert [one.time_s for one in frames] == pytest.approx([index / 30 for index in range(45)], abs=1e-3)
    flexion = posturewatch.series(frames, "left", "wrist_flexion")
    assert main(["analyse", str(film), "--to", "1.5", "--keep", "--data-dir", str(folder)]) in (0, 1)
    kept = posturewatch.samples("last", "left", "wrist_flexion", data_dir=folder)
    assert kept["time_s"] == pytest.approx(flexion["time_s"], abs=1e-3)
    assert kept["refusal"].tolist() == flexion["refusal"].tolist()
    assert kept["value"] == pytest.approx(flexion["value"], abs=0.011, nan_ok=True)
    picture = next(posturewatch.measure_video(film, to_s=0.02, pictures=True)).image_bgr
    assert picture is not None
    still = posturewatch.measure_picture(picture, fretting=["left"])
    assert {one.side for one in still.observation.hands} == {"left", "right"}
    # What is asked for from the middle on keeps the film's own time.
    late = next(posturewatch.measure_video(film, from_s=1.0, to_s=1.1))
    assert late.time_s == pytest.approx(1.0, abs=1e-3)


@pytest.mark.models
def test_times_are_those_of_the_film_whatever_its_rate(tmp_path: Path) -> None:
    times = [0.0, 0.04, 0.05, 0.31, 0.9]
    film = write_film(tmp_path / "a b.mkv", times)
    assert [one.time_s for one in posturewatch.measure_video(film)] == pytest.approx(times, abs=1e-3)
