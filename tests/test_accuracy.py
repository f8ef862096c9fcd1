"""The whole measurement on rendered players that nothing was trained on, against the angles they were posed with.

`calibration/evaluate/data/` holds pictures with their truth (bodies and scenes of the test split) and, for many more
test pictures, what the tracker saw. `python -m calibration.evaluate` prints the full table; the bounds here are
regression guards (`accuracy_guards`).
"""

from __future__ import annotations

import json
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import accuracy_guards as guard
import cv2
import numpy as np
import pytest
from scipy.stats import mannwhitneyu

from calibration.dataset.rows import match
from calibration.dataset.table import load, read
from calibration.evaluate.report import score, shares_reported
from calibration.evaluate.weights import read_weights
from calibration.scene.view import FRAMINGS
from posturewatch.cli.main import main
from posturewatch.config.settings import Settings
from posturewatch.kinematics.estimator import RefusalRules
from posturewatch.kinematics.network import COVERAGE_Z, Ensemble
from posturewatch.model.estimator_outputs import OUTPUTS
from posturewatch.model.frame import Frame
from posturewatch.model.observation import HAND_LANDMARKS
from posturewatch.pipeline.build import build

EVALUATION = Path(__file__).resolve().parents[1] / "calibration" / "evaluate" / "data"
PICTURES = EVALUATION / "pictures"
IN_VIEW = 0.8


def labels() -> list[dict[str, Any]]:
    return [json.loads(line) for line in (PICTURES / "labels.jsonl").read_text(encoding="utf-8").splitlines()]


def _nearness(label: dict[str, Any]) -> float:
    """How large the fretting hand is in the picture, where all of it is seen."""
    hand = next(hand for hand in label["hands"] if hand["role"] == "fretting")
    points = np.asarray(hand["joints_px"], float)
    return float(np.linalg.norm(points[9] - points[0])) * float(hand["hand_visible"] > 0.95)


def test_errors_and_intervals_on_what_the_tracker_saw_of_test_players() -> None:
    table = load(EVALUATION, "test")
    scored = score(Ensemble(read_weights()), table, RefusalRules())
    kept = table.valid & scored.reported
    error = np.abs(scored.error)
    inside = error <= COVERAGE_Z * scored.sd
    # A constant guess is off by 29 and 16 degrees here.
    assert (error[kept].mean(axis=0) < guard.WRIST_ERROR_DEG).all()
    found = table.columns["found"]
    assert kept.sum() > guard.REPORTED_OF_FOUND * (table.valid & found).sum()
    # Of the hands found nearly all get their own side.
    assert table.valid[found & table.columns["matched"]].mean() > guard.OWN_SIDE
    # 90 % intervals must hold about 90 % of the errors, and in each framing too.
    assert inside[kept].mean() == pytest.approx(0.9, abs=guard.COVERAGE_OFF)
    for k in range(len(FRAMINGS)):
        assert inside[kept & (table.columns["framing"] == k)].mean() == pytest.approx(
            0.9, abs=guard.COVERAGE_OFF_FRAMING
        )
    # Surer statements must be better ones.
    surer = scored.sd[:, 0] < np.median(scored.sd[kept, 0])
    assert error[kept & surer, 0].mean() < 0.85 * error[kept & ~surer, 0].mean()
    # Landmarks under the wrong side, or on no hand, are seldom reported a number.
    assert (scored.reported & ~table.valid).sum() < guard.REPORTED_WRONGLY * kept.sum()


def test_most_hands_that_stop_strings_in_view_get_both_numbers() -> None:
    table = load(EVALUATION, "test")
    scored = score(Ensemble(read_weights()), table, RefusalRules())
    told = list(shares_reported(table, scored, read(EVALUATION, "test")))
    fretting = {
        framing: (found, reported) for framing, role, found, reported, _ in told if role == "fretting"
    }
    assert set(fretting) == set(FRAMINGS)
    for framing, (found, reported) in fretting.items():
        assert found > guard.FRETTING_FOUND, framing
        assert guard.FRETTING_REPORTED < reported <= found + 1e-9, framing
    assert sum(count for *_, count in told) > 1400


def test_what_is_given_is_better_known_than_a_constant_and_its_intervals_hold() -> None:
    table = load(EVALUATION, "test")
    ensemble = Ensemble(read_weights())
    means, sds, *_ = ensemble.estimate(table.x)
    error = np.abs(means - table.y)
    reported = 0
    for skill, role in zip(
        ensemble.skill, (table.columns["fretting"], ~table.columns["fretting"]), strict=True
    ):
        rows = table.valid & role
        for k in np.flatnonzero(skill >= RefusalRules().min_skill):
            true = table.y[rows, k]
            assert np.nanmean(error[rows, k]) < 0.8 * np.nanmean(np.abs(true - np.nanmedian(true))), OUTPUTS[
                k
            ]
            known = rows & np.isfinite(table.y[:, k])
            assert (error[known, k] <= COVERAGE_Z * sds[known, k]).mean() > guard.OUTPUT_COVERAGE, OUTPUTS[k]
            reported += 1
    assert reported > guard.OUTPUTS_REPORTED


def test_lifts_that_are_given_tell_lifted_fingers_from_those_that_press() -> None:
    table = load(EVALUATION, "test")
    ensemble, rules = Ensemble(read_weights()), RefusalRules()
    means, sds, *_ = ensemble.estimate(table.x)
    rows = table.valid & table.columns["fretting"]
    at = [
        k
        for k, (name, skill) in enumerate(zip(OUTPUTS, ensemble.skill[0], strict=True))
        if name.endswith("_lift") and skill >= rules.min_skill
    ]
    assert len(at) >= guard.LIFTS_REPORTED
    true, value, sd = table.y[rows][:, at], means[rows][:, at], sds[rows][:, at]
    reported = np.isfinite(true) & (sd <= rules.max_lift_sd_mm)
    error = np.abs(value - true)[reported]
    # Always saying that the finger is down is off by 8 mm here.
    assert reported.mean() > guard.LIFT_REPORTED_SHARE
    assert error.mean() < guard.LIFT_ERROR_MM
    assert (error <= COVERAGE_Z * sd[reported]).mean() == pytest.approx(0.9, abs=guard.LIFT_COVERAGE_OFF)
    high, down = value[reported & (true > 25)], value[reported & (true < 2)]
    assert np.median(high) > guard.LIFT_HIGH_MM
    assert np.median(down) < guard.LIFT_DOWN_MM
    # The chance that a lifted one reads higher than one that is down: Mann and Whitney's U over its greatest value.
    u = mannwhitneyu(high, down).statistic / (len(high) * len(down))
    assert u > guard.LIFT_RANKED


@pytest.mark.models
def test_pictures_from_file_to_angle() -> None:
    found, in_view, right_side, errors, inside, axis_errors = 0, 0, 0, [], [], []
    built = build("still", Settings())
    with ExitStack() as cleanup:
        cleanup.callback(built.release)
        for label in labels():
            image = cv2.imread(str(PICTURES / label["image"]))
            observation = built.tracker.observe(Frame(0, 0.0, np.asarray(image, np.uint8)))
            built.measurer.reset()
            measured = built.measurer.measure(observation)
            matched = [(hand, match(hand, label["hands"])) for hand in observation.hands]
            for truth in label["hands"]:
                if truth["hand_visible"] < IN_VIEW:
                    continue
                in_view += 1
                hand = next((hand for hand, known in matched if known is truth), None)
                if hand is None:
                    continue
                found += 1
                right_side += hand.side == truth["side"]
                if hand.forearm is not None and truth["forearm_visible"] > 0.9:
                    towards = hand.forearm.towards_elbow_px - hand.forearm.wrist_px
                    true = np.asarray(truth["forearm_direction_px"])
                    cosine = towards @ true / np.linalg.norm(towards)
                    axis_errors.append(np.degrees(np.arccos(np.clip(cosine, -1, 1))))
                for name, key in (
                    ("wrist_flexion", "flexion_deg"),
                    ("wrist_ulnar_deviation", "ulnar_deviation_deg"),
                ):
                    one = measured.hand(hand.side).values[name]
                    if hand.side == truth["side"] and one.value is not None and one.sd is not None:
                        errors.append(abs(one.value - truth[key]))
                        inside.append(errors[-1] <= COVERAGE_Z * one.sd)
    assert in_view >= 40
    assert found >= guard.PICTURES_FOUND * in_view
    assert right_side >= guard.PICTURES_OWN_SIDE * found
    assert len(errors) >= guard.PICTURES_REPORTED * 2 * in_view
    assert np.mean(errors) < guard.PICTURES_ERROR_DEG
    assert np.mean(inside) > guard.PICTURES_COVERAGE
    assert np.median(axis_errors) < guard.FOREARM_AXIS_DEG


@pytest.mark.models
def test_measure_prints_documented_json_and_draws(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    label = max(labels(), key=_nearness)
    picture = PICTURES / label["image"]
    fretting = next(hand["side"] for hand in label["hands"] if hand["role"] == "fretting")
    asked = ["measure", str(picture), "--json", "--hand-length-mm", "190", "--fretting-hand", fretting]
    assert main([*asked, "--overlay", str(tmp_path)]) == 0
    (result,) = json.loads(capsys.readouterr().out)
    assert result["image"] == str(picture)
    assert result["hands"], "the player's hands are in this picture"
    for hand in result["hands"]:
        assert hand["side"] in ("left", "right")
        assert set(hand["wrist"]) == {
            "flexion_deg", "flexion_sd_deg", "ulnar_deviation_deg", "ulnar_deviation_sd_deg", "status", "reason",
        }  # fmt: skip
        assert (hand["wrist"]["status"] == "measured") == (hand["wrist"]["reason"] is None)
        assert np.shape(hand["hand_axis_px"]) == (2, 2)
        assert [finger["finger"] for finger in hand["fingers"]] == ["index", "middle", "ring", "little"]
    by_side = {hand["side"]: hand["fingers"] for hand in result["hands"]}
    assert any(finger["lift_mm"] is not None for finger in by_side[fretting])
    for finger in (one for fingers in by_side.values() for one in fingers):
        assert (
            (finger["lift_mm"] is None)
            == (finger["lift_sd_mm"] is None)
            == (finger["lift_reason"] is not None)
        )
        assert (finger["pip_flexion_deg"] is None) == (finger["pip_flexion_sd_deg"] is None)
    assert main([*asked[:2], "--fretting-hand", fretting]) == 0
    assert f"{fretting} fingers, lift from the strings: " in capsys.readouterr().out
    # Of a hand that stops no strings nothing is known of lifts from them.
    assert main([*asked[:-1], "none"]) == 0
    (result,) = json.loads(capsys.readouterr().out)
    assert all(finger["lift_mm"] is None for hand in result["hands"] for finger in hand["fingers"])
    drawn = cv2.imread(str(tmp_path / f"{picture.stem}.png"))
    plain = cv2.imread(str(picture))
    assert drawn.shape == plain.shape
    knuckle = np.asarray(result["hands"][0]["hand_axis_px"][1]).astype(int)
    assert HAND_LANDMARKS["middle_mcp"] == 9
    around = np.s_[max(0, knuckle[1] - 3) : knuckle[1] + 3, max(0, knuckle[0] - 3) : knuckle[0] + 3]
    assert np.abs(drawn[around].astype(int) - plain[around]).max() > 60


def test_measure_refuses_what_is_no_picture(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = tmp_path / "notes.jpg"
    text.write_text("not a picture", encoding="utf-8")
    assert main(["measure", str(text)]) == 2
    assert "is not an image" in capsys.readouterr().err
    assert main(["measure", str(tmp_path / "missing.jpg")]) == 2
    assert "cannot be read" in capsys.readouterr().err
