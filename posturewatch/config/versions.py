"""Versions of what measures, for the record and for telling one machine from another."""

from __future__ import annotations

import platform
from importlib import metadata

__all__ = ["package_versions"]


def package_versions() -> dict[str, str | None]:
    """Versions of Python and of what measures; None for what is not installed."""
    found: dict[str, str | None] = {"python": platform.python_version()}
    for name in ("mediapipe", "openvino", "opencv-python", "numpy", "av"):
        try:
            found[name] = metadata.version(name)
        except metadata.PackageNotFoundError:
            found[name] = None
    return found
