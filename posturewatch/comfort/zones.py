"""The zone of a value: within comfort, beyond the comfort limit, or beyond the extreme limit."""

from __future__ import annotations

import math
from typing import overload

import numpy as np
from numpy.typing import NDArray

from posturewatch.comfort.limits import Band, LimitProfile
from posturewatch.model.quantities import Quantity
from posturewatch.model.verdict import Zone

__all__ = ["ZONES", "bounds", "zone_index", "zone_of"]

#: From the inside out; `zone_index` counts in this order.
ZONES = (Zone.WITHIN, Zone.BEYOND, Zone.EXTREME)


def bounds(band: Band) -> tuple[float, float]:
    """The (comfort, extreme) limits of a band as magnitudes; infinite where there is none.

    A band with an extreme limit alone is within comfort up to it.
    """
    extreme = math.inf if band.extreme is None else band.extreme.value
    return (extreme if band.comfort is None else band.comfort.value), extreme


@overload
def zone_index(magnitude: float, limits: tuple[float, float]) -> int: ...
@overload
def zone_index(magnitude: NDArray[np.float64], limits: tuple[float, float]) -> NDArray[np.int64]: ...
def zone_index(
    magnitude: float | NDArray[np.float64], limits: tuple[float, float]
) -> int | NDArray[np.int64]:
    """Places in `ZONES` of one magnitude, or of an array of them; a value on a limit is inside it.

    Parameters
    ----------
    magnitude : float or (n,) array
        Value in the direction of the limits.
    limits : tuple of float
        Comfort and extreme limit, as from `bounds`.
    """
    comfort, extreme = limits
    if isinstance(magnitude, np.ndarray):
        return (magnitude > comfort).astype(np.int64) + (magnitude > extreme)
    return int(magnitude > comfort) + int(magnitude > extreme)


def zone_of(value: float, entry: Quantity, limits: LimitProfile) -> tuple[Zone, str]:
    """The zone of a value and the direction it leans to.

    Parameters
    ----------
    value : float
        Signed, in the quantity's unit. A quantity without a negative direction leans to its positive one, and is
        within comfort below 0.
    """
    direction = entry.negative if value < 0 and entry.negative is not None else entry.positive
    place = zone_index(value * entry.sign(direction), bounds(limits.bands[entry.name, direction]))
    return ZONES[place], direction
