"""What a session adds up to as a whole: the exposure of every series over all of it, and the warnings that fired."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from posturewatch.exposure.exposure_series import ExposureSeries
from posturewatch.exposure.hand_time import HandTime, hand_series
from posturewatch.exposure.values import Exposure
from posturewatch.model.verdict import HoldWarning

__all__ = ["Summary", "summarise"]


@dataclass(frozen=True)
class Summary:
    """limits: name of the profile the session was judged by. exposures, hands: of every series, and of every hand,
    over the whole session."""

    end_s: float
    limits: str
    exposures: tuple[Exposure, ...]
    hands: tuple[HandTime, ...]
    warnings: tuple[HoldWarning, ...]

    def to_json(self) -> dict[str, Any]:
        """JSON's types; what is missing is null, seconds to the millisecond."""
        return {
            "duration_s": round(self.end_s, 3),
            "limits": self.limits,
            "warnings": len(self.warnings),
            "hands": [one.to_json() for one in self.hands],
            "quantities": [{**one.to_json(), "warnings": self._warned(one)} for one in self.exposures],
        }

    def _warned(self, exposure: Exposure) -> int:
        key = (exposure.side, exposure.quantity)
        return sum((one.side, one.quantity) == key for one in self.warnings)


def summarise(
    series: Iterable[ExposureSeries], warnings: Sequence[HoldWarning], limits: str, end_s: float
) -> Summary:
    """The summary of a session.

    Parameters
    ----------
    series : iterable of ExposureSeries
        Of the whole session.
    warnings : sequence of HoldWarning
        Those that fired in it.
    limits : str
        Name of the profile it was judged by.
    end_s : float
        It runs from 0 to here; above 0 where there are series.
    """
    made = tuple(series)
    whole = (0.0, end_s)
    exposures = tuple(one.over(whole) for one in made)
    hands = tuple(one.over(whole) for one in hand_series(made))
    return Summary(end_s, limits, exposures, hands, tuple(warnings))
