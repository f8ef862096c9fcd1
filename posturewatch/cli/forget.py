"""`posturewatch forget`: deletes a session, or everything, for good."""

from __future__ import annotations

import argparse

from posturewatch.cli.options import Subparsers, add_command, add_data_dir, agreed

__all__ = ["add"]


def add(subparsers: Subparsers[argparse.ArgumentParser]) -> None:
    parser = add_command(
        subparsers,
        "forget",
        "delete a session or everything, for good",
        "Deletes a session with its clips, or all that is kept: sessions, clips, pieces, lists and checks. It asks "
        "before it deletes, and cannot be undone. Settings stay.",
        """
posturewatch forget 3fa9
posturewatch forget --all
posturewatch forget --all --yes
""",
    )
    which = parser.add_mutually_exclusive_group(required=True)
    which.add_argument("id", metavar="ID", nargs="?", help="a session's id, the beginning of one, or last")
    which.add_argument("--all", action="store_true", help="everything")
    parser.add_argument("--yes", action="store_true", help="do not ask")
    add_data_dir(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    from posturewatch.cli.data import size
    from posturewatch.cli.sessions import clock, local
    from posturewatch.review.derived import open_store
    from posturewatch.storage.own_data import forget_everything, forget_session

    with open_store(args.data_dir) as store:
        if args.all:
            what = f"all {len(store.sessions())} sessions and everything else in {store.data_dir}"
        else:
            info = store.find(args.id)
            what = f"session {info.id} of {local(info.started_at)}, {clock(info.end_s)} long, with its clips"
        if not args.yes and not agreed(f"Delete {what}? This cannot be undone."):
            print("Nothing was deleted.")
            return 1
        freed = forget_everything(store) if args.all else forget_session(store, info.id)
    print(f"Deleted {what}: {size(freed)}.")
    return 0
