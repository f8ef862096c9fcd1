"""`posturewatch benchmark`: how fast this machine does it."""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
from dataclasses import asdict, replace
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
posturewatch benchmark --endurance 3600
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
    parser.add_argument(
        "--endurance",
        type=seconds,
        metavar="SECONDS",
        help="instead: one live run of this length with clips, the video played again and again; says whether memory, "
        "threads, and open files and sockets grow, each an hour with its standard error",
    )
    parser.add_argument("--json", action="store_true", help="as JSON")
    add_settings(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    from posturewatch.bench.apart import LiveRun, measure_apart
    from posturewatch.bench.benchmark import run_benchmark
    from posturewatch.bench.camera_video import enlarged
    from posturewatch.bench.program import make_bench
    from posturewatch.bench.report import endurance_report, report, to_json
    from posturewatch.bench.stage_parts import make_stages
    from posturewatch.bench.stages import measure_stages
    from posturewatch.capture import demo_video
    from posturewatch.pipeline.build import load_parts
    from posturewatch.review.derived import open_store

    parts = load_parts(args.settings, args.profile)
    length_s = 3 * args.seconds + 90 if args.endurance is None else args.endurance
    note = f"Measuring; this takes about {length_s:.0f} seconds."
    print(note, file=sys.stderr if args.json else sys.stdout, flush=True)
    with tempfile.TemporaryDirectory(prefix="posturewatch-") as folder:
        video = args.video or enlarged(demo_video(), Path(folder) / "demo-720p.mp4")
        one = LiveRun(args.settings, args.profile, video, args.seconds, clips=True)
        if args.endurance is not None:
            live = measure_apart(replace(one, seconds=args.endurance))
            print(json.dumps(asdict(live), indent=2) if args.json else endurance_report(live))
            return 0
        with open_store(Path(folder) / "data") as store:
            findings = run_benchmark(
                make_bench(parts, store),
                video,
                live=lambda clips: measure_apart(replace(one, clips=clips)),
                stages=lambda: measure_stages(lambda watch: make_stages(parts, store, watch), video),
            )
    print(json.dumps(to_json(findings), indent=2) if args.json else report(findings))
    return 0
