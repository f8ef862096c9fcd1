"""The drawings of a report: states over time, bars of states, the angle at a moment, trends."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping, Sequence
from typing import cast

from posturewatch.comfort.exceedance import INTERVAL_SD
from posturewatch.review.report.content import STATES, Moment, Practice, Trend
from posturewatch.review.report.figure import Box, Figure, Fill, Line, Text, Wedge
from posturewatch.review.report.language import say, short_day
from posturewatch.review.report.phrases import angle_text, clock, percent, signed

__all__ = ["dial", "legend", "state_bar", "timeline", "trend_chart"]

_ROW = 15.0
_LABEL = 96.0
_AXIS_STEPS_S = (1, 2, 5, 10, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200)

#: From comfort upwards, as a pile whose dark top is what matters.
_PILE = ("in comfort", "unsure", "past comfort", "extreme", "partly seen", "not seen")


def state_bar(states_s: Mapping[str, float], total_s: float, width: float, height: float = 11.0) -> Figure:
    """One bar of all the time, by state."""
    said = ", ".join(
        f"{say(name)} {percent(states_s[name] / total_s)}"
        for name in STATES
        if states_s.get(name) and total_s
    )
    figure = Figure(width, height, said or say("nothing was recorded"))
    x = 0.5
    for name in STATES:
        long = (width - 1.0) * states_s.get(name, 0.0) / total_s if total_s > 0 else 0.0
        if long > 0:
            figure.add(Box(x, 0.5, long, height - 1.0, cast(Fill, name)))
        x += long
    return figure


def legend(width: float) -> Figure:
    """What the fills mean."""
    figure = Figure(width, 13.0, say("fills: {names}", names=", ".join(say(one) for one in STATES)))
    step = width / len(STATES)
    for place, name in enumerate(STATES):
        figure.add(
            Box(place * step + 0.5, 2.0, 14.0, 9.0, cast(Fill, name)),
            Text(place * step + 18.0, 9.4, say(name)),
        )
    return figure


def timeline(practice: Practice, width: float) -> Figure:
    """Both hands from the beginning to the end, with warnings above."""
    hands = [hand for hand in practice.hands if hand.timeline]
    height = 12.0 + (_ROW + 8.0) * len(hands) + 16.0
    figure = Figure(
        width, height, say("states of both hands over the practice of {when}", when=practice.when)
    )
    span = width - _LABEL - 4.0
    end_s = max(practice.duration_s, 0.001)
    y = 12.0
    for hand in hands:
        figure.add(Text(0.0, y + _ROW - 4.5, hand.label))
        _bins(figure, hand.timeline, _LABEL, y, span)
        y += _ROW + 8.0
    for since_s in practice.warned_s:
        x = _LABEL + span * min(1.0, since_s / end_s)
        figure.add(Line(x, 4.0, x, y - 8.0, 1.1), Text(x, 6.5, "▼", 7.0, "middle"))
    _axis(figure, end_s, _LABEL, y - 6.0, span)
    return figure


def _bins(figure: Figure, shares: Mapping[str, Sequence[float]], x0: float, y0: float, width: float) -> None:
    count = max((len(one) for one in shares.values()), default=0)
    each = width / max(1, count)
    for place in range(count):
        y = y0 + _ROW
        for name in _PILE:
            high = _ROW * (shares[name][place] if name in shares else 0.0)
            if high > 0.01:
                y -= high
                figure.add(Box(x0 + place * each, y, each, high, cast(Fill, name), outlined=False))
    figure.add(
        Line(x0, y0, x0 + width, y0, 0.5),
        Line(x0, y0 + _ROW, x0 + width, y0 + _ROW, 0.5),
        Line(x0, y0, x0, y0 + _ROW, 0.5),
        Line(x0 + width, y0, x0 + width, y0 + _ROW, 0.5),
    )


def _axis(figure: Figure, end_s: float, x0: float, y: float, width: float) -> None:
    step = next((one for one in _AXIS_STEPS_S if end_s / one <= 9), 4 * 3600)
    at = 0.0
    while at <= end_s:
        x = x0 + width * at / end_s
        figure.add(Line(x, y, x, y + 3.0, 0.5), Text(x, y + 11.0, clock(at), 7.0, "middle"))
        at += step


def dial(moment: Moment, size: float) -> Figure:
    """The angle at its peak: forearm and hand thick, straight on in dashes, the 90 % interval as a fan, the comfort
    limit dotted and the extreme one solid, both thin: told apart without colour, and each with its name."""
    # Flexion and ulnar deviation bend down in the drawing, whichever hand it is.
    sign = 1.0 if moment.value >= 0 else -1.0
    height, reach, x = size * 0.62, size * 0.36, size * 0.37
    y = size * 0.10 if sign > 0 else size * 0.47
    figure = Figure(
        size,
        height,
        say(
            "{angle} of {value}, {words}, extreme limit {limit}",
            angle=moment.label,
            value=signed(moment.value),
            words=moment.words,
            limit=angle_text(moment.extreme),
        ),
    )
    if moment.sd is not None:
        half = INTERVAL_SD * moment.sd
        figure.add(Wedge(x, y, reach, half - moment.value, -half - moment.value, "fan"))
    figure.add(Line(x, y, x + reach, y, 0.7, 2.5), Text(x + reach + 3.0, y + 2.0, say("straight"), 6.0))
    for limit, name in ((moment.comfort, "comfort"), (moment.extreme, "extreme")):
        if limit is not None:
            far_x, far_y = _towards(x, y, reach * 0.97, -sign * limit)
            # Apart from each other where both limits are close.
            name_x, name_y = _towards(
                x, y, reach + 3.0, -sign * (limit + (-4.5 if name == "comfort" else 0.5))
            )
            figure.add(
                Line(x, y, far_x, far_y, 0.9, 0.0 if name == "extreme" else 1.2),
                Text(name_x, name_y + 2.0, f"{say(name)} {angle_text(limit)}", 6.0),
            )
    said = f"{signed(moment.value)} {say(moment.direction)}"
    end_x, end_y = _towards(x, y, reach, -moment.value)
    figure.add(
        Line(x - size * 0.36, y, x, y, 5.0, colour="#44525f"),
        Line(x, y, end_x, end_y, 3.2, colour="#8c1d18"),
        Text(size * 0.04, y - 5.0 if sign < 0 else y + 10.0, say("forearm"), 6.5),
        Text(
            size * 0.04,
            height - 4.0 if sign > 0 else 10.0,
            said,
            9.0,
            bold=True,
        ),
    )
    return figure


def _towards(x: float, y: float, length: float, degrees: float) -> tuple[float, float]:
    return x + length * math.cos(math.radians(degrees)), y - length * math.sin(math.radians(degrees))


def trend_chart(trend: Trend, width: float, height: float = 62.0) -> Figure:
    """Share of the measured time past a limit, week by week; weeks with too little measured are left out."""
    figure = Figure(width, height, say("share of measured time by week: {what}", what=trend.words))
    left, bottom, top = 30.0, height - 13.0, 6.0
    shares = [one for _, one in trend.weeks if one is not None]
    most = max(0.05, *shares)
    figure.add(
        Line(left, bottom, width - 4.0, bottom, 0.5),
        Text(left - 3.0, bottom + 2.0, "0 %", 6.5, "end"),
        Text(left - 3.0, top + 4.0, percent(most), 6.5, "end"),
    )
    step = (width - left - 8.0) / max(1, len(trend.weeks))
    for place, (monday, share) in enumerate(trend.weeks):
        x = left + step * (place + 0.15)
        if share is not None:
            high = max(0.6, (bottom - top) * share / most)
            figure.add(Box(x, bottom - high, step * 0.7, high, "extreme"))
        day = dt.date.fromisoformat(monday)
        if len(trend.weeks) <= 8 or place % 2 == 0:
            figure.add(Text(x + step * 0.35, height - 3.5, short_day(day), 6.0, "middle"))
    return figure
