"""The limit strip: a thin scale, the allowed span on it, the reading as a full dot with its uncertainty,
before as a hollow dot.

It says where a reading lies without a colour, and reads the same in grey print.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache

import attrs

from ..model.figure import Band, Dot, Figure, Label, Mark, Polyline, Strip
from .wording import decimal_mark, wording

# A strip in its own units: 100 wide, points of print high. Everything on it is placed from these.
_WIDTH = 100.0
_HEIGHT = 19.0
_SIDE = 5.0  # left of the scale's start and right of its end: room for half a number, and for an open end
_LINE = 8.6  # the scale
_FOOT, _HEAD = 8.6, 16.8  # the band
_MIDDLE = (_FOOT + _HEAD) / 2  # where dots stand
_CLOSE, _LANE = 5.0, 2.2  # dots nearer than this stand on two lanes, this far above and below the middle
_EDGE_OVER = 1.6  # how far a closed end stands out of the band
_NUMBER = 5.8  # points, the scale's numbers
_NUMBER_AT = 0.9
_WIDE_NUMBER = 7.5  # the same on a wide scale
_WIDE_DOT = 1.2  # times the dot of a small strip
_BARE_FOOT = 0.6  # below the line of a scale without numbers
_SHARE_KEPT = 1 / 6  # of a common scale: what the narrowest strip on it keeps at least
_POINT_MM = 25.4 / 72

#: The room that a strip is drawn in on paper, in points: how many numbers fit is reckoned from it.
PAPER_ROOM = 120.0


def strip_figure(strip: Strip, name: str = "") -> Figure:
    """The strip as a Figure; `name` is what was measured, for the title."""
    marks = [
        *_scale_marks(strip, 0.0),
        *_tick_marks(strip, ticks(strip.low_end, strip.high_end), _NUMBER_AT, _NUMBER),
        *_dots(strip, _MIDDLE, 1.0),
    ]
    return _figure(strip, name, marks, _HEIGHT)


def _scale_marks(strip: Strip, cut: float) -> list[Mark]:
    """The allowed span and the line of the scale, in a figure whose foot is cut off."""
    line = _LINE - cut
    return [*_band(strip, cut), Polyline(((_SIDE, line), (_WIDTH - _SIDE, line)), weight=0.5)]


def _tick_marks(strip: Strip, numbers: Sequence[tuple[float, str]], at: float, size: float) -> list[Mark]:
    marks: list[Mark] = []
    for value, text in numbers:
        x = _place(strip, value)
        marks.append(Polyline(((x, _LINE), (x, _LINE - 1.8)), weight=0.5))
        marks.append(Label(x, at, text, size=size))
    return marks


def _dots(strip: Strip, middle: float, times: float) -> list[Mark]:
    """The dots about the height `middle`, so many times their size."""
    marks: list[Mark] = []
    # Two dots that would hide each other stand one below the other.
    apart = (
        0.0
        if strip.before is None or abs(_place(strip, strip.before) - _place(strip, strip.reading)) > _CLOSE
        else _LANE
    )
    if strip.before is not None:
        before = strip.before, strip.before_uncertainty
        marks += _dot(strip, before, middle - apart, filled=False, is_alone=not apart, times=times)
    now = strip.reading, strip.uncertainty
    marks += _dot(strip, now, middle + apart, filled=True, is_alone=not apart, times=times)
    return marks


def _figure(strip: Strip, name: str, marks: Sequence[Mark], height: float) -> Figure:
    words = wording()["strip"]
    return Figure(
        width=_WIDTH,
        height=height,
        height_mm=height * _POINT_MM,
        title=words["title"].format(name=name) if name else words["title"].replace("{name}", "").strip(),
        description=strip_words(strip),
        marks=tuple(marks),
    )


def scale_figure(strip: Strip, name: str, *, room: float, numbered: bool) -> Figure:
    """The strip as a wide scale, its values to be written above and below it: see `place_on`.

    Args:
        strip: What to show.
        name: What was measured, for the title.
        room: How wide it is drawn, in points.
        numbered: Whether round numbers stand below the scale.
    """
    cut = 0.0 if numbered else _LINE - _BARE_FOOT
    middle = _MIDDLE - cut
    marks = _scale_marks(strip, cut)
    if strip.before is not None and _place(strip, strip.before) != _place(strip, strip.reading):
        path = (_place(strip, strip.before), middle), (_place(strip, strip.reading), middle)
        marks.append(Polyline(path, weight=0.6, dashed=True))
    marks += _dots(strip, middle, _WIDE_DOT)
    if numbered:
        numbers = ticks(strip.low_end, strip.high_end, room, _WIDE_NUMBER)
        marks += _tick_marks(strip, numbers, _NUMBER_AT - 1.0, _WIDE_NUMBER)
    return _figure(strip, name, marks, _HEIGHT - cut)


def place_on(strip: Strip, value: float) -> float:
    """Where a value stands across a strip's picture, 0…1."""
    return _place(strip, value) / _WIDTH


def on_common_scales(strips: Sequence[Strip]) -> list[Strip]:
    """The strips in their order, those of one unit that can share a scale on the same one.

    Scales are shared as long as each keeps a sixth of the common one: else its dots would lie upon each
    other.
    """
    groups: list[tuple[str, float, float, float]] = []  # unit, both ends, the narrowest scale in it
    place: dict[int, int] = {}
    for nth in sorted(range(len(strips)), key=lambda nth: strips[nth].high_end - strips[nth].low_end):
        one = strips[nth]
        for at, (unit, low, high, least) in enumerate(groups):
            low, high = min(low, one.low_end), max(high, one.high_end)
            if unit == one.unit and (high - low) * _SHARE_KEPT <= least:
                groups[at] = unit, low, high, least
                place[nth] = at
                break
        else:
            place[nth] = len(groups)
            groups.append((one.unit, one.low_end, one.high_end, one.high_end - one.low_end))
    return [
        attrs.evolve(one, low_end=groups[place[nth]][1], high_end=groups[place[nth]][2])
        for nth, one in enumerate(strips)
    ]


def strip_words(strip: Strip) -> str:
    """Where the reading lies, in a sentence without numbers: the numbers stand beside every strip as text."""
    words = wording()["strip"]
    now = words[_where(strip, strip.reading, strip.uncertainty)]
    if strip.before is None:
        return words["reading"].format(where=now)
    return words["both"].format(
        before=words[_where(strip, strip.before, strip.before_uncertainty)], after=now
    )


def strip_text(strip: Strip, width: int = 40) -> str:
    """The strip in one line of characters: `[` and `]` are closed ends of the allowed span, `‹` and `›` open
    ones.

    Args:
        strip: What to show.
        width: Characters there are for the numbers at both ends and the scale between them; at least 24.
    """
    left, right = (number(end, _decimals(strip)) for end in (strip.low_end, strip.high_end))
    room = max(width, 24) - len(left) - len(right) - len(strip.unit) - 3
    scale = ["·"] * max(room, 10)
    last = len(scale) - 1

    def at(value: float) -> int:
        return round(_share(strip, value) * last)

    span = _span(strip)
    if span is not None:
        low, high = (at(end) for end in span)
        scale[low : high + 1] = "░" * (high + 1 - low)
        scale[low] = "‹" if strip.allowed_low is None else "["
        scale[high] = "›" if strip.allowed_high is None else "]"
    for value, uncertainty, dot in (
        (strip.before, strip.before_uncertainty, "○"),
        (strip.reading, strip.uncertainty, "●"),
    ):
        if value is None:
            continue
        for column in range(at(value - uncertainty), at(value + uncertainty) + 1):
            scale[column] = scale[column] if scale[column] in "[]‹›○" else "─"
        scale[at(value)] = dot
    return f"{left} {''.join(scale)} {right} {strip.unit}".rstrip()


@lru_cache(maxsize=512)  # scales of other papers have the same ends, whatever was read on them
def ticks(
    low: float, high: float, room: float = PAPER_ROOM, size: float = _NUMBER
) -> Sequence[tuple[float, str]]:
    """Round numbers on a scale from `low` to `high`, (number, as printed), as many as stand clear of each
    other in `room` points.
    """
    if not (math.isfinite(low) and math.isfinite(high) and low < high):
        return []
    best: list[tuple[float, str]] = []
    for wanted in (5, 4, 3, 2):
        best = _round_numbers(low, high, (high - low) / wanted)
        widest = max((len(text) for _, text in best), default=0) * size * 0.56
        apart = (
            (best[1][0] - best[0][0]) / (high - low) * room * (1 - 2 * _SIDE / _WIDTH)
            if len(best) > 1
            else math.inf
        )
        if len(best) >= 2 and widest + 5.0 <= apart:
            return best
    return best[:1] + best[-1:] if len(best) > 2 else best


def _round_numbers(low: float, high: float, wanted_step: float) -> list[tuple[float, str]]:
    power = 10.0 ** math.floor(math.log10(wanted_step))
    step = next(power * factor for factor in (1, 2, 5, 10) if power * factor >= wanted_step * 0.999999)
    decimals = max(0, -math.floor(math.log10(step) + 1e-9))
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return [(at * step, number(at * step, decimals)) for at in range(first, last + 1)]


def number(value: float, decimals: int) -> str:
    """A number on a scale, with a true minus sign and never a minus zero."""
    text = f"{abs(value):.{decimals}f}"
    sign = "−" if value < 0 and float(text) != 0 else ""
    return f"{sign}{text.replace('.', decimal_mark())}"


def _decimals(strip: Strip) -> int:
    span = strip.high_end - strip.low_end
    return max(0, 1 - math.floor(math.log10(span))) if span > 0 else 0


def _share(strip: Strip, value: float) -> float:
    """Where a value stands between the scale's ends, 0…1; what lies beyond an end stands at it."""
    if not strip.high_end > strip.low_end:
        return 0.5
    return min(1.0, max(0.0, (value - strip.low_end) / (strip.high_end - strip.low_end)))


def _place(strip: Strip, value: float) -> float:
    return _SIDE + _share(strip, value) * (_WIDTH - 2 * _SIDE)


def _span(strip: Strip) -> tuple[float, float] | None:
    """The allowed span as far as the scale goes; None without a limit."""
    if strip.allowed_low is None and strip.allowed_high is None:
        return None
    low = strip.low_end if strip.allowed_low is None else strip.allowed_low
    high = strip.high_end if strip.allowed_high is None else strip.allowed_high
    return low, high


def _band(strip: Strip, cut: float) -> list[Mark]:
    span = _span(strip)
    if span is None:
        return []
    low, high = (_place(strip, end) for end in span)
    foot, head, middle = _FOOT - cut, _HEAD - cut, _MIDDLE - cut
    marks: list[Mark] = [Band(low, foot, high, head, shade=0.17)]
    for x, is_open, outwards in (
        (low, strip.allowed_low is None, -1.0),
        (high, strip.allowed_high is None, 1.0),
    ):
        if is_open:  # an arrowhead beyond the scale: goes on
            tip = x + outwards * 3.4
            marks.append(
                Polyline(
                    ((x + outwards * 0.8, head - 1.4), (tip, middle), (x + outwards * 0.8, foot + 1.4)),
                    weight=0.9,
                )
            )
        else:
            marks.append(Polyline(((x, foot), (x, head + _EDGE_OVER)), weight=1.2))
    return marks


def _dot(
    strip: Strip, point: tuple[float, float], y: float, *, filled: bool, is_alone: bool, times: float
) -> list[Mark]:
    """A dot at height `y` for a (reading, uncertainty), smaller where another stands above or below it."""
    value, uncertainty = point
    x, weight = _place(strip, value), 1.0 if filled else 0.7
    marks: list[Mark] = []
    if uncertainty > 0:
        low, high = _place(strip, value - uncertainty), _place(strip, value + uncertainty)
        marks.append(Polyline(((low, y), (high, y)), weight=weight))
        marks += [Polyline(((end, y - 1.6), (end, y + 1.6)), weight=weight) for end in (low, high)]
    marks.append(Dot(x, y, filled=filled, size=(4.8 if is_alone else 4.0) * times))
    if value < strip.low_end or value > strip.high_end:  # beyond the scale: an arrow at its end says so
        outwards = -1.0 if value < strip.low_end else 1.0
        tip = x + outwards * 4.8
        marks.append(Polyline(((x + outwards * 2.4, y), (tip, y)), weight=1.0))
        marks.append(
            Polyline(((tip - outwards * 1.2, y + 1.6), (tip, y), (tip - outwards * 1.2, y - 1.6)), weight=1.0)
        )
    return marks


def _where(strip: Strip, value: float, uncertainty: float) -> str:
    low, high = strip.allowed_low, strip.allowed_high
    if low is None and high is None:
        return "bare"
    for end in (low, high):
        if end is not None and abs(value - end) < uncertainty:
            return "across"
    if low is not None and value < low:
        return "below"
    if high is not None and value > high:
        return "above"
    return "inside"
