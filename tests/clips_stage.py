"""A running session with numbered images, for the tests of its clips."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import av
import pytest
from clip_factories import (
    excursion,
    frames,
    index_of,
    picture_reading,
    warning,
)

from posturewatch.clips.keeper import ClipKeeper, ClipRecord
from posturewatch.clips.ring import Ring
from posturewatch.clips.span import ClipRules

#: Short, so that a test's session is: 1 s before to 0.5 s after, at most 4 s.
RULES = ClipRules(before_s=1.0, after_s=0.5, longest_s=4.0, settle_s=0.2)


RATE_HZ = 20.0


def play(
    keeper: ClipKeeper,
    ring: Ring,
    until_s: float,
    *,
    marks: Sequence[float] = (),
    from_s: float = 0.0,
    events: bool = False,
) -> None:
    """A session with numbered pictures; its index is its time times the rate. events: an excursion of 3.0 to
    5.0 s that is warned of at 4.0 s."""
    every = frames([index / RATE_HZ for index in range(round(until_s * RATE_HZ))])
    for frame in every:
        if frame.time_s < from_s:
            continue
        at = round(frame.time_s, 3)
        keeper.put(
            picture_reading(
                frame,
                opened=[excursion(3.0)] if events and at == 3.3 else [],
                fired=[warning(3.0, 4.0)] if events and at == 4.0 else [],
                closed=[excursion(3.0, 5.0, warned_s=4.0)] if events and at == 5.0 else [],
            )
        )
        if at in marks:
            keeper.mark(at)
        assert ring.wait_for(frame.time_s, 60.0)


def indices(path: Path) -> list[int]:
    with av.open(str(path)) as film:
        return [index_of(frame.to_ndarray(format="bgr24")) for frame in film.decode(video=0)]


def no_clip(clip: ClipRecord) -> None:
    pytest.fail(f"a clip where none should be: {clip}")
