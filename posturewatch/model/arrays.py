"""Kinds of numpy arrays, by short names."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["Array", "FloatArray", "Image"]

#: Numbers of any shape; the name or the documentation says which.
Array = NDArray[np.float64]

#: The same in any precision: what is rendered, or trained on.
FloatArray = NDArray[np.floating[Any]]

#: (height, width, 3) pixels.
Image = NDArray[np.uint8]
