"""How exposure changes over weeks and from piece to piece, from light records of many sessions."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from posturewatch.exposure.load import week_of
from posturewatch.model.observation import Side
from posturewatch.model.verdict import Level

__all__ = [
    "Change",
    "ExposureRecord",
    "Total",
    "TrendKey",
    "by_piece",
    "by_week",
    "change",
    "slope",
    "worst_pieces",
]

#: Hand, quantity, direction and level: what one line of a chart is about.
TrendKey = tuple[Side, str, str, Level]

_WEEK = dt.timedelta(days=7)


@dataclass(frozen=True)
class ExposureRecord:
    """One session's, or one passage's, exposure beyond one limit: a row of a table.

    day: the player's calendar day. piece: None for a whole session. excess: excess angle x time, in unit times seconds.
    """

    session_id: str
    day: dt.date
    piece: str | None
    side: Side
    quantity: str
    direction: str
    level: Level
    limit: float
    total_s: float
    measured_s: float
    beyond_s: float
    excess: float
    excursions: int
    longest_s: float | None

    @property
    def key(self) -> TrendKey:
        return (self.side, self.quantity, self.direction, self.level)


@dataclass(frozen=True)
class Total:
    """Records added up. share: of the measured time beyond the limit; excess_per_hour: of measured time; both
    None where nothing, or less than asked for, was measured. limits: the limits that were in use, lowest
    first; where there is more than one, the shares do not mean the same."""

    sessions: int
    total_s: float
    measured_s: float
    beyond_s: float
    excess: float
    excursions: int
    longest_s: float | None
    limits: tuple[float, ...]
    last_day: dt.date | None
    share: float | None
    excess_per_hour: float | None

    def to_json(self) -> dict[str, Any]:
        return {
            "sessions": self.sessions,
            "total_s": round(self.total_s, 3),
            "measured_s": round(self.measured_s, 3),
            "beyond_s": round(self.beyond_s, 3),
            "excess": round(self.excess, 2),
            "excursions": self.excursions,
            "longest_s": None if self.longest_s is None else round(self.longest_s, 3),
            "limits": [round(limit, 2) for limit in self.limits],
            "last_day": None if self.last_day is None else self.last_day.isoformat(),
            "share": None if self.share is None else round(self.share, 4),
            "excess_per_hour": None if self.excess_per_hour is None else round(self.excess_per_hour, 2),
        }


@dataclass(frozen=True)
class Change:
    """From one week to a later one: the later share less the earlier, and the weeks by their Mondays."""

    earlier: dt.date
    later: dt.date
    share: float


def by_week(
    records: Iterable[ExposureRecord], least_measured_s: float = 300.0
) -> dict[TrendKey, dict[dt.date, Total]]:
    """Totals per week (by its Monday) for each hand, quantity, direction and level; whole sessions only.

    All lines run over the same weeks, from the first to the last that has any record: a week without one is
    there, with nothing in it and no share, so that a chart shows a hole and not a zero.

    Parameters
    ----------
    least_measured_s : float
        A week measured for less has no share either.
    """
    whole = [one for one in records if one.piece is None]
    if not whole:
        return {}
    mondays = [week_of(one.day) for one in whole]
    first, last = min(mondays), max(mondays)
    weeks = [first + k * _WEEK for k in range((last - first) // _WEEK + 1)]
    found: dict[TrendKey, dict[dt.date, Total]] = {}
    for key, rows in _grouped(whole, lambda one: one.key).items():
        weekly = _grouped(rows, lambda one: week_of(one.day))
        found[key] = {week: _total(weekly.get(week, ()), least_measured_s) for week in weeks}
    return found


def by_piece(
    records: Iterable[ExposureRecord], least_measured_s: float = 60.0
) -> dict[str, dict[TrendKey, Total]]:
    """Totals per piece, the one not played for the longest first; records of whole sessions are left out."""
    pieces = _grouped([one for one in records if one.piece is not None], lambda one: one.piece or "")
    ordered = sorted(pieces.items(), key=lambda item: (max(one.day for one in item[1]), item[0]))
    return {
        piece: {
            key: _total(own, least_measured_s) for key, own in _grouped(rows, lambda one: one.key).items()
        }
        for piece, rows in ordered
    }


def worst_pieces(
    records: Iterable[ExposureRecord], weekly: dict[TrendKey, dict[dt.date, Total]]
) -> dict[TrendKey, tuple[str, float]]:
    """Of each hand, quantity, direction and level the piece in which the share was largest in the last week that has
    one, with that share; keys without time past their limit in any piece are left out.

    Parameters
    ----------
    records
        Of passages; those of whole sessions are left out.
    weekly
        As `by_week` has it.
    """
    rows = [one for one in records if one.piece is not None]
    found: dict[TrendKey, tuple[str, float]] = {}
    for key, weeks in weekly.items():
        last = max((week for week, total in weeks.items() if total.share is not None), default=None)
        own = by_piece(one for one in rows if one.key == key and week_of(one.day) == last)
        shares = [(totals[key].share or 0.0, piece) for piece, totals in own.items()]
        share, piece = max(shares, default=(0.0, ""))
        if share > 0:
            found[key] = (piece, share)
    return found


def change(weeks: dict[dt.date, Total]) -> Change | None:
    """From the last week but one that has a share to the last that has; None where there are not two."""
    known = [(week, total.share) for week, total in sorted(weeks.items()) if total.share is not None]
    if len(known) < 2:
        return None
    (earlier, before), (later, now) = known[-2:]
    return Change(earlier, later, now - before)


def slope(weeks: dict[dt.date, Total], least_weeks: int = 4) -> float | None:
    """Change of the share per week: the median of the slopes between every two weeks that have one (Theil 1950 and
    Sen 1968, from memory), so that one odd week or a missing one changes little.

    Parameters
    ----------
    least_weeks : int
        None where fewer have a share.
    """
    known = [(week, total.share) for week, total in sorted(weeks.items()) if total.share is not None]
    if len(known) < max(2, least_weeks):
        return None
    place = np.array([(week - known[0][0]) / _WEEK for week, _ in known])
    share = np.array([value for _, value in known])
    first, second = np.triu_indices(len(known), 1)
    return float(np.median((share[second] - share[first]) / (place[second] - place[first])))


def _grouped(records: Iterable[ExposureRecord], key: Callable[[ExposureRecord], Any]) -> dict[Any, Any]:
    groups: dict[Any, list[ExposureRecord]] = {}
    for one in records:
        groups.setdefault(key(one), []).append(one)
    return groups


def _total(records: Sequence[ExposureRecord], least_measured_s: float) -> Total:
    measured_s = sum(one.measured_s for one in records)
    beyond_s, excess = sum(one.beyond_s for one in records), sum(one.excess for one in records)
    enough = measured_s > 0 and measured_s >= least_measured_s
    return Total(
        sessions=len({one.session_id for one in records}),
        total_s=sum(one.total_s for one in records),
        measured_s=measured_s,
        beyond_s=beyond_s,
        excess=excess,
        excursions=sum(one.excursions for one in records),
        longest_s=max((one.longest_s for one in records if one.longest_s is not None), default=None),
        limits=tuple(sorted({one.limit for one in records})),
        last_day=max((one.day for one in records), default=None),
        share=beyond_s / measured_s if enough else None,
        excess_per_hour=3600.0 * excess / measured_s if enough else None,
    )
