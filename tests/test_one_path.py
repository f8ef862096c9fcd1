"""One path to a number: `posturewatch measure` and `posturewatch analyse` say the same of the same frame.

Each command is run from its arguments to what it writes; only the tracker is a stand-in, so that both see the same.
"""

from __future__ import annotations

import csv
import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from capture_videos import write_film
from scipy.special import logit

from calibration.dataset.table import observation_of, read
from posturewatch.cli.main import main
from posturewatch.config.resources import calibration_dir
from posturewatch.config.settings import Settings
from posturewatch.kinematics.network import COVERAGE_Z
from posturewatch.model.frame import Frame
from posturewatch.model.measurement import FrameMeasurement, Refusal
from posturewatch.model.observation import Observation
from posturewatch.model.quantities import QUANTITIES
from posturewatch.pipeline import build as parts

EVALUATION = Path(__file__).resolve().parents[1] / "calibration" / "evaluate" / "data"
NOT_REPORTED = Refusal.NOT_REPORTED.value


class FixedTracker:
    """Sees in every frame what it was made with."""

    def __init__(self, seen: Observation) -> None:
        self.seen = seen

    def observe(self, frame: Frame) -> Observation:
        return replace(self.seen, frame_index=frame.index, time_s=frame.time_s)

    def ease(self, savings: frozenset[str]) -> None:
        return

    def close(self) -> None:
        return


def recorded(wanted: int) -> list[Observation]:
    """What the real tracker saw of fretting left hands of rendered players."""
    columns = read(EVALUATION, "test")
    rows = np.flatnonzero(columns["fretting"] & (columns["side"] == 0) & columns["valid"])[:wanted]
    return [observation_of(columns, int(row)) for row in rows]


def without(observation: Observation, **changes: Any) -> Observation:
    return replace(observation, hands=(replace(observation.hands[0], **changes),))


def views() -> dict[str, Observation]:
    """Hands that are measured, and one for each way of not being measured."""
    plain, *more = recorded(6)
    hand = plain.hands[0]
    assert hand.forearm is not None
    assert hand.fingers is not None
    unseen = replace(hand.forearm, outputs=replace(hand.forearm.outputs, strings_logit=logit(0.1)))
    out = {f"view {number}": one for number, one in enumerate([plain, *more])}
    out["no forearm"] = without(plain, forearm=None)
    out["no fingers"] = without(plain, fingers=None)
    out["strings not seen"] = without(plain, forearm=unseen)
    out["strings not placed"] = without(plain, fingers=replace(hand.fingers, strings_spread=np.array(0.5)))
    out["far away"] = without(plain, landmarks_px=hand.landmarks_px * 0.02)
    out["at the edge"] = without(plain, landmarks_px=hand.landmarks_px - [3000.0, 0.0, 0.0])
    out["a right hand"] = without(plain, side="right")
    return out


VIEWS = views()


@pytest.fixture
def settings(tmp_path: Path) -> Path:
    """Everything of the settings that a number depends on, otherwise than by default."""
    path = tmp_path / "settings.toml"
    path.write_text("[camera]\nhfov_deg = 80.0\n\n[player]\nhand_length_mm = 170.0\n", encoding="utf-8")
    return path


def measure(capsys: pytest.CaptureFixture[str], picture: Path, *more: str) -> dict[str, dict[str, Any]]:
    assert main(["measure", str(picture), "--json", *more]) == 0
    (result,) = json.loads(capsys.readouterr().out)
    return {hand["side"]: hand for hand in result["hands"]}


def analyse(video: Path, out: Path, *more: str) -> list[dict[str, str]]:
    main(["analyse", str(video), "--out", str(out), *more])
    with (out / "samples.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def same(hand: dict[str, Any], row: dict[str, str]) -> None:
    """Every number, and the reasons of which the table has a column."""
    for entry in QUANTITIES:
        one = hand["quantities"][entry.name]
        number, sd = row[entry.column], row[entry.sd_column]
        assert (one["value"], one["sd"]) == (float(number) if number else None, float(sd) if sd else None)
    assert (hand["lift_plane"] or "") == row["lift_plane"]
    assert (hand["wrist"]["status"], hand["wrist"]["reason"] or "") == (row["status"], row["reason"])
    reasons = (hand["quantities"][entry.name]["reason"] for entry in QUANTITIES if entry.group == "finger")
    assert next((why for why in reasons if why and why != NOT_REPORTED), "") == row["finger_reason"]


@pytest.mark.parametrize("view", VIEWS)
@pytest.mark.parametrize("stated", ["in the settings", "on the command line", "nowhere"])
def test_both_commands_say_the_same_of_a_frame(
    view: str,
    stated: str,
    settings: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(parts, "load_tracker", lambda mode, **_: FixedTracker(VIEWS[view]))
    said: list[FrameMeasurement] = []
    real = parts.build

    def noting(*arguments: Any, **named: Any) -> parts.Built:
        built = real(*arguments, **named)
        return replace(built, measurer=Noting(built.measurer, said))

    monkeypatch.setattr(parts, "build", noting)
    more = {
        "in the settings": ["--settings", str(settings)],
        "on the command line": ["--hfov-deg", "80", "--hand-length-mm", "170"],
        "nowhere": [],
    }[stated]
    if stated != "in the settings":
        monkeypatch.setattr("posturewatch.config.settings.default_settings_path", lambda: tmp_path / "none")
    picture = tmp_path / "picture.png"
    cv2.imwrite(str(picture), np.zeros((48, 64, 3), np.uint8))
    hands = measure(capsys, picture, *more)
    (alone,) = said
    rows = analyse(write_film(tmp_path / "video.mkv", [0.0, 0.1]), tmp_path / "out", *more)
    for side, hand in hands.items():
        same(hand, next(row for row in rows if row["side"] == side))
    # Before anything is rounded or written, too: every value, spread, refusal and plane of both hands.
    assert (said[1].left, said[1].right) == (alone.left, alone.right)
    assert {hand.side for hand in VIEWS[view].hands} == set(hands)


class Noting:
    """Measures as another does, and keeps what it said."""

    def __init__(self, measurer: Any, said: list[FrameMeasurement]) -> None:
        self._measurer, self._said = measurer, said

    def measure(self, observation: Observation) -> FrameMeasurement:
        self._said.append(self._measurer.measure(observation))
        return self._said[-1]

    def reset(self) -> None:
        self._measurer.reset()


@pytest.mark.parametrize(
    ("view", "name", "refusal"),
    [
        ("view 0", "wrist_flexion", None),
        ("view 4", "index_lift", None),
        ("no forearm", "wrist_flexion", Refusal.FOREARM_NOT_SEEN),
        # What the finger network has not looked at is no hand for certain.
        ("no fingers", "index_pip", Refusal.HAND_NOT_SEEN),
        ("strings not seen", "index_lift", Refusal.STRINGS_NOT_SEEN),
        ("strings not placed", "index_lift", Refusal.STRINGS_NOT_SEEN),
        ("far away", "wrist_flexion", Refusal.HAND_TOO_SMALL),
        ("at the edge", "wrist_flexion", Refusal.HAND_CUT_OFF),
    ],
)
def test_the_views_are_what_they_are_called(
    view: str, name: str, refusal: Refusal | None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(parts, "load_tracker", lambda mode, **_: FixedTracker(VIEWS[view]))
    built = parts.build("video", Settings())
    assert built.measurer.measure(VIEWS[view]).left.values[name].refusal is refusal


@pytest.mark.models
def test_a_picture_repeated_as_a_video_is_measured_alike(tmp_path: Path) -> None:
    """The trackers differ: a still picture has up to ten looks at a hand that the networks see otherwise, and its sides
    are given out at once; a video follows the crop of the frame before, and believes a side the more the longer it is
    seen. So the numbers need not be the same, but each must be within what both state."""
    video = cv2.VideoCapture(str(calibration_dir() / "demo" / "demo.mp4"))
    try:
        image = [video.read()[1] for _ in range(20)][-1]
    finally:
        video.release()
    said = {}
    for mode, count in (("still", 1), ("video", 15)):
        built = parts.build(mode, Settings())  # type: ignore[arg-type]
        try:
            for index in range(count):
                seen = built.tracker.observe(Frame(index, index / 30, np.asarray(image, np.uint8)))
                said[mode] = built.measurer.measure(seen)
        finally:
            built.release()
    compared = 0
    for side in ("left", "right"):
        for entry in QUANTITIES:
            one, other = (said[mode].hand(side).values[entry.name] for mode in ("still", "video"))
            if one.value is None or other.value is None or one.sd is None or other.sd is None:
                continue
            assert abs(one.value - other.value) <= COVERAGE_Z * np.hypot(one.sd, other.sd), entry.name
            compared += 1
    assert compared >= 8
