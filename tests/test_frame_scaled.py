"""A frame's image is scaled once for all who want it of that size."""

from __future__ import annotations

import threading
from typing import Any

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from posturewatch.capture import VideoFileSource, demo_video
from posturewatch.clips.encoder import Encoder
from posturewatch.config.limit_profiles import load_profile
from posturewatch.model.frame import Frame
from posturewatch.server.feed import LiveFeed

Pixels = NDArray[np.uint8]


def large() -> Frame:
    """A picture of the demo video, as large as a webcam's."""
    source = VideoFileSource(demo_video())
    try:
        taken = source.read(5.0)
    finally:
        source.close()
    assert taken is not None
    return Frame(0, 0.0, np.asarray(cv2.resize(taken.frame.image_bgr, (1280, 720)), np.uint8))


def test_whoever_asks_first_scales_and_the_others_wait() -> None:
    frame, made, go_on = Frame(0, 0.0, np.zeros((8, 16, 3), np.uint8)), [], threading.Event()

    def scale(image: Pixels, size: tuple[int, int]) -> Pixels:
        assert go_on.wait(60)
        made.append(size)
        return np.asarray(cv2.resize(image, size), np.uint8)

    given: list[Pixels] = []
    threads = [threading.Thread(target=lambda: given.append(frame.scaled(4, 2, scale))) for _ in range(3)]
    for thread in threads:
        thread.start()
    go_on.set()
    for thread in threads:
        thread.join(60)
    assert made == [(4, 2)]
    assert len(given) == 3
    assert all(one is given[0] for one in given)
    assert frame.scaled(8, 4, scale).shape == (4, 8, 3)
    assert made == [(4, 2), (8, 4)]


def test_page_and_clip_take_the_same_scaled_picture(monkeypatch: pytest.MonkeyPatch) -> None:
    resized: list[Any] = []
    original = cv2.resize
    frame = large()

    def noted(image: Pixels, size: Any, **how: Any) -> Any:
        resized.append(size)
        return original(image, size, **how)

    monkeypatch.setattr(cv2, "resize", noted)
    encoder = Encoder(frame.width_px, frame.height_px)
    for_clip = encoder.fitted(frame)
    assert encoder.encode(for_clip, 0.0)[0].keyframe
    jpeg = LiveFeed(load_profile("carpal-pressure"))._jpeg(frame)
    assert resized == [(960, 540)]
    # Against OpenCV's averaging, which costs five times as much: they differ by less than 40 dB is seen.
    averaged = original(frame.image_bgr, (960, 540), interpolation=cv2.INTER_AREA)
    assert cv2.PSNR(for_clip, averaged) > 40
    shown = cv2.imdecode(np.frombuffer(jpeg, np.uint8), cv2.IMREAD_COLOR)
    assert shown.shape == (540, 960, 3)
    assert cv2.PSNR(np.asarray(shown, np.uint8), averaged) > 30
