"""The rows of a report's tables as text, the same on the page and on paper."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from posturewatch.model.observation import Side
from posturewatch.review.report.content import STATES, Angle, Beyond, Hand, PassageRow, Practice, Report
from posturewatch.review.report.language import say
from posturewatch.review.report.phrases import (
    angle_text,
    clock,
    discomfort_text,
    duration,
    percent,
    spread_text,
)

__all__ = [
    "ANGLE_HEAD",
    "angle_rows",
    "facts",
    "felt_before_and_after",
    "heading_of",
    "headline_of",
    "noted",
    "passage_name",
    "past_a_limit",
    "state_rows",
]

ANGLE_HEAD = (
    "Hand and angle",
    "Measured",
    "Median (10th to 90th percentile); uncertainty",
    "Direction",
    "Comfort, extreme limit",
    "Past comfort",
    "Past extreme",
    "Of it certain",
    "Longest past extreme",
)


def facts(report: Report) -> str:
    """Who, what and how long, in one line."""
    last = report.last
    long = say("{time} of practice", time=duration(last.watched_s))
    said = (report.who, last.instrument, long, say("source: {name}", name=last.source))
    return " · ".join(one for one in said if one)


def state_rows(hands: Sequence[Hand]) -> list[list[str]]:
    """A row for each hand: its shares of the whole time by state."""
    return [
        [hand.label, *(percent(hand.states_s.get(name, 0.0) / hand.total_s) for name in STATES)]
        for hand in hands
        if hand.total_s > 0
    ]


def angle_rows(hands: Sequence[Hand]) -> list[list[str]]:
    """A row for each direction of each angle; what is of the angle as a whole stands in its first."""
    return [row for hand in hands for angle in hand.angles for row in _of_angle(hand, angle)]


def _of_angle(hand: Hand, angle: Angle) -> list[list[str]]:
    name = say("{side}: {label}", side=say(hand.side), label=angle.label)
    first = [name, percent(angle.measured_share), spread_text(angle)]
    if angle.measured_s <= 0:
        why = say("not measured")
        if angle.reasons:
            why = say("not measured: {reason}", reason=say(angle.reasons[0][0]))
        return [[*first, why, "", "", "", "", ""]]
    return [
        [*(first if place == 0 else ["", "", ""]), *_of_direction(angle, one)]
        for place, one in enumerate(angle.beyond)
    ]


def _of_direction(angle: Angle, one: Beyond) -> list[str]:
    def spent(seconds: float | None) -> str:
        if seconds is None:
            return say("no limit")
        return f"{duration(seconds)} ({percent(seconds / angle.measured_s)})" if seconds > 0 else "–"

    return [
        one.words,
        f"{angle_text(one.comfort)}, {angle_text(one.extreme)}",
        spent(one.past_comfort_s),
        spent(one.past_extreme_s),
        "–" if not one.certain_s else duration(one.certain_s),
        "–" if not one.longest_s else duration(one.longest_s),
    ]


def past_a_limit(states_s: Mapping[Side, Mapping[str, float]], hands: Sequence[Hand]) -> str:
    """Of each hand the share of the time past a limit, and past an extreme one."""
    found = []
    for hand in hands:
        own = states_s.get(hand.side, {})
        total_s = sum(own.values())
        extreme_s = own.get("extreme", 0.0)
        beyond_s = own.get("past comfort", 0.0) + extreme_s
        if beyond_s > 0:
            extreme = ""
            if extreme_s > 0:
                extreme = " " + say("(extreme {share})", share=percent(extreme_s / total_s))
            found.append(f"{say(hand.side)} {percent(beyond_s / total_s)}{extreme}")
    return "; ".join(found) or "–"


def passage_name(row: PassageRow, *, dated: bool) -> str:
    """With its day, where there are several."""
    return f"{row.when.split(',')[0]}: {row.name}" if dated else row.name


def felt_before_and_after(practice: Practice) -> str:
    """The ratings of its discomfort checks."""
    return ", ".join(say(f"{one.moment} {{rating}}", rating=one.rating) for one in practice.discomfort) or "–"


def noted(report: Report) -> list[str]:
    """What the player said and noted, line by line; of the newest practice first, and how it felt before marks."""
    return [line for practice in reversed(report.practices) for line in _noted(practice)]


def _noted(practice: Practice) -> list[str]:
    felt = [f"{practice.when}: {discomfort_text(one)}" for one in practice.discomfort]
    return felt + [
        say("{when}, mark at {at}: {note}", when=practice.when, at=clock(time_s), note=note)
        for time_s, note in practice.marks
        if note
    ]


def headline_of(report: Report) -> str:
    """That of the newest practice, with its day where there are several."""
    last = report.last
    return last.headline if len(report.practices) == 1 else f"{last.when}: {last.headline}"


def heading_of(report: Report, words: str) -> str:
    """A section's heading, with the day of the practice that it is of where there are several."""
    return words if len(report.practices) == 1 else f"{words}, {report.last.when}"
