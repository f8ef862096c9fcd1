"""`posturewatch export`: a session as CSV and JSON."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from posturewatch.cli.options import Subparsers, add_command, add_data_dir

__all__ = ["add"]


def add(subparsers: Subparsers[argparse.ArgumentParser]) -> None:
    parser = add_command(
        subparsers,
        "export",
        "write sessions as CSV and JSON, and their clips",
        "Writes sessions for other programs: ID.csv with one row per sample and hand, units in the header, and "
        "ID.json with all that is known of it; with --clips also its clips, as ID-NAME.mp4. To have sessions back one "
        "day, see: posturewatch backup.",
        """
posturewatch export last --out lesson
posturewatch export 3fa9 41c0 --clips --out .
posturewatch export --all --out everything
""",
    )
    parser.add_argument(
        "ids", metavar="ID", nargs="*", help="a session's id, the beginning of one, or last for the newest"
    )
    parser.add_argument("--all", action="store_true", help="all sessions")
    parser.add_argument("--clips", action="store_true", help="the clips, too")
    parser.add_argument(
        "--out", type=Path, metavar="DIR", required=True, help="folder for the files, made if need be"
    )
    add_data_dir(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    from posturewatch.errors import InputError
    from posturewatch.review.export import write_clips, write_session
    from posturewatch.review.session_document import full_document
    from posturewatch.storage.store import open_reader

    if bool(args.ids) == args.all:
        raise InputError("Name one or more sessions, or --all for all of them.")
    reader = open_reader(args.data_dir)
    names = (
        [info.id for info in reader.sessions()] if args.all else [reader.find(name).id for name in args.ids]
    )
    sentences: list[str] = []
    for identity in dict.fromkeys(names):
        for path in write_session(reader, identity, full_document(reader, identity), args.out):
            print(path)
        if args.clips:
            made, missing = write_clips(reader, identity, args.out)
            for path in made:
                print(path)
            if missing:
                sentences.append(
                    f"{missing} clips of session {identity} are missing or damaged and left out."
                )
        sentences += reader.outline(identity).damage
    for sentence in sentences:
        print(f"posturewatch: {sentence}", file=sys.stderr)
    return 1 if sentences else 0
