"""`posturewatch check`: whether everything is there and works together, line by line."""

from __future__ import annotations

import argparse
import platform
import shutil
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from posturewatch.cli.options import Subparsers, add_command, add_data_dir, add_settings
from posturewatch.errors import PosturewatchError, StoreError, UnavailableError

__all__ = ["add"]

#: How much of the demo video goes through every part.
ROUND_TRIP_S = 0.5

#: A year of daily hours with a margin for clips.
ENOUGH_MB = 1000


def add(subparsers: Subparsers[argparse.ArgumentParser]) -> None:
    parser = add_command(
        subparsers,
        "check",
        "check that everything is there and works",
        "Looks for cameras, versions, models, limits and the data folder, and sends a few frames of the demo "
        "video through every part. Exit code 0 where all is well, 1 where something failed.",
        """
posturewatch check
""",
    )
    add_data_dir(parser)
    add_settings(parser)
    parser.set_defaults(run=run)


@dataclass(frozen=True)
class _Check:
    name: str
    look: Callable[[argparse.Namespace], str]


def run(args: argparse.Namespace) -> int:
    failed = 0
    for check in CHECKS:
        try:
            answer, word = check.look(args), "ok"
        # ImportError: a package that is broken on this machine is what this command is there to find.
        except (PosturewatchError, ImportError, OSError) as fault:
            answer, word = str(fault), "FAILED"
            failed += 1
        print(f"{word:<7}{check.name}: {answer}", flush=True)
    print("All is well." if not failed else f"{failed} of {len(CHECKS)} failed.")
    return 1 if failed else 0


def _versions(args: argparse.Namespace) -> str:
    from posturewatch import __version__
    from posturewatch.config.versions import package_versions

    found = package_versions()
    missing = [name for name, version in found.items() if version is None]
    if missing:
        raise UnavailableError(f"{', '.join(missing)} not installed; install posturewatch again.")
    versions = ", ".join(f"{name} {version}" for name, version in found.items())
    return f"posturewatch {__version__}, {versions}, {platform.system()}"


def _data_folder(args: argparse.Namespace) -> str:
    from posturewatch.storage.store import default_data_dir, open_reader

    folder: Path = default_data_dir() if args.data_dir is None else args.data_dir
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder) as probe:
            probe.write(b"posturewatch")
        free_mb = shutil.disk_usage(folder).free // 1_000_000
    except OSError as error:
        raise StoreError(
            f"{folder} cannot be written to ({error.strerror}); free it or choose another with --data-dir."
        ) from error
    if free_mb < ENOUGH_MB:
        raise StoreError(f"{folder} has {free_mb} MB of free space; {ENOUGH_MB} MB are wanted.")
    return f"{folder}, {len(open_reader(folder).sessions())} sessions, {free_mb / 1000:.0f} GB free"


def _settings(args: argparse.Namespace) -> str:
    from posturewatch.config.settings import default_settings_path
    from posturewatch.pipeline.build import load_parts

    settings = load_parts(args.settings, args.profile).settings
    if settings.path is None:
        return f"the defaults; your own would be in {default_settings_path()}"
    return str(settings.path)


def _limits(args: argparse.Namespace) -> str:
    from posturewatch.config.limit_profiles import load_profile, profile_names

    return ", ".join(load_profile(name).name for name in profile_names())


def _files(args: argparse.Namespace) -> str:
    from posturewatch.capture import demo_video
    from posturewatch.config.resources import web_dir
    from posturewatch.pipeline.build import estimator_path, fingers_path, forearm_path

    page = web_dir() / "index.html"
    if not page.is_file():
        raise UnavailableError("The page of posturewatch is missing; install posturewatch again.")
    return ", ".join(
        path.name for path in (page, demo_video(), estimator_path(), forearm_path(), fingers_path())
    )


def _cameras(args: argparse.Namespace) -> str:
    from posturewatch.capture import find_cameras

    found = [
        f"{camera.index}"
        + (f" ({camera.name})" if camera.name else "")
        + (" in use" if camera.size_px is None else f" {camera.size_px[0]}x{camera.size_px[1]}")
        for camera in find_cameras()
    ]
    return ", ".join(found) if found else "none found; the demo video and other videos work without one"


def _models(args: argparse.Namespace) -> str:
    from posturewatch.pipeline.build import load_parts

    parts = load_parts(args.settings, args.profile)
    parts.build("video", parts.settings).release()
    return "hand, body and forearm networks and the estimator load"


def _round_trip(args: argparse.Namespace) -> str:
    from posturewatch.bench.round_trip import round_trip
    from posturewatch.pipeline.build import load_parts

    done = round_trip(load_parts(args.settings, args.profile), ROUND_TRIP_S)
    return (
        f"{done.frames} frames, message {done.message} of {done.jpeg_bytes // 1000} kB, "
        f"left wrist measured {100 * done.measured_share:.0f} % of the time"
    )


CHECKS: tuple[_Check, ...] = (
    _Check("versions", _versions),
    _Check("settings", _settings),
    _Check("limit profiles", _limits),
    _Check("files", _files),
    _Check("data folder", _data_folder),
    _Check("cameras", _cameras),
    _Check("models", _models),
    _Check("round trip", _round_trip),
)
