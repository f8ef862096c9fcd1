"""The estimator's weights, as every evaluation reads them."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from posturewatch.config.resources import calibration_dir

__all__ = ["read_weights"]


def read_weights(path: Path | None = None) -> dict[str, Any]:
    """The arrays of a weights file by name, of the shipped one where path is None."""
    with np.load(path or calibration_dir() / "weights" / "estimator.npz") as archive:
        return {name: archive[name] for name in archive.files}
