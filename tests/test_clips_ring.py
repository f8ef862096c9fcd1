"""The ring of encoded video: bounds, cutting, and never holding up whoever puts."""

from __future__ import annotations

import threading
from pathlib import Path

import av
import numpy as np
import pytest
from clip_factories import SIZE, SlowEncoder, frames, index_of, uneven_times

from posturewatch.clips.encoder import TICKS_PER_S, Encoder, Packet
from posturewatch.clips.ring import PacketStore, Ring
from posturewatch.clips.video_file import write_video
from posturewatch.model.frame import Frame


def packet(time_s: float, size: int = 100, key: bool = False) -> Packet:
    return Packet(round(time_s * TICKS_PER_S), bytes(size), key)


def filled(store: PacketStore, until_s: float, size: int = 100) -> None:
    for index in range(int(until_s * 10)):
        store.add(packet(index / 10, size, key=index % 10 == 0))


def test_time_is_bounded_and_always_covered() -> None:
    store = PacketStore(10_000_000, 5.0)
    for index in range(300):
        now_s = index / 10
        store.add(packet(now_s, key=index % 10 == 0))
        assert store.start_s is not None
        assert store.start_s <= max(0.0, now_s - 5.0)
        assert now_s - store.start_s < 5.0 + 1.0 + 1e-6


def test_bytes_are_bounded_and_what_is_held_begins_with_a_keyframe() -> None:
    store = PacketStore(3_500, 1e9)
    for index in range(200):
        store.add(packet(index / 10, 100 + index % 7, key=index % 10 == 0))
        assert store.size_bytes <= 3_500
        held = store.between(0.0, 1e9)
        assert sum(len(one.data) for one in held) == store.size_bytes
        assert held[0].keyframe
        assert held[-1].time_s == pytest.approx(index / 10)


def test_a_group_larger_than_the_room_asks_for_a_new_keyframe() -> None:
    store = PacketStore(250, 10.0)
    assert [store.add(packet(i / 10, 100, key=i == 0)) for i in range(4)] == [True, True, False, False]
    assert (len(store), store.size_bytes) == (0, 0)
    assert store.add(packet(0.5, 100, key=True))


@pytest.mark.parametrize(
    ("start_s", "end_s", "first_s", "last_s"),
    [
        (3.0, 5.0, 3.0, 4.9),
        (3.55, 5.01, 3.0, 5.0),
        (-1.0, 0.25, 0.0, 0.2),
        (9.5, 99.0, 9.0, 9.9),
    ],
)
def test_between(start_s: float, end_s: float, first_s: float, last_s: float) -> None:
    store = PacketStore(10_000_000, 100.0)
    filled(store, 10.0)
    found = store.between(start_s, end_s)
    assert (found[0].time_s, found[-1].time_s) == pytest.approx((first_s, last_s))
    assert found[0].keyframe


def test_between_finds_nothing_outside() -> None:
    store = PacketStore(10_000_000, 100.0)
    assert store.between(0.0, 1.0) == ()
    filled(store, 10.0)
    assert store.between(20.0, 30.0) == ()
    assert store.between(-5.0, -1.0) == ()


def test_cutting_keeps_times_and_begins_at_or_before_the_start(tmp_path: Path) -> None:
    times_s = uneven_times(250)
    ring = Ring()
    try:
        for frame in frames(times_s):
            ring.put(frame)
            assert ring.wait_for(frame.time_s, 60.0)
        film = ring.cut(4.3, 7.9)
        assert film is not None
        assert 4.3 - 1.1 <= film.start_s <= 4.3
        write_video(tmp_path / "clip.mp4", film)
    finally:
        ring.close()
    with av.open(str(tmp_path / "clip.mp4")) as clip:
        found = [
            (film.start_s + float(f.time), index_of(f.to_ndarray(format="bgr24")))
            for f in clip.decode(video=0)
        ]
    inside = [i for i, time_s in enumerate(times_s) if film.start_s - 1e-4 <= time_s < 7.9]
    assert [index for _, index in found] == inside
    assert [time_s for time_s, _ in found] == pytest.approx([times_s[i] for i in inside], abs=1e-4)
    assert ring.encoded == 250
    assert ring.dropped == 0
    assert ring.size_bytes == 0


def test_memory_stays_bounded_with_real_pictures() -> None:
    rng = np.random.default_rng(3)
    ring = Ring(most_bytes=200_000, most_s=100.0)
    try:
        for index in range(90):
            noise = rng.integers(0, 255, (SIZE[1], SIZE[0], 3), dtype=np.uint8)
            ring.put(Frame(index, index / 10, noise))
            ring.wait_for(index / 10, 60.0)
            assert ring.size_bytes <= 200_000
        held = ring.cut(0.0, 100.0)
        assert held is not None
        assert held.packets[0].time_s > 0.0
        assert held.packets[-1].time_s == pytest.approx(8.9)
    finally:
        ring.close()


def test_where_frames_are_saved_those_that_follow_closely_are_left_out() -> None:
    ring = Ring(waiting=40)
    try:
        for frame in frames([index / 30 for index in range(30)]):
            ring.put(frame, saving=frame.index >= 10)
        assert ring.wait_for(28 / 30, 60.0)
        film = ring.cut(0.0, 10.0)
        assert film is not None
        assert [round(one.time_s * 30) for one in film.packets] == [*range(10), *range(11, 30, 2)]
        assert ring.dropped == 0, "they were not lost to a slow encoder"
    finally:
        ring.close()


def test_a_slow_encoder_costs_pictures_and_not_the_loop() -> None:
    """While the encoder stands still in its first picture, every put comes back: the oldest are dropped."""
    SlowEncoder.gate.clear()
    SlowEncoder.started.clear()
    ring = Ring(make_encoder=SlowEncoder, waiting=4)
    try:
        pictures = list(frames([index / 25 for index in range(40)]))
        ring.put(pictures[0])
        assert SlowEncoder.started.wait(60)
        for frame in pictures[1:]:
            ring.put(frame)
        assert not SlowEncoder.gate.is_set()
        assert ring.dropped == 35
        SlowEncoder.gate.set()
        assert ring.wait_for(pictures[-1].time_s, 60.0)
        film = ring.cut(0.0, 10.0)
        assert film is not None
        assert [round(one.time_s * 25) for one in film.packets] == [0, 36, 37, 38, 39]
    finally:
        SlowEncoder.gate.set()
        ring.close()


def test_without_the_encoder_clips_are_off_with_a_sentence(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(av, "codecs_available", {"mpeg4"})
    ring = Ring()
    assert ring.fault is not None
    assert "libx264" in ring.fault
    ring.put(next(frames([0.0])))
    assert ring.wait_for(1.0, 60.0)
    assert ring.cut(0.0, 1.0) is None
    ring.close()


def test_a_failing_encoder_is_a_sentence_and_releases_all() -> None:
    class Failing(Encoder):
        def encode(self, image_bgr: object, time_s: float) -> list[Packet]:
            raise av.error.ExternalError(1, "it broke")

    ring = Ring(make_encoder=Failing)
    ring.put(next(frames([0.0])))
    assert ring.wait_for(99.0, 60.0)
    assert ring.fault is not None
    assert "encoder failed" in ring.fault
    ring.put(next(frames([1.0])))
    ring.close()
    ring.close()


def test_closing_ends_the_thread() -> None:
    before = set(threading.enumerate())
    ring = Ring()
    (thread,) = set(threading.enumerate()) - before
    assert thread.name == "clip-encoder"
    ring.put(next(frames([0.0])))
    ring.close()
    assert not thread.is_alive()
    ring.put(next(frames([1.0])))
    ring.close()
    assert ring.cut(0.0, 2.0) is None


def test_nonsense_is_refused() -> None:
    with pytest.raises(ValueError, match="room"):
        PacketStore(0, 1.0)
    with pytest.raises(ValueError, match="waits"):
        Ring(waiting=0)
