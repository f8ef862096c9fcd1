"""Where the files beside the code lie: `web/` and `calibration/`, in a checkout or inside the wheel."""

from __future__ import annotations

from pathlib import Path

from posturewatch.errors import UnavailableError

__all__ = ["DEMO_NAME", "calibration_dir", "web_dir"]

#: The source name of a session of the bundled video: it is nobody's practice, and no trend counts it.
DEMO_NAME = "demo film"

_PACKAGE = Path(__file__).resolve().parents[1]


def _find(inside_wheel: str, in_checkout: str) -> Path:
    for candidate in (_PACKAGE / inside_wheel, _PACKAGE.parent / in_checkout):
        if candidate.is_dir():
            return candidate
    raise UnavailableError(
        f"The folder {in_checkout}/ of posturewatch is missing; install posturewatch again."
    )


def web_dir() -> Path:
    """Folder with the page's files."""
    return _find("_web", "web")


def calibration_dir() -> Path:
    """Folder with limit profiles, instruments, learned weights and the demo film."""
    return _find("_calibration", "calibration")
