"""Limits set by hand, for either hand: on the page, in the player's file, and in what is judged by them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from cli_stand_ins import ScriptedHands, film
from set_up_stage import SetUpStage, set_up_stage  # noqa: F401  a fixture

from posturewatch.cli.main import main
from posturewatch.comfort.limits import LimitProfile, narrowed, of_hands
from posturewatch.comfort.personal import LIMIT_BY_HAND_DEG
from posturewatch.config.limit_profiles import load_profile
from posturewatch.config.players import Player, PlayerFiles
from posturewatch.model.measurement import FrameMeasurement, HandMeasurement
from posturewatch.model.observation import SIDES, Observation
from posturewatch.model.verdict import Level
from posturewatch.pipeline.build import load_parts
from posturewatch.review.vocabulary import vocabulary
from posturewatch.storage.limits_json import limits_from_json, limits_to_json
from posturewatch.storage.reader import SessionReader

FLEXION = "wrist_flexion"
KEY: tuple[str, str, Level] = (FLEXION, "flexion", "extreme")
LIMIT = {"side": "left", "quantity": FLEXION, "direction": "flexion", "level": "extreme"}


class BothHands(ScriptedHands):
    """The right hand does what the left one does."""

    def measure(self, observation: Observation) -> FrameMeasurement:
        found = super().measure(observation)
        return replace(found, right=HandMeasurement("right", found.left.values))


@pytest.fixture
def stage(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    set_up_stage: Callable[[object], SetUpStage],  # noqa: F811
) -> SetUpStage:
    BothHands(lambda time_s: 25.0).use(monkeypatch)
    return set_up_stage(film(tmp_path / "a.mkv", 30.0))


def file_of(stage: SetUpStage) -> Path:
    return stage.file.parent / "players" / "player.toml"


def row(rows: list[dict[str, Any]], side: str, level: str = "extreme") -> dict[str, Any]:
    (found,) = [
        one for one in rows if (one["side"], one["direction"], one["level"]) == (side, "flexion", level)
    ]
    return found


def test_a_limit_of_one_hand_is_kept_with_the_player(stage: SetUpStage) -> None:
    rows = stage.ask("GET", "setup")[1]["limits"]
    assert len(rows) == 16
    # Keir et al. 2007, as in tests/test_limits.py.
    assert [(row(rows, side)["used"], row(rows, side)["origin"]) for side in ("left", "right")] == [
        (48.6, "published")
    ] * 2
    assert row(rows, "left")["most"] == 48.6
    rows = stage.ask("PATCH", "setup/limits", {**LIMIT, "value": 20})[1]["limits"]
    assert (row(rows, "left")["used"], row(rows, "left")["origin"]) == (20.0, "hand")
    assert (row(rows, "left", "comfort")["used"], row(rows, "left", "comfort")["origin"]) == (20.0, "extreme")
    assert (row(rows, "right")["used"], row(rows, "right")["origin"]) == (48.6, "published")
    text = file_of(stage).read_text(encoding="utf-8")
    assert "[[limits]]" in text
    assert "value_deg = 20.0" in text
    assert not stage.file.exists() or "flexion" not in stage.file.read_text(encoding="utf-8")
    # The page of a practice draws it for that hand alone.
    words = stage.ask("GET", "vocabulary")[1]
    sided = words["quantities"][0]["directions"]["flexion"]["sided"]
    assert (sided["left"]["extreme"], sided["right"]["extreme"]) == (20.0, 48.6)
    rows = stage.ask("PATCH", "setup/limits", {**LIMIT, "value": None})[1]["limits"]
    assert row(rows, "left")["used"] == 48.6
    assert "limits" not in file_of(stage).read_text(encoding="utf-8")


def test_its_bounds_cannot_be_passed_silently(stage: SetUpStage) -> None:
    stage.ask("PATCH", "setup/limits", {**LIMIT, "value": 30})
    before = file_of(stage).read_text(encoding="utf-8")
    for change, code, says in (
        ({"value": 60}, 422, "at most 48.6° here"),
        ({"value": 60, "sure": True}, 422, "at most 48.6° here"),
        ({"value": 0.5, "sure": True}, 422, "1 to 80 degrees"),
        ({"value": 4}, 409, "narrower than a camera can tell"),
        ({"value": "20 degrees"}, 422, "number of degrees"),
        ({"value": 20, "level": "moon"}, 422, "There is no such limit"),
        ({"value": 20, "side": "middle"}, 422, "A hand is left or right"),
        ({"value": 20, "quantity": "index_lift", "direction": "lift"}, 422, "There is no such limit"),
    ):
        status, told = stage.ask("PATCH", "setup/limits", {**LIMIT, **change})
        assert (status, says in told["error"]) == (code, True), told
        assert file_of(stage).read_text(encoding="utf-8") == before
    rows = stage.ask("PATCH", "setup/limits", {**LIMIT, "value": 4, "sure": True})[1]["limits"]
    assert row(rows, "left")["used"] == 4.0


def test_a_file_that_was_broken_meanwhile_is_told_of_and_left(stage: SetUpStage) -> None:
    stage.ask("PATCH", "setup/limits", {**LIMIT, "value": 30})
    broken = file_of(stage).read_text(encoding="utf-8").replace("value_deg = 30.0", 'value_deg = "30 rad"')
    file_of(stage).write_text(broken, encoding="utf-8")
    status, told = stage.ask("PATCH", "setup/limits", {**LIMIT, "value": 20})
    assert status >= 400
    assert "value_deg must be a number" in told["error"]
    assert file_of(stage).read_text(encoding="utf-8") == broken


def test_live_and_its_summary_judge_each_hand_by_its_own(stage: SetUpStage, tmp_path: Path) -> None:
    """Both wrists are bent by 25 degrees: beyond the left hand's 20, within the right hand's published 48.6."""
    stage.ask("PATCH", "setup/limits", {**LIMIT, "value": 20})
    stage.ask("POST", "start")
    wait(lambda: stage.ask("GET", "state")[1]["elapsed_s"] > 1.0)
    stage.ask("POST", "stop")
    beyond = past_extreme(tmp_path / "data")
    assert beyond["left"] > 0.5
    assert beyond["right"] == 0.0


def test_a_film_is_judged_by_them_too(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    BothHands(lambda time_s: 25.0).use(monkeypatch)
    settings = tmp_path / "settings.toml"
    settings.write_text("", encoding="utf-8")
    PlayerFiles(tmp_path / "players").keep(
        Player(name="Player").with_limit("right", FLEXION, "flexion", "extreme", 20.0)
    )
    limits = load_parts(settings, None).limits
    assert [one.value for side in SIDES if (one := limits.of(side).limit(*KEY)) is not None] == [48.6, 20.0]
    data = tmp_path / "data"
    path = str(film(tmp_path / "a.mkv", 4.0))
    named = ["--settings", str(settings), "--data-dir", str(data)]
    assert main(["analyse", path, "--keep", "--jobs", "1", *named]) == 0
    beyond = past_extreme(data)
    assert beyond["right"] > 2.0
    assert beyond["left"] == 0.0
    identity = SessionReader(data).sessions()[0].id
    capsys.readouterr()
    assert main(["summary", identity, "--data-dir", str(data)]) == 0
    told = capsys.readouterr().out
    assert "right" in told.lower()


def wait(true: Callable[[], bool]) -> None:
    from test_before_start import until

    until(true)


def past_extreme(data: Path) -> dict[str, float]:
    """Seconds beyond the extreme limit of flexion by hand, from the session document's exposure."""
    from posturewatch.review.exposures import session_exposures

    reader = SessionReader(data)
    record = reader.session(reader.sessions()[0].id)
    end_s = record.info.end_s
    assert end_s is not None
    return {
        one.side: one.past_s("flexion", "extreme", 0.0, end_s) or 0.0
        for one in session_exposures(record)
        if one.entry.name == FLEXION
    }


def narrowed_left() -> LimitProfile:
    profile = load_profile("carpal-pressure")
    return of_hands({"left": narrowed(profile, {KEY: 20.0}), "right": profile})


def test_what_is_kept_with_a_session_has_both_hands_limits() -> None:
    profile = narrowed_left()
    again = limits_from_json(limits_to_json(profile))
    assert again == profile
    for side in SIDES:
        assert again.of(side).bands == profile.of(side).bands
    # Of a session that was kept before hands could differ, both have the same.
    old = limits_to_json(load_profile("rula"))
    assert "sided" not in old
    assert limits_from_json(old).of("left") == load_profile("rula")


def test_the_vocabulary_says_where_hands_differ() -> None:
    words = vocabulary(narrowed_left(), {"left": "fretting", "right": "plucking"})
    flexion = words["quantities"][0]["directions"]
    assert flexion["extension"]["sided"] is None
    assert flexion["flexion"]["sided"]["left"] == {"comfort": 20.0, "extreme": 20.0}
    assert flexion["flexion"]["extreme"] == 20.0


def test_no_limit_may_be_wider_than_published_ranges() -> None:
    """AAOS, Boone and Azen 1979, Ryu 1991: at most 80, 75, 22 and 38 degrees of flexion, extension, radial, ulnar."""
    assert [high for _, high in LIMIT_BY_HAND_DEG.values()] == [80.0, 75.0, 22.0, 38.0]
