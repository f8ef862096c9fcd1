"""The zone of a value: within comfort, beyond the comfort limit, or beyond the extreme limit."""

from __future__ import annotations

import math

from posturewatch.comfort.limits import Band, LimitProfile
from posturewatch.model.quantities import Quantity
from posturewatch.model.verdict import Zone

__all__ = ["bounds", "zone_of"]


def bounds(band: Band) -> tuple[float, float]:
    """The (comfort, extreme) limits of a band as magnitudes; infinite where there is none.

    Returns
    -------
    comfort, extreme : float
        A band with an extreme limit alone is within comfort up to it.
    """
    extreme = math.inf if band.extreme is None else band.extreme.value
    return (extreme if band.comfort is None else band.comfort.value), extreme


def zone_of(value: float, entry: Quantity, limits: LimitProfile) -> tuple[Zone, str]:
    """The zone of a value and the direction it leans to.

    Parameters
    ----------
    value : float
        Signed, in the quantity's unit. A quantity without a negative direction leans to its positive one, and is
        within comfort below 0.
    """
    direction = entry.negative if value < 0 and entry.negative is not None else entry.positive
    magnitude = value * entry.sign(direction)
    comfort, extreme = bounds(limits.bands[entry.name, direction])
    if magnitude > extreme:
        return Zone.EXTREME, direction
    return (Zone.BEYOND if magnitude > comfort else Zone.WITHIN), direction
