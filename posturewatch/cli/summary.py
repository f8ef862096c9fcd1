"""`posturewatch summary`: what happened in one session."""

from __future__ import annotations

import argparse
import json

from posturewatch.cli.options import Subparsers, add_command, add_data_dir

__all__ = ["add"]


def add(subparsers: Subparsers[argparse.ArgumentParser]) -> None:
    parser = add_command(
        subparsers,
        "summary",
        "say what happened in a session",
        "Says what happened in a session; of one that is still running, what happened so far.",
        """
posturewatch summary last
posturewatch summary 3fa9 --json
""",
    )
    parser.add_argument(
        "id", metavar="ID", help="a session's id, the beginning of one, or last for the newest"
    )
    parser.add_argument("--json", action="store_true", help="as JSON")
    add_data_dir(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    from posturewatch.cli.words import summary_text
    from posturewatch.review.summaries import session_summary
    from posturewatch.storage.store import open_reader

    reader = open_reader(args.data_dir)
    summary = session_summary(reader, reader.find(args.id))
    print(json.dumps(summary, indent=2) if args.json else summary_text(summary))
    return 0
