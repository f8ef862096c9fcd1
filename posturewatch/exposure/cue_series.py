"""The cues of a hand over a session, and the share of the time in which each is there."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from posturewatch.comfort.cues import CUES, CueRules, FingerMeasurements
from posturewatch.comfort.exceedance import CERTAIN, exceedance_probability
from posturewatch.comfort.limits import LimitProfile
from posturewatch.exposure.findings import FingerPosture
from posturewatch.exposure.series import Series, Window, check_windows, sample_seconds
from posturewatch.model.arrays import Array
from posturewatch.model.observation import Side
from posturewatch.model.quantities import quantity
from posturewatch.model.verdict import Cue

__all__ = [
    "STILL",
    "CueSeries",
    "CueShare",
    "FingerSeries",
    "MovementRules",
    "cue_series",
    "finger_series",
    "shares_json",
]


#: The share of a stated variance that is new in every frame, as `kinematics.temporal_estimator` takes it; the rest is a
#: matter of the view and the same in all of them.
_NEW_SHARE = 0.2

#: So many neighbouring samples tell one thing (common practice: a third of a second at ten a second).
_ALIKE = 3.0

#: Keeps the deviation of a variance above 0, in its unit squared.
_LEAST_ERROR = 1e-6

#: What players of strings call the fingers of the hand on the fingerboard.
_NUMBERS = {"index": "first", "middle": "second", "ring": "third", "little": "fourth"}

STILL = Cue(
    "still",
    None,
    "no finger moved for 20 s or more",
    "not moved for 20 s",
    "no finger moving",
    while_playing=False,
)


@dataclass(frozen=True)
class MovementRules:
    """Whether fingers play or keep still. Common practice or plain reason throughout.

    still_s: a hand whose fingers have not moved for so long keeps still.
    playing_s: fingers that moved within so many seconds play.
    still_sd_deg: a hand of which no joint is known better than this may move unseen, so that it is never called still.
    moved_deg, moved_mm: least movement of fingers that play, as a standard deviation over that time.
    still_deg, still_mm: most movement of fingers that keep still. It is half as much: measured movements come out
        smaller than they are, and one stroke in so many seconds is a movement too.
    """

    still_s: float = 20.0
    still_sd_deg: float = 5.0
    playing_s: float = 8.0
    moved_deg: float = 4.0
    moved_mm: float = 2.5
    still_deg: float = 2.0
    still_mm: float = 1.25


@dataclass(frozen=True)
class FingerSeries(FingerMeasurements):
    """Finger quantities of one hand at common times.

    time_s: (n,). seconds: (n,) for which each moment speaks.
    """

    side: Side
    time_s: Array
    seconds: Array

    def moved(self, within_s: float, least: Mapping[str, float]) -> Array:
        """The probability that some finger moved in the last seconds.

        A finger moves when a quantity's standard deviation over that time, less what is new in every frame of its
        measurement, is above `least`. So quick and slow movements count alike, and a single one too.

        Parameters
        ----------
        within_s : float
            So many seconds are looked back.
        least : mapping
            Least standard deviation by unit ("deg", "mm").

        Returns
        -------
        (n,) array
            NaN where less than half of those seconds is known.
        """
        found = np.full(self.time_s.size, np.nan)
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
            found = np.fmax(found, np.where(seconds >= 0.5 * within_s, moving, np.nan))
        return found

    def still(self, rules: MovementRules) -> Array:
        """The probability (n,) that the fingers have kept still; NaN where a movement could have gone unseen."""
        best = np.full(self.count, np.nan)
        for name, sd in self.sd.items():
            if quantity(name).unit == "deg":
                best = np.fmin(best, sd)
        moved = self.moved(rules.still_s, {"deg": rules.still_deg, "mm": rules.still_mm})
        return np.where(best <= rules.still_sd_deg, 1.0 - moved, np.nan)


def _last(numbers: Array, begin: NDArray[np.int64]) -> Array:
    """Sums (n,) of the numbers from each place in `begin` to the moment itself."""
    total = np.concatenate([[0.0], np.cumsum(numbers)])
    sums: Array = total[1:] - total[begin]
    return sums


def finger_series(
    series: Collection[Series], side: Side, end_s: float, max_gap_s: float
) -> FingerSeries | None:
    """The finger quantities of one hand; None where none of them was ever measured.

    Parameters
    ----------
    series : collection of Series
        Of any hands and quantities, of one session. Gone through twice, so that one is in memory at a time where they
        are read as they are asked for.
    end_s, max_gap_s : float
        The session's end, and for how long a sample speaks at most.
    """
    times = np.zeros(0)
    for one in _of_fingers(series, side):
        places = np.searchsorted(times, one.time_s)
        if not np.array_equal(np.append(times, np.nan)[places], one.time_s):
            times = np.union1d(times, one.time_s)
    if not times.size:
        return None
    value: dict[str, Array] = {}
    sd: dict[str, Array] = {}
    for one in _of_fingers(series, side):
        places = np.searchsorted(times, one.time_s)
        for found, numbers in ((value, one.value), (sd, one.sd)):
            found[one.quantity] = np.full(times.size, np.nan)
            found[one.quantity][places] = numbers
    return FingerSeries(times.size, value, sd, side, times, sample_seconds(times, end_s, max_gap_s))


def _of_fingers(series: Iterable[Series], side: Side) -> Iterator[Series]:
    for one in series:
        if one.side == side and quantity(one.quantity).group == "finger" and np.any(one.refusal == 0):
            yield one


@dataclass(frozen=True)
class CueShare:
    """A cue over some windows. known_s: seconds in which it is known, of those that count for it. present_s:
    expected seconds of presence. certain_s: seconds in which it is certain. Shares are None where nothing is known.
    """

    side: Side
    cue: Cue
    known_s: float
    present_s: float
    certain_s: float

    @property
    def share(self) -> float | None:
        return self.present_s / self.known_s if self.known_s > 0 else None

    @property
    def certain_share(self) -> float | None:
        return self.certain_s / self.known_s if self.known_s > 0 else None

    def to_json(self) -> dict[str, Any]:
        return {
            "side": self.side,
            "cue": self.cue.name,
            "finger": self.cue.finger,
            "label": self.cue.label,
            "share_of": "playing time" if self.cue.while_playing else "seen time",
            "known_s": round(self.known_s, 3),
            "present_s": round(self.present_s, 3),
            "certain_s": round(self.certain_s, 3),
            "share": None if self.share is None else round(self.share, 4),
            "certain_share": None if self.certain_share is None else round(self.certain_share, 4),
        }


@dataclass(frozen=True)
class CueSeries:
    """A cue of one hand over a session.

    time_s, present: (n,) when, and with which probability it is there. weight: (n,) seconds that count, by the
    probability that the hand plays where the cue is one of playing; 0 where the cue is not known.
    """

    side: Side
    cue: Cue
    time_s: Array
    present: Array
    weight: Array

    def over(self, *windows: Window) -> CueShare:
        """The share over half-open windows of session time, taken together.

        Raises
        ------
        ValueError
            Where windows overlap, or there is none.
        """
        check_windows(windows)
        inside = np.zeros(self.time_s.size, dtype=bool)
        for start_s, end_s in windows:
            inside |= (self.time_s >= start_s) & (self.time_s < end_s)
        weight = self.weight[inside]
        present = np.where(weight > 0, self.present[inside], 0.0)
        certain_s = float(weight @ (present >= CERTAIN))
        return CueShare(self.side, self.cue, float(weight.sum()), float(weight @ present), certain_s)

    def posture(self, *, fretting: bool) -> FingerPosture:
        """As a finding names it: by the finger's number on the fretting hand."""
        finger = self.cue.finger or ""
        name = f"{_NUMBERS[finger]} finger" if fretting and finger in _NUMBERS else f"{finger} finger"
        return FingerPosture(self.side, self.cue.posture.format(finger=name), self.time_s, self.present)


def cue_series(
    fingers: FingerSeries,
    limits: LimitProfile,
    *,
    fretting: bool,
    rules: CueRules | None = None,
    movement: MovementRules | None = None,
) -> tuple[CueSeries, ...]:
    """The cues of one hand of which something is known.

    Parameters
    ----------
    fretting : bool
        Whether the hand presses strings to a fingerboard.
    """
    rules = CueRules() if rules is None else rules
    movement = MovementRules() if movement is None else movement
    moved = fingers.moved(movement.playing_s, {"deg": movement.moved_deg, "mm": movement.moved_mm})
    playing = np.nan_to_num(moved)
    present = {
        one.cue: one.probability(fingers, limits, rules)
        for one in CUES
        if fretting or not one.cue.fretting_only
    }
    present[STILL] = fingers.still(movement)
    found = []
    for cue, probability in present.items():
        known = np.isfinite(probability)
        if known.any():
            weight = fingers.seconds * known * (playing if cue.while_playing else 1.0)
            found.append(CueSeries(fingers.side, cue, fingers.time_s, probability, weight))
    return tuple(found)


def shares_json(series: Sequence[CueSeries], *windows: Window) -> list[dict[str, Any]]:
    """The cues' shares over the windows in JSON's types; those of which nothing is known there are left out."""
    return [share.to_json() for share in (one.over(*windows) for one in series) if share.known_s > 0]
