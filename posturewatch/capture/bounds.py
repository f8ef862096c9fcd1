"""Sizes of frames and images that can be handled, checked by what a file states before anything is decoded."""

from __future__ import annotations

import struct
from pathlib import Path

from posturewatch.errors import InputError

__all__ = ["LONGEST_IMAGE_PX", "LONGEST_PX", "check_size", "stated_image_size"]

#: Longest side of a video's frames. Larger ones take gigabytes, and show no more of a hand.
LONGEST_PX = 4096

#: Of a single image, as large cameras and phones make them.
LONGEST_IMAGE_PX = 12_000

#: Shortest side; and how many times the longer one may be of it. In strips there is no hand, and looking for one takes
#: minutes.
SHORTEST_PX = 32
LONGEST_SHAPE = 8.0


def check_size(path: Path, size_px: tuple[int, int], longest_px: int) -> None:
    """Does nothing for a usable (width, height).

    Raises
    ------
    InputError
        For any other, with one sentence.
    """
    width_px, height_px = size_px
    stated = f"{path} is {width_px} x {height_px} pixels"
    if max(size_px) > longest_px:
        raise InputError(f"{stated}, more than the {longest_px} that can be handled; make it smaller.")
    if min(size_px) < SHORTEST_PX or max(size_px) > LONGEST_SHAPE * min(size_px):
        raise InputError(
            f"{stated}, too narrow to show a hand; choose one with at least {SHORTEST_PX} each way."
        )


def stated_image_size(data: bytes) -> tuple[int, int] | None:
    """Width and height that a PNG (ISO/IEC 15948, section 11.2.2) or a JPEG (ISO/IEC 10918-1, section B.2.2) states;
    None for others."""
    if data[:8] == b"\x89PNG\r\n\x1a\n" and len(data) >= 24:
        width, height = struct.unpack(">II", data[16:24])
        return width, height
    if data[:2] != b"\xff\xd8":
        return None
    place = 2
    while place + 9 <= len(data) and data[place] == 0xFF:
        marker = data[place + 1]
        if 0xC0 <= marker <= 0xCF and marker not in (0xC4, 0xC8, 0xCC):
            height, width = struct.unpack(">HH", data[place + 5 : place + 9])
            return width, height
        if marker == 0xFF:  # filling
            place += 1
            continue
        place += 2 + struct.unpack(">H", data[place + 2 : place + 4])[0]
    return None
