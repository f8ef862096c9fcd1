"""Where the files beside the code lie: `web/` and `calibration/`, in a checkout or inside the wheel."""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path

from posturewatch.errors import UnavailableError

__all__ = ["DEMO_NAME", "calibration_dir", "chart_library", "web_dir"]

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


def chart_library() -> Path:
    """The charting library's bundle for the browser, from its Python package; the package is not imported."""
    spec = find_spec("plotly")
    for folder in () if spec is None else spec.submodule_search_locations or ():
        bundle = Path(folder) / "package_data" / "plotly.min.js"
        if bundle.is_file():
            return bundle
    raise UnavailableError('The charts\' library is missing; install it with "pip install plotly".')
