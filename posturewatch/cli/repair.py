"""`posturewatch repair`: looks through all that is kept and saves what can be read of damaged data."""

from __future__ import annotations

import argparse
import sys

from posturewatch.cli.options import Subparsers, add_command, add_data_dir
from posturewatch.errors import StoreError

__all__ = ["add"]


def add(subparsers: Subparsers[argparse.ArgumentParser]) -> None:
    parser = add_command(
        subparsers,
        "repair",
        "check all that is kept and save what can be read of it",
        "Reads every session with its checksums. Where the database is damaged, what can be read is copied into a "
        "fresh one, and the damaged file is kept under another name.",
        """
posturewatch repair
posturewatch repair --data-dir backup
""",
    )
    add_data_dir(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    from posturewatch.cli.sessions import local
    from posturewatch.review.derived import open_store
    from posturewatch.storage.folder.usable import check_usable
    from posturewatch.storage.store import default_data_dir

    folder = default_data_dir() if args.data_dir is None else args.data_dir
    check_usable(folder)
    if not folder.is_dir():
        raise StoreError(f"There is no data folder {folder}; name the right one with --data-dir.")
    found: list[str] = []
    with open_store(folder, thorough=True) as store:
        if store.notice is not None:
            found.append(store.notice)
        sessions = store.sessions()
        for info in sessions:
            try:
                damage = store.session(info.id).damage
            except StoreError as error:
                damage = (error.sentence,)
            found += [f"Session {info.id} of {local(info.started_at)}: {sentence}" for sentence in damage]
    for sentence in found:
        print(sentence, file=sys.stderr)
    print(f"{len(sessions)} sessions looked through: " + ("the rest is sound." if found else "all is sound."))
    return 1 if found else 0
