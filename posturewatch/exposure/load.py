"""How much was played: minutes per session and week, and a notice when a week rises suddenly."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise

__all__ = ["LoadNotice", "LoadRules", "PlayedSession", "WeekLoad", "load_notice", "week_of", "weekly_load"]

_WEEK = dt.timedelta(days=7)


@dataclass(frozen=True)
class PlayedSession:
    """A session as far as load goes: the player's own calendar day on which it began, and its minutes."""

    day: dt.date
    minutes: float

    def __post_init__(self) -> None:
        if not (math.isfinite(self.minutes) and self.minutes >= 0):
            raise ValueError(f"minutes are not negative, got {self.minutes}")


@dataclass(frozen=True)
class WeekLoad:
    """A week, by its Monday, with what was recorded in it."""

    monday: dt.date
    minutes: float
    sessions: int


@dataclass(frozen=True)
class LoadRules:
    """A week is a sudden rise from `ratio` times the mean of the `weeks` before it, and never below
    least_minutes. These numbers are a convention, not science: players name sudden rises of load as a main
    cause of trouble (Front Psychol 2014;5:706), but no study says how much is sudden."""

    ratio: float = 1.5
    least_minutes: float = 60.0
    weeks: int = 4

    def __post_init__(self) -> None:
        if not self.ratio > 1.0 or not self.least_minutes >= 0.0 or self.weeks < 1:
            raise ValueError(f"ratio is above 1, least_minutes not negative, weeks at least 1, got {self}")


@dataclass(frozen=True)
class LoadNotice:
    """A sudden rise. usual_minutes: mean of the weeks before. `sentence` says that the rule is a convention."""

    monday: dt.date
    minutes: float
    usual_minutes: float
    sentence: str


def week_of(day: dt.date) -> dt.date:
    """The Monday of the day's week (ISO 8601)."""
    return day - dt.timedelta(days=day.weekday())


def weekly_load(sessions: Iterable[PlayedSession], until: dt.date | None = None) -> tuple[WeekLoad, ...]:
    """Every week from the first session's on, in order.

    Weeks without a session are there, with 0 minutes. Only what was recorded is known: practice without the program
    counts as none.

    Parameters
    ----------
    until : date, optional
        In the last week; without it, that of the last session. Sessions after that week are left out.
    """
    played = sorted(sessions, key=lambda one: one.day)
    if not played:
        return ()
    last = week_of(played[-1].day if until is None else until)
    first = week_of(played[0].day)
    count = max(0, (last - first) // _WEEK + 1)
    minutes, sessions_in = [0.0] * count, [0] * count
    for one in played:
        place = (week_of(one.day) - first) // _WEEK
        if place < count:
            minutes[place] += one.minutes
            sessions_in[place] += 1
    return tuple(WeekLoad(first + k * _WEEK, minutes[k], sessions_in[k]) for k in range(count))


def load_notice(weeks: Iterable[WeekLoad], rules: LoadRules | None = None) -> LoadNotice | None:
    """A notice if the last of these weeks is a sudden rise, else None.

    It says nothing before there are as many weeks before it as the rules want: what was played before the first
    session is not known. The last week may still be going on.

    Parameters
    ----------
    weeks : iterable of WeekLoad
        As from `weekly_load`, without a hole.

    Raises
    ------
    ValueError
        For weeks with a hole.
    """
    rules = LoadRules() if rules is None else rules
    known = tuple(weeks)
    if any(later.monday - one.monday != _WEEK for one, later in pairwise(known)):
        raise ValueError("weeks follow one another without a hole")
    if len(known) < rules.weeks + 1:
        return None
    before, now = known[-1 - rules.weeks : -1], known[-1]
    usual = sum(week.minutes for week in before) / rules.weeks
    if now.minutes < max(rules.least_minutes, rules.ratio * usual):
        return None
    many = "week" if rules.weeks == 1 else f"{rules.weeks} weeks"
    if usual > 0:
        rise = f"{now.minutes / usual:.1f} times the mean of the {many} before ({usual:.0f})"
    else:
        rise = f"after nothing recorded in the {many} before"
    sentence = (
        f"{now.minutes:.0f} minutes this week, {rise}; a sudden rise is worth taking slowly. "
        f"The threshold is a convention, not science."
    )
    return LoadNotice(now.monday, now.minutes, usual, sentence)
