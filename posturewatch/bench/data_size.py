"""How much a long practice takes on the disk, predicted from a short one: `python -m posturewatch.bench.data_size`.

A video is looked at once by the real models. What they saw is then played again and again, as fast as it is taken,
through the loop, the watch, the recorder and the clips as they are: for a quarter of the time, for half of it, and for
all of it. What the second practice takes more than the first one is what every further quarter is to take. A quarter is
longer than samples wait to be packed together (`storage.writer.MERGE_AT`), which needs the same room once in every
practice.
"""

from __future__ import annotations

import argparse
import tempfile
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from posturewatch.bench.benchmark import LoopedVideo
from posturewatch.capture import VideoFileSource, demo_video
from posturewatch.model.frame import Frame
from posturewatch.model.measurement import FrameMeasurement
from posturewatch.model.observation import Observation
from posturewatch.model.reading import Reading
from posturewatch.pipeline.build import Built, Parts, load_parts
from posturewatch.pipeline.clip_recording import ClipRecording
from posturewatch.review.derived import open_store
from posturewatch.storage.own_data import data_json

__all__ = ["Sizes", "main", "practise"]

#: A quarter of less than this is no measure for the others.
_LEAST_MINUTES = 24.0

#: Of what is predicted, a practice may take so much more or less: a clip more or less, blocks that pack better.
_TOLERANCE = 0.1


@dataclass(frozen=True)
class Sizes:
    """Bytes of the database and of the clips of a data folder, and how many clips."""

    database: int
    clips: int
    clip_count: int

    @classmethod
    def of(cls, folder: Path) -> Sizes:
        """Of a folder that no program has open."""
        with open_store(folder) as store:
            found = data_json(store)
        return cls(
            found["database_bytes"], found["clips_bytes"], sum(one["clips"] for one in found["sessions"])
        )

    def doubled(self, half: Sizes) -> Sizes:
        """Of a practice that is twice as long as this one; half: of one that is half as long."""
        return Sizes(
            3 * self.database - 2 * half.database,
            3 * self.clips - 2 * half.clips,
            3 * self.clip_count - 2 * half.clip_count,
        )


class Again:
    """Says of each frame of a looped video what was seen and measured in it the first time."""

    def __init__(self, seen: Sequence[tuple[Observation, FrameMeasurement]]) -> None:
        self._seen = seen

    def observe(self, frame: Frame) -> Observation:
        """What was seen, at this frame's time."""
        observation, _ = self._seen[frame.index % len(self._seen)]
        return replace(observation, frame_index=frame.index, time_s=frame.time_s)

    def measure(self, observation: Observation) -> FrameMeasurement:
        """What was measured, at that time."""
        _, measurement = self._seen[observation.frame_index % len(self._seen)]
        return replace(measurement, frame_index=observation.frame_index, time_s=observation.time_s)

    def reset(self) -> None:
        """Nothing is remembered."""


class _Kept:
    """A sink that keeps what was seen, without the pictures."""

    def __init__(self) -> None:
        self.seen: list[tuple[Observation, FrameMeasurement]] = []

    def put(self, reading: Reading) -> None:
        self.seen.append((reading.observation, reading.measurement))


def look_once(parts: Parts, video: Path) -> Again:
    """What the real models see and measure in a video."""
    source, kept = VideoFileSource(video), _Kept()
    monitor, release = parts.monitor("video", source, [kept])
    try:
        monitor.run(threading.Event())
    finally:
        source.close()
        release()
    return Again(kept.seen)


def practise(
    parts: Parts, again: Again, open_video: Callable[[], VideoFileSource], folder: Path, length_s: float
) -> Sizes:
    """A practice of this length in a fresh data folder; what it takes there once it is over."""
    source = LoopedVideo(open_video)
    as_seen = replace(parts, build=lambda mode, settings: Built(again, again, lambda: None))
    try:
        with open_store(folder) as store:
            recorder = store.begin(parts.session_start(source))
            with_clips = ClipRecording(store, parts.settings.clips).begin(recorder, None, waits=True)
            monitor, _ = as_seen.monitor("video", source, [with_clips])
            with_clips.finish(monitor.run(threading.Event(), length_s))
    finally:
        source.close()
    return Sizes.of(folder)


def _lines(found: Sizes, predicted: Sizes) -> list[tuple[str, float, float, bool]]:
    rows = (
        ("database, MB", found.database / 1e6, predicted.database / 1e6),
        ("clips, MB", found.clips / 1e6, predicted.clips / 1e6),
        ("clips", float(found.clip_count), float(predicted.clip_count)),
    )
    return [(name, told, is_, abs(is_ - told) <= _TOLERANCE * max(told, 1.0)) for name, is_, told in rows]


def main() -> int:
    """Prints the table; 1 where a practice took more or less than predicted."""
    parser = argparse.ArgumentParser(description="Predicted and real size of a long practice.")
    parser.add_argument("--minutes", type=float, default=120.0, help="length of the long one (default: 120)")
    parser.add_argument("--video", type=Path, help="video to play again and again (default: the demo video)")
    args = parser.parse_args()
    if args.minutes < _LEAST_MINUTES:
        parser.error(
            f"at least {_LEAST_MINUTES:g} minutes, please: a quarter of less says little of the others"
        )
    parts = load_parts(None, None)
    video = args.video or demo_video()
    again, began = look_once(parts, video), time.monotonic()

    def open_video() -> VideoFileSource:
        return VideoFileSource(video, name="looped video")

    with tempfile.TemporaryDirectory(prefix="posturewatch-") as folder:
        quarter, half, whole = (
            practise(parts, again, open_video, Path(folder) / f"{share}", 60.0 * args.minutes * share)
            for share in (0.25, 0.5, 1.0)
        )
    lines = _lines(whole, half.doubled(quarter))
    print(f"{args.minutes:g} minutes, played in {time.monotonic() - began:.0f} s")
    print(f"{'':<16}{'predicted':>12}{'real':>12}")
    for name, told, real, fits in lines:
        print(f"{name:<16}{told:>12.1f}{real:>12.1f}{'' if fits else '   NOT AS PREDICTED'}")
    return 0 if all(fits for *_, fits in lines) else 1


if __name__ == "__main__":
    raise SystemExit(main())
