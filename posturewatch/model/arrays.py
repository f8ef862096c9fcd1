"""Kinds of numpy arrays, by short names."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["Array", "Image"]

#: Numbers of any shape; the name or the documentation says which.
Array = NDArray[np.float64]

#: (height, width, 3) pixels.
Image = NDArray[np.uint8]
