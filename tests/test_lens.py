"""The board to print, and the field of view measured with it, on pictures made with a known lens."""

from __future__ import annotations

import math
import shutil
import subprocess
from pathlib import Path

import cv2
import numpy as np
import pytest

from posturewatch.capture.lens import LEAST_VIEWS, LensMeter, board_pdf, board_png
from posturewatch.model.arrays import Image

WIDTH_PX, HEIGHT_PX = 1280, 720


def seen(hfov_deg: float, turn: tuple[float, float, float], at_mm: tuple[float, float, float]) -> Image:
    """The board through a lens without distortion: a pinhole (Hartley and Zisserman 2004, chapter 6)."""
    board = cv2.imdecode(np.frombuffer(board_png(), np.uint8), cv2.IMREAD_GRAYSCALE)
    assert board is not None
    height, width = board.shape
    size_mm = np.array([252.0, 252.0 * height / width])
    corners = np.array([[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]], float) * [*size_mm, 0]
    turned = cv2.Rodrigues(np.array(turn))[0]
    points = (turned @ (corners - [*size_mm / 2, 0]).T).T + at_mm
    focal = WIDTH_PX / 2 / math.tan(math.radians(hfov_deg / 2))
    pixels = points[:, :2] / points[:, 2:] * focal + [WIDTH_PX / 2, HEIGHT_PX / 2]
    flat = np.array([[0, 0], [width, 0], [width, height], [0, height]], np.float32)
    warp = cv2.getPerspectiveTransform(flat, pixels.astype(np.float32))
    grey = cv2.warpPerspective(board, warp, (WIDTH_PX, HEIGHT_PX), borderValue=(190.0,), flags=cv2.INTER_AREA)
    return np.asarray(cv2.cvtColor(grey, cv2.COLOR_GRAY2BGR), np.uint8)


@pytest.mark.parametrize("hfov_deg", [55.0, 78.0])
def test_the_field_of_view_is_measured(hfov_deg: float) -> None:
    meter, chance = LensMeter(), np.random.default_rng(4)
    near = 1.0 if hfov_deg < 60 else 0.7
    for _ in range(24):
        x, y, z = (float(one) for one in chance.uniform(-0.5, 0.5, 3))
        place = (
            float(chance.uniform(-70, 70)),
            float(chance.uniform(-50, 50)),
            near * float(chance.uniform(330, 520)),
        )
        meter.add(seen(hfov_deg, (x, y, z / 2), place))
    assert meter.views >= LEAST_VIEWS
    fit = meter.fit()
    assert fit is not None
    assert fit.hfov_deg == pytest.approx(hfov_deg, abs=1.0)
    assert 0 < fit.sd_deg < 2
    assert fit.error_px < 1


def test_the_same_view_counts_once_and_without_a_board_there_is_nothing() -> None:
    meter = LensMeter()
    for _ in range(3):
        meter.add(seen(60.0, (0.1, 0.2, 0.0), (0.0, 0.0, 420.0)))
    assert (meter.views, meter.seen) == (1, True)
    meter.add(np.full((HEIGHT_PX, WIDTH_PX, 3), 90, np.uint8))
    assert (meter.views, meter.seen) == (1, False)
    assert meter.fit() is None


def test_the_printed_page_shows_the_board(tmp_path: Path) -> None:
    """By another program that reads PDF files, where there is one; by the file's structure anyway."""
    page = board_pdf()
    assert page.startswith(b"%PDF-1.4")
    place = int(page.rsplit(b"startxref\n", 1)[1].split()[0])
    assert page[place:].startswith(b"xref\n0 6\n")
    for line in page[place:].split(b"\n")[3:8]:
        assert page[int(line[:10]) :].split(b"\n")[0].endswith(b"obj")
    if shutil.which("pdftoppm"):
        (tmp_path / "board.pdf").write_bytes(page)
        subprocess.run(["pdftoppm", "-png", "-r", "100", "board.pdf", "board"], cwd=tmp_path, check=True)
        image = cv2.imread(str(next(tmp_path.glob("board*.png"))))
        meter = LensMeter()
        meter.add(np.asarray(image, np.uint8))
        assert meter.seen
