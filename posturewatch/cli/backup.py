"""`posturewatch backup`: all that is kept, or one session, in one file."""

from __future__ import annotations

import argparse
import datetime as dt
import sys
from pathlib import Path

from posturewatch.cli.options import Subparsers, add_command, add_data_dir

__all__ = ["add"]


def add(subparsers: Subparsers[argparse.ArgumentParser]) -> None:
    parser = add_command(
        subparsers,
        "backup",
        "save all that is kept, or one session, in one file",
        "Writes sessions, clips, pieces, lists and checks to one file, and reads it back to be sure of it; also while "
        "a session is recorded. It is a ZIP file that nobody needs a password for: keep it where only you get at it. "
        "Settings are a file of their own (see: posturewatch settings).",
        """
posturewatch backup practice.zip
posturewatch backup /media/stick
posturewatch backup lesson.zip --session last
""",
    )
    parser.add_argument("file", type=Path, metavar="FILE", help="file to be made, or a folder to make it in")
    parser.add_argument(
        "--session", metavar="ID", help="one session alone: its id, the beginning of one, or last"
    )
    parser.add_argument(
        "--no-clips", action="store_true", help="without the clips, which take most of the room"
    )
    add_data_dir(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    from posturewatch.cli.data import size
    from posturewatch.storage.backup.making import make_backup
    from posturewatch.storage.store import open_reader

    reader = open_reader(args.data_dir)
    session_id = None if args.session is None else reader.find(args.session).id
    path = args.file
    if path.is_dir():
        path /= f"posturewatch-{dt.datetime.now().astimezone():%Y%m%d-%H%M%S}.zip"
    made = make_backup(reader, path, session_id=session_id, with_clips=not args.no_clips)
    print(
        f"{path}: {made.sessions} sessions, {made.clips} clips, {size(path.stat().st_size)}; read back and sound."
    )
    if made.missing_clips:
        print(
            f"posturewatch: {made.missing_clips} clips are missing or damaged and not in it.", file=sys.stderr
        )
    for identity in made.damaged:
        print(
            f"posturewatch: Something of session {identity} is damaged, on the disk and in the backup; "
            "see: posturewatch repair.",
            file=sys.stderr,
        )
    return 1 if made.damaged else 0
