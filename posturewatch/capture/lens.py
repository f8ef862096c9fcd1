"""The lens's field of view, measured with a printed chessboard of markers (ChArUco), by OpenCV's own functions."""

from __future__ import annotations

import math
import zlib
from dataclasses import dataclass, field
from functools import cache
from typing import Any

import cv2
import numpy as np

from posturewatch.model.arrays import Image

__all__ = ["LEAST_VIEWS", "LensFit", "LensMeter", "board_pdf", "board_png"]

#: Squares and marker of the board, millimetres, as they come out on A4 and on letter paper. The field of view does not
#: depend on the printed size, only on the squares being square.
_COLUMNS, _ROWS, _SQUARE_MM, _MARKER_MM = 7, 5, 36.0, 27.0
_DPI = 150
#: A4 on its side (ISO 216), in PostScript points.
_PAGE_PT = (842, 595)

#: Views that are enough, and how far apart their corners have to be on average, as a share of the picture's width.
LEAST_VIEWS = 10
_APART = 0.06

#: Corners of a view that is of use.
_LEAST_CORNERS = 10

#: A fit that leaves more than this of each corner's place unexplained is no lens.
_MOST_ERROR_PX = 2.0


@cache
def _board() -> Any:
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    return cv2.aruco.CharucoBoard((_COLUMNS, _ROWS), _SQUARE_MM, _MARKER_MM, dictionary)


def _picture() -> Image:
    size = (round(_COLUMNS * _SQUARE_MM / 25.4 * _DPI), round(_ROWS * _SQUARE_MM / 25.4 * _DPI))
    return np.asarray(_board().generateImage(size, marginSize=0), dtype=np.uint8)


def board_png() -> bytes:
    """The board as a PNG file."""
    return bytes(cv2.imencode(".png", _picture())[1].tobytes())


def board_pdf() -> bytes:
    """The board on one page to print, as a PDF file (ISO 32000-1, section 7.5: objects, their places, a trailer)."""
    picture = _picture()
    height, width = picture.shape
    packed = zlib.compress(picture.tobytes())
    across, down = (_PAGE_PT[0] - 84, round((_PAGE_PT[0] - 84) * height / width))
    left, low = (_PAGE_PT[0] - across) // 2, (_PAGE_PT[1] - down) // 2
    drawn = f"q {across} 0 0 {down} {left} {low} cm /Board Do Q".encode()
    objects = [
        b"<< /Type /Catalog /Pages 2 0 R >>",
        b"<< /Type /Pages /Kids [3 0 R] /Count 1 >>",
        f"<< /Type /Page /Parent 2 0 R /MediaBox [0 0 {_PAGE_PT[0]} {_PAGE_PT[1]}] "
        "/Resources << /XObject << /Board 4 0 R >> >> /Contents 5 0 R >>".encode(),
        f"<< /Type /XObject /Subtype /Image /Width {width} /Height {height} /ColorSpace /DeviceGray "
        f"/BitsPerComponent 8 /Filter /FlateDecode /Length {len(packed)} >>\nstream\n".encode()
        + packed
        + b"\nendstream",
        f"<< /Length {len(drawn)} >>\nstream\n".encode() + drawn + b"\nendstream",
    ]
    out, places = bytearray(b"%PDF-1.4\n"), []
    for number, one in enumerate(objects, start=1):
        places.append(len(out))
        out += f"{number} 0 obj\n".encode() + one + b"\nendobj\n"
    table = len(out)
    out += f"xref\n0 {len(objects) + 1}\n0000000000 65535 f \n".encode()
    out += b"".join(f"{place:010d} 00000 n \n".encode() for place in places)
    out += f"trailer << /Size {len(objects) + 1} /Root 1 0 R >>\nstartxref\n{table}\n%%EOF\n".encode()
    return bytes(out)


@dataclass(frozen=True)
class LensFit:
    """A measured lens.

    Attributes
    ----------
    hfov_deg, sd_deg
        Horizontal field of view and its standard deviation.
    error_px
        How far corners lie from where the fit puts them, root mean square.
    """

    hfov_deg: float
    sd_deg: float
    error_px: float


@dataclass
class LensMeter:
    """Collects views of the board until there are enough of them."""

    views: int = 0
    seen: bool = False
    _points: list[tuple[Any, Any]] = field(default_factory=list)
    _last: Any = None
    _size: tuple[int, int] | None = None

    def add(self, image_bgr: Image) -> None:
        """Looks for the board in a picture; it counts where it is elsewhere than in the last one that did."""
        grey = cv2.cvtColor(image_bgr, cv2.COLOR_BGR2GRAY)
        size = (int(grey.shape[1]), int(grey.shape[0]))
        if self._size not in (None, size):
            self._points.clear()
        self._size = size
        corners, numbers, _, _ = cv2.aruco.CharucoDetector(_board()).detectBoard(grey)
        self.seen = numbers is not None and len(numbers) >= _LEAST_CORNERS
        if not self.seen:
            return
        place = {
            int(number): corner
            for number, corner in zip(numbers.ravel(), corners.reshape(-1, 2), strict=True)
        }
        if self._last is not None:
            both = [number for number in place if number in self._last]
            apart = [float(np.hypot(*(place[number] - self._last[number]))) for number in both]
            if apart and np.mean(apart) < _APART * size[0]:
                return
        self._last = place
        self._points.append(_board().matchImagePoints(corners, numbers))
        self.views = len(self._points)

    def fit(self) -> LensFit | None:
        """The lens, None where the views are too few or do not go together."""
        if self._size is None or self.views < LEAST_VIEWS:
            return None
        objects, images = zip(*self._points, strict=True)
        flags = cv2.CALIB_FIX_ASPECT_RATIO | cv2.CALIB_ZERO_TANGENT_DIST | cv2.CALIB_FIX_K3
        start = np.array(
            [[self._size[0], 0, self._size[0] / 2], [0, self._size[0], self._size[1] / 2], [0, 0, 1]], float
        )
        error, matrix, _, _, _, spread, _, _ = cv2.calibrateCameraExtended(
            objects, images, self._size, start, np.zeros(5), flags=flags | cv2.CALIB_USE_INTRINSIC_GUESS
        )
        # With one focal length for both axes its deviation stands beside the second.
        focal, sd = float(matrix[0, 0]), float(max(spread[0, 0], spread[1, 0]))
        if not (error <= _MOST_ERROR_PX and math.isfinite(focal) and focal > 0):
            return None
        half = self._size[0] / 2
        # The deviation of an angle from that of the focal length: the derivative of 2 atan(half / focal).
        return LensFit(
            math.degrees(2 * math.atan(half / focal)),
            math.degrees(2 * half / (focal**2 + half**2) * sd),
            float(error),
        )
