"""`posturewatch data`: where the player's data lie and how large they are."""

from __future__ import annotations

import argparse
import json

from posturewatch.cli.options import Subparsers, add_command, add_data_dir

__all__ = ["add", "size"]

_KINDS = (
    ("database", "sessions"),
    ("clips", "clips"),
    ("set_aside", "set aside (see --help)"),
    ("other", "other files"),
)


def add(subparsers: Subparsers[argparse.ArgumentParser]) -> None:
    parser = add_command(
        subparsers,
        "data",
        "say where your data lie and how large they are",
        "Says where the sessions and clips lie and how large they are. They are nowhere else. What is set aside is a "
        "damaged database, the one before an update, or what a backup replaced.",
        """
posturewatch data
posturewatch data --json
""",
    )
    parser.add_argument("--json", action="store_true", help="as JSON, with each session")
    add_data_dir(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    from posturewatch.storage.own_data import data_json
    from posturewatch.storage.store import open_reader

    found = data_json(open_reader(args.data_dir))
    if args.json:
        print(json.dumps(found, indent=2))
        return 0
    print(found["folder"])
    for kind, label in _KINDS:
        if found[f"{kind}_bytes"] or kind in ("database", "clips"):
            print(f"  {label:<26}{size(found[f'{kind}_bytes']):>10}")
    print(f"  {'together':<26}{size(found['total_bytes']):>10}, {len(found['sessions'])} sessions")
    return 0


def size(count: int) -> str:
    """Bytes in words, in powers of 1000 as file managers of most systems have them."""
    if count < 1000:
        return f"{count} B"
    if count < 1_000_000:
        return f"{count / 1000:.1f} kB"
    return f"{count / 1e6:.1f} MB" if count < 1_000_000_000 else f"{count / 1e9:.2f} GB"
