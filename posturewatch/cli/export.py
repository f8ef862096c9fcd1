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
        "write a session as CSV and JSON",
        "Writes a session for other programs: ID.csv with one row per sample and hand, units in the header, and "
        "ID.json with all that is known of it. Clips stay where they are.",
        """
posturewatch export last --out lesson
posturewatch export 3fa9 --out .
""",
    )
    parser.add_argument("id", metavar="ID", help="a session's id, the beginning of one, or last")
    parser.add_argument(
        "--out", type=Path, metavar="DIR", required=True, help="folder for the two files, made if need be"
    )
    add_data_dir(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    from posturewatch.review.export import write_session
    from posturewatch.review.session_document import full_document
    from posturewatch.storage.store import open_reader

    reader = open_reader(args.data_dir)
    record = reader.session(reader.find(args.id).id)
    for path in write_session(record, full_document(reader, record), args.out):
        print(path)
    for sentence in record.damage:
        print(f"posturewatch: {sentence}", file=sys.stderr)
    return 1 if record.damage else 0
