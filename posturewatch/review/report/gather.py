"""A report's content from what is kept. Nothing is measured or worked out anew: exposures, states, percentiles and the
finding are those that were kept at the session's end."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from posturewatch.comfort.discomfort import SIGNS
from posturewatch.comfort.exceedance import INTERVAL_SD
from posturewatch.comfort.limits import LimitProfile
from posturewatch.config.instruments import hand_roles, instrument, instrument_names, role_label
from posturewatch.errors import ConflictError
from posturewatch.model.observation import SIDES, Side
from posturewatch.model.quantities import quantity
from posturewatch.review.cue_shares import fretting_sides
from posturewatch.review.report.content import (
    Angle,
    Beyond,
    Discomfort,
    Hand,
    PassageRow,
    Practice,
    Report,
    Source,
    Trend,
)
from posturewatch.review.report.language import day, decimal, say, spoken
from posturewatch.review.report.moments import worst_moments
from posturewatch.review.report.phrases import finding_text, headline, next_step, sided, view_sentence
from posturewatch.review.session_document import full_document
from posturewatch.review.trends import local_today, trends
from posturewatch.storage.reader import SessionReader, SessionRecord
from posturewatch.storage.records import SessionInfo
from posturewatch.storage.tables.clips import whole_clip_path

__all__ = ["MOST_SESSIONS", "gather"]

#: More would not be read.
MOST_SESSIONS = 30

_WEEKS = 12

#: Draws the lines of this hand into a picture, a JPEG; None where it is not seen there.
Draw = Callable[[bytes, Side], "bytes | None"]


def gather(
    reader: SessionReader,
    session_ids: Sequence[str],
    *,
    who: str = "",
    clips: bool = False,
    draw: Draw | None = None,
    today: dt.date | None = None,
) -> Report:
    """The content of a report on these sessions.

    Parameters
    ----------
    who
        As the player wishes to be named.
    clips
        Whether the films of the moments that are shown go with it.
    draw
        Draws the measured lines into a picture.
    today
        The player's own day.

    Raises
    ------
    UnknownError
        For an unknown session.
    ConflictError
        For one that is still running, or too many.
    """
    if len(set(session_ids)) > MOST_SESSIONS:
        raise ConflictError(f"A report is of at most {MOST_SESSIONS} sessions; name fewer.")
    own_day = local_today() if today is None else today
    records = [reader.session(one) for one in dict.fromkeys(session_ids)]
    for record in records:
        if record.info.open:
            raise ConflictError(f"Session {record.info.id} is still running; stop it before you report it.")
    records.sort(key=lambda one: one.info.started_at)
    documents = [full_document(reader, record.info.id) for record in records]
    practices = tuple(_practice(*pair) for pair in zip(records, documents, strict=True))
    last = records[-1].limits
    return Report(
        who=who,
        made_on=day(own_day),
        practices=practices,
        moments=worst_moments(
            records,
            documents,
            [one.when for one in practices],
            _labels,
            _paths(reader),
            clips=clips,
            draw=draw,
        ),
        trends=_trends(reader, records[-1], own_day),
        limits_label=say(last.label),
        limits_about=say(last.description),
        sources=_sources(last),
    )


def _paths(reader: SessionReader) -> Callable[[int], Path | None]:
    """Where the file of a clip lies, None where it is gone."""

    def path_of(number: int) -> Path | None:
        with reader.reading() as connection:
            return None if connection is None else whole_clip_path(connection, reader.data_dir, number)

    return path_of


def _when(started_at: str) -> str:
    local = dt.datetime.fromisoformat(started_at).astimezone()
    return f"{day(local.date())}, {local:%H:%M}"


def _labels(record: SessionRecord) -> dict[Side, str]:
    """What the player calls either hand."""
    kept = record.settings.get("instrument", {})
    try:
        roles = hand_roles(kept["name"], kept["handedness"])
        return {side: _with_side(role_label(roles[side], side), side) for side in SIDES}
    except (KeyError, ValueError, TypeError):
        return {side: say(f"{side} hand") for side in SIDES}


def _with_side(label: str, side: Side) -> str:
    if side in label:
        return say(label)
    return say("{side}, {label}", side=say(side), label=say(label))


def _instrument(name: str) -> str:
    """As its players call it, where it is known."""
    if spoken() == "en" or name not in instrument_names():
        return name
    return instrument(name).label.de


def _source(info: SessionInfo) -> str:
    if info.demo:
        return say("demo film")
    return say("camera") if info.source_kind == "camera" else info.source_name


def _place(name: str) -> str:
    """ "left thumb", as a check has it, in words."""
    side, _, place = name.partition(" ")
    return say("{side} {place}", side=say(side), place=say(place))


def _practice(record: SessionRecord, document: Mapping[str, Any]) -> Practice:
    labels, watched = _labels(record), fretting_sides(record.settings) or frozenset(SIDES)
    halves = _halves(record)
    hands = tuple(_hand(side, labels[side], side in watched, document, halves) for side in SIDES)
    hands = tuple(sorted(hands, key=lambda one: not one.watched))
    unwarned = sum(
        one["hold"] and one["level"] == "extreme" and quantity(one["quantity"]).group == "wrist"
        for one in document["excursions"]
    )
    told, little = headline(len(document["warned"]), unwarned, hands)
    when = _when(record.info.started_at)
    finding = document["finding"]
    return Practice(
        id=record.info.id,
        when=when,
        source=_source(record.info),
        instrument=_instrument(record.info.instrument or ""),
        duration_s=record.info.end_s,
        watched_s=document.get("watched_s", record.info.end_s),
        headline=told,
        too_little=little,
        finding=next_step(document, hands) if finding is None else finding_text(finding),
        view=view_sentence(hands),
        hands=hands,
        warned_s=tuple(one["since_s"] for one in document["warned"]),
        passages=_passages(document, when, watched),
        marks=tuple((one["time_s"], one["note"]) for one in document["marks"]),
        discomfort=tuple(_discomfort(one) for one in document["checks"]),
        program_version=record.info.program_version,
        damage=tuple(document["damage"]),
    )


#: Half of the 90 % interval, by hand and quantity.
_Halves = Mapping[tuple[Side, str], float]


def _halves(record: SessionRecord) -> _Halves:
    """As it was in the middle of what is kept of them."""
    return {
        (one.side, one.quantity): INTERVAL_SD * float(np.nanmedian(one.sd))
        for one in record.series
        if one.measured.any()
    }


def _hand(side: Side, label: str, watched: bool, document: Mapping[str, Any], halves: _Halves) -> Hand:
    whole = next((one for one in document["hands"] if one["side"] == side), None)
    timeline: Mapping[str, Sequence[float]] = next(
        (one["shares"] for one in document["timeline"]["hands"] if one["side"] == side), {}
    )
    return Hand(
        side=side,
        label=label,
        watched=watched,
        total_s=0.0 if whole is None else whole["total_s"],
        states_s={} if whole is None else whole["states_s"],
        timeline={name: tuple(shares) for name, shares in timeline.items()},
        angles=tuple(
            _angle(one, halves.get((side, one["quantity"])), document["excursions"])
            for one in document["quantities"]
            if one["side"] == side and quantity(one["quantity"]).group == "wrist"
        ),
    )


def _angle(one: Mapping[str, Any], half_deg: float | None, excursions: Sequence[Mapping[str, Any]]) -> Angle:
    entry = quantity(one["quantity"])
    own = [
        each
        for each in excursions
        if each["side"] == one["side"] and each["quantity"] == one["quantity"] and each["hold"]
    ]
    p = one[f"percentiles_{one['unit']}"]
    return Angle(
        label=say(entry.label),
        total_s=one["total_s"],
        measured_s=one["measured_s"],
        percentiles=None if p is None else (p["p10"], p["p50"], p["p90"]),
        beyond=tuple(_beyond(say(entry.leaning(each["direction"])), each, own) for each in one["directions"]),
        reasons=tuple(one["unseen_s"].items()),
        half_deg=half_deg,
    )


def _beyond(words: str, one: Mapping[str, Any], holds: Sequence[Mapping[str, Any]]) -> Beyond:
    levels = {level["level"]: level for level in one["levels"]}
    comfort, extreme = levels.get("comfort", {}), levels.get("extreme", {})
    return Beyond(
        direction=one["direction"],
        words=words,
        comfort=comfort.get("limit_deg"),
        extreme=extreme.get("limit_deg"),
        past_comfort_s=comfort.get("seconds"),
        past_extreme_s=extreme.get("seconds"),
        certain_s=extreme.get("certain_s"),
        longest_s=max(
            (
                each["past_s"]
                for each in holds
                if (each["direction"], each["level"]) == (one["direction"], "extreme")
                and each["past_s"] is not None
            ),
            default=None,
        ),
    )


def _passages(document: Mapping[str, Any], when: str, watched: frozenset[Side]) -> tuple[PassageRow, ...]:
    """The same bars of a piece together, in the order in which they were first played."""
    exposure = document["exposure"]
    if exposure is None:
        return ()
    lengths = {one["id"]: (one["end_s"] or one["start_s"]) - one["start_s"] for one in document["passages"]}
    rows = []
    for part in exposure["parts"]:
        shares = [
            one["measured_s"] / one["total_s"]
            for one in part["exposure"]
            if one["side"] in watched and one["group"] == "wrist" and one["total_s"] > 0
        ]
        rows.append(
            PassageRow(
                when=when,
                name=f"{part['piece']}, {part['bars']}" if part["bars"] else part["piece"],
                played_s=sum(lengths.get(one, 0.0) for one in part["passage_ids"]),
                measured_share=min(shares, default=None),
                states_s={one["side"]: one["states_s"] for one in part["hands"]},
            )
        )
    return tuple(rows)


def _discomfort(one: Mapping[str, Any]) -> Discomfort:
    signs = {sign.name: sign.label for sign in SIGNS}
    return Discomfort(
        moment=one["moment"],
        rating=one["rating"],
        places=tuple(_place(name) for name in one["places"]),
        signs=tuple(say(signs.get(name, name)) for name in one["signs"]),
        note=one["note"],
    )


def _trends(reader: SessionReader, record: SessionRecord, today: dt.date) -> tuple[Trend, ...]:
    """Of the watched hand's wrist, past the extreme limits: those that were passed at all."""
    watched = fretting_sides(record.settings) or frozenset(SIDES)
    with reader.reading() as connection:
        if connection is None:
            return ()
        found = trends(connection, today=today, weeks=_WEEKS)
    lines = [
        one
        for one in found["lines"]
        if one["side"] in watched and one["group"] == "wrist" and one["level"] == "extreme"
        if sum(week["share"] is not None for week in one["weeks"]) >= 2
        if any(week["beyond_s"] > 0 for week in one["weeks"])
    ]
    return tuple(
        Trend(
            sided(one["side"], quantity(one["quantity"]).leaning(one["direction"])),
            tuple((week["monday"], week["share"]) for week in one["weeks"]),
        )
        for one in lines
    )


def _sources(limits: LimitProfile) -> tuple[Source, ...]:
    """The wrist's limits with where they come from; those of one source together, by hand where the hands differ."""
    by_source: dict[str, list[str]] = {}
    sided = {key for bands in limits.sided.values() for key in bands}
    told = [("", key, band) for key, band in limits.bands.items() if key not in sided]
    told += [
        (f"{say(side)} ", key, band) for side, bands in limits.sided.items() for key, band in bands.items()
    ]
    for side, (name, direction), band in told:
        if quantity(name).group != "wrist":
            continue
        for level, limit in (("comfort", band.comfort), ("extreme", band.extreme)):
            if limit is not None:
                kind = say("the player's own") if limit.mark == "personal" else _short(limit.source)
                by_source.setdefault(kind, []).append(
                    f"{side}{say(direction)} {say(level)} {decimal(f'{limit.value:g}')}°"
                )
    return tuple(Source(", ".join(one), source) for source, one in by_source.items())


def _short(source: str) -> str:
    """Without what is said of a single number in it."""
    return source.split(";")[0]
