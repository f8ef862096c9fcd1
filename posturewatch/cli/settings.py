"""`posturewatch settings`: an example settings file, and where yours belongs."""

from __future__ import annotations

import argparse

from posturewatch.cli.options import Subparsers, add_command

__all__ = ["add"]


def add(subparsers: Subparsers[argparse.ArgumentParser]) -> None:
    parser = add_command(
        subparsers,
        "settings",
        "print an example settings file",
        "Prints a settings file with every setting at its default and its explanation.",
        """
posturewatch settings
posturewatch settings > my-settings.toml
posturewatch settings --path
posturewatch settings --profiles
""",
    )
    which = parser.add_mutually_exclusive_group()
    which.add_argument(
        "--path", action="store_true", help="print where your own settings file belongs instead"
    )
    which.add_argument("--profiles", action="store_true", help="print the limit profiles there are instead")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    from posturewatch.config.limit_profiles import load_profile, profile_names
    from posturewatch.config.settings import default_settings_path, example_settings

    if args.path:
        print(default_settings_path())
    elif args.profiles:
        for name in profile_names():
            profile = load_profile(name)
            print(f"{name}: {profile.label}. {profile.description}")
    else:
        print(example_settings().rstrip("\n"))
    return 0
