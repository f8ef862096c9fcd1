"""Options that several commands share."""

from __future__ import annotations

import argparse
import math
import sys
import textwrap
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from posturewatch.errors import InputError

if TYPE_CHECKING:
    from posturewatch.config.settings import Settings

__all__ = [
    "Subparsers",
    "add_command",
    "add_data_dir",
    "add_settings",
    "add_view",
    "agreed",
    "seconds",
    "with_view",
]

#: Bounds, those of the settings file.
HFOV_DEG = (20.0, 170.0)
HAND_LENGTH_MM = (100.0, 260.0)

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
        type=_folder,
        metavar="DIR",
        help="folder in which the sessions are kept (default: your user data folder)",
    )


def _folder(text: str) -> Path:
    if not text.strip():
        raise argparse.ArgumentTypeError(
            "the folder's name is empty; leave the option out for your user data folder"
        )
    return Path(text)


def add_settings(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--settings", type=Path, metavar="FILE", help="settings file (see: posturewatch settings)"
    )
    parser.add_argument("--profile", metavar="NAME", help="limit profile, instead of the one in the settings")


def add_view(parser: argparse.ArgumentParser) -> None:
    """What a video or an image from elsewhere may have otherwise than the settings say."""
    parser.add_argument(
        "--hfov-deg",
        type=_number(*HFOV_DEG),
        metavar="D",
        help="the camera's horizontal field of view in degrees, where it is known (default: the settings')",
    )
    parser.add_argument(
        "--hand-length-mm",
        type=_number(*HAND_LENGTH_MM),
        metavar="L",
        help="wrist crease to middle fingertip, for lifts in true millimetres (default: the settings')",
    )
    parser.add_argument(
        "--mirrored",
        action="store_true",
        help="the image is mirrored, as selfies can be: writing reads backwards",
    )


def with_view(settings: Settings, args: argparse.Namespace) -> Settings:
    """The settings, but for what the options of `add_view` say otherwise."""
    if args.hfov_deg is not None:
        settings = settings.changed("camera", hfov_deg=args.hfov_deg)
    if args.mirrored:
        settings = settings.changed("camera", mirrored=True)
    if args.hand_length_mm is not None:
        settings = settings.changed("player", hand_length_mm=args.hand_length_mm)
    return settings


def agreed(question: str) -> bool:
    """Whether the user says yes; false where the input has ended.

    Raises
    ------
    InputError
        Where nobody can be asked.
    """
    if not sys.stdin.isatty():
        raise InputError("Nothing was changed, since nobody can be asked here; add --yes if it is meant.")
    try:
        return input(f"{question} [yes/no] ").strip().lower() in ("y", "yes")
    except EOFError:
        return False


def _number(low: float, high: float) -> Callable[[str], float]:
    def read(text: str) -> float:
        try:
            value = float(text)
        except ValueError:
            value = math.nan
        if not low <= value <= high:
            raise argparse.ArgumentTypeError(f"{text!r} is not a number from {low:g} to {high:g}")
        return value

    return read


def seconds(text: str) -> float:
    """A duration above 0, for argparse."""
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not (math.isfinite(value) and value > 0):
        raise argparse.ArgumentTypeError(f"{text!r} is not a number of seconds above 0")
    return value
