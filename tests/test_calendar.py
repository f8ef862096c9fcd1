"""Days and weeks are the player's own: by the zone of this machine, also where daylight time begins or ends.

The other reckoning is Python's `zoneinfo`, with the IANA time zone database."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
import time_machine
from calendar_moments import DAYLIGHT_CHANGES, moments
from log_factories import noon, record

from posturewatch.review.load import load_sentence
from posturewatch.review.practice_log import PracticeLog
from posturewatch.review.trends import local_day, local_today
from posturewatch.storage.records import now_utc
from posturewatch.storage.store import Store


def monday_of(day: dt.date) -> dt.date:
    year, week, _ = day.isocalendar()
    return dt.date.fromisocalendar(year, week, 1)


@pytest.mark.parametrize("name", moments())
def test_today_is_the_day_on_the_players_own_calendar(name: str) -> None:
    moment = moments()[name]
    with time_machine.travel(moment, tick=False):
        assert local_today() == moment.date()
        assert local_day(now_utc()) == moment.date()


@pytest.mark.parametrize("zone", DAYLIGHT_CHANGES)
@pytest.mark.parametrize("place", [0, 1], ids=["begins", "ends"])
def test_a_day_on_which_daylight_time_changes_lasts_from_midnight_to_midnight(zone: str, place: int) -> None:
    day = DAYLIGHT_CHANGES[zone][place]
    with time_machine.travel(dt.datetime(2027, 6, 15, 12, tzinfo=ZoneInfo(zone)), tick=False):
        for clock in (dt.time(0), dt.time(0, 30), dt.time(3, 30), dt.time(23, 30), dt.time(23, 59, 59)):
            begun = dt.datetime.combine(day, clock, ZoneInfo(zone)).astimezone(dt.timezone.utc)
            assert local_day(begun.isoformat()) == day, clock
        # That day has 23 or 25 hours.
        midnight = dt.datetime.combine(day, dt.time(0), ZoneInfo(zone)).astimezone(dt.timezone.utc)
        hours = 23 if place == 0 else 25
        assert local_day((midnight + dt.timedelta(hours=hours, seconds=-1)).isoformat()) == day
        assert local_day((midnight + dt.timedelta(hours=hours)).isoformat()) == day + dt.timedelta(days=1)


@pytest.mark.calendar
def test_what_is_played_now_belongs_to_this_week(tmp_path: Path) -> None:
    begun = now_utc()
    today = dt.datetime.fromisoformat(begun).astimezone().date()
    with Store(tmp_path) as store:
        record(store, 12.0, started_at=begun)
        told = PracticeLog(store).trends(weeks=1, today=today)
        assert [(week["monday"], week["sessions"]) for week in told["load"]] == [
            (monday_of(today).isoformat(), 1)
        ]
        assert told["from"] == told["to"] == today.isoformat()
        # Without a day it goes by the clock, which may have passed midnight since.
        assert dt.date.fromisoformat(PracticeLog(store).trends(weeks=2)["to"]) - today in (
            dt.timedelta(0),
            dt.timedelta(days=1),
        )


@pytest.mark.calendar
def test_a_rise_is_told_in_the_week_in_which_it_is_played(tmp_path: Path) -> None:
    begun = now_utc()
    today = dt.datetime.fromisoformat(begun).astimezone().date()
    with Store(tmp_path) as store:
        for weeks in (4, 3, 2, 1):
            record(store, 60.0, started_at=noon(today - dt.timedelta(weeks=weeks)), rate_hz=1.0)
        assert load_sentence(store, today) is None
        record(store, 3700.0, started_at=begun, rate_hz=0.02)
        sentence = load_sentence(store, today)
    assert sentence is not None
    assert sentence.startswith("62 minutes this week")
