"""Limit strips and figures: what they show, and that they are drawn for everybody."""

from __future__ import annotations

from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from corekit.model.figure import Band, Dot, Figure, Label, Polyline, Strip
from corekit.report.figure_svg import figure_svg
from corekit.report.strip import number, strip_figure, strip_text, strip_words, ticks

from .documents import figures, strips

SVG = "{http://www.w3.org/2000/svg}"


def load(**change: float | None) -> Strip:
    return Strip(
        **{
            "unit": "V",
            "low_end": 7.0,
            "high_end": 12.0,
            "allowed_low": 9.6,
            "reading": 10.3,
            "uncertainty": 0.2,
            **change,
        }
    )  # type: ignore[arg-type]


def dots(strip: Strip) -> list[Dot]:
    return [mark for mark in strip_figure(strip).marks if isinstance(mark, Dot)]


def bands(strip: Strip) -> list[Band]:
    return [mark for mark in strip_figure(strip).marks if isinstance(mark, Band)]


def test_the_reading_is_a_full_dot_and_before_a_hollow_one() -> None:
    assert [(dot.filled, round(dot.x, 1)) for dot in dots(load(before=8.4))] == [(False, 30.2), (True, 64.4)]
    assert [dot.filled for dot in dots(load())] == [True]


@given(strips())
def test_a_higher_reading_never_stands_further_left(strip: Strip) -> None:
    *_, dot = dots(strip)
    places = [label.x for label in strip_figure(strip).marks if isinstance(label, Label)]
    assert places == sorted(places)
    for at, text in ticks(strip.low_end, strip.high_end):
        label = next(
            mark for mark in strip_figure(strip).marks if isinstance(mark, Label) and mark.text == text
        )
        assert (label.x <= dot.x + 1e-9) == (at <= strip.reading + 1e-9) or abs(label.x - dot.x) < 1e-6


@given(strips())
def test_the_reading_lies_on_the_band_exactly_when_it_is_allowed(strip: Strip) -> None:
    *_, dot = dots(strip)
    drawn = bands(strip)
    if strip.allowed_low is None and strip.allowed_high is None:
        assert drawn == []
        return
    low = strip.allowed_low is None or strip.reading >= strip.allowed_low
    high = strip.allowed_high is None or strip.reading <= strip.allowed_high
    assert (drawn[0].x0 - 1e-9 <= dot.x <= drawn[0].x1 + 1e-9) == (low and high)


def test_an_open_end_runs_to_the_end_of_the_scale_and_is_drawn_open() -> None:
    (band,) = bands(load())
    scale = next(
        mark for mark in strip_figure(load()).marks if isinstance(mark, Polyline) and mark.weight == 0.5
    )
    assert band.x1 == scale.points[-1][0]
    upright = [
        mark for mark in strip_figure(load()).marks if isinstance(mark, Polyline) and mark.weight == 1.2
    ]
    assert [mark.points[0][0] for mark in upright] == [band.x0], "only the closed end has an upright"
    heads = [
        mark for mark in strip_figure(load()).marks if isinstance(mark, Polyline) and len(mark.points) == 3
    ]
    assert len(heads) == 1
    assert heads[0].points[1][0] > band.x1, "the arrowhead points beyond the scale"


def test_the_whisker_is_as_long_as_the_uncertainty() -> None:
    figure = strip_figure(load(uncertainty=0.5))
    (dot,) = [mark for mark in figure.marks if isinstance(mark, Dot)]
    whisker = next(
        mark
        for mark in figure.marks
        if isinstance(mark, Polyline) and mark.points[0][1] == mark.points[1][1] == dot.y
    )
    one_volt = next(mark.x for mark in figure.marks if isinstance(mark, Label) and mark.text == "9") - next(
        mark.x for mark in figure.marks if isinstance(mark, Label) and mark.text == "8"
    )
    assert whisker.points[1][0] - whisker.points[0][0] == pytest.approx(one_volt)


def test_two_dots_that_would_hide_each_other_stand_one_below_the_other() -> None:
    near, far = dots(load(before=10.25)), dots(load(before=8.0))
    assert near[0].y < near[1].y
    assert far[0].y == far[1].y


def test_a_reading_beyond_the_scale_stands_at_its_end_with_an_arrow() -> None:
    inside, beyond = (
        strip_figure(load(reading=11.9, uncertainty=0)),
        strip_figure(load(reading=19.0, uncertainty=0)),
    )
    assert len(beyond.marks) == len(inside.marks) + 2
    assert next(mark.x for mark in beyond.marks if isinstance(mark, Dot)) == 95.0


@given(st.floats(-1e4, 1e4), st.floats(1e-3, 1e5))
def test_scale_numbers_are_round_lie_on_the_scale_and_stand_clear_of_each_other(
    low: float, span: float
) -> None:
    high = low + span
    found = ticks(low, high)
    assert len(found) <= 11
    slack = 1e-6 * max(abs(low), abs(high), span)
    assert all(low - slack <= at <= high + slack for at, _ in found)
    assert len({text for _, text in found}) == len(found)
    if len(found) > 2:
        step = found[1][0] - found[0][0]
        digits = f"{step:.6e}".split("e")[0].rstrip("0").rstrip(".")
        assert digits in ("1", "2", "5")


def test_a_scale_below_nought_has_true_minus_signs_and_no_minus_nought() -> None:
    assert [text for _, text in ticks(-20, 20)] == ["−20", "−10", "0", "10", "20"]
    assert number(-0.001, 1) == "0.0"


@given(strips(), st.integers(30, 100))
def test_a_strip_of_characters_fits_and_shows_its_reading(strip: Strip, width: int) -> None:
    line = strip_text(strip, width)
    assert len(line) <= width
    assert "●" in line
    assert line.endswith(" V")


def test_a_strip_of_characters_shows_open_and_closed_ends() -> None:
    assert strip_text(load(reading=8.0, uncertainty=0), 40).count("[") == 1
    assert strip_text(load(reading=8.0, uncertainty=0), 40).endswith("› 12.0 V")
    closed = strip_text(load(reading=8.0, uncertainty=0, allowed_high=11.0), 40)
    assert closed.index("●") < closed.index("[") < closed.index("]")


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({}, "inside the allowed span"),
        ({"reading": 8.4}, "below the allowed span"),
        ({"reading": 9.7}, "across the end"),
        ({"allowed_low": None, "allowed_high": 9.0}, "above the allowed span"),
        ({"allowed_low": None}, "without a limit"),
    ],
)
def test_a_strip_is_told_to_somebody_who_cannot_see_it(change: dict[str, float | None], words: str) -> None:
    assert words in strip_words(load(**change))


@given(figures)
def test_a_figure_is_well_formed_and_carries_no_style_of_its_own(figure: Figure) -> None:
    text = figure_svg(figure, "f1")
    tree = ElementTree.fromstring(text.replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1))
    assert tree.find(f"{SVG}title").text == figure.title  # type: ignore[union-attr]
    assert tree.find(f"{SVG}desc").text == figure.description  # type: ignore[union-attr]
    for element in tree.iter():
        assert not {"style", "href"} & set(element.attrib)
        assert element.tag.removeprefix(SVG) in ("svg", "title", "desc", "rect", "polyline", "circle", "text")
    labels = [mark.text for mark in figure.marks if isinstance(mark, Label)]
    assert [element.text for element in tree.iter(f"{SVG}text")] == labels


def test_words_at_the_edge_of_a_figure_are_inside_its_view() -> None:
    figure = Figure(
        width=100,
        height=10,
        height_mm=10,
        title="t",
        description="d",
        marks=(Label(0, 5, "0 min"), Label(100, 5, "60 min")),
    )
    text = figure_svg(figure, "f")
    left, _, wide, _ = (float(part) for part in text.split('viewBox="')[1].split('"')[0].split())
    assert wide == 328.0, "letters keep their size"
    ends = [float(part.split('"')[0]) for part in text.split('<text x="')[1:]]
    assert ends[0] - left > 15
    assert left + wide - ends[1] > 15
