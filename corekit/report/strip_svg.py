"""The limit strip of an account on the page: as wide as its room, its values written at their dots.

Figures are drawn in pixels and scaled; this one is not, so that its words are as large as the reader's own
text. Places along the scale are shares of the width, heights are counted in the height of letters.
"""

from __future__ import annotations

from html import escape

import attrs

from ..model.figure import Strip
from .strip import strip_words
from .text import clean

_SIDE = 2.0  # per cent of the width left free at both ends of the scale, for half a dot
_BAND_TOP, _BAND = 0.15, 0.8  # em
_MIDDLE = _BAND_TOP + _BAND / 2
_UNDER = 1.9  # em down to the line that words under the scale stand on
#: How wide the narrowest phone's strip is, in em of its words, and a letter on the average; estimates of ours
#: for 320 pixels and 16-pixel letters.
_ROOM, _LETTER = 17.5, 0.54
_CLOSE = 5.0  # per cent: dots nearer than this stand one below the other
_APART = 0.22  # em, each then from the middle


@attrs.frozen(kw_only=True)
class _Point:
    """A reading on the strip: where it stands, in per cent, and what is written at it."""

    at: float
    low: float
    high: float
    words: str
    filled: bool
    beyond: int

    @property
    def anchor(self) -> str:
        """Words begin at a dot of the left third and end at one of the right, so that they stay inside while
        they take less than two thirds of the width.
        """
        return "start" if self.at < 100 / 3 else "end" if self.at > 200 / 3 else "middle"

    @property
    def extent(self) -> tuple[float, float]:
        """From where to where the words go in the narrowest room, in em."""
        long, at = len(self.words) * _LETTER, self.at / 100 * _ROOM
        start = at - long * {"start": 0.0, "middle": 0.5, "end": 1.0}[self.anchor]
        return start, start + long


def strip_svg(strip: Strip, key: str, *, name: str, before: str, now: str, class_name: str = "") -> str:
    """The strip as an `<svg>` element; `before` and `now` are what is written at its two dots.

    Without a reading before, `now` is written at the one dot there is. `class_name` is for the style sheet,
    beside its own.
    """
    points = []
    if strip.before is not None:
        points.append(_point(strip, strip.before, strip.before_uncertainty, clean(before), filled=False))
    points.append(_point(strip, strip.reading, strip.uncertainty, clean(now), filled=True))
    lanes = "" if _are_clear(points) else " lanes"
    apart = _APART if len(points) == 2 and abs(points[0].at - points[1].at) < _CLOSE else 0.0
    title = escape(clean(name))
    told = escape(" ".join(filter(None, (_description(points), strip_words(strip)))))
    drawn = [*_span(strip), _line(_SIDE, 100 - _SIDE, _MIDDLE, 1)]
    if len(points) == 2 and not apart:
        drawn.append(_line(points[0].at, points[1].at, _MIDDLE, 1.5, ' stroke-dasharray="1.5 4"'))
    for point in points:
        drawn += _dot(point, _MIDDLE + (apart if point.filled else -apart))
    labels = [_label(point) for point in points]
    # Words above the scale move up alone where there are two lanes; everything else moves down.
    over = labels[:-1] if len(points) == 2 else []
    return (
        f'<svg class="limit-strip{class_name}{lanes}" role="img" aria-labelledby="{key}-t {key}-d">'
        f'<title id="{key}-t">{title}</title><desc id="{key}-d">{told}</desc>'
        f'<g class="scale">{"".join(drawn)}{labels[-1]}</g>{"".join(over)}</svg>'
    )


def _point(strip: Strip, value: float, uncertainty: float, words: str, *, filled: bool) -> _Point:
    return _Point(
        at=_place(strip, value),
        low=_place(strip, value - uncertainty),
        high=_place(strip, value + uncertainty),
        words=words,
        filled=filled,
        beyond=-1 if value < strip.low_end else 1 if value > strip.high_end else 0,
    )


def _description(points: list[_Point]) -> str:
    written = ", ".join(point.words for point in points if point.words)
    return f"{written}." if written else ""


def _are_clear(points: list[_Point]) -> bool:
    """Whether the words at two dots stand clear of each other on one line of the narrowest phone."""
    if len(points) < 2 or not all(point.words for point in points):
        return True
    (_, first_end), (second_start, _) = sorted(point.extent for point in points)
    return first_end + 1.0 < second_start


def _place(strip: Strip, value: float) -> float:
    """Where a value stands, in per cent of the width; what lies beyond the scale stands at its end."""
    span = strip.high_end - strip.low_end
    share = min(1.0, max(0.0, (value - strip.low_end) / span)) if span > 0 else 0.5
    return _SIDE + share * (100 - 2 * _SIDE)


def _span(strip: Strip) -> list[str]:
    """The allowed span: shaded, an upright at each closed end; an open end runs to the edge."""
    if strip.allowed_low is None and strip.allowed_high is None:
        return []
    low = 0.0 if strip.allowed_low is None else _place(strip, strip.allowed_low)
    high = 100.0 if strip.allowed_high is None else _place(strip, strip.allowed_high)
    drawn = [
        f'<rect class="allowed" x="{low:.2f}%" y="{_BAND_TOP}em" width="{max(high - low, 0):.2f}%"'
        f' height="{_BAND}em" fill="currentColor" fill-opacity="0.16"/>'
    ]
    for end, at in ((strip.allowed_low, low), (strip.allowed_high, high)):
        if end is not None:
            drawn.append(
                f'<line x1="{at:.2f}%" x2="{at:.2f}%" y1="{_BAND_TOP - 0.1:.2f}em"'
                f' y2="{_BAND_TOP + _BAND + 0.1:.2f}em" stroke="currentColor" stroke-width="2"/>'
            )
    return drawn


def _line(start: float, end: float, height: float, weight: float, more: str = "") -> str:
    return (
        f'<line x1="{start:.2f}%" x2="{end:.2f}%" y1="{height:.2f}em" y2="{height:.2f}em"'
        f' stroke="currentColor" stroke-width="{weight:g}"{more}/>'
    )


def _dot(point: _Point, height: float) -> list[str]:
    """A dot with its uncertainty as a line; beyond the scale an arrow says so."""
    drawn = [_line(point.low, point.high, height, 2)] if point.high > point.low else []
    paint = (
        'fill="currentColor"'
        if point.filled
        else 'class="hollow" fill="#fff" stroke="currentColor" stroke-width="2"'
    )
    drawn.append(f'<circle cx="{point.at:.2f}%" cy="{height:.2f}em" r="0.34em" {paint}/>')
    if point.beyond:
        way, tip = point.beyond, 16 * point.beyond
        arrow = f"M{tip - 5 * way} -4L{tip} 0L{tip - 5 * way} 4M{6 * way} 0H{tip}"
        drawn.append(
            f'<svg x="{point.at:.2f}%" y="{height:.2f}em" overflow="visible"><path d="{arrow}" fill="none"'
            ' stroke="currentColor" stroke-width="1.5"/></svg>'
        )
    return drawn


def _label(point: _Point) -> str:
    if not point.words:
        return ""
    shift = {"start": "-0.3em", "middle": "0", "end": "0.3em"}[point.anchor]
    which = "now" if point.filled else "before"
    return (
        f'<text class="{which}" x="{point.at:.2f}%" dx="{shift}" y="{_UNDER}em" text-anchor="{point.anchor}"'
        f' fill="currentColor">{escape(point.words)}</text>'
    )
