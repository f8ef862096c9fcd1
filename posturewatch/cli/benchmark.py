"""`posturewatch benchmark`: how fast this machine does it."""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
from pathlib import Path

from posturewatch.cli.options import Subparsers, add_command, add_settings, seconds

__all__ = ["add"]


def add(subparsers: Subparsers[argparse.ArgumentParser]) -> None:
    parser = add_command(
        subparsers,
        "benchmark",
        "measure how fast this machine does it",
        "Times the bare trackers and the whole program per frame, then plays a video as if a live camera "
        "filmed it: without clips, with them, and held to one core where the system can. Prints where the time of "
        "a frame goes, frames per second, dropped frames, delay, processor use and memory. "
        "Nothing is kept. Close other programs first.",
        """
posturewatch benchmark
posturewatch benchmark --video lesson.mp4 --for 120
posturewatch benchmark --json > benchmark.json
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
        help="length of each live run after warming up (default: 30)",
    )
    parser.add_argument("--json", action="store_true", help="as JSON")
    add_settings(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    from posturewatch.bench.benchmark import run_benchmark
    from posturewatch.bench.camera_video import enlarged
    from posturewatch.bench.program import make_bench, with_clips
    from posturewatch.bench.report import report, to_json
    from posturewatch.bench.stage_parts import make_stages
    from posturewatch.bench.stages import measure_stages
    from posturewatch.capture import demo_video
    from posturewatch.pipeline.build import load_parts
    from posturewatch.review.derived import open_store

    parts = load_parts(args.settings, args.profile)
    note = f"Measuring; this takes about {3 * args.seconds + 90:.0f} seconds."
    print(note, file=sys.stderr if args.json else sys.stdout, flush=True)
    with tempfile.TemporaryDirectory(prefix="posturewatch-") as folder, open_store(Path(folder)) as store:
        video = args.video or enlarged(demo_video(), Path(folder) / "demo-720p.mp4")
        bench = make_bench(parts, store)
        findings = run_benchmark(
            bench,
            video,
            seconds=args.seconds,
            clips=with_clips(bench, parts, store),
            stages=lambda: measure_stages(lambda watch: make_stages(parts, store, watch), video),
        )
    print(json.dumps(to_json(findings), indent=2) if args.json else report(findings))
    return 0
