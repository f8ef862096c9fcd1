"""A report as one web page that needs nothing else: no script, no font, no address."""

from __future__ import annotations

import base64
from collections.abc import Iterable, Sequence
from html import escape

from posturewatch.review.report.charts import dial, legend, state_bar, timeline, trend_chart
from posturewatch.review.report.content import STATES, Hand, Moment, Report
from posturewatch.review.report.figure import svg
from posturewatch.review.report.language import say, spoken
from posturewatch.review.report.phrases import (
    CAUTIONS,
    COLUMNS_MEAN,
    IF_IT_HURTS,
    ISB,
    NOTHING_HELD,
    NOTHING_TOLD,
    PICTURED,
    STATES_MEAN,
    WARNING_MEANS,
    drawn_text,
    duration,
    how_sure,
    moment_text,
    moment_when,
    percent,
    title,
)
from posturewatch.review.report.rows import (
    ANGLE_HEAD,
    angle_rows,
    facts,
    felt_before_and_after,
    heading_of,
    headline_of,
    noted,
    passage_name,
    past_a_limit,
    state_rows,
)

__all__ = ["report_html"]

_STYLE = """
:root { color-scheme: light; }
body { font: 15px/1.45 system-ui, sans-serif; color: #1b2430; background: #fff; max-width: 56rem; margin: 1.5rem auto;
  padding: 0 1rem; }
h1 { font-size: 1.5rem; margin: 0 0 .2rem; } h2 { font-size: 1.1rem; margin: 1.6rem 0 .4rem; }
p { margin: .3rem 0; } .small, figcaption { font-size: .85rem; color: #44505c; }
.finding { font-size: 1.15rem; border-left: 5px solid #1b2430; padding: .3rem .8rem; margin: .8rem 0; }
.finding p:first-child { font-weight: 700; }
table { border-collapse: collapse; width: 100%; font-size: .88rem; margin: .4rem 0; }
th, td { text-align: left; padding: .25rem .5rem; border-bottom: 1px solid #c5cdd4; vertical-align: top; }
td.number, th.number { text-align: right; white-space: nowrap; }
.scroll { overflow-x: auto; }
svg { max-width: 100%; height: auto; display: block; overflow: visible; }
.moments { display: grid; grid-template-columns: repeat(auto-fit, minmax(16rem, 1fr)); gap: 1rem; }
figure { margin: 0; border: 1px solid #c5cdd4; padding: .6rem; break-inside: avoid; }
figure img, figure video { width: 100%; height: auto; display: block; margin-bottom: .4rem; }
.notes { height: 14rem; border: 1px solid #6b7683; margin: .5rem 0;
  background: repeating-linear-gradient(#fff 0 2.2rem, #c5cdd4 2.2rem calc(2.2rem + 1px)); }
@media print { body { margin: 0; max-width: none; font-size: 11px; } video { display: none; }
  h2 { break-after: avoid; } }
"""


def report_html(report: Report) -> str:
    """The whole page."""
    parts = [_head(report), _finding(report)]
    if len(report.practices) > 1:
        parts.append(_practices(report))
    parts += [_timelines(report), _moments(report), _passages(report), _angles(report), _trends(report)]
    parts += [_felt(report), _notes(), _limits(report), _reading(report)]
    return (
        f'<!doctype html>\n<html lang="{spoken()}"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{escape(title(report))}</title><style>{_STYLE}</style></head>\n<body>"
        + "\n".join(part for part in parts if part)
        + "</body></html>\n"
    )


def _p(text: str, kind: str = "") -> str:
    return f"<p{f' class={kind!r}' if kind else ''}>{escape(text)}</p>" if text else ""


def _section(heading: str, *parts: str) -> str:
    return f"<section><h2>{escape(heading)}</h2>{''.join(parts)}</section>"


def _table(head: Iterable[str], rows: Iterable[Iterable[str]]) -> str:
    """Cells are HTML already."""
    heads = "".join(f'<th scope="col">{escape(one)}</th>' for one in head)
    body = "".join("<tr>" + "".join(f"<td>{cell}</td>" for cell in row) + "</tr>" for row in rows)
    return f'<div class="scroll"><table><thead><tr>{heads}</tr></thead><tbody>{body}</tbody></table></div>'


def _head(report: Report) -> str:
    made = say(
        "Measured with posturewatch {version}, report of {day}.",
        version=report.last.program_version,
        day=report.made_on,
    )
    if any(one.picture for one in report.moments):
        made += " " + say(PICTURED)
    return f"<header><h1>{escape(title(report))}</h1>{_p(facts(report))}{_p(made, 'small')}</header>"


def _finding(report: Report) -> str:
    practice = report.last
    return (
        f'<div class="finding">{_p(headline_of(report))}{_p(practice.finding)}</div>'
        + _p(practice.view)
        + "".join(_p(one) for one in practice.damage)
    )


def _practices(report: Report) -> str:
    rows = []
    for one in report.practices:
        hand = one.watched
        bar = "" if hand is None else svg(state_bar(hand.states_s, hand.total_s, 150))
        rows.append(
            [escape(one.when), duration(one.watched_s), escape(one.headline), bar, felt_before_and_after(one)]
        )
    return _section(
        say("The practices"),
        _table(
            [
                say("When"),
                say("Length"),
                say("In short"),
                say("{hand} by state", hand=_watched_label(report)),
                say("Discomfort, 0–10"),
            ],
            rows,
        ),
        svg(legend(480)),
    )


def _watched_label(report: Report) -> str:
    hand = report.last.watched
    return say("hand") if hand is None else hand.label


def _timelines(report: Report) -> str:
    practice = report.last
    if not any(hand.timeline for hand in practice.hands):
        return ""
    return _section(
        say("The practice of {when} from beginning to end", when=practice.when),
        svg(timeline(practice, 640)),
        svg(legend(480)),
        _p((say(WARNING_MEANS) + " " if practice.warned_s else "") + say(STATES_MEAN), "small"),
        _states(practice.hands),
    )


def _states(hands: Sequence[Hand]) -> str:
    return _table([say("Share of the time"), *(say(one) for one in STATES)], _escaped(state_rows(hands)))


def _angles(report: Report) -> str:
    return _section(
        heading_of(report, say("Wrist angles")),
        _table([say(one) for one in ANGLE_HEAD], _escaped(angle_rows(report.last.hands))),
        _p(say(ISB), "small"),
        _p(say(COLUMNS_MEAN), "small"),
    )


def _escaped(rows: Iterable[Iterable[str]]) -> list[list[str]]:
    return [[escape(cell) for cell in row] for row in rows]


def _passages(report: Report) -> str:
    if not report.passages:
        return ""
    several = len(report.practices) > 1
    rows = []
    for row in report.passages:
        bars = [
            svg(state_bar(row.states_s[hand.side], sum(row.states_s[hand.side].values()), 130))
            if hand.side in row.states_s
            else "–"
            for hand in report.last.hands
        ]
        rows.append(
            [
                escape(passage_name(row, dated=several)),
                duration(row.played_s),
                percent(row.measured_share),
                *bars,
                escape(past_a_limit(row.states_s, report.last.hands)),
            ]
        )
    return _section(
        say("By passage"),
        _table(
            [
                say("Passage"),
                say("Played"),
                say("Least measured"),
                *(hand.label for hand in report.last.hands),
                say("Past a limit"),
            ],
            rows,
        ),
        svg(legend(480)),
        _p(say("Least measured: in which share of it the angle that was seen worst had a number."), "small"),
    )


def _moments(report: Report) -> str:
    if not report.moments:
        return _section(say("Moments"), _p(say(NOTHING_TOLD if report.too_little else NOTHING_HELD)))
    level = report.moments[0].level
    return _section(
        say("Longest past the {limit}", limit=say(f"{level} limit")),
        '<div class="moments">'
        + "".join(_moment(one, moment_when(report, one)) for one in report.moments)
        + "</div>",
        _p(drawn_text(report.moments), "small"),
    )


def _moment(one: Moment, at: str) -> str:
    """at: when it was."""
    picture = _p(say("No picture of it was kept."), "small")
    if one.picture is not None:
        data = base64.b64encode(one.picture).decode()
        picture = f'<img alt="{escape(say("Picture at {at}", at=at))}" src="data:image/jpeg;base64,{data}">'
    film = ""
    if one.clip is not None:
        data = base64.b64encode(one.clip).decode()
        film = f'<video controls preload="metadata" src="data:video/mp4;base64,{data}"></video>'
    return (
        f"<figure>{picture}{film}{svg(dial(one, 210))}<figcaption><strong>{escape(at)}</strong><br>"
        f"{escape(f'{one.hand}: {one.words}')}<br>{escape(moment_text(one))}"
        f"{f'<br>{escape(one.passage)}' if one.passage else ''}</figcaption></figure>"
    )


def _trends(report: Report) -> str:
    if not report.trends:
        return ""
    return _section(
        say("Over the weeks"),
        *(
            _p(say("{what}, share of the measured time past the extreme limit", what=one.words))
            + svg(trend_chart(one, 420))
            for one in report.trends
        ),
        _p(say("Weeks with too little measured are left out."), "small"),
    )


def _felt(report: Report) -> str:
    lines = "".join(f"<li>{escape(one)}</li>" for one in noted(report))
    return _section(say("What the player noted"), f"<ul>{lines}</ul>") if lines else ""


def _notes() -> str:
    return _section(
        say("Notes"),
        '<div class="notes" contenteditable="true" role="textbox" aria-multiline="true" '
        f'aria-label="{escape(say("Notes"))}"></div>',
        _p(say("What is typed here stays only once this page is saved or printed."), "small"),
    )


def _limits(report: Report) -> str:
    rows = ([escape(one.limits), escape(one.source)] for one in report.sources)
    return _section(
        say("Limits used"),
        _p(f"{report.limits_label[:1].upper()}{report.limits_label[1:]}. {report.limits_about}"),
        _table([say("Limits"), say("Source")], rows),
    )


def _reading(report: Report) -> str:
    sentences = (how_sure(report.last.hands), *(say(one) for one in (*CAUTIONS, IF_IT_HURTS)))
    return _section(say("How to read this"), *(_p(one) for one in sentences))
