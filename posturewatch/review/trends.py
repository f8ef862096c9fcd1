"""Exposure over weeks and by piece, and how much was played, in JSON's types, from the columns that are kept."""

from __future__ import annotations

import datetime as dt
import sqlite3
from typing import Any

from posturewatch.config.resources import DEMO_NAME
from posturewatch.exposure.load import PlayedSession, load_notice, week_of, weekly_load
from posturewatch.exposure.trends import (
    ExposureRecord,
    Total,
    TrendKey,
    by_piece,
    by_week,
    change,
    slope,
    worst_pieces,
)
from posturewatch.model.quantities import QUANTITY_NAMES, place, quantity
from posturewatch.review.reviews import REVIEW_VERSION
from posturewatch.storage.tables.checks import READABLE

__all__ = ["local_day", "local_today", "short_rows", "trends"]

_WEEK = dt.timedelta(days=7)

#: All rows of one session and piece together: what trends ask, and no more than that.
_RECORDS = """
    SELECT exposure.session, {piece}, side, quantity, direction, level, limit_value, sum(total_s), sum(measured_s),
        sum(seconds), sum(excess), sum(excursions), max(longest_s)
    FROM exposure JOIN exposure_level ON exposure_level.exposure = exposure.id {join}
    WHERE {which} AND exposure.session >= ?
    GROUP BY exposure.session, {piece}, side, quantity, direction, level, limit_value
"""


def local_day(started_at: str) -> dt.date:
    """The player's own calendar day, from UTC in ISO 8601."""
    return dt.datetime.fromisoformat(started_at).astimezone().date()


def local_today() -> dt.date:
    """The player's own calendar day now, by the clock and the zone that `local_day` goes by."""
    return dt.datetime.now(dt.timezone.utc).astimezone().date()


def trends(connection: sqlite3.Connection, *, today: dt.date, weeks: int) -> dict[str, Any]:
    """The last `weeks` weeks up to that of `today`; see the routes of the server for the shape."""
    since = week_of(today) - (weeks - 1) * _WEEK
    sessions = {
        number: (local_day(started_at), end_s or 0.0, kept)
        for number, started_at, end_s, kept in connection.execute(
            # Of each session the time in which pictures came; the demo is nobody's practice. A damaged summary says
            # nothing.
            "SELECT number, started_at, coalesce("
            "CASE WHEN json_valid(summary_json) THEN json_extract(summary_json, '$.watched_s') END, end_s), "
            "review.session "
            "FROM session LEFT JOIN review ON review.session = session.number AND review.version = ? "
            "WHERE ended_at IS NOT NULL AND source_name <> ?",
            (REVIEW_VERSION, DEMO_NAME),
        )
    }
    days = {number: day for number, (day, _, _) in sessions.items() if day >= since}
    first = min(days, default=0)
    load = weekly_load((PlayedSession(day, end_s / 60) for day, end_s, _ in sessions.values()), until=today)
    notice = load_notice(load)
    whole = _records(connection, days, first, "NULL", "", "passage IS NULL")
    played = _records(
        connection, days, first, "passage.piece", "JOIN passage ON passage.id = exposure.passage", "1"
    )
    names = dict(connection.execute("SELECT id, name FROM piece"))
    weekly = by_week(whole)
    worst = {
        key: {"piece_id": int(number), "piece": names[int(number)], "share": round(share, 4)}
        for key, (number, share) in worst_pieces(played, weekly).items()
    }
    return {
        "from": min(days.values()).isoformat() if days else None,
        "to": today.isoformat(),
        "waiting": sum(kept is None for _, _, kept in sessions.values()),
        "load": [
            {"monday": week.monday.isoformat(), "minutes": round(week.minutes, 2), "sessions": week.sessions}
            for week in load
            if week.monday >= since
        ],
        "notice": None if notice is None else notice.sentence,
        "lines": [
            {**_line(key, own), "worst": worst.get(key)} for key, own in sorted(weekly.items(), key=_order)
        ],
        "pain": _pain(connection, since, today),
        "pieces": [
            {
                "piece_id": int(number),
                "piece": names[int(number)],
                "lines": [
                    {**_key(key), "total": total.to_json()}
                    for key, total in sorted(totals.items(), key=_order)
                ],
            }
            for number, totals in by_piece(played).items()
        ],
    }


def _pain(connection: sqlite3.Connection, since: dt.date, today: dt.date) -> list[dict[str, Any]]:
    """Of each day with a discomfort check the highest rating before and after playing, None without; oldest first.
    Those of sessions on the demo are left out."""
    days: dict[dt.date, dict[str, int | None]] = {}
    for moment, checked_at, rating in connection.execute(
        "SELECT moment, checked_at, rating FROM discomfort LEFT JOIN session ON session.number = discomfort.session "
        f"WHERE source_name IS NOT ? AND {READABLE} ORDER BY discomfort.id",
        (DEMO_NAME,),
    ):
        day = local_day(checked_at)
        if since <= day <= today:
            ratings = days.setdefault(day, {"before": None, "after": None})
            ratings[moment] = max(rating, ratings[moment] or 0)
    return [{"day": day.isoformat(), **ratings} for day, ratings in sorted(days.items())]


def _records(
    connection: sqlite3.Connection, days: dict[int, dt.date], first: int, piece: str, join: str, which: str
) -> list[ExposureRecord]:
    """A piece is named by its number here, so that a name changes nothing."""
    rows = connection.execute(_RECORDS.format(piece=piece, join=join, which=which), (first,))
    return [
        ExposureRecord(str(session), days[session], None if number is None else str(number), *rest)
        for session, number, *rest in rows
        if session in days and rest[1] in QUANTITY_NAMES
    ]


def _order(item: tuple[TrendKey, object]) -> tuple[str, int, str, str]:
    (side, name, direction, level), _ = item
    return (side, place(name), direction, level)


def _key(key: TrendKey) -> dict[str, Any]:
    side, name, direction, level = key
    return {
        "side": side,
        "quantity": name,
        "unit": quantity(name).unit,
        "group": quantity(name).group,
        "direction": direction,
        "level": level,
    }


def _line(key: TrendKey, weekly: dict[dt.date, Total]) -> dict[str, Any]:
    changed, sloping = change(weekly), slope(weekly)
    return {
        **_key(key),
        "weeks": [{"monday": monday.isoformat(), **total.to_json()} for monday, total in weekly.items()],
        "change": None
        if changed is None
        else {
            "earlier": changed.earlier.isoformat(),
            "later": changed.later.isoformat(),
            "share": round(changed.share, 4),
        },
        "slope_per_week": None if sloping is None else round(sloping, 5),
    }


def short_rows(connection: sqlite3.Connection, piece: int) -> list[dict[str, Any]]:
    """The kept columns of the exposures of a piece's passages, each with its `passage_id`, else as
    `reviews.short` has them."""
    found: dict[int, dict[str, Any]] = {}
    which = "passage IN (SELECT id FROM passage WHERE piece = ?)"
    for number, passage, side, name, *numbers in connection.execute(
        "SELECT id, passage, side, quantity, total_s, measured_s, p10, p50, p90, rests FROM exposure "
        f"WHERE {which} ORDER BY passage, id",
        (piece,),
    ):
        if name in QUANTITY_NAMES:
            fields = zip(("total_s", "measured_s", "p10", "p50", "p90", "rests"), numbers, strict=True)
            found[number] = {
                "passage_id": passage,
                "side": side,
                "quantity": name,
                "unit": quantity(name).unit,
                "group": quantity(name).group,
                **dict(fields),
                "levels": [],
            }
    for number, direction, level, limit, seconds, excess, excursions, longest_s in connection.execute(
        f"SELECT exposure_level.* FROM exposure_level JOIN exposure ON exposure.id = exposure WHERE {which}",
        (piece,),
    ):
        if number in found:
            measured_s = found[number]["measured_s"]
            found[number]["levels"].append(
                {
                    "direction": direction,
                    "level": level,
                    "limit": limit,
                    "seconds": seconds,
                    "share": round(seconds / measured_s, 4) if measured_s > 0 else None,
                    "excess": excess,
                    "excursions": excursions,
                    "longest_s": longest_s,
                }
            )
    return list(found.values())
