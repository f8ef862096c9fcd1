"""What a session adds up to as a whole: the exposure of every series over all of it, and the warnings that fired."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from posturewatch.exposure.exposure_series import ExposureSeries
from posturewatch.exposure.hand_time import HandTime, hand_series
from posturewatch.exposure.series import sample_seconds
from posturewatch.exposure.values import Exposure
from posturewatch.model.verdict import HoldWarning

__all__ = ["Summary", "summarise"]

#: Parts of a session's timeline: about the columns that a phone has room for.
_BINS = 120

#: The slowest source that is watched gives a picture a second; what is longer is an interruption.
PAUSE_S = 2.0


@dataclass(frozen=True)
class Summary:
    """limits: name of the profile the session was judged by. exposures, hands: of every series, and of every hand,
    over the whole session. watched_s: the seconds of it in which pictures came. timeline: the hands by equal parts of
    the session, in order."""

    end_s: float
    watched_s: float
    limits: str
    exposures: tuple[Exposure, ...]
    hands: tuple[HandTime, ...]
    warnings: tuple[HoldWarning, ...]
    timeline: tuple[tuple[HandTime, ...], ...] = ()

    def to_json(self) -> dict[str, Any]:
        """JSON's types; what is missing is null, seconds to the millisecond."""
        return {
            "duration_s": round(self.end_s, 3),
            "watched_s": round(self.watched_s, 3),
            "limits": self.limits,
            "warnings": len(self.warnings),
            "hands": [one.to_json() for one in self.hands],
            "timeline": self._timeline(),
            "quantities": [{**one.to_json(), "warnings": self._warned(one)} for one in self.exposures],
        }

    def _timeline(self) -> dict[str, Any]:
        """bin_s, and by hand and state its share of each bin, to a hundredth; states that a hand was never in are left
        out."""
        found = []
        for place, hand in enumerate(self.hands):
            own = [bin_of[place] for bin_of in self.timeline]
            shares = {
                state.value: [round(one.states_s[state] / one.total_s, 2) for one in own]
                for state, seconds in hand.states_s.items()
                if seconds > 0
            }
            found.append({"side": hand.side, "shares": shares})
        return {"bin_s": self.end_s / max(1, len(self.timeline)), "hands": found}

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
    series_of_hands = hand_series(made)
    hands = tuple(one.over(whole) for one in series_of_hands)
    edges = np.linspace(0.0, end_s, _BINS + 1).tolist() if hands else []
    timeline = tuple(
        tuple(one.over(window) for one in series_of_hands) for window in itertools.pairwise(edges)
    )
    return Summary(end_s, _watched_s(made, end_s), limits, exposures, hands, tuple(warnings), timeline)


def _watched_s(series: Sequence[ExposureSeries], end_s: float) -> float:
    """What lies between frames for longer than `PAUSE_S` was no practice: the camera was away, or held."""
    if not series:
        return 0.0
    times = np.unique(np.concatenate([one.every_s for one in series]))
    return float(sample_seconds(times, end_s, PAUSE_S).sum())
