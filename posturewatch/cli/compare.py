"""`posturewatch compare`: a session beside another one, or beside a clip."""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator, Mapping
from typing import Any

from posturewatch.cli.options import Subparsers, add_command, add_data_dir

__all__ = ["add"]


def add(subparsers: Subparsers[argparse.ArgumentParser]) -> None:
    parser = add_command(
        subparsers,
        "compare",
        "say how a session differs from another one or from a clip",
        "Says how the wrists in a session's passages differ from the same passages of a reference, such as your best: "
        "another session, or one of the clips (ID/NAME, such as 3fa9/clip-2; the page and exported clips have these "
        "names). A difference is told only where it is larger than what both recordings may be wrong by.",
        """
posturewatch compare last 3fa9
posturewatch compare last 3fa9/clip-2 --json
""",
    )
    parser.add_argument(
        "id", metavar="ID", help="a session's id, the beginning of one, or last for the newest"
    )
    parser.add_argument("reference", metavar="REFERENCE", help="another session, or a clip: ID/NAME")
    parser.add_argument("--json", action="store_true", help="as JSON")
    add_data_dir(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    from posturewatch.cli.report import catch_up
    from posturewatch.review.comparison import compare
    from posturewatch.review.session_document import full_document
    from posturewatch.storage.store import open_reader

    reader = open_reader(args.data_dir)
    name, _, clip_name = args.reference.partition("/")
    own, other = reader.find(args.id).id, reader.find(name).id
    catch_up(args.data_dir, [own, other])
    now, then = full_document(reader, own), full_document(reader, other)
    clip = _clip(then, clip_name) if clip_name else None
    found = compare(reader, now, then, clip)
    print(json.dumps(found, indent=2) if args.json else "\n".join(_lines(found)))
    return 0


def _clip(document: Mapping[str, Any], name: str) -> Mapping[str, Any]:
    from posturewatch.errors import UnknownError

    for one in document["clips"]:
        if name in (one["name"], f"{one['name']}.mp4"):
            found: Mapping[str, Any] = one
            return found
    names = ", ".join(one["name"] for one in document["clips"]) or "none"
    raise UnknownError(f"Session {document['session']['id']} has no clip {name!r}; its clips are: {names}.")


def _lines(found: Mapping[str, Any]) -> Iterator[str]:
    from posturewatch.cli.sessions import clock, local

    then, clip = found["then"], found["clip"]
    beside = f"session {then['id']} of {local(then['started_at'])}"
    if clip is not None:
        beside = f"clip {clip['name']} ({clock(clip['start_s'])} to {clock(clip['end_s'])}) of {beside}"
    yield f"Beside {beside}:"
    if not found["parts"]:
        yield "  The same bars were not played in both."
    for part in found["parts"]:
        yield f"  {part['piece']}{', ' if part['bars'] else ''}{part['bars']}"
        yield from (f"    {_line(one)}" for one in part["lines"])
    if not found["same_limits"]:
        yield "The two were judged by different limits, so their shares do not mean the same."
    yield (
        "Two recordings are two views of the camera, and the error of each is mostly a constant of its view: compare "
        "what was recorded with the camera in the same place."
    )


def _line(one: Mapping[str, Any]) -> str:
    from posturewatch.model.quantities import quantity

    name = f"{one['side']} {quantity(one['quantity']).label}"
    if one["verdict"] == "too little":
        share = min(one["now"]["measured_share"] or 0.0, one["then"]["measured_share"] or 0.0)
        return f"{name}: measured {100 * share:.0f} % of the time, too little to say"
    said = (
        f"{name}: median {one['now']['median']:+.0f}, there {one['then']['median']:+.0f} deg; "
        f"{one['difference']:+.0f} deg, "
    )
    if one["verdict"] == "differs":
        return f"{said}more than the uncertainty of {one['uncertainty']:.0f}"
    return f"{said}within the uncertainty of {one['uncertainty']:.0f}: too close to tell"
