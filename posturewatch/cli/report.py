"""`posturewatch report`: one file about practices for a teacher or a clinician."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from posturewatch.cli.options import Subparsers, add_command, add_data_dir, add_settings
from posturewatch.errors import StoreError

__all__ = ["add", "catch_up"]


def add(subparsers: Subparsers[argparse.ArgumentParser]) -> None:
    parser = add_command(
        subparsers,
        "report",
        "write a report of sessions for a teacher or a clinician",
        "Writes one file that opens anywhere: how much was measured, what stands out, states over time, angles with "
        "percentiles and limits, the worst moments as pictures, and room for notes. Of several sessions it says most "
        "of the newest. A PDF has one or two pages.",
        """
posturewatch report last --out lesson.pdf
posturewatch report last --out lesson.html --clips --name Mira
posturewatch report 3fa9 77c0 last --out weeks.pdf --paper letter
""",
    )
    parser.add_argument(
        "sessions",
        metavar="SESSION",
        nargs="+",
        help="a session's id, the beginning of one, or last for the newest",
    )
    parser.add_argument(
        "--out", type=Path, required=True, metavar="FILE", help="the file, ending in .html or .pdf"
    )
    parser.add_argument("--paper", default="a4", metavar="a4|letter", help="paper of a PDF (default: a4)")
    parser.add_argument("--name", default="", metavar="WHO", help="the player's name, for its head")
    parser.add_argument(
        "--clips", action="store_true", help="put the films of the moments into a web page; makes it large"
    )
    parser.add_argument(
        "--language",
        default=None,
        metavar="en|de",
        help="its language (default: that of the page, from the settings)",
    )
    add_data_dir(parser)
    add_settings(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    from posturewatch.pipeline.build import load_parts
    from posturewatch.pipeline.moment_lines import MomentLines
    from posturewatch.review.report.writing import Reports, Wanted
    from posturewatch.storage.store import open_reader

    wanted = Wanted(
        args.out.suffix.lower().lstrip("."), args.paper.lower(), args.name, args.clips, args.language
    )
    parts = load_parts(args.settings, args.profile)
    reader = open_reader(args.data_dir)
    ids = [reader.find(name).id for name in args.sessions]
    catch_up(args.data_dir, ids)
    draw = MomentLines(parts)
    try:
        Reports(reader, draw, lambda: parts.settings.page.language).write(ids, wanted, args.out)
    finally:
        draw.close()
    print(args.out)
    return 0


def catch_up(data_dir: Path | None, ids: list[str]) -> None:
    """Sees that what a session adds up to is worked out; while the page is open, the page does that."""
    from posturewatch.review.derived import open_store
    from posturewatch.review.practice_log import PracticeLog

    try:
        with open_store(data_dir) as store:
            if store.notice is not None:
                print(store.notice, file=sys.stderr)
            log = PracticeLog(store)
            for identity in ids:
                log.session(identity)
    except StoreError:
        return
