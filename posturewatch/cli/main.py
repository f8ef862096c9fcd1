"""The command line: one parser, one place where faults become one line and an exit code."""

from __future__ import annotations

import argparse
import errno
import io
import logging
import os
import sys
from collections.abc import Sequence

from posturewatch import __version__
from posturewatch.cli import (
    analyse,
    backup,
    benchmark,
    check,
    compare,
    data,
    export,
    forget,
    live,
    log,
    look,
    measure,
    notes,
    repair,
    report,
    restore,
    sessions,
    settings,
    share,
    summary,
)
from posturewatch.errors import PosturewatchError

__all__ = ["EXIT_INTERRUPTED", "build_parser", "main"]

#: What a shell expects of a program that Ctrl-C ended.
EXIT_INTERRUPTED = 130

#: In the order of --help. Each module has `add(subparsers)`; what is heavy it imports when it runs.
_COMMANDS = (
    live,
    log,
    analyse,
    measure,
    sessions,
    summary,
    compare,
    report,
    share,
    look,
    notes,
    export,
    data,
    backup,
    restore,
    forget,
    repair,
    check,
    settings,
    benchmark,
)

_EPILOG = """\
examples:
  posturewatch live --source demo       watch the bundled demo video, no camera needed
  posturewatch live --source 0          watch yourself through the first camera
  posturewatch analyse lesson.mp4 --out lesson
  posturewatch summary last

Everything stays on this machine: the page is at 127.0.0.1 only, and nothing is sent anywhere.
"""


def build_parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="posturewatch",
        description="Measures a string player's wrists through a webcam and says when an extreme angle is held.",
        epilog=_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action="version", version=f"posturewatch {__version__}")
    subparsers = parser.add_subparsers(title="commands", metavar="COMMAND", dest="command")
    for command in _COMMANDS:
        command.add(subparsers)
    return parser


def main(argv: Sequence[str] | None = None) -> int:
    """Runs one command and gives back the exit code; a fault meant for the user is one line on stderr."""
    parser = build_parser()
    try:
        args = parser.parse_args(argv)
    except SystemExit as leaving:  # argparse has said what it had to say
        return int(leaving.code or 0)
    if args.command is None:
        parser.print_help()
        return 0
    from posturewatch.storage.folder.private import private_files

    private_files()
    for stream in (sys.stdout, sys.stderr):
        # Names of folders and videos need not be UTF-8, and terminals not either.
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")
    logging.basicConfig(level=logging.ERROR, format="posturewatch: %(message)s")
    try:
        return int(args.run(args))
    except PosturewatchError as fault:
        print(f"posturewatch: {fault.sentence}", file=sys.stderr)
        return fault.exit_code
    except KeyboardInterrupt:
        print("posturewatch: stopped.", file=sys.stderr)
        return EXIT_INTERRUPTED
    except OSError as error:
        # Whoever read our output (head, less) has had enough, or the terminal has been closed; what is still
        # buffered must go nowhere at exit.
        if not isinstance(error, BrokenPipeError) and error.errno != errno.EIO:
            raise
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
