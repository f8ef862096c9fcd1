"""`posturewatch analyse`: every frame of a video through the monitor, as fast as it goes."""

from __future__ import annotations

import argparse
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from posturewatch.cli.options import Subparsers, add_command, add_settings, add_view, with_view
from posturewatch.cli.signals import end_requests
from posturewatch.errors import InputError, SourceError

if TYPE_CHECKING:
    from posturewatch.capture import Source
    from posturewatch.model.reading import Reading
    from posturewatch.pipeline.analysis import Analysed

__all__ = ["add"]

SAMPLES_NAME = "samples.csv"
SUMMARY_NAME = "summary.json"

EXIT_INTERRUPTED = 130

#: All was measured that could be read, and that was not the whole video.
EXIT_INCOMPLETE = 6


def add(subparsers: Subparsers[argparse.ArgumentParser]) -> None:
    parser = add_command(
        subparsers,
        "analyse",
        "measure every frame of a video",
        "Measures every frame of a video as fast as it goes and writes DIR/samples.csv (one row per frame and "
        "hand, angles in degrees, flexion and ulnar deviation positive) and DIR/summary.json. "
        "Your kept sessions are not touched. Ctrl-C keeps what was measured until then.",
        """
posturewatch analyse lesson.mp4 --out lesson
posturewatch analyse demo --out demo --profile rula
posturewatch analyse phone.mp4 --out phone --hfov-deg 68 --hand-length-mm 192
""",
    )
    parser.add_argument("video", metavar="VIDEO", help="a video file, or demo for the bundled one")
    parser.add_argument(
        "--out", type=Path, required=True, metavar="DIR", help="folder for the results, made if missing"
    )
    add_view(parser)
    add_settings(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    from posturewatch.capture import open_source
    from posturewatch.pipeline.analysis import analyse
    from posturewatch.pipeline.build import load_parts
    from posturewatch.pipeline.samples_file import SamplesFile

    parts = load_parts(args.settings, args.profile)
    parts = replace(parts, settings=with_view(parts.settings, args))
    source = open_source(args.video, pace="asap")
    try:
        if source.info.kind != "film":
            raise InputError(
                f"{args.video} is no video; for cameras and streams use: posturewatch live --source {args.video}"
            )
        make_folder(args.out)
        stop = threading.Event()
        with SamplesFile(args.out / SAMPLES_NAME) as samples, progress(source) as bar, end_requests(stop.set):
            done = analyse(source, parts, samples, args.out / SUMMARY_NAME, stop=stop, sinks=(bar,))
        return _last_words(done, source, args.out)
    finally:
        source.close()


def _last_words(done: Analysed, source: Source, folder: Path) -> int:
    """Says what came of it; the exit code."""
    if source.notice is not None:
        print(f"posturewatch: {source.notice}", file=sys.stderr)
    if done.interrupted:
        print(
            f"Stopped at {done.outcome.end_s:.1f} s of {source.info.name}; the frames until then are in {folder}.",
            file=sys.stderr,
        )
        return EXIT_INTERRUPTED
    if done.nothing_measured is not None:
        print(f"posturewatch: {done.nothing_measured}", file=sys.stderr)
        return SourceError.exit_code
    print(f"{done.outcome.frames} frames measured; results in {folder}:")
    print(f"  {SAMPLES_NAME}, {SUMMARY_NAME}")
    return EXIT_INCOMPLETE if getattr(source, "incomplete", False) else 0


def make_folder(folder: Path) -> None:
    """Raises InputError with one sentence where it cannot be made."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(
            f"The folder {folder} cannot be made ({error.strerror}); choose another with --out."
        ) from error


class _Bar:
    """The sink behind the progress bar, which shows frames where their count is known."""

    def __init__(self, bar: Any) -> None:
        self._bar = bar

    def put(self, reading: Reading) -> None:
        self._bar.update(1)


@contextmanager
def progress(source: Source) -> Iterator[_Bar]:
    """A progress bar on stderr; off where that is no terminal."""
    from tqdm import tqdm

    with tqdm(total=source.info.frame_count, unit="frame", desc=source.info.name, disable=None) as bar:
        yield _Bar(bar)
