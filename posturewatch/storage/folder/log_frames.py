"""A database made anew from its write-ahead log, where the file itself was emptied or has gone.

SQLite would throw the log away then. Its format: SQLite's documentation, "Database File Format", section 4, The
Write-Ahead Log.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from pathlib import Path

__all__ = ["is_emptied", "log_of", "write_from_log"]

#: Magic number (its lowest bit: checksums are big-endian), version, page size, checkpoint, two salts, two checksums.
_HEADER = struct.Struct(">8I")
_MAGIC = 0x377F0682

#: Page number, pages in all after a commit or 0, two salts, two checksums.
_FRAME = struct.Struct(">6I")


def log_of(path: Path) -> Path:
    """The database's log."""
    return path.with_name(path.name + "-wal")


def is_emptied(path: Path) -> bool:
    """Whether the log has pages and the database none: its file has been emptied or has gone."""
    try:
        size = path.stat().st_size if path.exists() else 0
        log = log_of(path)
        return size == 0 and log.exists() and log.stat().st_size > _HEADER.size + _FRAME.size
    except OSError:
        return False


def write_from_log(log: Path, path: Path) -> bool:
    """Writes the pages of all whole transactions in the log to a new file; False where there are none."""
    raw = log.read_bytes()
    if len(raw) < _HEADER.size or _HEADER.unpack_from(raw)[0] & ~1 != _MAGIC:
        return False
    page_bytes = _HEADER.unpack_from(raw)[2]
    pages: dict[int, bytes] = {}
    kept: dict[int, bytes] = {}
    count = 0
    for number, after_commit, page in _frames(raw, page_bytes):
        pages[number] = page
        if after_commit:
            kept.update(pages)
            pages.clear()
            count = after_commit
    with path.open("wb") as file:
        for number, page in kept.items():
            file.seek((number - 1) * page_bytes)
            file.write(page)
        file.truncate(count * page_bytes)
    return bool(kept)


def _frames(raw: bytes, page_bytes: int) -> Iterator[tuple[int, int, bytes]]:
    """Page number, size after a commit, page; up to the first frame whose checksum does not fit."""
    magic, *_, salt, other_salt, _, _ = _HEADER.unpack_from(raw)
    order = ">" if magic & 1 else "<"
    sums = _checksum(raw[:24], (0, 0), order)
    if sums != _HEADER.unpack_from(raw)[6:]:
        return
    size = _FRAME.size + page_bytes
    for start in range(_HEADER.size, len(raw) - size + 1, size):
        number, after_commit, *salts, first, second = _FRAME.unpack_from(raw, start)
        page = raw[start + _FRAME.size : start + size]
        sums = _checksum(raw[start : start + 8] + page, sums, order)
        if tuple(salts) != (salt, other_salt) or sums != (first, second) or number < 1:
            return
        yield number, after_commit, page


def _checksum(data: bytes, sums: tuple[int, int], order: str) -> tuple[int, int]:
    first, second = sums
    words = struct.unpack(f"{order}{len(data) // 4}I", data)
    for even, odd in zip(words[::2], words[1::2], strict=True):
        first = (first + even + second) & 0xFFFFFFFF
        second = (second + odd + first) & 0xFFFFFFFF
    return first, second
