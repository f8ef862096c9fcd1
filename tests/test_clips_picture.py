"""The picture of a clip: the one that is shown at that second, by the number that each picture tells."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest
from clip_factories import index_of, make_video

from posturewatch.clips.picture import picture_at
from posturewatch.clips.video_file import write_video

RATE_HZ = 25.0


@pytest.fixture(scope="module")
def clip(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("clip") / "clip.mp4"
    write_video(path, make_video([index / RATE_HZ for index in range(100)]))
    return path


@pytest.mark.parametrize(
    ("second", "index"), [(-1.0, 0), (0.0, 0), (0.05, 1), (1.0, 25), (2.31, 57), (3.97, 99), (9.0, 99)]
)
def test_it_is_the_picture_of_that_second(clip: Path, second: float, index: int) -> None:
    data = picture_at(clip, second, 320)
    assert data is not None
    picture = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR)
    assert index_of(picture.astype(np.uint8)) == index


def test_it_is_no_wider_than_asked_and_keeps_its_shape(clip: Path) -> None:
    data = picture_at(clip, 1.0, 160)
    assert data is not None
    assert cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR).shape == (90, 160, 3)


def test_what_is_no_video_has_none(tmp_path: Path) -> None:
    broken = tmp_path / "clip.mp4"
    broken.write_bytes(b"no video")
    assert picture_at(broken, 0.0, 160) is None
    assert picture_at(tmp_path / "missing.mp4", 0.0, 160) is None
