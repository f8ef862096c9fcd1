"""What a session adds up to as a whole: the exposure of every series over all of it, and the warnings that fired."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from posturewatch.exposure.exposure_series import ExposureSeries
from posturewatch.exposure.hand_time import HandSeries, HandStates, HandTime
from posturewatch.exposure.series import sample_seconds
from posturewatch.exposure.values import Exposure
from posturewatch.model.verdict import HoldWarning

__all__ = ["GatheredSummary", "Summary", "summarise"]

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
    gathered = GatheredSummary(end_s)
    for one in series:
        gathered.add(one)
    return gathered.summary(warnings, limits)


class GatheredSummary:
    """A summary that is gathered from one series after another: none of them is held.

    Parameters
    ----------
    end_s : float
        The session runs from 0 to here.
    """

    def __init__(self, end_s: float) -> None:
        self._end_s = end_s
        self._exposures: list[Exposure] = []
        self._states = HandStates()
        self._hands: tuple[HandSeries, ...] | None = None
        self._times = np.zeros(0)

    def add(self, one: ExposureSeries, whole: Exposure | None = None) -> None:
        """Takes a series of the session, and its exposure over all of it where that is known."""
        self._exposures.append(one.over((0.0, self._end_s)) if whole is None else whole)
        self._states.add(one)
        # All quantities come with the same frames, or with some of them.
        places = np.searchsorted(self._times, one.every_s)
        if not np.array_equal(np.append(self._times, np.nan)[places], one.every_s):
            self._times = np.union1d(self._times, one.every_s)

    @property
    def hands(self) -> tuple[HandSeries, ...]:
        """The states of each hand, once all series have been taken."""
        if self._hands is None:
            self._hands = self._states.series()
        return self._hands

    def summary(self, warnings: Sequence[HoldWarning], limits: str) -> Summary:
        """Once all series have been taken; warnings and limits as those of `summarise`."""
        whole = (0.0, self._end_s)
        hands = tuple(one.over(whole) for one in self.hands)
        edges = np.linspace(0.0, self._end_s, _BINS + 1).tolist() if hands else []
        timeline = tuple(
            tuple(one.over(window) for one in self.hands) for window in itertools.pairwise(edges)
        )
        exposures = tuple(self._exposures)
        return Summary(self._end_s, self._watched_s(), limits, exposures, hands, tuple(warnings), timeline)

    def _watched_s(self) -> float:
        """What lies between frames for longer than `PAUSE_S` was no practice: the camera was away, or held."""
        return float(sample_seconds(self._times, self._end_s, PAUSE_S).sum())
