"""`posturewatch restore`: sessions back from a backup."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from posturewatch.cli.options import Subparsers, add_command, add_data_dir, agreed

__all__ = ["add"]


def add(subparsers: Subparsers[argparse.ArgumentParser]) -> None:
    parser = add_command(
        subparsers,
        "restore",
        "take sessions back from a backup",
        "Checks all of a backup first, and then adds the sessions in it that are not there; those that are stay as "
        "they are. With --replace the backup takes the place of all that is kept, which is set aside in a folder of "
        "its own.",
        """
posturewatch restore practice.zip --check
posturewatch restore practice.zip
posturewatch restore practice.zip --session 3fa9
posturewatch restore practice.zip --replace
""",
    )
    parser.add_argument("file", type=Path, metavar="FILE", help="a backup")
    parser.add_argument("--check", action="store_true", help="only check it and say what is in it")
    parser.add_argument("--session", metavar="ID", help="one session alone, by the beginning of its id")
    parser.add_argument("--replace", action="store_true", help="put it in the place of all that is kept")
    parser.add_argument("--yes", action="store_true", help="do not ask before anything is replaced")
    add_data_dir(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    from posturewatch.cli.sessions import local
    from posturewatch.errors import InputError, UnknownError
    from posturewatch.review.derived import open_store
    from posturewatch.storage.restoring import look_into, restore

    if args.replace and args.session is not None:
        raise InputError("One session cannot take the place of all; leave out --replace or --session.")
    about = look_into(args.file)
    if args.check:
        print(
            f"{args.file} is sound: {len(about.sessions)} sessions, {'with' if about.clips else 'without'} clips."
        )
        for line in about.sessions:
            print(f"  {line.id:<10}{local(line.started_at)}")
        return 0
    session_id = None
    if args.session is not None:
        found = [one.id for one in about.sessions if args.session and one.id.startswith(args.session)]
        if len(found) != 1:
            raise UnknownError(
                f"{len(found)} sessions in {args.file} begin with {args.session!r}; --check lists those there are."
            )
        (session_id,) = found
    with open_store(args.data_dir) as store:
        there = len(store.sessions())
        if args.replace and there and not args.yes and not agreed(
            f"Put the backup in the place of all {there} sessions in {store.data_dir}, and set those aside?"
        ):  # fmt: skip
            print("Nothing was changed.")
            return 1
        done = restore(store, args.file, session_id=session_id, replace=args.replace)
        folder = store.data_dir
    # Once more: a session that was saved while it was recorded is closed now.
    open_store(args.data_dir).close()
    print(f"{len(done.added)} sessions have been added to {folder}.")
    if done.known:
        print(f"{len(done.known)} of the backup were there already and stay as they are.")
    if done.aside is not None:
        print(
            f"What was there before is in {done.aside}; delete that folder when you do not need it any more."
        )
    for sentence in done.damage:
        print(f"posturewatch: {sentence}", file=sys.stderr)
    return 1 if done.damage else 0
