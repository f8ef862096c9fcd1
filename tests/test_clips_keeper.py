"""Clips of a running session: written in the background."""

from __future__ import annotations

import threading
from collections.abc import Callable
from pathlib import Path

import pytest
from clip_factories import (
    SlowEncoder,
    excursion,
    frames,
    picture_reading,
)
from clips_stage import RATE_HZ, RULES, indices, no_clip, play
from session_factories import Ended

from posturewatch.clips import keeper as keeper_module
from posturewatch.clips.keeper import ClipKeeper, ClipRecord
from posturewatch.clips.ring import Ring
from posturewatch.clips.video_file import write_video


def test_a_warned_excursion_becomes_a_clip_with_the_excursion_inside(tmp_path: Path) -> None:
    records: list[ClipRecord] = []
    ring = Ring()
    keeper = ClipKeeper(tmp_path / "clips" / "one", on_clip=records.append, rules=RULES, ring=ring)
    play(keeper, ring, 9.0, events=True)
    keeper.finish(Ended(9.0))
    (record,) = records
    assert (record.reason, record.kept, record.has_sound) == ("warning", False, False)
    assert record.start_s <= 2.0
    assert record.end_s == pytest.approx(5.5, abs=1 / RATE_HZ)
    assert record.path.stat().st_size == record.bytes
    assert list(record.path.parent.iterdir()) == [record.path]
    # Every picture from the start told to the end told, none twice: what was measured at t is at t - start_s.
    first = round(record.start_s * RATE_HZ)
    assert indices(record.path) == list(range(first, round(5.5 * RATE_HZ)))
    assert keeper.fault is None
    assert (keeper.written, keeper.missed, keeper.dropped) == (1, 0, 0)


def test_clips_are_written_while_the_session_goes_on(tmp_path: Path) -> None:
    written = threading.Event()
    ring = Ring()
    keeper = ClipKeeper(tmp_path / "one", on_clip=lambda record: written.set(), rules=RULES, ring=ring)
    play(keeper, ring, 4.0, marks=[2.0])
    assert written.wait(60)
    keeper.close()


def test_the_end_of_the_session_flushes_what_is_planned(tmp_path: Path) -> None:
    records: list[ClipRecord] = []
    ring = Ring()
    keeper = ClipKeeper(tmp_path / "one", on_clip=records.append, rules=RULES, ring=ring)
    play(keeper, ring, 3.0, marks=[2.8])
    assert records == []
    keeper.close()
    (record,) = records
    assert record.start_s <= 1.8
    assert indices(record.path)[-1] == 59
    keeper.close()
    keeper.finish(Ended(3.0))
    keeper.mark(2.9)
    assert len(records) == 1


def test_excursions_open_at_the_end_are_kept(tmp_path: Path) -> None:
    records: list[ClipRecord] = []
    ring = Ring()
    keeper = ClipKeeper(tmp_path / "one", on_clip=records.append, rules=RULES, ring=ring)
    play(keeper, ring, 4.5, events=True)
    keeper.finish(Ended(4.5, closed=(excursion(3.0, 4.5, warned_s=4.0),)))
    (record,) = records
    assert record.start_s <= 2.0
    assert record.end_s == pytest.approx(4.5, abs=1 / RATE_HZ)


def test_a_session_without_moments_writes_nothing(tmp_path: Path) -> None:
    ring = Ring()
    keeper = ClipKeeper(tmp_path / "one", on_clip=no_clip, rules=RULES, ring=ring)
    play(keeper, ring, 2.0)
    keeper.close()
    assert list(tmp_path.iterdir()) == []


def test_when_the_camera_is_gone_the_clock_tells_what_is_due(tmp_path: Path) -> None:
    written = threading.Event()
    ring = Ring()
    keeper = ClipKeeper(
        tmp_path / "one", on_clip=lambda record: written.set(), rules=RULES, ring=ring, idle_s=0.1
    )
    play(keeper, ring, 2.0, marks=[1.9])
    assert written.wait(60)
    keeper.close()


def test_a_standing_encoder_never_holds_the_loop(tmp_path: Path) -> None:
    """The loop puts sixty pictures while the encoder stands in its first; then all ends in order."""
    SlowEncoder.gate.clear()
    SlowEncoder.started.clear()
    records: list[ClipRecord] = []
    keeper = ClipKeeper(
        tmp_path / "one", on_clip=records.append, rules=RULES, ring=Ring(make_encoder=SlowEncoder)
    )
    try:
        pictures = list(frames([index / RATE_HZ for index in range(60)]))
        keeper.put(picture_reading(pictures[0]))
        assert SlowEncoder.started.wait(60)
        for frame in pictures[1:]:
            keeper.put(picture_reading(frame))
        keeper.mark(2.5)
        assert not SlowEncoder.gate.is_set()
        assert keeper.dropped == 51
    finally:
        SlowEncoder.gate.set()
    keeper.close()
    # The mark itself is shown; the eight pictures that waited and the first one are all there is.
    (record,) = records
    assert indices(record.path) == [0, *range(52, 60)]


def test_a_standing_disk_never_holds_the_loop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    writing, go_on = threading.Event(), threading.Event()

    def standing(*args: object) -> None:
        writing.set()
        assert go_on.wait(60)
        write_video(*args)  # type: ignore[arg-type]

    monkeypatch.setattr(keeper_module, "write_video", standing)
    records: list[ClipRecord] = []
    ring = Ring()
    keeper = ClipKeeper(tmp_path / "one", on_clip=records.append, rules=RULES, ring=ring)
    play(keeper, ring, 4.0, marks=[1.0])
    assert writing.wait(60)
    play(keeper, ring, 8.0, marks=[5.0], from_s=4.0)
    assert records == []
    go_on.set()
    keeper.close()
    assert [round(record.end_s, 1) for record in records] == [1.5, 5.5]


class StandingSound:
    def __init__(self, answer: Callable[[float, float], None]) -> None:
        self._answer = answer

    def between(self, start_s: float, end_s: float) -> None:
        self._answer(start_s, end_s)


def test_sound_is_asked_for_the_clip_s_own_time(tmp_path: Path) -> None:
    asked: list[tuple[float, float]] = []
    records: list[ClipRecord] = []
    ring = Ring()
    keeper = ClipKeeper(
        tmp_path / "one",
        on_clip=records.append,
        rules=RULES,
        ring=ring,
        sound=StandingSound(lambda start_s, end_s: asked.append((start_s, end_s))),
    )
    play(keeper, ring, 4.0, marks=[2.5])
    keeper.close()
    (record,) = records
    assert asked == [(record.start_s, record.end_s)]
    assert not record.has_sound
