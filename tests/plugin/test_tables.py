"""Printed tables and small charts, shared by the systems."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

import corekit as ck

ROWS = [(0.0, 10.0), (1.0, 30.0), (3.0, 20.0)]


def test_a_table_gives_its_own_rows_and_a_straight_line_between_them() -> None:
    assert [ck.interpolate(x, ROWS) for x, _ in ROWS] == [y for _, y in ROWS]
    assert ck.interpolate(2.0, ROWS) == pytest.approx(25.0)


def test_a_table_says_nothing_outside_its_rows_unless_its_ends_hold() -> None:
    with pytest.raises(ValueError, match="runs from 0 to 3"):
        ck.interpolate(3.1, ROWS)
    assert (ck.interpolate_clamped(-5.0, ROWS), ck.interpolate_clamped(9.0, ROWS)) == (10.0, 20.0)


@given(st.floats(0.0, 3.0))
def test_between_two_rows_no_value_lies_beyond_either(x: float) -> None:
    assert 10.0 <= ck.interpolate(x, ROWS) <= 30.0


@given(x=st.floats(-1e6, 1e6), y=st.floats(-1e6, 1e6))
def test_nothing_is_ever_drawn_off_the_chart(x: float, y: float) -> None:
    chart = ck.Chart(x=(0.0, 6000.0), y=(0.0, 120.0))
    across, up = chart.at(x, y)
    figure = chart.figure([], "t", "d")
    assert 0.0 <= across <= figure.width
    assert 0.0 <= up <= figure.height


def test_a_charts_scales_are_even_and_fill_most_of_it() -> None:
    chart = ck.Chart(x=(0.0, 6000.0), y=(0.0, 120.0))
    low, middle, high = (chart.at(part * 6000, part * 120) for part in (0.0, 0.5, 1.0))
    assert middle == pytest.approx([(one + other) / 2 for one, other in zip(low, high, strict=True)])
    figure = chart.figure([], "t", "d")
    assert high[0] - low[0] > 0.7 * figure.width and high[1] - low[1] > 0.6 * figure.height
