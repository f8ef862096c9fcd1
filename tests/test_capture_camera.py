"""Cameras as sources, played by a fake one that vanishes, returns, blocks and is late."""

from __future__ import annotations

import queue
import threading
from itertools import pairwise

import numpy as np
import pytest
from capture_videos import HandClock, within

from posturewatch.capture.camera import CameraSource
from posturewatch.capture.source import Taken
from posturewatch.errors import SourceError
from posturewatch.model.arrays import Image

PICTURE = np.zeros((48, 64, 3), dtype=np.uint8)


class FakeCamera:
    """Opens and reads as the test says. `show` delivers a picture; `unplug` makes reads fail and opening
    impossible until `plug`. A read with nothing to deliver blocks, as a driver's does."""

    def __init__(self, clock: HandClock, *, stamps_ms: bool = False) -> None:
        self.clock = clock
        self.stamps_ms = stamps_ms
        self.opened: list[tuple[int | str, tuple[int, int], float]] = []
        self.released = 0
        self.present = True
        self._pictures: queue.Queue[tuple[Image, float]] = queue.Queue()
        self._free = threading.Event()
        self._position_ms = 0.0

    def open(self, which: int | str, size_px: tuple[int, int], rate_hz: float) -> FakeCamera:
        self.opened.append((which, size_px, rate_hz))
        if not self.present:
            raise SourceError("There is no camera 0: none is connected.")
        return self

    width_px, height_px, rate_hz = 64, 48, 15.0

    def show(self, *, age_s: float = 0.0, value: int = 0) -> None:
        picture = PICTURE.copy()
        picture[:] = value
        self._pictures.put((picture, self.clock.now() - age_s))

    def unplug(self) -> None:
        self.present = False

    def plug(self) -> None:
        self.present = True

    def let_go(self) -> None:
        self._free.set()

    def read(self) -> Image | None:
        while self.present and not self._free.is_set():
            try:
                picture, taken_s = self._pictures.get(timeout=0.01)
            except queue.Empty:
                continue
            self._position_ms = taken_s * 1000 if self.stamps_ms else 0.0
            return picture
        return None

    def position_ms(self) -> float:
        return self._position_ms

    def release(self) -> None:
        self.released += 1


def opened(camera: FakeCamera, clock: HandClock, **more: float) -> CameraSource:
    camera.show()
    return CameraSource(0, opener=camera.open, clock=clock, warm_up_s=0.0, **more)  # type: ignore[arg-type]


def next_of(source: CameraSource) -> Taken:
    taken = source.read(20.0)
    assert taken is not None
    return taken


def test_reports_what_was_asked_and_what_was_got() -> None:
    clock = HandClock()
    camera = FakeCamera(clock)
    source = opened(camera, clock)
    assert camera.opened == [(0, (1280, 720), 30.0)]
    info = source.info
    assert (info.kind, info.name, info.width_px, info.height_px) == ("camera", "camera 0", 64, 48)
    assert info.rate_hz == 15.0
    assert info.requested == "1280x720 at 30 frames a second"
    assert source.live
    assert source.notice is None
    camera.let_go()
    source.close()


def test_irregular_pictures_keep_their_times() -> None:
    clock = HandClock()
    camera = FakeCamera(clock)
    source = opened(camera, clock)
    times, moments = [next_of(source).frame.time_s], [0.0]
    for pause_s in (0.033, 0.2, 0.001, 0.5, 0.033):
        clock.advance(pause_s)
        moments.append(moments[-1] + pause_s)
        camera.show()
        times.append(next_of(source).frame.time_s)
    assert times == pytest.approx(moments, abs=1e-6)
    camera.let_go()
    source.close()


def test_two_pictures_at_one_moment_still_increase() -> None:
    clock = HandClock()
    camera = FakeCamera(clock)
    source = opened(camera, clock)
    times = [next_of(source).frame.time_s]
    for _ in range(3):
        camera.show()
        times.append(next_of(source).frame.time_s)
    assert all(later > earlier for earlier, later in pairwise(times))
    camera.let_go()
    source.close()


def test_only_the_newest_is_kept_and_the_rest_counted() -> None:
    clock = HandClock()
    camera = FakeCamera(clock)
    source = opened(camera, clock)
    next_of(source)
    for count, value in enumerate((10, 20, 30)):
        clock.advance(0.033)
        camera.show(value=value)
        assert within(20.0, lambda: source._count == 2 + count)  # noqa: B023
    assert source.dropped == 2
    taken = next_of(source)
    assert taken.frame.image_bgr[0, 0, 0] == 30
    assert taken.frame.index == 3, "dropped ones are counted, so that the gap shows"
    assert taken.frame.time_s == pytest.approx(0.099)
    camera.let_go()
    source.close()


def test_driver_stamps_on_the_monotonic_clock_are_preferred() -> None:
    clock = HandClock()
    camera = FakeCamera(clock, stamps_ms=True)
    camera.show(age_s=0.02)
    source = CameraSource(0, opener=camera.open, clock=clock, warm_up_s=0.0)
    times = [next_of(source).frame.time_s]
    for age_s in (0.05, 0.02, 0.1):
        clock.advance(0.2)
        camera.show(age_s=age_s)
        times.append(next_of(source).frame.time_s)
    assert times == pytest.approx([0.0, 0.17, 0.4, 0.52], abs=1e-6)
    camera.let_go()
    source.close()


@pytest.mark.parametrize("age_s", [50.0, -3.0, float("nan")])
def test_driver_stamps_that_are_off_are_not_believed(age_s: float) -> None:
    clock = HandClock()
    camera = FakeCamera(clock, stamps_ms=True)
    source = opened(camera, clock)
    next_of(source)
    clock.advance(0.2)
    camera.show(age_s=age_s)
    assert next_of(source).frame.time_s == pytest.approx(0.2)
    camera.let_go()
    source.close()


def test_dark_first_pictures_are_left_out() -> None:
    clock = HandClock()
    camera = FakeCamera(clock)
    camera.show(value=1)
    built: list[CameraSource] = []
    thread = threading.Thread(
        target=lambda: built.append(CameraSource(0, opener=camera.open, clock=clock, warm_up_s=0.3))
    )
    thread.start()
    assert within(20.0, camera._pictures.empty)
    clock.advance(0.4)
    camera.show(value=2)
    thread.join(20.0)
    taken = next_of(built[0])
    assert taken.frame.image_bgr[0, 0, 0] == 2
    assert (taken.frame.index, taken.frame.time_s) == (0, 0.0)
    camera.let_go()
    built[0].close()


def test_vanished_camera_is_tried_again_and_time_goes_on() -> None:
    clock = HandClock()
    camera = FakeCamera(clock)
    source = opened(camera, clock)
    next_of(source)
    clock.advance(0.1)
    camera.show()
    next_of(source)
    camera.unplug()
    clock.settle()
    clock.advance(1.0)
    assert not source.notice, "a short gap is not worth a word"
    clock.settle()
    clock.advance(1.5)
    assert source.notice is not None
    assert "Trying again every second" in source.notice
    assert within(20.0, lambda: camera.released == 1)
    for tries in (1, 2, 3):
        clock.settle()
        clock.advance(1.0)
        assert within(20.0, lambda tries=tries: len(camera.opened) == 1 + tries)
    assert (source.ended, source.read(0.0)) == (False, None)
    camera.plug()
    clock.settle()
    camera.show()
    clock.advance(1.0)
    back = next_of(source)
    assert not source.notice
    assert back.frame.time_s == pytest.approx(0.1 + 1.0 + 1.5 + 4 * 1.0)
    assert back.frame.index == 2
    camera.let_go()
    source.close()
    assert source.ended
    assert camera.released == 2


def test_blocked_driver_holds_up_neither_the_notice_nor_the_reader() -> None:
    clock = HandClock()
    camera = FakeCamera(clock)
    source = opened(camera, clock)
    next_of(source)
    clock.advance(2.5)
    assert source.notice is not None
    assert source.read(0.01) is None
    camera.show()
    assert next_of(source).frame.time_s == pytest.approx(2.5)
    assert not source.notice
    camera.let_go()
    source.close()


def test_closing_releases_a_waiting_reader_even_while_the_driver_blocks() -> None:
    clock = HandClock()
    camera = FakeCamera(clock)
    source = opened(camera, clock)
    next_of(source)
    answers: list[Taken | None] = []
    reader = threading.Thread(target=lambda: answers.append(source.read(120.0)))
    reader.start()
    closer = threading.Thread(target=source.close)
    closer.start()
    reader.join(20.0)
    assert answers == [None]
    assert source.ended
    assert source.notice is None
    camera.let_go()
    closer.join(20.0)
    source.close()
    assert within(20.0, lambda: camera.released == 1), "the device is released once the driver returns"


def test_no_camera_is_said_at_once() -> None:
    clock = HandClock()
    camera = FakeCamera(clock)
    camera.unplug()
    with pytest.raises(SourceError, match="There is no camera 0"):
        CameraSource(0, opener=camera.open, clock=clock)
    assert len(camera.opened) == 1


def test_camera_that_opens_but_shows_nothing_is_probably_in_use() -> None:
    clock = HandClock()
    camera = FakeCamera(clock)
    before = set(threading.enumerate())
    with pytest.raises(SourceError, match="probably in use"):
        CameraSource(0, opener=camera.open, clock=clock, first_frame_s=0.05)
    camera.let_go()
    assert within(20.0, lambda: set(threading.enumerate()) <= before)
    assert camera.released == 1


def test_camera_whose_reads_fail_is_probably_in_use() -> None:
    clock = HandClock()
    camera = FakeCamera(clock)
    camera.let_go()
    faults: list[SourceError] = []

    def build() -> None:
        try:
            CameraSource(0, opener=camera.open, clock=clock)
        except SourceError as fault:
            faults.append(fault)

    thread = threading.Thread(target=build)
    thread.start()
    clock.settle()
    clock.advance(7.0)
    thread.join(30.0)
    assert "probably in use" in faults[0].sentence
    assert camera.released == 1
