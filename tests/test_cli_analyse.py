"""`posturewatch analyse`: the files it writes, and what it says of films it cannot measure."""

from __future__ import annotations

import csv
import json
import math
import signal
from pathlib import Path
from typing import Any

import pytest
from cli_stand_ins import SD_DEG, Script, ScriptedHands, film

from posturewatch.cli.main import main
from posturewatch.model.measurement import HandMeasurement, Measurement, Refusal
from posturewatch.model.quantities import QUANTITY_NAMES

#: The wrist first, as it always was; then each finger's quantities, and what lifts were measured from.
FIRST = (
    "time_s,side,wrist_flexion_deg,wrist_flexion_sd_deg,wrist_ulnar_deviation_deg,"
    "wrist_ulnar_deviation_sd_deg,status,reason,index_lift_mm,index_lift_sd_mm,index_pip_deg,index_pip_sd_deg,"
    "index_dip_deg,index_dip_sd_deg,middle_lift_mm,"
)
LAST = ",thumb_ip_deg,thumb_ip_sd_deg,thumb_place_mm,thumb_place_sd_mm,lift_plane,finger_reason"


@pytest.fixture(autouse=True)
def no_settings_of_the_user(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(
        "posturewatch.config.settings.default_settings_path", lambda: tmp_path / "no" / "settings.toml"
    )


def script(time_s: float) -> float | Refusal:
    """Held beyond every limit from 2 s to 8 s; not measurable in the last second."""
    if time_s >= 9:
        return Refusal.UNUSUAL_VIEW
    return 75.0 if 2 <= time_s < 8 else 10.0 + math.sin(time_s)


def analyse(path: Path, out: Path, *more: str) -> int:
    return main(["analyse", str(path), "--out", str(out), *more])


def table(out: Path) -> list[dict[str, str]]:
    with (out / "samples.csv").open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def test_a_film_becomes_a_table_and_a_summary(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    hands = ScriptedHands(script).use(monkeypatch)
    out = tmp_path / "results" / "lesson"
    assert analyse(film(tmp_path / "lesson.mkv", 10.0), out) == 0
    assert capsys.readouterr().out.startswith("100 frames measured")
    assert hands.released == 1
    header = (out / "samples.csv").read_text(encoding="utf-8").splitlines()[0]
    assert header.startswith(FIRST)
    assert header.endswith(LAST)
    rows = table(out)
    assert len(rows) == 200
    for index, row in enumerate(row for row in rows if row["side"] == "left"):
        time_s = index / 10
        assert float(row["time_s"]) == pytest.approx(time_s, abs=1e-3)
        said = script(time_s)
        if isinstance(said, Refusal):
            assert (row["status"], row["reason"]) == ("not measurable", said.value)
            assert {row[name] for name in row if name.endswith("_deg")} == {""}
        else:
            assert (row["status"], row["reason"]) == ("measured", "")
            assert float(row["wrist_flexion_deg"]) == pytest.approx(said, abs=0.005)
            assert float(row["wrist_ulnar_deviation_sd_deg"]) == SD_DEG
    assert {(row["status"], row["reason"]) for row in rows if row["side"] == "right"} == {
        ("not measurable", "hand not seen")
    }
    summary = json.loads((out / "summary.json").read_text(encoding="utf-8"))
    assert (summary["frames"], summary["interrupted"]) == (100, False)
    assert summary["source"]["name"] == "lesson.mkv"
    assert summary["limits"]["name"] == "carpal-pressure"
    assert summary["versions"]["mediapipe"] == "0.10.21"
    (flexion,) = [
        one for one in summary["quantities"] if one["side"] == "left" and one["quantity"] == "wrist_flexion"
    ]
    assert flexion["measured_s"] == pytest.approx(9.0, abs=0.01)
    (extreme,) = [one for one in summary["excursions"] if one["level"] == "extreme"]
    assert (extreme["start_s"], extreme["peak"], extreme["direction"]) == (2.0, 75.0, "flexion")
    (warned,) = summary["warned"]
    assert warned["fired_s"] == pytest.approx(5.0, abs=0.15)


def test_another_profile_is_used_and_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    ScriptedHands(script).use(monkeypatch)
    assert analyse(film(tmp_path / "a.mkv", 1.0), tmp_path / "out", "--profile", "rula") == 0
    assert json.loads((tmp_path / "out" / "summary.json").read_text())["limits"]["name"] == "rula"


def test_a_hand_with_one_refused_number_is_not_measurable_but_keeps_the_other() -> None:
    from posturewatch.pipeline.samples_file import COLUMNS, row

    refused = HandMeasurement.refused("left", QUANTITY_NAMES, Refusal.NO_PLANE)
    values = {
        **refused.values,
        "wrist_flexion": Measurement.of(12.344, 5.5),
        "wrist_ulnar_deviation": Measurement.refused(Refusal.TOO_UNCERTAIN),
        "index_lift": Measurement.of(7.25, 3.0),
    }
    cells = dict(zip(COLUMNS, row(1 / 3, HandMeasurement("left", values, "picture")), strict=True))
    assert {name: value for name, value in cells.items() if value} == {
        "time_s": "0.3333",
        "side": "left",
        "wrist_flexion_deg": "12.34",
        "wrist_flexion_sd_deg": "5.50",
        "status": "not measurable",
        "reason": "too uncertain from this view",
        "index_lift_mm": "7.25",
        "index_lift_sd_mm": "3.00",
        "lift_plane": "picture",
        "finger_reason": "no resting plane of the fingers known yet",
    }


def test_ctrl_c_keeps_what_was_measured(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def interrupt(index: int) -> None:
        if index == 20:
            signal.raise_signal(signal.SIGINT)

    ScriptedHands(script, interrupt).use(monkeypatch)
    out = tmp_path / "out"
    assert analyse(film(tmp_path / "a.mkv", 10.0), out) == 130
    assert "Stopped at 2.0 s of a.mkv" in capsys.readouterr().err
    assert len(table(out)) == 2 * 21
    summary = json.loads((out / "summary.json").read_text(encoding="utf-8"))
    assert (summary["frames"], summary["interrupted"]) == (21, True)
    assert signal.getsignal(signal.SIGINT) is signal.default_int_handler


@pytest.mark.parametrize(
    ("script", "sentence"),
    [
        (lambda time_s: Refusal.HAND_NOT_SEEN, "No hand was seen in a.mkv. Turn the camera"),
        (
            lambda time_s: Refusal.FOREARM_NOT_SEEN if time_s > 1 else Refusal.HAND_NOT_SEEN,
            "Nothing could be measured in a.mkv, mostly because: forearm not seen.",
        ),
    ],
)
def test_a_film_without_a_number_is_told_what_would_help(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    script: Script,
    sentence: str,
) -> None:
    ScriptedHands(script).use(monkeypatch)
    out = tmp_path / "out"
    assert analyse(film(tmp_path / "a.mkv", 2.0), out) == 3
    said = capsys.readouterr().err
    assert sentence in said
    assert said.count("\n") == 1
    assert {row["status"] for row in table(out)} == {"not measurable"}
    assert json.loads((out / "summary.json").read_text())["frames"] == 20


def test_bad_input_is_one_sentence_each(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    ScriptedHands(script).use(monkeypatch)
    good = film(tmp_path / "good.mkv", 1.0)
    (tmp_path / "note.mp4").write_text("dear diary " * 100)
    (tmp_path / "empty.mp4").write_bytes(b"")
    no_frames = film(tmp_path / "none.avi", 0.0)
    broken = tmp_path / "settings.toml"
    broken.write_text("[watch]\n\nhold_z = 3\n")
    (tmp_path / "file").write_text("")
    (tmp_path / "folder" / "samples.csv").mkdir(parents=True)
    out = tmp_path / "out"
    table: list[tuple[list[Any], int, str]] = [
        ([tmp_path / "missing.mp4", out], 2, "There is no video at"),
        ([tmp_path / "note.mp4", out], 3, "is not a video that can be read"),
        ([tmp_path / "empty.mp4", out], 3, "is empty"),
        ([no_frames, out], 3, "no frames"),
        ([tmp_path / "folder", out], 2, "is a folder without a film"),
        ([good, tmp_path / "file"], 2, "cannot be made"),
        ([good, tmp_path / "folder"], 2, "cannot be written"),
        ([good, out, "--profile", "carpal-presure"], 2, "did you mean carpal-pressure?"),
        ([good, out, "--settings", str(broken)], 2, "line 3"),
        ([good, out, "--settings", str(tmp_path / "no.toml")], 2, "There is no settings file"),
    ]
    for arguments, code, part in table:
        assert (analyse(*arguments), part) == (code, part)
        said = capsys.readouterr().err
        assert part in said
        assert said.startswith("posturewatch: ")
        assert said.count("\n") == 1, said
    assert "hold_z" in _said_of_broken_settings(good, out, broken, capsys)
    assert not out.exists()


def _said_of_broken_settings(good: Path, out: Path, broken: Path, capsys: pytest.CaptureFixture[str]) -> str:
    analyse(good, out, "--settings", str(broken))
    return str(capsys.readouterr().err)


def test_missing_weights_are_one_sentence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("posturewatch.pipeline.build.calibration_dir", lambda: tmp_path)
    assert analyse(film(tmp_path / "a.mkv", 1.0), tmp_path / "out", "--profile", "rula") == 5
    assert "weights estimator.npz of posturewatch are missing" in capsys.readouterr().err
