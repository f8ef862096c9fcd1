"""What `posturewatch analyse` takes: which part of the films, what becomes of them, and who measures them."""

from __future__ import annotations

import argparse
import math
import re
import threading
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from posturewatch.errors import InputError

if TYPE_CHECKING:
    from posturewatch.cli.film_progress import FilmBar
    from posturewatch.pipeline.build import Parts
    from posturewatch.pipeline.films.run import FilmWish
    from posturewatch.pipeline.films.workers import Cluster, Here, Processes

__all__ = ["add_film_options", "film_paths", "moment", "runner_of", "wish_of"]


def add_film_options(parser: argparse.ArgumentParser) -> None:
    """All of them."""
    parser.add_argument("--out", type=Path, metavar="DIR", help="folder for the tables, made if missing")
    parser.add_argument("--keep", action="store_true", help="keep the films in the practice log")
    parser.add_argument("--piece", metavar="NAME", help="what is played in them, for the practice log")
    parser.add_argument("--passage", metavar="BARS", help='which bars of it, for instance "bars 12-16"')
    parser.add_argument(
        "--from", dest="from_s", type=moment, default=0.0, metavar="T",
        help="begin at this time of the film: seconds, m:ss or h:mm:ss",
    )  # fmt: skip
    parser.add_argument(
        "--to", dest="to_s", type=moment, metavar="T", help="end before this time of the film"
    )
    parser.add_argument("--resume", action="store_true", help="go on where an interrupted run ended")
    parser.add_argument("--json", action="store_true", help="say what came of the films as JSON")
    parser.add_argument(
        "--parquet", action="store_true", help="write the table of several films as films.parquet too"
    )
    parser.add_argument(
        "--jobs", type=_count, metavar="N",
        help="measure so many parts of films at once, each in a process (default: as this machine has cores for)",
    )  # fmt: skip
    parser.add_argument(
        "--scheduler",
        metavar="ADDRESS",
        help="measure on a dask cluster that is there already, with films where its workers find them",
    )


def moment(text: str) -> float:
    """A time of a film in seconds, from seconds, m:ss or h:mm:ss; for argparse."""
    parts = text.strip().split(":")
    numbers = [float(part) if re.fullmatch(r"\d+(\.\d+)?", part) else math.nan for part in parts]
    if len(parts) > 3 or any(math.isnan(one) for one in numbers) or any(one >= 60 for one in numbers[1:]):
        raise argparse.ArgumentTypeError(f"{text!r} is no time such as 90, 1:30 or 1:02:03")
    return sum(one * 60.0**place for place, one in enumerate(reversed(numbers)))


def _count(text: str) -> int:
    if not re.fullmatch(r"[1-9]\d{0,3}", text):
        raise argparse.ArgumentTypeError(f"{text!r} is not a whole number above 0")
    return int(text)


def film_paths(named: Sequence[str]) -> tuple[list[Path], bool]:
    """The films that are named or lie in folders that are named, and whether they are handled as several.

    Raises
    ------
    InputError
        For a camera or stream, and a folder without films.
    """
    from posturewatch.capture import demo_video
    from posturewatch.pipeline.films.run import find_films

    paths: list[Path] = []
    for spec in named:
        spec = spec.strip()
        if not spec:
            raise InputError("A film's name is empty; name a video file, a folder of them, or demo.")
        if re.fullmatch(r"[0-9]{1,4}", spec) or spec.startswith("/dev/") or "://" in spec:
            raise InputError(
                f"{spec} is no video file; for cameras and streams use: posturewatch live --source {spec}"
            )
        paths.append(demo_video() if spec == "demo" else Path(spec).expanduser())
    found, folders = find_films(paths)
    return found, folders or len(found) > 1


def wish_of(args: argparse.Namespace, *, several: bool) -> FilmWish:
    """What the options ask for.

    Raises
    ------
    InputError
        Where they do not go together.
    """
    from posturewatch.pipeline.films.keeping import Played, parts_folder
    from posturewatch.pipeline.films.run import FilmWish
    from posturewatch.review.entries import Choice
    from posturewatch.storage.store import default_data_dir

    if args.to_s is not None and args.to_s <= args.from_s:
        raise InputError("The stretch ends before it begins; give a --to that is later than --from.")
    if (args.piece or args.passage) and not args.keep:
        raise InputError("--piece and --passage are for the practice log; add --keep, or leave them out.")
    if args.passage and not args.piece:
        raise InputError("A passage is one of a piece; name it with --piece.")
    if args.parquet and not (several and args.out):
        raise InputError("--parquet writes the table of several films to --out; name both, or leave it out.")
    if args.resume and not (args.out or args.keep):
        raise InputError("--resume goes on with films that were measured with --out or --keep; add that one.")
    played = Played()
    if args.piece:
        chosen = Choice.read({"piece": args.piece, "bars": args.passage or ""})
        played = Played(chosen.piece, chosen.bars)
    data_dir = default_data_dir() if args.data_dir is None else args.data_dir
    return FilmWish(
        from_s=args.from_s,
        to_s=args.to_s,
        folder=args.out,
        several=several,
        played=played,
        resume=args.resume,
        unfinished=parts_folder(data_dir) if args.keep else None,
    )


def runner_of(
    args: argparse.Namespace, parts: Parts, stop: threading.Event, bar: FilmBar, *, films: int
) -> Here | Processes | Cluster:
    """Who measures the films.

    Raises
    ------
    InputError, UnavailableError
        Where a cluster is asked for and cannot be had.
    """
    from posturewatch.pipeline.films.workers import Cluster, Here, Processes, usual_jobs

    if args.scheduler is not None:
        return Cluster(args.scheduler)
    jobs = usual_jobs() if args.jobs is None else args.jobs
    if jobs == 1 or (films == 1 and bar.one_part):
        return Here(parts.build, stop.is_set, bar.tick)
    return Processes(jobs)
