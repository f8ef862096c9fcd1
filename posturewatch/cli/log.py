"""`posturewatch log`: the page with all that is kept, without a camera."""

from __future__ import annotations

import argparse

from posturewatch.cli import live
from posturewatch.cli.options import Subparsers, add_command

__all__ = ["add"]


def add(subparsers: Subparsers[argparse.ArgumentParser]) -> None:
    parser = add_command(
        subparsers,
        "log",
        "look at what was kept, without a camera",
        "Opens the practice log on a page on this machine: sessions, clips, trends and pieces. No camera is opened "
        "until Start is pressed there; Ctrl-C ends it.",
        """
posturewatch log
posturewatch log --data-dir lessons --no-browser
""",
    )
    live.add_page(parser)
    parser.set_defaults(run=live.run, begins=False, source=None, limit_s=None)
