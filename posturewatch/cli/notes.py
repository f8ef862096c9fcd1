"""`posturewatch notes`: a teacher's notes into the practice log."""

from __future__ import annotations

import argparse
from pathlib import Path

from posturewatch.cli.options import Subparsers, add_command, add_data_dir

__all__ = ["add"]


def add(subparsers: Subparsers[argparse.ArgumentParser]) -> None:
    parser = add_command(
        subparsers,
        "notes",
        "take in the notes that somebody left on your sessions",
        "Takes in the notes that somebody to whom you showed sessions (posturewatch share) has left on them. They "
        "stand on the session's page. Notes that are there already stay as they are.",
        """
posturewatch notes lesson-notes.json
""",
    )
    parser.add_argument("file", type=Path, metavar="FILE", help="the file of notes, FILE-notes.json")
    add_data_dir(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    from posturewatch.review.derived import open_store
    from posturewatch.review.exchange.notes import Notes, notes_of_file

    document = notes_of_file(args.file)
    with open_store(args.data_dir) as store:
        taken = Notes(store).take(document)
    print(
        f"{taken.added} new notes."
        + (f" {taken.known} were there already." if taken.known else "")
        + (f" {taken.strange} are on sessions that are not kept here." if taken.strange else "")
    )
    return 0
