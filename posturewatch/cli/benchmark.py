"""`posturewatch benchmark`: how fast this machine does it."""

from __future__ import annotations

import argparse
import tempfile
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from posturewatch.cli.options import Subparsers, add_command, add_settings, seconds

if TYPE_CHECKING:
    from posturewatch.bench.benchmark import Bench
    from posturewatch.bench.figures import LiveFigures
    from posturewatch.pipeline.build import Parts
    from posturewatch.pipeline.practice import Practice
    from posturewatch.server.feed import LiveFeed
    from posturewatch.storage.store import Store

__all__ = ["add", "make_bench", "with_clips"]


def add(subparsers: Subparsers[argparse.ArgumentParser]) -> None:
    parser = add_command(
        subparsers,
        "benchmark",
        "measure how fast this machine does it",
        "Times the bare trackers and the whole program per frame, then plays a film as if a live camera "
        "filmed it, and prints frames per second, dropped pictures, delay, processor use and memory. "
        "Nothing is kept. Close other programs first.",
        """
posturewatch benchmark
posturewatch benchmark --film lesson.mp4 --for 120
""",
    )
    parser.add_argument(
        "--film", type=Path, metavar="FILM", help="film to play (default: the demo film at 1280 x 720)"
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
    from posturewatch.bench.camera_film import enlarged
    from posturewatch.capture import demo_film
    from posturewatch.pipeline.build import load_parts
    from posturewatch.review.derived import open_store

    parts = load_parts(args.settings, args.profile)
    print(f"Measuring; this takes about {2 * args.seconds + 60:.0f} seconds.", flush=True)
    with tempfile.TemporaryDirectory(prefix="posturewatch-") as folder, open_store(Path(folder)) as store:
        film = args.film or enlarged(demo_film(), Path(folder) / "demo-720p.mp4")
        bench = make_bench(parts, store)
        _, plain = run_benchmark(bench, film, seconds=args.seconds)
        _say_with_clips(plain, measure_live(with_clips(bench, parts, store), film, seconds=args.seconds))
    return 0


def with_clips(bench: Bench, parts: Parts, store: Store) -> Bench:
    """The same parts, with clips kept beside the record as `live` keeps them."""
    from posturewatch.pipeline.recorded_film import Clipping

    clipping = Clipping(store, parts.settings.clips)
    return replace(bench, begin=lambda source: clipping.begin(bench.begin(source), None))


def _say_with_clips(plain: LiveFigures, clips: LiveFigures) -> None:
    print("the same while clips are kept")
    print(
        f"  frames measured per second      {clips.measured_hz:.1f}     "
        f"({clips.measured_hz / plain.measured_hz:.1%} of those without)"
    )
    print(f"  dropped                         {clips.share_dropped:.1%}")
    print(f"  processor                       {clips.cpu_cores:.2f} cores")


def make_bench(parts: Parts, store: Store) -> Bench:
    """The program's parts as the benchmark takes them; sessions go to the given store."""
    from posturewatch.bench.benchmark import Bench
    from posturewatch.server.feed import LiveFeed
    from posturewatch.tracking import Tracker

    return Bench(
        make_bare=Tracker,
        make_monitor=parts.monitor,
        make_feed=lambda: LiveFeed(parts.limits),
        begin=lambda source: store.begin(parts.session_start(source)),
        serve=lambda practice, feed: _serve(practice, feed, store),
    )


def _serve(practice: Practice, feed: LiveFeed, store: Store) -> tuple[int, Callable[[], None]]:
    """The page's server on a free port, and what closes it."""
    from posturewatch.config.resources import web_dir
    from posturewatch.review.practice_log import PracticeLog
    from posturewatch.server.app import create_app
    from posturewatch.server.serving import PageServer, listen

    listener = listen(0)
    port = int(listener.getsockname()[1])
    app = create_app(
        practice=practice,
        feed=feed,
        log=PracticeLog(store),
        vocabulary={},
        web_dir=web_dir(),
        port=port,
    )
    server = PageServer(app, listener)
    server.start()
    return port, server.close
