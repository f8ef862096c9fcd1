"""`posturewatch live` with clips: a held extreme and a mark become films in the data folder, or not where off."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import av
import numpy as np
import pytest
from cli_stand_ins import ScriptedHands, film
from log_factories import noon, record
from page_stand_ins import Player
from test_cli_live import live

from posturewatch.exposure.breaks import BreakRules
from posturewatch.model.observation import HandObservation, Observation
from posturewatch.pipeline.rest import Movement, RestWatch
from posturewatch.review.derived import open_store
from posturewatch.review.load import load_sentence
from posturewatch.review.practice_log import PracticeLog


def held(time_s: float) -> float:
    return 70.0 if 1.0 <= time_s < 3.5 else 10.0


@pytest.mark.parametrize(("switched_on", "count"), [("true", 1), ("false", 0)])
def test_a_warning_leaves_a_clip(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, switched_on: str, count: int
) -> None:
    ScriptedHands(held).use(monkeypatch)
    settings = tmp_path / "mine.toml"
    settings.write_text(f"[watch]\nhold_s = 1.0\n[clips]\nenabled = {switched_on}\n")
    source = film(tmp_path / "lesson.mkv", 5.0)
    data = tmp_path / "data"
    (data / "clips" / "old").mkdir(parents=True)
    leftover = data / "clips" / "old" / "clip-1.mp4.part"
    leftover.write_bytes(b"half a film")
    assert live(source, data, "--for", "60", "--settings", str(settings)) == 0
    assert leftover.exists() is (count == 0)
    with open_store(data) as store:
        clips = PracticeLog(store).clips()
        assert len(clips) == count
        for clip in clips:
            assert clip["state"] == "there"
            (moment,) = clip["moments"]
            assert (moment["kind"], moment["direction"]) == ("warning", "flexion")
            assert clip["start_s"] <= moment["start_s"] < moment["end_s"] <= clip["end_s"]
            with av.open(str(PracticeLog(store).video_path(clip["id"]))) as opened:
                assert sum(1 for _ in opened.decode(video=0)) == 50


def observation(time_s: float, shift: float | None) -> Observation:
    """A left hand of about 200 pixels, moved by this share of its size; None: nobody."""
    points = np.stack([np.linspace(0, 200, 21), np.linspace(0, 100, 21), np.zeros(21)], axis=1)
    if shift is None:
        return Observation(0, time_s, 640, 360, (), None)
    hand = HandObservation("left", 0.9, 0.9, points + 200 * shift, points * 0.001, True, None)
    return Observation(0, time_s, 640, 360, (hand,), None)


def test_moving_hands_play_still_ones_rest_and_nobody_is_unknown() -> None:
    movement = Movement()
    assert [movement.update(observation(t, 0.3 * (t % 2))) for t in range(4)] == [True] * 4
    # Trembling by a twentieth of the hand is no playing.
    assert [movement.update(observation(3.0 + t, 0.3 + 0.05 * (t % 2))) for t in (1, 8, 9, 20)] == [
        True,
        True,
        False,
        False,
    ]
    assert movement.update(observation(24.0, None)) is None


def test_the_nudge_stays_until_a_rest_and_a_new_session_begins_anew() -> None:
    watch = RestWatch(BreakRules(nudge_after_s=10.0))
    player = Player(size_px=(64, 36))
    step = [0]

    def play(from_s: float, to_s: float, bend_deg: float) -> None:
        for time_s in np.arange(from_s, to_s, 0.5):
            step[0] += 1
            watch.put(player.reading(step[0], float(time_s), (bend_deg * (step[0] % 2), 0.0), (0.0, 0.0)))

    play(0.0, 9.0, 40.0)
    assert not watch.notice
    play(9.0, 12.0, 40.0)
    assert watch.notice is not None
    assert "without a rest" in watch.notice
    play(12.0, 60.0, 0.0)
    assert not watch.notice
    play(60.0, 75.0, 40.0)
    assert watch.notice is not None
    player = Player(size_px=(64, 36))
    play(0.0, 1.0, 40.0)
    assert not watch.notice


@pytest.mark.calendar
def test_a_week_that_rises_suddenly_is_told_of(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        for day in (3, 10, 17, 24):
            record(store, 60.0, started_at=noon(dt.date(2025, 3, day)), rate_hz=1.0)
        assert load_sentence(store, dt.date(2025, 3, 30)) is None
        record(store, 3700.0, started_at=noon(dt.date(2025, 4, 1)), rate_hz=0.02)
        sentence = load_sentence(store, dt.date(2025, 4, 1))
    assert sentence is not None
    assert "convention, not science" in sentence
