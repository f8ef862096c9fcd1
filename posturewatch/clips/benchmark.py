"""What clips cost: the loop's thread, the encoder's, memory and cutting."""

from __future__ import annotations

import tempfile
import time
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from posturewatch.clips.film import write_film
from posturewatch.clips.ring import Ring
from posturewatch.model.frame import Frame

__all__ = ["ClipCost", "measure_clip_cost"]


@dataclass(frozen=True)
class ClipCost:
    """put_ms: median and put_longest_ms: longest time that `put` held the loop, per picture. encode_ms:
    processor time of the encoder's thread per picture. memory_mb_per_min: of encoded video, in millions of
    bytes per minute of session. cut_ms: cutting and writing a clip of clip_s seconds."""

    pictures: int
    put_ms: float
    put_longest_ms: float
    encode_ms: float
    memory_mb_per_min: float
    cut_ms: float
    clip_s: float
    dropped: int


def measure_clip_cost(frames: Iterable[Frame], *, clip_s: float = 10.0) -> ClipCost:
    """Puts these pictures, one after the other as soon as the encoder has had its turn, and writes one clip of
    the last clip_s seconds to a temporary folder. Raises ValueError without pictures or without an encoder."""
    ring = Ring(most_bytes=500_000_000, most_s=1e9)
    puts_s: list[float] = []
    try:
        for frame in frames:
            began_s = time.perf_counter()
            ring.put(frame)
            puts_s.append(time.perf_counter() - began_s)
            ring.wait_for(frame.time_s, 5.0)
        covers, cost = ring.covers_s, ring.cost
        if covers is None:
            raise ValueError(ring.fault or "no pictures to measure with")
        start_s = max(covers[0], covers[1] - clip_s)
        began_s = time.perf_counter()
        film = ring.cut(start_s, covers[1] + 1.0)
        if film is None:
            raise ValueError("nothing was encoded")
        with tempfile.TemporaryDirectory() as folder:
            write_film(Path(folder) / "clip.mp4", film)
        cut_s = time.perf_counter() - began_s
        held_s = max(1e-3, covers[1] - covers[0])
        return ClipCost(
            pictures=cost.pictures,
            put_ms=sorted(puts_s)[len(puts_s) // 2] * 1e3,
            put_longest_ms=max(puts_s) * 1e3,
            encode_ms=cost.encode_s / cost.pictures * 1e3,
            memory_mb_per_min=ring.size_bytes / held_s * 60 / 1e6,
            cut_ms=cut_s * 1e3,
            clip_s=film.end_s - film.start_s,
            dropped=cost.dropped,
        )
    finally:
        ring.close()
