"""`posturewatch open`: somebody else's practices on a page, to look at and to leave notes on."""

from __future__ import annotations

import argparse
import sys
import webbrowser
from contextlib import ExitStack
from pathlib import Path

from posturewatch.cli.live import DEFAULT_PORT
from posturewatch.cli.options import Subparsers, add_command, add_settings
from posturewatch.cli.signals import end_requests

__all__ = ["add"]

_LOOK_UP_S = 0.2


def add(subparsers: Subparsers[argparse.ArgumentParser]) -> None:
    parser = add_command(
        subparsers,
        "open",
        "look at practices that somebody has shared, and leave notes",
        "Checks a file that posturewatch share has made, and opens the practices in it on a page of this machine. "
        "Nothing of them is kept. Notes that you leave are written to FILE-notes.json beside it: send that back. "
        "Ctrl-C ends it.",
        """
posturewatch open lesson.zip --name Okafor
posturewatch open lesson.zip --no-browser --port 0
""",
    )
    parser.add_argument("file", type=Path, metavar="FILE", help="the file that was shared")
    parser.add_argument("--name", default="", metavar="WHO", help="your name, for your notes")
    parser.add_argument("--no-browser", action="store_true", help="do not open the page in the browser")
    parser.add_argument(
        "--port",
        type=int,
        default=DEFAULT_PORT,
        metavar="N",
        help=f"port of the page (default: {DEFAULT_PORT}; 0: any free one)",
    )
    add_settings(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    import time

    from posturewatch.config.resources import web_dir
    from posturewatch.pipeline.build import load_parts
    from posturewatch.review.exchange.opened import OpenedBundle
    from posturewatch.review.practice_log import PracticeLog
    from posturewatch.review.vocabulary import vocabulary
    from posturewatch.server.admission import Admission
    from posturewatch.server.app import create_app
    from posturewatch.server.looking import NoFrames, NoPractice
    from posturewatch.server.serving import PageServer, listen

    parts = load_parts(args.settings, args.profile)
    with end_requests() as asked, ExitStack() as cleanup:
        bundle = cleanup.enter_context(OpenedBundle(args.file, args.name.strip()))
        for sentence in bundle.damage:
            print(f"posturewatch: {sentence}", file=sys.stderr)
        listener = listen(args.port)
        cleanup.callback(listener.close)
        port = int(listener.getsockname()[1])
        admission = Admission(port)
        words = vocabulary(parts.limits, parts.settings.roles, parts.settings.page.language)
        app = create_app(
            practice=NoPractice(),
            feed=NoFrames(),
            log=PracticeLog(bundle.store),
            vocabulary={**words, "shared": {"file": args.file.name, "notes": bundle.notes_path.name}},
            web_dir=web_dir(),
            port=port,
            admission=admission,
            notes=bundle.notes,
            looking_only=True,
        )
        server = PageServer(app, listener)
        cleanup.callback(server.close)
        server.start()
        url = f"{server.url}log.html"
        print(f"The page is at {admission.address(url)}  (Ctrl-C ends it)", flush=True)
        if not args.no_browser:
            webbrowser.open(admission.address_once(url))
        while not asked() and server.running:
            time.sleep(_LOOK_UP_S)
        if bundle.notes_path.exists():
            print(f"Your notes are in {bundle.notes_path}; send that file back.")
    return 0
