"""The fingers of one hand over a session, side by side: what cues are read from. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from posturewatch.comfort.exceedance import exceedance_probability
from posturewatch.exposure.series import Series, sample_seconds
from posturewatch.model.observation import Side
from posturewatch.model.quantities import quantity

__all__ = ["Fingers", "fingers_of"]

Array = NDArray[np.float64]

#: The share of a stated variance that is new in every picture, as `kinematics.over_time` takes it; the rest is a matter
#: of the view and the same in all of them.
_NEW_SHARE = 0.2

#: So many neighbouring samples tell one thing (common practice: a third of a second at ten a second).
_ALIKE = 3.0

#: Keeps the deviation of a variance above 0, in its unit squared.
_LEAST_ERROR = 1e-6


@dataclass(frozen=True)
class Fingers:
    """Finger quantities of one hand at common times.

    time_s: (n,). seconds: (n,) for which each moment speaks. value, sd: by the quantity's name, (n,), NaN where not
    measured; a quantity that was never measured is not there.
    """

    side: Side
    time_s: Array
    seconds: Array
    value: Mapping[str, Array]
    sd: Mapping[str, Array]

    def beyond(self, name: str, limit: float) -> Array:
        """The chance (n,) that the quantity lies above a signed limit, NaN where unknown."""
        if name not in self.value:
            return np.full(self.time_s.size, np.nan)
        return exceedance_probability(limit, self.value[name], self.sd[name])

    def below(self, name: str, limit: float) -> Array:
        return 1.0 - self.beyond(name, limit)

    def moved(self, within_s: float, least: Mapping[str, float]) -> Array:
        """The chance (n,) that some finger moved in the last within_s seconds; NaN where less than half of them is
        known.

        A finger moves when a quantity's standard deviation over that time, less what is new in every picture of its
        measurement, is above `least` (by unit). So quick and slow movements count alike, and a single one too.
        """
        chance = np.full(self.time_s.size, np.nan)
        begin: NDArray[np.int64] = np.asarray(np.searchsorted(self.time_s, self.time_s - within_s))
        for name, value in self.value.items():
            known = np.isfinite(value)
            centred = np.where(known, value - np.nanmedian(value), 0.0)
            noise = np.where(known, _NEW_SHARE * np.square(self.sd[name]), 0.0)
            seconds = _last(np.where(known, self.seconds, 0.0), begin)
            count, total = _last(known.astype(np.float64), begin), _last(centred, begin)
            square, expected = _last(np.square(centred), begin), _last(noise, begin)
            some = np.maximum(count, 1.0)
            variance = np.maximum(square / some - (total / some) ** 2, 0.0)
            excess = variance - expected / some
            error = np.sqrt(2.0 * _ALIKE / some) * (variance + expected / some) + _LEAST_ERROR
            moving = exceedance_probability(least[quantity(name).unit] ** 2, excess, error)
            chance = np.fmax(chance, np.where(seconds >= 0.5 * within_s, moving, np.nan))
        return chance


def _last(numbers: Array, begin: NDArray[np.int64]) -> Array:
    """Sums (n,) of the numbers from each place in `begin` to the moment itself."""
    total = np.concatenate([[0.0], np.cumsum(numbers)])
    sums: Array = total[1:] - total[begin]
    return sums


def fingers_of(series: Iterable[Series], side: Side, end_s: float, max_gap_s: float) -> Fingers | None:
    """The finger quantities of one hand; None where none of them was ever measured."""
    own = [
        one
        for one in series
        if one.side == side and quantity(one.quantity).group == "finger" and np.any(one.refusal == 0)
    ]
    if not own:
        return None
    times = np.unique(np.concatenate([one.time_s for one in own]))
    value: dict[str, Array] = {}
    sd: dict[str, Array] = {}
    for one in own:
        places = np.searchsorted(times, one.time_s)
        for found, numbers in ((value, one.value), (sd, one.sd)):
            found[one.quantity] = np.full(times.size, np.nan)
            found[one.quantity][places] = numbers
    return Fingers(side, times, sample_seconds(times, end_s, max_gap_s), value, sd)
