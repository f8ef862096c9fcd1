"""`posturewatch share`: practices in one file for somebody else to look at."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from posturewatch.cli.options import Subparsers, add_command, add_data_dir, add_settings

__all__ = ["add"]


def add(subparsers: Subparsers[argparse.ArgumentParser]) -> None:
    parser = add_command(
        subparsers,
        "share",
        "put sessions into one file for a teacher to look at",
        "Writes sessions with their clips, and a report that opens anywhere, to one ZIP file. Another posturewatch "
        "opens it (posturewatch open) without keeping anything, and the notes that are left there come back with "
        "posturewatch notes. It holds films of you and what you said of how it felt; nobody needs a password for it.",
        """
posturewatch share last --out lesson.zip --name Mira
posturewatch share 3fa9 77c0 --out weeks.zip
""",
    )
    parser.add_argument(
        "sessions",
        metavar="SESSION",
        nargs="+",
        help="a session's id, the beginning of one, or last for the newest",
    )
    parser.add_argument("--out", type=Path, required=True, metavar="FILE", help="the file to be made")
    parser.add_argument("--name", default="", metavar="WHO", help="the player's name, for the report")
    add_data_dir(parser)
    add_settings(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    from posturewatch.cli.data import size
    from posturewatch.cli.report import catch_up
    from posturewatch.pipeline.build import load_parts
    from posturewatch.pipeline.moment_lines import MomentLines
    from posturewatch.review.report.writing import Reports, Wanted
    from posturewatch.storage.store import open_reader

    parts = load_parts(args.settings, args.profile)
    reader = open_reader(args.data_dir)
    ids = [reader.find(name).id for name in args.sessions]
    catch_up(args.data_dir, ids)
    lines = MomentLines(parts)
    try:
        made = Reports(reader, lines, lambda: parts.settings.page.language).bundle(
            ids, Wanted(who=args.name), args.out
        )
    finally:
        lines.close()
    print(f"{args.out}: {made.sessions} sessions, {made.clips} clips, {size(args.out.stat().st_size)}.")
    for identity in made.damaged:
        print(f"posturewatch: Something of session {identity} is damaged.", file=sys.stderr)
    return 1 if made.damaged else 0
