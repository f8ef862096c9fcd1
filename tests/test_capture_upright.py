"""Images of videos come out upright and with square pixels, whatever a file keeps them as."""

from __future__ import annotations

import shutil
import subprocess
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from capture_videos import (
    CORNERS,
    EVEN_S,
    SIZE,
    all_of,
    corner_colours,
    grey_index,
    marked_picture,
    turn_film,
    write_film,
)

from posturewatch.capture.decoding import upright
from posturewatch.capture.video_file import VideoFileSource

#: The eight ways to hang a picture: the numbers (a, b, c, d) of the display matrix.
MATRICES = [(1, 0, 0, 1), (0, 1, -1, 0), (-1, 0, 0, -1), (0, -1, 1, 0)]


MIRRORED = [(-1, 0, 0, 1), (1, 0, 0, -1), (0, 1, 1, 0), (0, -1, -1, 0)]


@pytest.mark.parametrize("matrix", MATRICES + MIRRORED)
def test_upright_follows_the_definition_pixel_by_pixel(matrix: tuple[int, int, int, int]) -> None:
    """ISO/IEC 14496-12: stored (p, q) is shown at (a p + c q + x, b p + d q + y)."""
    a, b, c, d = matrix
    stored = np.arange(3 * 5 * 3, dtype=np.uint8).reshape(3, 5, 3)
    points = {(a * p + c * q, b * p + d * q): stored[q, p] for q in range(3) for p in range(5)}
    left, top = min(x for x, _ in points), min(y for _, y in points)
    shown = upright(stored, (a << 16, b << 16, 0, c << 16, d << 16, 0, 0, 0, 1 << 30))
    assert shown.shape[:2] == ((5, 3) if a == 0 else (3, 5))
    for (x, y), colour in points.items():
        assert np.array_equal(shown[y - top, x - left], colour)


def test_upright_leaves_a_picture_with_an_empty_matrix() -> None:
    stored = marked_picture(3)
    assert np.array_equal(upright(stored, (0,) * 9), stored)


@pytest.mark.parametrize(
    ("matrix", "stored_turns"),
    [((1, 0, 0, 1), 0), ((0, 1, -1, 0), 1), ((-1, 0, 0, -1), 2), ((0, -1, 1, 0), 3)],
)
def test_turned_phone_film_comes_out_upright(
    tmp_path: Path, matrix: tuple[int, int, int, int], stored_turns: int
) -> None:
    # What the phone stores: the upright picture turned anticlockwise by the quarter turns to be undone.
    pictures = [np.ascontiguousarray(np.rot90(marked_picture(i), stored_turns)) for i in range(4)]
    path = turn_film(write_film(tmp_path / "turned.mp4", EVEN_S[:4], pictures=pictures), matrix)
    source = VideoFileSource(path)
    taken = all_of(source)
    assert (source.info.width_px, source.info.height_px) == SIZE
    for one in taken:
        assert corner_colours(one.frame.image_bgr) == list(CORNERS)


@pytest.mark.skipif(shutil.which("ffmpeg") is None, reason="the ffmpeg command is not installed")
@pytest.mark.parametrize("matrix", MATRICES + MIRRORED)
def test_pictures_hang_as_an_independent_player_hangs_them(
    tmp_path: Path, matrix: tuple[int, int, int, int]
) -> None:
    """The ffmpeg command turns films upright by filters of its own."""
    path = turn_film(write_film(tmp_path / "turned.mp4", EVEN_S[:2]), matrix)
    ours = all_of(VideoFileSource(path))[0].frame.image_bgr
    command = [
        "ffmpeg",
        "-v",
        "error",
        "-i",
        str(path),
        "-frames:v",
        "1",
        "-f",
        "rawvideo",
        "-pix_fmt",
        "bgr24",
        "-",
    ]
    raw = subprocess.run(command, check=True, capture_output=True, timeout=60).stdout
    theirs = np.frombuffer(raw, dtype=np.uint8).reshape(ours.shape)
    assert corner_colours(ours) == corner_colours(theirs)


@pytest.mark.parametrize(
    ("codec", "pix_fmt", "name"),
    [
        ("ffv1", "yuv420p10le", "ten-bit.mkv"),
        ("ffv1", "yuva420p", "alpha.mkv"),
        ("mjpeg", "yuvj422p", "jpeg.avi"),
        ("libx264", "yuv444p", "full-colour.mp4"),
        ("ffv1", "bgra", "rgb.mkv"),
    ],
)
def test_odd_pixel_formats(tmp_path: Path, codec: str, pix_fmt: str, name: str) -> None:
    taken = all_of(VideoFileSource(write_film(tmp_path / name, EVEN_S[:3], codec=codec, pix_fmt=pix_fmt)))
    assert [grey_index(one.frame.image_bgr) for one in taken] == [0, 1, 2]
    assert corner_colours(taken[0].frame.image_bgr) == list(CORNERS)
    assert taken[0].frame.image_bgr.flags.c_contiguous


def test_grey_film(tmp_path: Path) -> None:
    taken = all_of(
        VideoFileSource(write_film(tmp_path / "grey.mkv", EVEN_S[:3], codec="ffv1", pix_fmt="gray"))
    )
    assert [grey_index(one.frame.image_bgr) for one in taken] == [0, 1, 2]


def test_interlaced_film_shows_one_moment_per_picture(tmp_path: Path) -> None:
    # The upper lines (first moment) white, the lower ones (second moment) black.
    woven = np.zeros((64, 96, 3), dtype=np.uint8)
    woven[::2] = 255
    path = write_film(
        tmp_path / "woven.mkv",
        EVEN_S[:3],
        codec="libx264",
        pictures=[woven] * 3,
        options={"flags": "+ildct", "crf": "1"},
    )
    picture = all_of(VideoFileSource(path))[0].frame.image_bgr
    assert picture.shape == (64, 96, 3)
    assert picture.min() > 200, "no line of the other moment is left"


def test_pixels_are_made_square(tmp_path: Path) -> None:
    path = write_film(tmp_path / "wide.mkv", EVEN_S[:3], pixel_shape=Fraction(4, 3))
    source = VideoFileSource(path)
    taken = all_of(source)
    assert (source.info.width_px, source.info.height_px) == (128, 64)
    assert taken[0].frame.image_bgr.shape == (64, 128, 3)
