"""How much each hand counts in learning its wrist's angles."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["wrist_importance"]

#: Flexion and deviation: the middle of their range, and half the width in which most of them lie.
_USUAL_DEG, _COMMON_DEG = np.array([10.0, 8.0]), np.array([35.0, 18.0])
_FAR_DEG = 30.0  # flexion or extension from which a wrist counts as bent far


def wrist_importance(
    wrist_deg: NDArray[np.floating[Any]], fretting: NDArray[np.bool_]
) -> NDArray[np.float32]:
    """(n, 2) how much a hand's flexion and deviation count in learning: more towards the ends of the range, which are
    rare and what the program is for, and more for the deviation of fretting hands and of hands that are bent far, which
    is the hardest to see.

    wrist_deg: (n, 2), NaN where unknown.
    """
    out = 1 + 0.7 * np.clip((np.abs(np.nan_to_num(wrist_deg) - _USUAL_DEG) - _COMMON_DEG) / _COMMON_DEG, 0, 1)
    out[:, 1] *= 1 + 0.4 * fretting
    out[:, 1] *= 1 + 0.6 * np.clip(np.abs(np.nan_to_num(wrist_deg[:, 0])) / _FAR_DEG - 1, 0, 1)
    return np.asarray(out, np.float32)
