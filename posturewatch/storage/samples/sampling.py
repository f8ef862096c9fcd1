"""Which quantities of a frame are kept: some only so many times a second, as the table of quantities has it."""

from __future__ import annotations

import math

from posturewatch.model.quantities import QUANTITIES

__all__ = ["Sampling"]

#: Frame times that are a round number of samples by calculation miss it by rounding.
_ROUNDING = 1e-6


class Sampling:
    """Decides frame by frame; one for the whole of a session."""

    def __init__(self) -> None:
        self._every = tuple(entry.name for entry in QUANTITIES if entry.kept_hz is None)
        rates = {entry.kept_hz for entry in QUANTITIES if entry.kept_hz is not None}
        self._slow = {
            rate_hz: frozenset(entry.name for entry in QUANTITIES if entry.kept_hz == rate_hz)
            for rate_hz in sorted(rates)
        }
        self._slots: dict[float, int] = {}

    def due(self, time_s: float) -> frozenset[str]:
        """Names of the quantities of which this frame is kept: the first frame in each stretch of
        1 / `kept_hz` seconds, or every frame."""
        names = frozenset(self._every)
        for rate_hz, slow in self._slow.items():
            slot = math.floor(time_s * rate_hz + _ROUNDING)
            if self._slots.get(rate_hz) != slot:
                self._slots[rate_hz] = slot
                names |= slow
        return names
