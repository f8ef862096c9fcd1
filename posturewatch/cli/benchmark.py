"""`posturewatch benchmark`: how fast this machine does it."""

from __future__ import annotations

import argparse
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from posturewatch.cli.options import Subparsers, add_command, add_settings, seconds

if TYPE_CHECKING:
    from posturewatch.bench.figures import LiveFigures

__all__ = ["add"]


def add(subparsers: Subparsers[argparse.ArgumentParser]) -> None:
    parser = add_command(
        subparsers,
        "benchmark",
        "measure how fast this machine does it",
        "Times the bare trackers and the whole program per frame, then plays a video as if a live camera "
        "filmed it, and prints frames per second, dropped frames, delay, processor use and memory. "
        "Nothing is kept. Close other programs first.",
        """
posturewatch benchmark
posturewatch benchmark --video lesson.mp4 --for 120
""",
    )
    parser.add_argument(
        "--video", type=Path, metavar="VIDEO", help="video to play (default: the demo video at 1280 x 720)"
    )
    parser.add_argument(
        "--for",
        dest="seconds",
        type=seconds,
        default=30.0,
        metavar="SECONDS",
        help="length of the live run after warming up (default: 30)",
    )
    add_settings(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    from posturewatch.bench.benchmark import measure_live, run_benchmark
    from posturewatch.bench.camera_video import enlarged
    from posturewatch.bench.program import make_bench, with_clips
    from posturewatch.capture import demo_video
    from posturewatch.pipeline.build import load_parts
    from posturewatch.review.derived import open_store

    parts = load_parts(args.settings, args.profile)
    print(f"Measuring; this takes about {2 * args.seconds + 60:.0f} seconds.", flush=True)
    with tempfile.TemporaryDirectory(prefix="posturewatch-") as folder, open_store(Path(folder)) as store:
        video = args.video or enlarged(demo_video(), Path(folder) / "demo-720p.mp4")
        bench = make_bench(parts, store)
        _, plain = run_benchmark(bench, video, seconds=args.seconds)
        _say_with_clips(plain, measure_live(with_clips(bench, parts, store), video, seconds=args.seconds))
    return 0


def _say_with_clips(plain: LiveFigures, clips: LiveFigures) -> None:
    print("the same while clips are kept")
    print(
        f"  frames measured per second      {clips.measured_hz:.1f}     "
        f"({clips.measured_hz / plain.measured_hz:.1%} of those without)"
    )
    print(f"  dropped                         {clips.share_dropped:.1%}")
    print(f"  processor                       {clips.cpu_cores:.2f} cores")
