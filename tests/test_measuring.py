"""What is measured before a practice, from the page's requests to the files: on a made film with scripted hands."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from cli_stand_ins import SD_DEG, ScriptedHands, film
from page_stand_ins import Player as Hands
from set_up_stage import SetUpStage, set_up_stage  # noqa: F401  a fixture

from posturewatch.config.players import PlayerFiles
from posturewatch.errors import StoreError
from posturewatch.kinematics.view_bias import Reference
from posturewatch.model.frame import Frame
from posturewatch.model.measurement import FrameMeasurement, HandMeasurement, Measurement, Refusal
from posturewatch.model.observation import Observation
from posturewatch.model.quantities import QUANTITY_NAMES
from posturewatch.model.reading import Reading
from posturewatch.pipeline.live_settings import LiveSettings
from posturewatch.pipeline.measuring import Measuring
from posturewatch.pipeline.view.view_biases import ViewBiases
from posturewatch.storage.reader import SessionReader

WAIT_S = 60.0
FLEXION, DEVIATION = "wrist_flexion", "wrist_ulnar_deviation"


def reading(time_s: float, left: tuple[float, float] | Refusal, sd: float = SD_DEG) -> Reading:
    """A reading in which the left hand is measured so."""
    made = Hands().reading(
        round(time_s * 10), time_s, left if isinstance(left, Refusal) else (*left, {}), (0.0, 0.0)
    )
    if isinstance(left, Refusal):
        return made
    values = dict.fromkeys(QUANTITY_NAMES, Measurement.of(0.0, sd))
    values[FLEXION], values[DEVIATION] = (Measurement.of(value, sd) for value in left)
    measurement = type(made.measurement)(0, time_s, HandMeasurement("left", values), made.measurement.right)
    return replace(made, measurement=measurement)


@pytest.fixture
def settings(tmp_path: Path) -> LiveSettings:
    file = tmp_path / "settings.toml"
    file.write_text("", encoding="utf-8")
    return LiveSettings(file, None)


def hold(
    measuring: Measuring, left: tuple[float, float] | Refusal, seconds: float = 6.0, sd: float = SD_DEG
) -> None:
    for quarter in range(round(4 * seconds)):
        measuring.put(reading(quarter / 4, left, sd))


def seen() -> ViewBiases:
    """Of a view in which the left hand is seen as `np.eye(3)`."""
    biases = ViewBiases()
    biases.hand_frames = {"left": np.eye(3)}
    return biases


def test_a_held_neutral_takes_the_bias_off_until_the_view_changes(settings: LiveSettings) -> None:
    biases = seen()
    measuring = Measuring(biases, settings)
    hold(measuring, (9.0, -6.0))
    assert not biases.known  # nothing was asked for
    measuring.begin("neutral", "left")
    hold(measuring, (9.0, -6.0), sd=8.0)
    assert measuring.step is not None
    assert (measuring.step.done, measuring.step.question) == (True, None)
    assert set(biases.known) == {("left", FLEXION), ("left", DEVIATION)}
    assert biases.known["left", FLEXION].at(9.0, 8.0, np.eye(3))[0] == pytest.approx(9 * 32 / 57)
    assert [one["measured_deg"] for one in biases.to_json()] == [9.0, -6.0]
    biases.clear()
    assert not biases.known


def test_a_wrist_that_is_not_straight_is_questioned(settings: LiveSettings) -> None:
    biases = seen()
    measuring = Measuring(biases, settings)
    measuring.begin("neutral", "left")
    hold(measuring, (45.0, 0.0), sd=8.0)
    assert measuring.step is not None
    assert measuring.step.question is not None
    assert "wrist flexion of 45 degrees" in measuring.step.question
    assert not biases.known
    biases.hand_frames = {"left": np.diag([-1.0, 1.0, -1.0])}
    measuring.keep()  # it is of the hand as it was seen while it was held
    assert biases.known["left", FLEXION].at(45.0, 8.0, np.eye(3))[0] > 5


def test_an_end_is_kept_in_the_players_file_and_known_in_another_view(settings: LiveSettings) -> None:
    biases = seen()
    measuring = Measuring(biases, settings)
    measuring.begin("end", "left", FLEXION, "flexion")
    hold(measuring, (60.0, 0.0))
    player = settings.players.player("Player")
    assert [(one.direction, one.value_deg) for one in player.ends] == [("flexion", 60.0)]
    # 70 % of 60 is narrower than Keir's 48.6.
    limit = settings.parts.limits.limit(FLEXION, "flexion", "extreme")
    assert limit is not None
    assert limit.value == pytest.approx(42.0)
    assert not biases.known
    # From another side the same end seems to be at 70: that is what this view is off by.
    measuring.begin("end", "left", FLEXION, "flexion")
    hold(measuring, (70.0, 0.0), sd=8.0)
    bias, _ = biases.known["left", FLEXION].at(70.0, 8.0, np.eye(3))
    assert 5 < bias < 10


def test_an_end_that_tables_contradict_is_kept_only_when_asked(settings: LiveSettings) -> None:
    measuring = Measuring(ViewBiases(), settings)
    measuring.begin("end", "left", FLEXION, "extension")
    hold(measuring, (-12.0, 0.0))
    assert measuring.step is not None
    assert "much less than the 59 to 75" in (measuring.step.question or "")
    assert settings.players.names() == ()
    measuring.keep()
    assert settings.players.player("Player").ends[0].value_deg == 12.0
    assert measuring.step.to_json()["question"] is None


def test_a_minute_without_a_hand_or_a_board_ends_in_a_sentence(settings: LiveSettings) -> None:
    measuring = Measuring(ViewBiases(), settings)
    measuring.begin("neutral", "left")
    hold(measuring, Refusal.HAND_NOT_SEEN, 62.0)
    assert measuring.step is not None
    assert "not seen for a minute" in (measuring.step.fault or "")
    measuring.begin("lens")
    for second in range(0, 70, 3):
        measuring.put(reading(float(second), (0.0, 0.0)))
    assert "The board was not found" in (measuring.step.fault or "")
    assert settings.parts.settings.camera.hfov_deg is None


def test_the_board_measures_the_lens(settings: LiveSettings) -> None:
    from test_lens import seen as seen_board

    measuring = Measuring(ViewBiases(), settings)
    measuring.begin("lens")
    chance = np.random.default_rng(4)
    for place in range(16):
        x, y, z = (float(one) for one in chance.uniform(-0.5, 0.5, 3))
        at = (float(chance.uniform(-70, 70)), float(chance.uniform(-50, 50)), float(chance.uniform(330, 500)))
        frame = Frame(place, float(place), seen_board(66.0, (x, y, z / 2), at))
        measuring.put(replace(reading(float(place), (0.0, 0.0)), frame=frame))
    assert measuring.step is not None
    assert measuring.step.done
    assert settings.written.camera.hfov_deg == pytest.approx(66.0, abs=1.5)


def test_a_folder_that_cannot_be_written_is_told_of(
    settings: LiveSettings, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*args: Any) -> None:
        raise StoreError("The disk is full.")

    monkeypatch.setattr(PlayerFiles, "keep", full)
    measuring = Measuring(ViewBiases(), settings)
    measuring.begin("end", "left", FLEXION, "flexion")
    hold(measuring, (60.0, 0.0))
    assert measuring.step is not None
    assert (measuring.step.done, measuring.step.fault) == (False, "The disk is full.")


# ---- the page's requests ----


def until(true: Callable[[], bool]) -> None:
    """Waits for what another thread does."""
    end_s = time.monotonic() + WAIT_S
    while not true():
        assert time.monotonic() < end_s, "it did not happen"
        time.sleep(0.02)


class SeenHands(ScriptedHands):
    """Scripted hands whose left one has a forearm to be seen."""

    def observe(self, frame: Frame) -> Observation:
        hands = Hands().reading(frame.index, frame.time_s, (10.0, 0.0, {}), (0.0, 0.0)).observation.hands
        return replace(super().observe(frame), hands=hands)


def test_a_neutral_counts_while_the_hand_is_turned_as_it_was_and_for_a_moment_unseen() -> None:
    class Ten:
        def measure(self, observation: Observation) -> FrameMeasurement:
            return reading(observation.time_s, (10.0, 0.0), sd=8.0).measurement

        def reset(self) -> None:
            pass

    def flexion(observation: Observation) -> float | None:
        return measurer.measure(observation).left.values[FLEXION].value

    straight = Hands().reading(0, 0.0, (10.0, 0.0, {}), (0.0, 0.0)).observation
    left = straight.hand("left")
    assert left is not None
    assert left.forearm is not None
    from_the_back = replace(left.forearm.outputs, hand_radial=np.array([-1.0, 0.0, 0.0]))
    turned = replace(straight, hands=(replace(left, forearm=replace(left.forearm, outputs=from_the_back)),))
    biases = ViewBiases()
    measurer = biases.over(Ten())
    assert flexion(straight) == pytest.approx(10.0)
    held = Reference(0.0, 5.0, 10.0, 8.0, biases.hand_frames["left"])
    biases.straight({("left", FLEXION): held})
    known = 10 - 10 * 32 / 57  # as worked out in tests/test_view_bias.py
    assert flexion(straight) == pytest.approx(known)
    assert flexion(replace(straight, hands=())) == pytest.approx(known)
    assert flexion(turned) == pytest.approx(10.0, abs=0.01)
    measurer.reset()
    assert flexion(replace(straight, hands=())) == pytest.approx(10.0)


def test_from_the_requests_to_the_session(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    set_up_stage: Callable[[object], SetUpStage],  # noqa: F811
) -> None:
    SeenHands(lambda time_s: 10.0).use(monkeypatch)
    stage = set_up_stage(film(tmp_path / "a.mkv", 30.0))
    neutral = {"what": "neutral", "side": "left"}
    status, told = stage.ask("POST", "setup/measure", neutral)
    assert (status, "shows nothing yet" in told["error"]) == (409, True)
    stage.ask("POST", "setup/open")
    until(lambda: bool(stage.ask("GET", "setup")[1]["preview"]["phase"] == "on"))
    for body, says in (
        ({"what": "neutral"}, "Name the hand"),
        (
            {"what": "end", "side": "left", "quantity": FLEXION, "direction": "ulnar"},
            "Name one of the directions",
        ),
        ({"what": "soup"}, "neutral, end or lens"),
    ):
        status, told = stage.ask("POST", "setup/measure", body)
        assert (status, says in told["error"]) == (422, True), told
    assert stage.ask("POST", "setup/measure/keep")[0] == 422
    assert stage.ask("POST", "setup/measure", neutral)[1]["measuring"]["what"] == "neutral"
    until(lambda: bool(stage.ask("GET", "setup")[1]["straight"]))
    assert stage.ask("POST", "setup/measure/stop")[1]["measuring"] is None

    status, told = stage.ask("PUT", "setup/hand", {"length_mm": 3})
    assert (status, "100 to 260 mm" in told["error"]) == (422, True)
    assert (
        stage.ask("PUT", "setup/hand", {"length_mm": 184, "method": "card"})[1]["player"]["hand"]["length_mm"]
        == 184.0
    )
    assert stage.ask("PATCH", "setup", {"player": "Ada"})[1]["player"]["names"] == ["Ada", "Player"]
    assert stage.ask("PATCH", "setup", {"player": "..."})[0] == 422
    page = stage._client.get("api/setup/board.pdf")
    assert (page.headers["content-type"], page.content[:5]) == ("application/pdf", b"%PDF-")

    stage.ask("POST", "start")
    until(lambda: bool(stage.ask("GET", "state")[1]["phase"] == "watching"))
    until(lambda: bool(stage.ask("GET", "state")[1]["elapsed_s"] > 0.5))
    stage.ask("POST", "stop")
    reader = SessionReader(tmp_path / "data")
    record = reader.session(reader.find("last").id)
    kept = record.settings["set_up"]
    assert kept["player"] == "Ada"
    assert {one["quantity"] for one in kept["references"]} == {FLEXION, DEVIATION}
    flexion = next(one for one in record.series if (one.side, one.quantity) == ("left", FLEXION))
    # 10 degrees with a deviation of 3, held as straight: as worked out in tests/test_view_bias.py.
    assert float(flexion.value[0]) == pytest.approx(10 - 10 * 4.5 / 29.5, abs=0.3)
