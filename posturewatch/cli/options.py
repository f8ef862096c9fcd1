"""Options that several commands share."""

from __future__ import annotations

import argparse
import math
import textwrap
from pathlib import Path

__all__ = ["Subparsers", "add_command", "add_data_dir", "add_settings", "seconds"]

Subparsers = argparse._SubParsersAction  # the library's own name for it; there is no public one


def add_command(
    subparsers: Subparsers[argparse.ArgumentParser],
    name: str,
    help_line: str,
    description: str,
    examples: str,
) -> argparse.ArgumentParser:
    """A command's parser with examples under its --help."""
    return subparsers.add_parser(
        name,
        help=help_line,
        description=textwrap.fill(description, 79),
        epilog="examples:\n" + "".join(f"  {line}\n" for line in examples.strip().splitlines()),
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )


def add_data_dir(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--data-dir",
        type=Path,
        metavar="DIR",
        help="folder in which the sessions are kept (default: your user data folder)",
    )


def add_settings(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--settings", type=Path, metavar="FILE", help="settings file (see: posturewatch settings)"
    )
    parser.add_argument("--profile", metavar="NAME", help="limit profile, instead of the one in the settings")


def seconds(text: str) -> float:
    """A duration above 0, for argparse."""
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not (math.isfinite(value) and value > 0):
        raise argparse.ArgumentTypeError(f"{text!r} is not a number of seconds above 0")
    return value
