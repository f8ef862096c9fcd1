"""What the live page tells of a video, as `python -m posturewatch.bench.on_page` counts it: worked by hand."""

from __future__ import annotations

from pathlib import Path

import pytest
from cli_stand_ins import ScriptedHands, film
from page_stand_ins import Player, limits
from session_factories import make_reading

from posturewatch.bench.on_page import Told, judged, on_page, page_scripts, together
from posturewatch.config.settings import Settings
from posturewatch.model.measurement import Refusal
from posturewatch.model.observation import Side
from posturewatch.model.verdict import HandState
from posturewatch.pipeline import build as parts
from posturewatch.pipeline.build import Parts


def test_what_is_told_is_counted() -> None:
    told = Told(
        "a",
        [0.0, 20.0, 40.0, 60.0],
        [("idle", "idle"), ("within", "unseen"), ("within", "unseen"), ("unsure", "within")],
        [(False, False), (True, False), (False, False), (True, False)],
        ["", "One.", "One.", "Another."],
        [[(False, False)] * 2, [(True, False)] * 2, [(False, True)] * 2, [(True, False)] * 2],
        "No warnings.",
    )
    # Three of eight hands called in comfort, one of them without evidence and past an extreme limit.
    assert told.comfort() == (8, 3, 1, 1)
    # A minute: the states change twice, the large number goes and comes, the message changes once.
    assert told.changes() == (2, 2, 1)
    first, second = together([told])
    assert "37.5% of the time" in first
    assert "1.0 of a hand's state" in second


@pytest.mark.parametrize(
    ("flexion", "deviation", "comfortable", "past"),
    [
        # 1.64 deviations of 3 degrees reach 4.9 beyond the value; the limits are those of Keir and others 2007.
        ((32.0, 3.0), (0.0, 3.0), True, False),
        ((33.0, 3.0), (0.0, 3.0), False, False),
        ((44.0, 3.0), (0.0, 3.0), False, True),
        ((0.0, 3.0), (10.0, 3.0), False, True),
        ((0.0, 3.0), None, False, False),
        (None, (0.0, 3.0), False, False),
    ],
)
def test_evidence_is_judged_from_the_values_alone(
    flexion: tuple[float, float] | None,
    deviation: tuple[float, float] | None,
    comfortable: bool,
    past: bool,
) -> None:
    values: dict[tuple[Side, str], tuple[float, float]] = {}
    for name, value in (("wrist_flexion", flexion), ("wrist_ulnar_deviation", deviation)):
        if value is not None:
            values["left", name] = value
    reading = make_reading(0, 0.0, values)
    hand = reading.measurement.hand("left")
    assert judged(hand, limits()) == (comfortable, past)
    verdict = Player().watch.update(reading.measurement).hands["left"]
    assert (verdict.state is HandState.IN_COMFORT) == comfortable


@pytest.mark.browser
def test_a_video_goes_through_the_page_itself(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    pytest.importorskip("playwright.sync_api", reason="the browser tests need playwright")
    ScriptedHands(lambda time_s: 10.0 if time_s < 4.0 else Refusal.FOREARM_NOT_SEEN).use(monkeypatch)
    settings = Settings()
    made = Parts(settings, settings.limit_profile(), settings.rules(), parts.build)
    with page_scripts(made) as page:
        told = on_page(page, film(tmp_path / "lesson.mkv", 12.0), made)
    assert len(told.states) == 120
    left = [states[0] for states in told.states]
    # Comfort is said after a moment of nothing else, and goes with the first frame that lacks a number.
    assert set(left[:15]) == {"idle"}
    assert set(left[20:40]) == {"within"}
    assert "within" not in left[40:]
    assert left[-1] == "partly"
    assert told.comfort()[2:] == (0, 0)
    assert "forearm not seen" in told.messages[-1]
    # Four seconds of the 11.9 from the first frame to the last.
    assert told.headline == (
        "No warnings; wrist flexion measured 34\u00a0% of the time, certain enough to judge the hand 34\u00a0% "
        "of the time: too little to say."
    )
