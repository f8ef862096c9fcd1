"""`posturewatch analyse`: every frame of films through the monitor, as fast as it goes."""

from __future__ import annotations

import argparse
import json
import sys
import threading
from contextlib import ExitStack
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from posturewatch.cli.film_options import add_film_options, film_paths, runner_of, wish_of
from posturewatch.cli.film_progress import film_progress
from posturewatch.cli.options import Subparsers, add_command, add_data_dir, add_settings, add_view, with_view
from posturewatch.cli.signals import end_requests
from posturewatch.errors import SourceError

if TYPE_CHECKING:
    from posturewatch.pipeline.films.run import FilmResult

__all__ = ["EXIT_INCOMPLETE", "EXIT_INTERRUPTED", "add"]

EXIT_INTERRUPTED = 130

#: All was measured that could be read, and that was not the whole film.
EXIT_INCOMPLETE = 6


def add(subparsers: Subparsers[argparse.ArgumentParser]) -> None:
    parser = add_command(
        subparsers,
        "analyse",
        "measure every frame of a film, or of many",
        "Measures every frame of films as fast as it goes. With --keep they are sessions of your practice log, "
        "like any practice; with --out they become DIR/samples.csv (one row per frame and hand, angles in "
        "degrees, flexion and ulnar deviation positive) and DIR/summary.json, of several films each in a folder "
        "of its own and together in DIR/films.csv; without either, it says what was measured. "
        "Ctrl-C keeps what is done, and --resume goes on with it.",
        """
posturewatch analyse lesson.mp4 --keep --piece Nocturne --passage 12-16
posturewatch analyse lesson.mp4 --out lesson --from 1:30 --to 3:00
posturewatch analyse films/ --out results --resume
posturewatch analyse demo --out demo --profile rula
posturewatch analyse phone.mp4 --out phone --hfov-deg 68 --hand-length-mm 192
""",
    )
    parser.add_argument(
        "films",
        metavar="FILM",
        nargs="+",
        help="video files, folders of them, or demo for the bundled one",
    )
    add_film_options(parser)
    add_view(parser)
    add_data_dir(parser)
    add_settings(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    from posturewatch.pipeline.build import load_parts
    from posturewatch.pipeline.films.keeping import FilmKeeping
    from posturewatch.pipeline.films.run import analyse_films
    from posturewatch.pipeline.films.table import FilmsTable
    from posturewatch.review.derived import open_store

    parts = load_parts(args.settings, args.profile)
    parts = replace(parts, settings=with_view(parts.settings, args))
    paths, several = film_paths(args.films)
    stop = threading.Event()
    codes: list[int] = []
    documents: list[dict[str, Any]] = []
    with ExitStack() as cleanup:
        keeping = None
        if args.keep:
            keeping = FilmKeeping(cleanup.enter_context(open_store(args.data_dir)), parts)
        wish = wish_of(args, several=several)
        table = None
        if several and args.out is not None:
            table = FilmsTable(args.out, parquet=args.parquet)
            cleanup.callback(table.close)
        bar = cleanup.enter_context(film_progress(paths, wish))
        cleanup.enter_context(end_requests(stop.set))
        runner = runner_of(args, parts, stop, bar, films=len(paths))
        cleanup.callback(runner.close)
        for result in analyse_films(
            paths, wish, parts, runner, keeping=keeping, stopped=stop.is_set, progress=bar
        ):
            if result.fault is not None and not several:
                raise result.fault
            if table is not None:
                table.add(result)
            documents.append(_document(result))
            bar.clear()
            codes.append(_say(result, several=several, quiet=args.json))
    if args.json:
        print(json.dumps(documents, indent=2))
    if stop.is_set():
        return _interrupted(len(paths) - len(codes))
    return next((code for code in codes if code), 0)


def _interrupted(left: int) -> int:
    if left:
        print(f"{left} film{'' if left == 1 else 's'} not begun.", file=sys.stderr)
    return EXIT_INTERRUPTED


def _document(result: FilmResult) -> dict[str, Any]:
    """A film in JSON's types."""
    return {
        "film": str(result.path),
        "status": result.status,
        "note": result.note or None,
        "folder": None if result.folder is None else str(result.folder),
        "session_id": None if result.kept is None else result.kept.session_id,
        "summary": result.summary,
    }


def _say(result: FilmResult, *, several: bool, quiet: bool) -> int:
    """Says what came of a film; the exit code."""
    for sentence in () if result.kept is None else result.kept.faults:
        print(f"posturewatch: {sentence}", file=sys.stderr)
    if result.fault is not None:
        print(f"posturewatch: {result.fault.sentence}", file=sys.stderr)
        return result.fault.exit_code
    done = result.analysed
    if done is None:
        if not quiet:
            print(f"{result.name}: measured before.")
        return 0
    if done.notice is not None:
        print(f"posturewatch: {done.notice}", file=sys.stderr)
    if done.interrupted:
        print(_stopped(result), file=sys.stderr)
        return EXIT_INTERRUPTED
    if done.nothing_measured is not None:
        print(f"posturewatch: {done.nothing_measured}", file=sys.stderr)
        return SourceError.exit_code
    if not quiet:
        _results(result, done.summary, several=several)
    return EXIT_INCOMPLETE if done.incomplete else 1 if result.kept is not None and result.kept.faults else 0


def _stopped(result: FilmResult) -> str:
    assert result.analysed is not None
    said = f"Stopped at {result.analysed.outcome.end_s:.1f} s of {result.name}"
    if result.folder is not None:
        said += f"; the frames until then are in {result.folder}"
    return f"{said}. --resume goes on with it." if result.resumable else f"{said}."


def _results(result: FilmResult, summary: dict[str, Any], *, several: bool) -> None:
    from posturewatch.cli.words import measured_lines

    name = f"{result.name}: " if several else ""
    count = summary["frames"]
    frames = f"{name}{count} frame{'' if count == 1 else 's'} measured"
    kept = None if result.kept is None else f"session {result.kept.session_id} of the practice log"
    if result.folder is not None:
        print(f"{frames}; results in {result.folder}{'' if kept is None else f', and {kept}'}:")
        print("  samples.csv, summary.json")
    elif kept is not None:
        print(f"{frames}; {kept}.")
    else:
        print(f"{frames}.")
    if not several and result.folder is None:
        print("\n".join(measured_lines(summary)))
