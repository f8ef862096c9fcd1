"""Videos that are cut short, oddly titled, or beyond all measure."""

from __future__ import annotations

import os
from pathlib import Path

import cv2
import numpy as np
import pytest
from capture_videos import EVEN_S, all_of, write_film

from posturewatch.capture.bounds import check_size, stated_image_size
from posturewatch.capture.decoding import Decoder
from posturewatch.capture.video_file import VideoFileSource
from posturewatch.errors import InputError


@pytest.mark.parametrize("share", [0.5, 0.8])
def test_a_film_that_is_cut_short_says_how_much_of_it_there_was(tmp_path: Path, share: float) -> None:
    # The index at the beginning (ISO/IEC 14496-12: moov before mdat) still states the whole.
    times_s = [index / 25 for index in range(100)]
    path = write_film(
        tmp_path / "f.mp4", times_s, codec="libx264", container_options={"movflags": "faststart"}
    )
    whole = VideoFileSource(path)
    assert len(all_of(whole)) == 100
    assert (whole.incomplete, whole.notice) == (False, None)
    path.write_bytes(path.read_bytes()[: round(path.stat().st_size * share)])
    source = VideoFileSource(path)
    taken = all_of(source)
    assert 1 <= len(taken) < 100
    assert source.incomplete
    assert f"Only {len(taken)} of 100 frames ({taken[-1].frame.time_s:.1f} of 4.0 s)" in str(source.notice)


def test_titles_in_another_encoding_are_no_fault(tmp_path: Path) -> None:
    # INFO chunks of AVI have no stated encoding; many are Latin-1 (ISO/IEC 8859-1: 0xE9 is e with acute).
    path = write_film(tmp_path / "f.avi", EVEN_S, codec="mjpeg", pix_fmt="yuvj420p", title="Etude xy")
    path.write_bytes(path.read_bytes().replace(b"Etude xy", b"\xe9tude \xe9y"))
    assert b"\xe9tude" in path.read_bytes()
    assert len(all_of(VideoFileSource(path))) == len(EVEN_S)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_a_named_pipe_is_refused_at_once(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(InputError, match="neither a file nor a folder"):
        VideoFileSource(tmp_path / "pipe")


def test_a_film_beyond_all_measure_is_refused_before_it_is_decoded(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = write_film(tmp_path / "f.mkv", EVEN_S)
    monkeypatch.setattr("posturewatch.capture.video_file.LONGEST_PX", 95)
    monkeypatch.setattr(Decoder, "frames", lambda decoder: pytest.fail("decoded"))
    with pytest.raises(InputError, match="96 x 64 pixels, more than the 95"):
        VideoFileSource(path)


@pytest.mark.parametrize("size_px", [(3000, 30), (100, 1), (1, 3000), (60000, 60000), (13000, 8000)])
def test_sizes_beyond_measure_are_refused(tmp_path: Path, size_px: tuple[int, int]) -> None:
    with pytest.raises(InputError, match=r"pixels, (too narrow|more than)"):
        check_size(tmp_path, size_px, 12_000)


@pytest.mark.parametrize("kind", [".png", ".jpg", ".bmp"])
def test_an_images_stated_size_is_that_of_the_image(kind: str) -> None:
    # OpenCV writes and reads it, independently.
    _, data = cv2.imencode(kind, np.zeros((40, 70, 3), np.uint8))
    assert stated_image_size(data.tobytes()) == (None if kind == ".bmp" else (70, 40))
    for length in range(40):
        stated_image_size(data.tobytes()[:length])
