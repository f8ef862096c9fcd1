"""Moments at which code that asks for the day goes wrong, each in the local time of a zone."""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

#: Far east of Greenwich, near it, and far west: the local day is another than that of UTC for much of the day.
#: The days are those on which daylight time begins and ends there in 2026 (IANA time zone database).
DAYLIGHT_CHANGES = {
    "Pacific/Auckland": (dt.date(2026, 9, 27), dt.date(2026, 4, 5)),
    "Europe/Berlin": (dt.date(2026, 3, 29), dt.date(2026, 10, 25)),
    "America/Los_Angeles": (dt.date(2026, 3, 8), dt.date(2026, 11, 1)),
}


def moments() -> dict[str, dt.datetime]:
    """Five moments in each of three zones, by name: fifteen."""
    found = {}
    for name, (begins, ends) in DAYLIGHT_CHANGES.items():
        zone = ZoneInfo(name)
        for what, moment in {
            "monday": dt.datetime(2026, 11, 30, 0, 10, tzinfo=zone),
            "sunday": dt.datetime(2026, 11, 29, 23, 50, tzinfo=zone),
            "new-year": dt.datetime(2027, 1, 1, 0, 5, tzinfo=zone),
            "daylight-begins": dt.datetime.combine(begins, dt.time(3, 30), zone),
            # Half past two comes twice that night; this is the second time.
            "daylight-ends": dt.datetime.combine(ends, dt.time(2, 30, fold=1), zone),
        }.items():
            found[f"{what}-{name.rpartition('/')[2]}"] = moment
    return found
