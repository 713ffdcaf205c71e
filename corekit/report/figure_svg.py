"""Figures for the page: SVG with presentation attributes only, because the page's policy allows no styles of
their own.

They are drawn in the colour of the words around them; a hollow dot and the words in it have a class, by which
a dark page's style sheet gives them its own.
"""

from __future__ import annotations

from html import escape

from ..model.figure import Band, Dot, Figure, Label, Polyline
from .text import clean

# Pixels a point of print is worth on the page, so that what is smallest on paper (7 points) is 16 pixels high
# there.
_PIXELS = 16 / 7
_LEAST_TEXT = 16.0
_LETTER = 0.56  # width of a letter or digit as a share of its size, about
_GREY = "#4a4a4a"


def figure_svg(figure: Figure, key: str, width: float = 328.0, *, class_name: str = "figure") -> str:
    """The figure as an `<svg>` element that fills its parent's width.

    Args:
        figure: What to draw; its title and description go into `<title>` and `<desc>`.
        key: Tells this figure's ids apart from those of others on the page; letters, digits and hyphens.
        width: Pixels it is drawn for: at this width letters have the size they are meant to have.
        class_name: For the page's style sheet.
    """
    height = figure.height_mm * 72 / 25.4 * _PIXELS
    before, after = _overhang(figure, width)
    across, up = (width - before - after) / figure.width, height / figure.height

    def at(x: float, y: float) -> tuple[str, str]:
        return _svg_number(x * across), _svg_number(height - y * up)

    elements: list[str] = []
    for mark in figure.marks:
        if isinstance(mark, Band):
            x, y = at(mark.x0, mark.y1)
            wide, tall = (mark.x1 - mark.x0) * across, (mark.y1 - mark.y0) * up
            size = f'width="{_svg_number(wide)}" height="{_svg_number(tall)}"'
            elements.append(
                f'<rect x="{x}" y="{y}" {size} fill="currentColor" fill-opacity="{mark.shade:.3g}"/>'
            )
        elif isinstance(mark, Polyline):
            points = " ".join(",".join(at(x, y)) for x, y in mark.points)
            dashes = ' stroke-dasharray="5 4"' if mark.dashed else ""
            elements.append(
                f'<polyline points="{points}" fill="none" stroke="currentColor"'
                f' stroke-width="{_svg_number(mark.weight * _PIXELS * 0.8)}"{dashes}/>'
            )
        elif isinstance(mark, Dot):
            x, y = at(mark.x, mark.y)
            line = 2.0
            radius = mark.size / 2 * _PIXELS - (0 if mark.filled else line / 2)
            paint = (
                'fill="currentColor"'
                if mark.filled
                else f'class="hollow" fill="#fff" stroke="currentColor" stroke-width="{line:g}"'
            )
            elements.append(f'<circle cx="{x}" cy="{y}" r="{_svg_number(radius)}" {paint}/>')
        else:
            elements.append(_label(mark, *at(mark.x, mark.y)))
    view = f"{_svg_number(-before)} 0 {_svg_number(width)} {_svg_number(height)}"
    title, description = escape(clean(figure.title)), escape(clean(figure.description))
    return (
        f'<svg class="{class_name}" viewBox="{view}" role="img" aria-labelledby="{key}-t {key}-d">'
        f'<title id="{key}-t">{title}</title><desc id="{key}-d">{description}</desc>{"".join(elements)}</svg>'
    )


def _overhang(figure: Figure, width: float) -> tuple[float, float]:
    """How far words at the edges stand out to the left and to the right: the drawing makes room for them."""
    before, after = 0.0, 0.0
    for mark in figure.marks:
        if isinstance(mark, Label):
            long, at = len(mark.text) * _size(mark) * _LETTER, mark.x / figure.width * width
            start = at - long * {"start": 0.0, "middle": 0.5, "end": 1.0}[mark.anchor]
            before, after = max(before, -start), max(after, start + long - width)
    return min(before, width / 4), min(after, width / 4)


def _label(label: Label, x: str, y: str) -> str:
    return (
        f'<text x="{x}" y="{y}" class="words" font-size="{_svg_number(_size(label))}"'
        f' text-anchor="{label.anchor}" fill="{_GREY}">{escape(clean(label.text))}</text>'
    )


def _size(label: Label) -> float:
    return max(_LEAST_TEXT, label.size * _PIXELS)


def _svg_number(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0")
