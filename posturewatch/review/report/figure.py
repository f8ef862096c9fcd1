"""Drawings as plain shapes, so that the page and the paper show the same: SVG here, PDF in `pdf`.

Lengths in points, x right, y down. Greys and hatchings are told apart in black and white, too.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from html import escape
from typing import Literal

__all__ = ["FILLS", "Box", "Figure", "Fill", "Line", "Shape", "Text", "Wedge", "hatching", "svg"]

#: Kinds of fill, which are the states of a hand, and the paper.
Fill = Literal["in comfort", "unsure", "past comfort", "extreme", "partly seen", "not seen", "fan", "none"]

#: Colour, and how far apart the lines of its hatching are (points; 0: none) and which way they lean. Lightness falls
#: from comfort outwards: on paper without colour it goes from nearly white to nearly black.
FILLS: dict[Fill, tuple[str, float, int]] = {
    "in comfort": ("#d9efe6", 0.0, 1),
    "unsure": ("#ffffff", 2.6, 1),
    "past comfort": ("#f0a63c", 0.0, 1),
    "extreme": ("#8c1d18", 0.0, 1),
    "partly seen": ("#ffffff", 5.2, -1),
    "not seen": ("#ffffff", 0.0, 1),
    "fan": ("#c9d3dc", 0.0, 1),
    "none": ("#ffffff", 0.0, 1),
}

INK = "#1b2430"
_HATCH = "#6b7683"


@dataclass(frozen=True)
class Box:
    """A filled rectangle with an outline."""

    x: float
    y: float
    width: float
    height: float
    fill: Fill
    outlined: bool = True


@dataclass(frozen=True)
class Line:
    """A straight line; dash: length of dashes, 0 for none."""

    x1: float
    y1: float
    x2: float
    y2: float
    width: float = 0.8
    dash: float = 0.0
    colour: str = INK


@dataclass(frozen=True)
class Text:
    """A line of text; y of its base line."""

    x: float
    y: float
    text: str
    size: float = 7.5
    anchor: Literal["start", "middle", "end"] = "start"
    bold: bool = False


@dataclass(frozen=True)
class Wedge:
    """A part of a disc between two directions, degrees anticlockwise from the right."""

    x: float
    y: float
    radius: float
    from_deg: float
    to_deg: float
    fill: Fill

    def points(self) -> list[tuple[float, float]]:
        """Its outline."""
        steps = max(2, int(abs(self.to_deg - self.from_deg) / 3) + 1)
        arc = [
            math.radians(self.from_deg + (self.to_deg - self.from_deg) * k / (steps - 1))
            for k in range(steps)
        ]
        return [
            (self.x, self.y),
            *((self.x + self.radius * math.cos(one), self.y - self.radius * math.sin(one)) for one in arc),
        ]


Shape = Box | Line | Text | Wedge


@dataclass
class Figure:
    """Shapes on a surface; about: what it shows, for those who cannot see it."""

    width: float
    height: float
    about: str
    shapes: list[Shape] = field(default_factory=list)

    def add(self, *shapes: Shape) -> None:
        """On top of what is there."""
        self.shapes += shapes


def hatching(box: Box) -> list[Line]:
    """The lines of a box's hatching, at 45 degrees, inside it; none for a plain fill."""
    _, step, leaning = FILLS[box.fill]
    if step <= 0 or box.width <= 0:
        return []
    lines = []
    # Anchored to the drawing, not the box: neighbours of one kind look like one.
    low, high, top, bottom = box.x, box.x + box.width, box.y, box.y + box.height
    across = step * math.sqrt(2)
    for count in range(math.floor((low - bottom) / across), math.ceil((high + bottom) / across) + 1):
        line = _clipped(count * across, leaning, low, high, top, bottom)
        if line is not None:
            lines.append(line)
    return lines


def _clipped(offset: float, leaning: int, low: float, high: float, top: float, bottom: float) -> Line | None:
    """The line x = offset + leaning * y inside the box."""
    at_low, at_high = sorted(((low - offset) / leaning, (high - offset) / leaning))
    y1, y2 = max(top, at_low), min(bottom, at_high)
    if y2 - y1 < 1e-6:
        return None
    return Line(offset + leaning * y1, y1, offset + leaning * y2, y2, 0.5, colour=_HATCH)


def svg(figure: Figure) -> str:
    """The drawing as an SVG element that needs nothing else."""
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {figure.width:g} {figure.height:g}" '
        f'width="{figure.width:g}pt" role="img" aria-label="{escape(figure.about, quote=True)}" '
        'font-family="system-ui, sans-serif">'
    ]
    for shape in figure.shapes:
        parts += _svg(shape)
    return "".join([*parts, "</svg>"])


def _svg(shape: Shape) -> list[str]:
    if isinstance(shape, Box):
        outline = f' stroke="{INK}" stroke-width="0.5"' if shape.outlined else ""
        rect = f'<rect x="{shape.x:.2f}" y="{shape.y:.2f}" width="{shape.width:.2f}" height="{shape.height:.2f}" '
        inside = [one for line in hatching(shape) for one in _svg(line)]
        return [
            f'{rect}fill="{FILLS[shape.fill][0]}"/>',
            *inside,
            *([f'{rect}fill="none"{outline}/>'] if outline else []),
        ]
    if isinstance(shape, Line):
        dash = f' stroke-dasharray="{shape.dash:g}"' if shape.dash else ""
        return [
            f'<line x1="{shape.x1:.2f}" y1="{shape.y1:.2f}" x2="{shape.x2:.2f}" y2="{shape.y2:.2f}" '
            f'stroke="{shape.colour}" stroke-width="{shape.width:g}"{dash}/>'
        ]
    if isinstance(shape, Wedge):
        points = " ".join(f"{x:.2f},{y:.2f}" for x, y in shape.points())
        return [f'<polygon points="{points}" fill="{FILLS[shape.fill][0]}"/>']
    bold = ' font-weight="700"' if shape.bold else ""
    return [
        f'<text x="{shape.x:.2f}" y="{shape.y:.2f}" font-size="{shape.size:g}" text-anchor="{shape.anchor}" '
        f'fill="{INK}"{bold}>{escape(shape.text)}</text>'
    ]
