"""A worker that fails is told of as that, and what goes on beside it goes on."""

from __future__ import annotations

import threading
from typing import Any

import numpy as np
import pytest
from page_stand_ins import Player, limits

from posturewatch.capture.live import LiveSource
from posturewatch.capture.source import SourceInfo
from posturewatch.errors import SourceError
from posturewatch.model.arrays import Image
from posturewatch.server.feed import LiveFeed
from posturewatch.server.live_message import unpack


class FailingCamera(LiveSource):
    """Gives one frame, then its driver does what nobody thought of."""

    def __init__(self) -> None:
        self.taken = threading.Event()
        super().__init__(name="camera 0", thread_name="failing", gone="", first_frame_s=20.0, clock=None)
        self._open("no frame")

    def _play(self) -> None:
        self._publish(np.zeros((4, 4, 3), np.uint8), self._clock.now())
        self.taken.wait(20.0)
        raise RuntimeError("of the driver")

    def _describe(self, image: Image) -> SourceInfo:
        return SourceInfo("camera 0", "camera", 4, 4, None)


def test_a_camera_whose_reading_fails_is_no_practice_that_ended() -> None:
    camera = FailingCamera()
    assert camera.read(20.0) is not None
    camera.taken.set()
    with pytest.raises(SourceError, match="by a fault of the program"):
        camera.read(20.0)
    camera.close()


def test_a_frame_that_cannot_be_shown_is_told_of_and_the_next_one_is(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object) -> dict[str, Any]:
        raise RuntimeError("of the header")

    feed, player = LiveFeed(limits()), Player()
    monkeypatch.setattr("posturewatch.server.feed.reading_header", broken)
    feed.put(player.reading(0, 0.0, (1.0, 1.0), (1.0, 1.0)))
    assert feed.latest(0, 0.5) is None
    assert "gets no pictures" in str(feed.fault)
    monkeypatch.undo()
    feed.put(player.reading(1, 0.1, (1.0, 1.0), (1.0, 1.0)))
    message = feed.latest(0, 20.0)
    assert message is not None
    assert unpack(message.data)[0]["time_s"] == 0.1
    assert feed.fault is None
    feed.close()
