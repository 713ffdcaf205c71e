"""A form's fields become the rows that a visit file would hold; whatever else comes is refused and never
guessed.
"""

from __future__ import annotations

import tomllib
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from corekit.fault import path_text
from corekit.visit.fields import FieldError, place_of, rows_of


def test_fields_make_the_rows_that_the_same_visit_file_holds() -> None:
    file = """
[traits]
"brakes.disc" = "vented"
[[step]]
setup = { "brakes.temperature" = "15 °C" }
readings = [ { of = "brakes.pedal_force", is = "120 N", place = "left", confirmed = true } ]
codes = { stored = ["P0301", "P0302"], pending = [] }
"""
    fields = [
        ('traits."brakes.disc"', "vented"),
        ('step[0].setup."brakes.temperature"', "15"),
        ('step[0].setup."brakes.temperature"|unit', "°C"),
        ("step[0].readings[0].of", "brakes.pedal_force"),
        ("step[0].readings[0].is", "120"),
        ("step[0].readings[0].is|unit", "N"),
        ("step[0].readings[0].place", "left"),
        ("step[0].readings[0].confirmed|yes", "yes"),
        ("step[0].codes.stored|list", "P0301, P0302"),
        ("step[0].codes.pending|none", "yes"),
    ]
    assert rows_of(fields) == tomllib.loads(file)


@pytest.mark.parametrize(
    ("typed", "read"),
    [
        ("120", "120 N"),
        ("0.12 kN", "0.12 kN"),
        ("about 120", "about 120 N"),
        ("3.5-4", "3.5-4 N"),
        ("120 ", "120 N"),
    ],
)
def test_a_unit_key_is_joined_to_a_number_that_has_no_unit_of_its_own(typed: str, read: str) -> None:
    assert (
        rows_of([("step[0].readings[0].is", typed), ("step[0].readings[0].is|unit", "N")])["step"][0][
            "readings"
        ][0]["is"]
        == read
    )


def test_what_was_left_empty_is_not_in_the_rows_and_a_unit_key_alone_says_nothing() -> None:
    assert rows_of([("reason", " "), ("vehicle.odometer", ""), ("vehicle.odometer|unit", "km")]) == {}


def test_somebody_may_come_without_anything_more_to_say() -> None:
    assert rows_of([("step[0].arrived|table", "yes"), ("step[0].arrived.odometer", "")]) == {
        "step": [{"arrived": {}}]
    }
    assert rows_of([("step[0].arrived|table", "yes"), ("step[0].arrived.odometer", "5 km")]) == {
        "step": [{"arrived": {"odometer": "5 km"}}]
    }


@pytest.mark.parametrize(
    "fields",
    [
        [("", "x")],
        [("step[0", "x")],
        [("step..readings", "x")],
        [(".step", "x")],
        [("step[0]readings", "x")],
        [("a" * 300, "x")],
        [("reason", "one"), ("reason", "two")],
        [("vehicle", "x"), ("vehicle.plate", "y")],
        [("vehicle.plate", "y"), ("vehicle", "x")],
        [("step[0].paid.how", "cash"), ("step.paid", "x")],
        [("step[1].paid.how", "cash")],
        [("reason|shout", "x")],
        [('traits."a"b"', "x")],
    ],
)
def test_a_field_that_is_no_place_in_a_visit_file_is_refused(fields: list[tuple[str, str]]) -> None:
    with pytest.raises(FieldError):
        rows_of(fields)


@given(st.lists(st.tuples(st.text(max_size=40), st.text(max_size=20)), max_size=8))
def test_whatever_comes_either_makes_rows_or_is_refused(fields: list[tuple[str, str]]) -> None:
    try:
        made: Any = rows_of(fields)
    except FieldError:
        return
    assert isinstance(made, dict)


KEYS = st.text("abcdefghijklmnopqrstuvwxyz_.", min_size=1, max_size=12)


@given(
    st.lists(KEYS | st.integers(0, 999), min_size=1, max_size=6).filter(
        lambda place: isinstance(place[0], str)
    )
)
def test_a_fault_has_the_same_name_as_the_field_it_is_about(place: list[str | int]) -> None:
    assert place_of(path_text(place)) == tuple(place)
