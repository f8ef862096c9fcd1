"""Type and drawings on paper, as the PDF library has them: the one place of its shapes and fonts."""

from __future__ import annotations

import importlib.util
from functools import cache
from pathlib import Path
from typing import Any

from posturewatch.errors import UnavailableError
from posturewatch.review.report.figure import FILLS, INK, Box, Figure, Line, Shape, Text, Wedge, hatching

__all__ = ["BOLD", "PLAIN", "drawing", "printable", "register_fonts"]

PLAIN, BOLD = "ReportPlain", "ReportBold"


@cache
def register_fonts() -> frozenset[int]:
    """The characters that the font has. It comes with the plotting library that mediapipe needs, and is put into the
    file: Czech and Polish names are in none of the fonts that every reader has."""
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    found = importlib.util.find_spec("matplotlib")
    folder = Path(str(found.origin)).parent / "mpl-data" / "fonts" / "ttf" if found is not None else Path()
    try:
        plain = TTFont(PLAIN, str(folder / "DejaVuSans.ttf"))
        pdfmetrics.registerFont(plain)
        pdfmetrics.registerFont(TTFont(BOLD, str(folder / "DejaVuSans-Bold.ttf")))
    # A missing file has an error of the library's own.
    except Exception as error:
        raise UnavailableError("The font for PDF files is missing; install posturewatch again.") from error
    pdfmetrics.registerFontFamily(PLAIN, normal=PLAIN, bold=BOLD, italic=PLAIN, boldItalic=BOLD)
    return frozenset(plain.face.charToGlyph)


def printable(text: str) -> str:
    """Without what the font lacks (emoji, for instance)."""
    known = register_fonts()
    return "".join(one if ord(one) in known or one.isspace() else "□" for one in text)


def drawing(figure: Figure) -> Any:
    """The figure as the library draws it, with y up."""
    from reportlab.graphics.shapes import Drawing

    drawing = Drawing(figure.width, figure.height)
    for shape in figure.shapes:
        for one in _shapes(shape, figure.height):
            drawing.add(one)
    return drawing


def _shapes(shape: Shape, height: float) -> list[Any]:
    from reportlab.graphics import shapes
    from reportlab.lib.colors import HexColor

    if isinstance(shape, Box):
        place = (shape.x, height - shape.y - shape.height, shape.width, shape.height)
        outline = (
            {"strokeColor": HexColor(INK), "strokeWidth": 0.5} if shape.outlined else {"strokeColor": None}
        )
        return [
            shapes.Rect(*place, fillColor=HexColor(FILLS[shape.fill][0]), strokeColor=None),
            *(each for line in hatching(shape) for each in _shapes(line, height)),
            *([shapes.Rect(*place, fillColor=None, **outline)] if shape.outlined else []),
        ]
    if isinstance(shape, Line):
        dash = [shape.dash, shape.dash] if shape.dash else None
        return [
            shapes.Line(
                shape.x1, height - shape.y1, shape.x2, height - shape.y2,
                strokeColor=HexColor(shape.colour), strokeWidth=shape.width, strokeDashArray=dash,
            )
        ]  # fmt: skip
    if isinstance(shape, Wedge):
        points = [number for x, y in shape.points() for number in (x, height - y)]
        return [shapes.Polygon(points, fillColor=HexColor(FILLS[shape.fill][0]), strokeColor=None)]
    assert isinstance(shape, Text)
    return [
        shapes.String(
            shape.x, height - shape.y, printable(shape.text), fontName=BOLD if shape.bold else PLAIN,
            fontSize=shape.size, textAnchor=shape.anchor, fillColor=HexColor(INK),
        )
    ]  # fmt: skip
