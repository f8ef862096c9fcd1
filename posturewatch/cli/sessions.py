"""`posturewatch sessions`: the list of kept sessions."""

from __future__ import annotations

import argparse
import datetime as dt
import json

from posturewatch.cli.options import Subparsers, add_command, add_data_dir

__all__ = ["add"]


def add(subparsers: Subparsers[argparse.ArgumentParser]) -> None:
    parser = add_command(
        subparsers,
        "sessions",
        "list the sessions that are kept",
        "Lists the sessions that are kept, newest first; also while one is running.",
        """
posturewatch sessions
posturewatch sessions --json
""",
    )
    parser.add_argument("--json", action="store_true", help="as JSON, one object a session")
    add_data_dir(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    from posturewatch.storage.store import open_reader

    reader = open_reader(args.data_dir)
    found = reader.sessions()
    if args.json:
        print(json.dumps([info.to_json() for info in found], indent=2))
        return 0
    if not found:
        print(f"No session in {reader.data_dir} yet. Begin one with: posturewatch live --source demo")
        return 0
    print(f"{'id':<10}{'begun':<18}{'length':>8}  {'end':<14}source")
    for info in found:
        end = info.end_reason or "still open"
        print(f"{info.id:<10}{local(info.started_at):<18}{clock(info.end_s):>8}  {end:<14}{info.source_name}")
    return 0


def local(utc: str) -> str:
    """The time of day where the user is, from UTC in ISO 8601; "unknown" where damage has left none."""
    try:
        return dt.datetime.fromisoformat(utc).astimezone().strftime("%Y-%m-%d %H:%M")
    except ValueError:
        return "unknown"


def clock(duration_s: float) -> str:
    """Minutes and seconds, or hours, minutes and seconds."""
    whole = round(duration_s)
    hours, minutes, rest = whole // 3600, whole // 60 % 60, whole % 60
    return f"{hours}:{minutes:02d}:{rest:02d}" if hours else f"{minutes}:{rest:02d}"
