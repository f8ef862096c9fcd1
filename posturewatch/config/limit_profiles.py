"""Limit profiles as files: which there are, and reading one."""

from __future__ import annotations

import difflib

from posturewatch.comfort.limits import LimitProfile, parse_profile
from posturewatch.config.resources import calibration_dir
from posturewatch.errors import InputError

__all__ = ["DEFAULT_PROFILE", "load_profile", "profile_names"]

DEFAULT_PROFILE = "carpal-pressure"


def profile_names() -> tuple[str, ...]:
    """The names of the profiles there are, the default first."""
    names = sorted(path.stem for path in (calibration_dir() / "limits").glob("*.toml"))
    return tuple(sorted(names, key=lambda name: name != DEFAULT_PROFILE))


def load_profile(name: str) -> LimitProfile:
    """The profile of that name; raises InputError that lists those there are."""
    names = profile_names()
    if name not in names:
        near = difflib.get_close_matches(name, names, n=1)
        hint = f"did you mean {near[0]}? Available are" if near else "available are"
        raise InputError(f"There is no limit profile {name!r}; {hint} {', '.join(names)}.")
    folder = calibration_dir() / "limits"
    return parse_profile(
        (folder / f"{name}.toml").read_text(encoding="utf-8"),
        {
            path.stem: path.read_text(encoding="utf-8")
            for path in sorted((folder / "included").glob("*.toml"))
        },
    )
