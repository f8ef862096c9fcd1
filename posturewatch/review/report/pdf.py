"""A report on paper: A4 or Letter, one or two pages, to be read without colour, too."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from typing import Any, Literal
from xml.sax.saxutils import escape

from posturewatch.review.report.charts import dial, legend, state_bar, timeline, trend_chart
from posturewatch.review.report.content import STATES, Moment, Report
from posturewatch.review.report.figure import INK, Figure, Line
from posturewatch.review.report.language import say
from posturewatch.review.report.paper import BOLD, PLAIN, drawing, printable, register_fonts
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

__all__ = ["PAPERS", "Paper", "report_pdf"]

Paper = Literal["a4", "letter"]
PAPERS: tuple[Paper, ...] = ("a4", "letter")

MOST_PAGES = 2

#: What does not fit into two pages is set smaller, down to what can still be read at arm's length, and with fewer rows
#: of the tables that grow.
_SCALES = ((1.0, 10), (0.94, 10), (0.88, 8), (0.82, 6), (0.76, 4))

_MARGIN = 40.0
_SIZE = 8.6
_NOTES = 150.0


def report_pdf(report: Report, paper: Paper = "a4") -> bytes:
    """The report as a PDF file.

    Raises
    ------
    ValueError
        For an unknown paper.
    UnavailableError
        Where the font is missing.
    """
    if paper not in PAPERS:
        raise ValueError(f"paper is one of {PAPERS}, got {paper!r}")
    register_fonts()
    made = b""
    for scale, rows in _SCALES:
        made, pages = _set(report, paper, scale, rows)
        if pages <= MOST_PAGES:
            break
    return made


def _set(report: Report, paper: Paper, scale: float, rows: int) -> tuple[bytes, int]:
    """The file, and how many pages it has."""
    from reportlab.lib.pagesizes import A4, LETTER
    from reportlab.platypus import SimpleDocTemplate

    buffer = io.BytesIO()
    size = A4 if paper == "a4" else LETTER
    document = SimpleDocTemplate(
        buffer,
        pagesize=size,
        leftMargin=_MARGIN,
        rightMargin=_MARGIN,
        topMargin=_MARGIN * 0.8,
        bottomMargin=_MARGIN * 0.9,
        title=printable(title(report)),
        author=printable(report.who),
        creator="posturewatch",
    )
    foot = printable(
        f"posturewatch {report.last.program_version} · "
        + say(
            "session {ids} · report of {day}",
            ids=", ".join(one.id for one in report.practices[-3:]),
            day=report.made_on,
        )
    )

    def footer(canvas: Any, made: Any) -> None:
        canvas.setFont(PLAIN, 6.5)
        canvas.setFillColor(INK)
        canvas.drawString(_MARGIN, 18, foot)
        canvas.drawRightString(size[0] - _MARGIN, 18, say("page {number}", number=canvas.getPageNumber()))

    document.build(
        _Setter(size[0] - 2 * _MARGIN - 12, scale, rows).story(report),
        onFirstPage=footer,
        onLaterPages=footer,
    )
    return buffer.getvalue(), document.page


class _Setter:
    """Sets a report in type at a width in points, with so many rows in tables that grow."""

    def __init__(self, width: float, scale: float, rows: int) -> None:
        from reportlab.lib.styles import ParagraphStyle

        self._width = width
        self._scale = scale
        self._rows = rows

        def style(name: str, size: float, font: str = PLAIN, **more: Any) -> Any:
            size *= scale
            return ParagraphStyle(
                name, fontName=font, fontSize=size, leading=size * 1.28, textColor=INK, **more
            )

        self._styles = {
            "plain": style("plain", _SIZE, spaceAfter=2 * scale),
            "small": style("small", 7.2, spaceAfter=2 * scale),
            "cell": style("cell", 7.4),
            "head": style("head", 7.2, BOLD),
            "title": style("title", 15.0, BOLD, spaceAfter=2 * scale),
            "section": style("section", 10.2, BOLD, spaceBefore=7 * scale, spaceAfter=3 * scale),
            "finding": style("finding", 10.4, BOLD, spaceBefore=3 * scale, spaceAfter=1 * scale),
        }

    def story(self, report: Report) -> list[Any]:
        """All that stands in it, in order."""
        parts: list[Any] = self._head(report)
        if len(report.practices) > 1:
            parts += self._practices(report)
        for each in (self._timeline, self._moments, self._passages, self._angles, self._trends, self._felt):
            parts += each(report)
        return [*parts, *self._notes(), *self._limits(report), *self._reading(report)]

    def _p(self, text: str, kind: str = "plain") -> Any:
        from reportlab.platypus import Paragraph

        return Paragraph(escape(printable(text)), self._styles[kind])

    def _section(self, heading: str, *parts: Any) -> list[Any]:
        """The heading stays with what follows it."""
        from reportlab.platypus import KeepTogether

        first, *rest = parts
        return [KeepTogether([self._p(heading, "section"), first]), *rest]

    def _drawn(self, figure: Figure) -> Any:
        return drawing(figure)

    def _table(self, head: Sequence[str], rows: Sequence[Sequence[Any]], widths: Sequence[float]) -> Any:
        """widths: shares of the whole one. Cells are text or drawings."""
        from reportlab.platypus import Table

        whole = sum(widths)
        cells = [[self._p(one, "head") for one in head]] + [
            [self._p(one, "cell") if isinstance(one, str) else one for one in row] for row in rows
        ]
        pad = 1.6 * self._scale
        return Table(
            cells,
            colWidths=[self._width * one / whole for one in widths],
            repeatRows=1,
            style=[
                ("LINEBELOW", (0, 0), (-1, 0), 0.8, INK),
                ("LINEBELOW", (0, 1), (-1, -1), 0.25, "#9aa4ad"),
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("TOPPADDING", (0, 0), (-1, -1), pad),
                ("BOTTOMPADDING", (0, 0), (-1, -1), pad),
                ("LEFTPADDING", (0, 0), (-1, -1), 2),
                ("RIGHTPADDING", (0, 0), (-1, -1), 3),
            ],
        )

    def _head(self, report: Report) -> list[Any]:
        last = report.last
        return [
            self._p(title(report), "title"),
            self._p(facts(report)),
            *([self._p(say(PICTURED), "small")] if any(one.picture for one in report.moments) else []),
            self._p(headline_of(report), "finding"),
            self._p(last.finding, "finding"),
            self._p(last.view),
            *(self._p(one) for one in last.damage),
        ]

    def _practices(self, report: Report) -> list[Any]:
        rows = []
        for one in report.practices[-self._rows :]:
            hand = one.watched
            bar = (
                "" if hand is None else self._drawn(state_bar(hand.states_s, hand.total_s, self._width * 0.2))
            )
            felt = felt_before_and_after(one)
            rows.append([one.when, duration(one.watched_s), one.headline, bar, felt])
        hand = report.last.watched
        label = say("hand") if hand is None else hand.label
        head = [say("When"), say("Length"), say("In short"), label, say("Discomfort")]
        return self._section(say("The practices"), self._table(head, rows, [20, 9, 40, 21, 12]))

    def _timeline(self, report: Report) -> list[Any]:
        last = report.last
        if not any(hand.timeline for hand in last.hands):
            return []
        return self._section(
            heading_of(report, say("From beginning to end")),
            self._drawn(timeline(last, self._width)),
            self._drawn(legend(self._width * 0.96)),
            self._p((say(WARNING_MEANS) + " " if last.warned_s else "") + say(STATES_MEAN), "small"),
            self._table(
                [say("Share of the time"), *(say(one) for one in STATES)],
                state_rows(last.hands),
                [24, *([13] * len(STATES))],
            ),
        )

    def _angles(self, report: Report) -> list[Any]:
        return self._section(
            heading_of(report, say("Wrist angles")),
            self._table(
                [say(one) for one in ANGLE_HEAD],
                angle_rows(report.last.hands),
                [16, 11.5, 15, 20, 12, 11.5, 11.5, 8, 10],
            ),
            self._p(
                f"{say(ISB)} " + say(COLUMNS_MEAN),
                "small",
            ),
        )

    def _passages(self, report: Report) -> list[Any]:
        if not report.passages:
            return []
        several = len(report.practices) > 1
        hands = report.last.hands
        rows = []
        for row in report.passages[-self._rows :]:
            bars = [self._bar(row.states_s.get(hand.side, {})) for hand in hands]
            past = past_a_limit(row.states_s, hands)
            name = passage_name(row, dated=several)
            rows.append([name, duration(row.played_s), percent(row.measured_share), *bars, past])
        head = [say(one) for one in ("Passage", "Played", "Least measured")]
        head += [*(hand.label for hand in hands), say("Past a limit")]
        left = len(report.passages) - len(rows)
        more = (
            [self._p(say("{count} more are in the web page's report.", count=left), "small")] if left else []
        )
        widths = [26, 9, 9, *([19] * len(hands)), 18]
        about = self._p(
            say("Least measured: in which share of it the angle that was seen worst had a number."), "small"
        )
        return [*self._section(say("By passage"), self._table(head, rows, widths), about), *more]

    def _bar(self, states_s: Mapping[str, float]) -> Any:
        total_s = sum(states_s.values())
        return self._drawn(state_bar(states_s, total_s, self._width * 0.17)) if total_s > 0 else "–"

    def _moments(self, report: Report) -> list[Any]:
        from reportlab.platypus import Table

        if not report.moments:
            return self._section(
                say("Moments"), self._p(say(NOTHING_TOLD if report.too_little else NOTHING_HELD))
            )
        each = self._width / max(2, len(report.moments))
        cells = [self._moment(one, moment_when(report, one), each - 8) for one in report.moments]
        table = Table(
            [cells],
            colWidths=[each] * len(cells),
            hAlign="LEFT",
            style=[("VALIGN", (0, 0), (-1, -1), "TOP"), ("LEFTPADDING", (0, 0), (-1, -1), 0)],
        )
        heading = say("Longest past the {limit}", limit=say(f"{report.moments[0].level} limit"))
        about = drawn_text(report.moments)
        return self._section(heading, table, self._p(about, "small"))

    def _moment(self, one: Moment, when: str, width: float) -> list[Any]:
        from reportlab.lib.utils import ImageReader
        from reportlab.platypus import Image

        shown: list[Any] = []
        if one.picture is None:
            shown.append(self._p(say("No picture of it was kept."), "small"))
        else:
            wide, high = ImageReader(io.BytesIO(one.picture)).getSize()
            # An upright film would take half a page.
            scale = min(width / wide, 130.0 * self._scale / high)
            shown.append(Image(io.BytesIO(one.picture), wide * scale, high * scale, hAlign="LEFT"))
        said = f"{one.hand}: {one.words}. {moment_text(one)}" + (f" {one.passage}." if one.passage else "")
        return [
            *shown,
            self._drawn(dial(one, min(width, 165.0 * self._scale))),
            self._p(when, "head"),
            self._p(said, "cell"),
        ]

    def _trends(self, report: Report) -> list[Any]:
        from reportlab.platypus import Table

        if not report.trends:
            return []
        each = self._width / 2
        charts = [
            [
                self._p(say("{what}, share of the measured time", what=one.words), "cell"),
                self._drawn(trend_chart(one, each - 12, 56.0)),
            ]
            for one in report.trends[:2]
        ]
        return self._section(
            say("Over the weeks: past the extreme limit"),
            Table(
                [charts],
                colWidths=[each] * len(charts),
                hAlign="LEFT",
                style=[("LEFTPADDING", (0, 0), (-1, -1), 0)],
            ),
        )

    def _felt(self, report: Report) -> list[Any]:
        lines = noted(report)
        return (
            self._section(say("What the player noted"), *(self._p(one) for one in lines[: self._rows]))
            if lines
            else []
        )

    def _notes(self) -> list[Any]:
        height, step = _NOTES * self._scale, 18.0
        figure = Figure(self._width, height, say("room for notes"))
        figure.add(*(Line(0, y, self._width, y, 0.4, 1.0) for y in _steps(step, height, step)))
        return self._section(say("Notes"), self._drawn(figure))

    def _limits(self, report: Report) -> list[Any]:
        label = report.limits_label
        said = [f"{label[:1].upper()}{label[1:]}. {report.limits_about}"]
        said += [f"{one.limits}: {one.source}." for one in report.sources]
        return self._section(say("Limits used"), *(self._p(one, "small") for one in said))

    def _reading(self, report: Report) -> list[Any]:
        sentences = (how_sure(report.last.hands), *(say(one) for one in (*CAUTIONS, IF_IT_HURTS)))
        return self._section(say("How to read this"), *(self._p(one, "small") for one in sentences))


def _steps(first: float, end: float, step: float) -> list[float]:
    return [first + step * place for place in range(int((end - first) / step) + 1)]
