"""Numbers as people type them.

What a text means was written down by hand from the text, never read off the program.
"""

from __future__ import annotations

import random
import re
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from corekit import numerals
from corekit.units import (
    NotAValue,
    TypedError,
    from_coherent,
    read_quantity,
    read_reading,
    to_coherent,
    unit,
    units,
)

# ---- ranges, approximations, a ± of one's own


@pytest.mark.parametrize(
    ("text", "accepts", "number", "half_width", "loosely"),
    [
        ("3.5-4 kOhm", ["ohm"], 3750, 250, "range"),
        ("3.5 - 4 kΩ", ["ohm"], 3750, 250, "range"),
        ("3.5–4 kΩ", ["ohm"], 3750, 250, "range"),  # en dash
        ("3.5 to 4 kΩ", ["ohm"], 3750, 250, "range"),
        ("3.5 kΩ to 4 kΩ", ["ohm"], 3750, 250, "range"),
        ("3.5 kΩ - 4", ["ohm"], 3750, 250, "range"),
        ("between .5 and 1 volt", ["V"], 0.75, 0.25, "range"),
        ("900 mV - 1.1 V", ["V"], 1.0, 0.1, "range"),
        ("1.2..1.4 V", ["V"], 1.3, 0.1, "range"),
        ("12,6-12,8 V", ["V"], 12.7, 0.1, "range"),
        ("-5--3 °C", ["°C"], 269.15, 1, "range"),
        ("-5 to -3 °C", ["°C"], 269.15, 1, "range"),
        ("50-59 °F", ["°C"], 285.65, 2.5, "range"),  # 10 to 15 °C: the half-width loses the offset
        ("600-700 A SAE", ["A SAE", "A EN"], 650, 50, "range"),
        ("0.45-0.6", ["1"], 0.525, 0.075, "range"),
        ("appr 3-4 ohms", ["ohm"], 3.5, 0.5, "range"),
        ("3.5 ± 0.2 kΩ", ["ohm"], 3500, 200, "±"),
        ("20 °C +/- 2 K", ["°C"], 293.15, 2, "±"),
        # 5 % of it, or half a step of the last digit typed where that is more (own estimate)
        ("~11 V", ["V"], 11, 0.55, "about"),
        ("about 8 V", ["V"], 8, 0.5, "about"),
        ("ca. 8 V", ["V"], 8, 0.5, "about"),
        ("ca 8V", ["V"], 8, 0.5, "about"),
        ("approx. 130 ohms", ["ohm"], 130, 6.5, "about"),
        ("about 1.0 V", ["V"], 1, 0.05, "about"),
        ("something like 20 °C", ["°C"], 293.15, 1, "about"),
        ("about 0 V", ["V"], 0, 0.5, "about"),
        ("roughly 1O A", ["A"], 10, 0.5, "about"),
        ("12.64 V", ["V"], 12.64, 0, ""),
    ],
)
def test_a_loosely_typed_reading_carries_what_it_allows_for(
    text: str, accepts: list[str], number: float, half_width: float, loosely: str
) -> None:
    read = read_reading(text, accepts)
    assert read.number == pytest.approx(number)
    assert read.half_width == pytest.approx(half_width)
    assert (read.loosely, read.text) == (loosely, text)


def test_every_loose_way_of_typing_says_what_it_allows_for() -> None:
    assert set(numerals.LOOSELY) == {"range", "about", "±"}
    assert "5 %" in numerals.LOOSELY["about"]
    assert float(numerals.ABOUT_SHARE) == 0.05


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("13-12 V", '"13-12 V" runs from the higher end to the lower; write "12-13 V"'),
        ("-3 - -5 V", 'write "-5 to -3 V"'),
        ("4-4 V", '"4-4 V" has both ends alike; write "4 V"'),
        ("3.5 ± 0 V", 'allows for nothing with its ±; write "3.5 V"'),
        ("12-14-16 V", '"12-14-16 V" is more than one number'),
        ("13 or 14 V", '"13 or 14 V" is more than one number'),
        ("12-13", '"12-13" has no unit'),
        ("12-13 A", "wrong kind (current)"),
        ("1 1/2 V", '"1 1/2 V" is a fraction; write "1.5 V"'),
        ("3/8 V", '"3/8 V" is a fraction; write "0.375 V"'),
    ],
)
def test_a_range_that_is_none_is_refused_with_what_to_write(text: str, says: str) -> None:
    with pytest.raises(TypedError) as caught:
        read_reading(text, ["V"])
    assert says in str(caught.value)


@pytest.mark.parametrize("text", ["3.5-4 kΩ", "~11 Ω", "about 8 Ω", "3.5 ± 0.2 Ω"])
def test_what_is_no_reading_takes_one_plain_number_only(text: str) -> None:
    with pytest.raises(TypedError):
        read_quantity(text, ["ohm"])


CENTS = st.decimals(min_value=-999, max_value=999, places=2)


@given(CENTS, CENTS, st.sampled_from(["-", " - ", "–", " to ", " … "]), st.sampled_from([".", ","]))
def test_a_range_is_its_middle_and_half_its_width(
    one: Decimal, other: Decimal, between: str, mark: str
) -> None:
    low, high = sorted((one, other))
    if low == high:
        return
    read = read_reading(f"{low}{between}{high} mV".replace(".", mark), ["V"])
    assert (read.number, read.half_width) == (float((low + high) / 2000), float((high - low) / 2000))


@given(
    st.decimals(min_value=-(10**5), max_value=10**5, places=3),
    st.sampled_from([row for row in units() if row.text != "1"]),
)
def test_about_is_never_less_than_half_a_step_nor_than_a_twentieth(number: Decimal, row: object) -> None:
    text = unit(row.text).text  # type: ignore[attr-defined]
    read, plain = read_reading(f"about {number} {text}", [text]), read_quantity(f"{number} {text}", [text])
    assert read.number == plain.number
    expected = max(abs(float(number)) / 20, 0.0005) * unit(text).factor
    assert read.half_width == pytest.approx(expected)


# ---- letters in the place of digits


@pytest.mark.parametrize(
    ("text", "accepts", "number"),
    [
        ("O.5 A", ["A"], 0.5),
        ("o.5 A", ["A"], 0.5),
        ("O.5A", ["A"], 0.5),
        ("1O A", ["A"], 10),
        ("12.O V", ["V"], 12),
        ("l2.4 V", ["V"], 12.4),
        ("I2.4 V", ["V"], 12.4),
        ("7OO rpm", ["rpm"], 700 / 60),
        ("-O.3 V", ["V"], -0.3),
        ("O.45", ["1"], 0.45),
        ("1O.5-1l V", ["V"], 10.75),
    ],
)
def test_a_letter_that_can_only_be_a_digit_is_read_as_one(
    text: str, accepts: list[str], number: float
) -> None:
    read = read_reading(text, accepts)
    assert read.number == pytest.approx(number)
    assert read.text == text


def test_a_letter_that_may_be_a_unit_stays_one() -> None:
    assert read_quantity("5l", ["L"]).number == 0.005
    assert (
        read_quantity("20oC", ["°C"]).number == 293.15
    )  # a degree sign, as far as a keyboard has one; never 200 °C
    assert read_quantity("4Ohm", ["ohm"]).number == 4
    with pytest.raises(TypedError) as caught:
        read_quantity("20o Celsius", ["°C"])
    assert caught.value.write == '"20 K", "20 °C" or "20 °F"'


@pytest.mark.parametrize(
    ("text", "write"), [("1OV", '"10 V"'), ("O2 V", '"… V"'), ("OO V", '"… V"'), ("ll V", '"… V"')]
)
def test_a_letter_in_a_questionable_place_is_asked_about(text: str, write: str) -> None:
    with pytest.raises(TypedError) as caught:
        read_reading(text, ["V"])
    assert caught.value.write == write


# ---- what is no value


@pytest.mark.parametrize(
    "text",
    [
        "OL",
        "O.L",
        "O.L.",
        "0L",
        "0.L MΩ",
        "OL MΩ",
        "1 .",
        "1   . kΩ",
        "---",
        "----",
        "∞",
        "inf",
        "infinite",
        "over range",
        "open",
        "open circuit",
        "no continuity",
        "overload",
    ],
)
def test_a_mark_beyond_the_range_is_no_value_and_worth_noting(text: str) -> None:
    with pytest.raises(NotAValue) as caught:
        read_reading(text, ["ohm"])
    assert "beyond its range" in caught.value.got
    assert caught.value.noted == f"beyond the range, shows {' '.join(text.split())}"


@pytest.mark.parametrize(
    "text",
    [
        ">20 MΩ",
        "> 20 MΩ",
        "<0.1 Ω",
        "over 4 V",
        "more than 5 kΩ",
        "up to 5 V",
        "less than 5",
        "at least 3 ohms",
        "7k+",
        "3 ohms or more",
    ],
)
def test_a_bound_is_no_value_and_worth_noting(text: str) -> None:
    with pytest.raises(NotAValue) as caught:
        read_reading(text, ["ohm"])
    assert caught.value.noted == f"no number, only: {text}"


@pytest.mark.parametrize(
    "text", ["within spec", "in spec", "OK", "ok.", "good", "normal", "within limits", "passed", "no change"]
)
def test_a_judgement_is_no_value_and_worth_noting(text: str) -> None:
    with pytest.raises(NotAValue, match="judgement"):
        read_reading(text, ["V"])


@pytest.mark.parametrize(
    "text", ["NaN V", "nan", "inf V", "-inf V", "0x1F V", "1_000 V", "1e999 V", "١٢ V", "12² V"]
)
def test_what_only_a_program_calls_a_number_is_refused(text: str) -> None:
    with pytest.raises(TypedError):
        read_reading(text, ["V"])


# ---- decimal marks by the shop


@pytest.mark.parametrize(
    ("text", "decimal", "number"),
    [
        ("8,9 V", "", 8.9),
        ("8,9 V", ",", 8.9),
        ("8,9 V", ".", 8.9),
        ("12.64 V", ",", 12.64),
        ("12.64 V", ".", 12.64),
        ("1,234 V", ",", 1.234),
        ("1.234 V", "", 1.234),
        ("1.234 V", ".", 1.234),
        ("0.123 V", ",", 0.123),
        ("0,123 V", ".", 0.123),
        ("1234.567 V", ",", 1234.567),
    ],
)
def test_the_shops_mark_is_decimal_and_the_other_where_it_can_be_nothing_else(
    text: str, decimal: str, number: float
) -> None:
    assert read_reading(text, ["V"], decimal).number == number


@pytest.mark.parametrize(
    ("text", "decimal", "write"),
    [
        ("1,234 V", "", '"1.234 V" or "1234 V"'),
        ("1,234 V", ".", '"1234 V" or "1.234 V"'),
        ("1.234 V", ",", '"1,234 V" or "1234 V"'),
        ("1.234,5 V", ",", '"1234,5 V"'),
        ("1,234.5 V", ".", '"1234.5 V"'),
        ("10 000 V", "", '"10000 V" or "10.000 V"'),
        ("10 000 V", ",", '"10000 V" or "10,000 V"'),
        ("1'000 V", "", '"1000 V"'),
    ],
)
def test_a_mark_between_thousands_is_refused_with_the_likely_meaning_first(
    text: str, decimal: str, write: str
) -> None:
    with pytest.raises(TypedError) as caught:
        read_reading(text, ["V"], decimal)
    assert caught.value.write == write
    for better in re.findall(r'"([^"]*)"', write):
        assert read_reading(better, ["V"], decimal).kind == "voltage"


@given(st.decimals(min_value=-(10**6), max_value=10**6, places=3), st.sampled_from([".", ","]))
def test_what_is_typed_with_the_shops_own_mark_is_never_another_number(number: Decimal, decimal: str) -> None:
    assert read_reading(f"{number} V".replace(".", decimal), ["V"], decimal).number == float(number)


@given(
    st.decimals(min_value=0, max_value=10**6, places=3),
    st.sampled_from(["", ".", ","]),
    st.sampled_from([".", ","]),
)
def test_no_mark_is_ever_taken_for_one_between_thousands(number: Decimal, decimal: str, typed: str) -> None:
    try:
        read = read_reading(f"{number} V".replace(".", typed), ["V"], decimal)
    except TypedError as error:
        assert "a thousandfold apart" in error.got
    else:
        assert read.number == float(number)


# ---- a hundred thousand slips of the hand

SEEDS = {
    "12.64 V": ["V"],
    "8,9 V": ["V"],
    "680 A SAE": ["A SAE", "A EN"],
    "4 °C": ["°C"],
    "70 Ah": ["Ah"],
    "2.1 bar abs": ["bar gauge"],
    "45 %": ["%"],
    "1.2e3 rpm": ["rpm"],
    "-40 °F": ["°C"],
    "3.5-4 kΩ": ["ohm"],
    "0.45": ["1"],
    "about 8 h": ["h"],
    "~11 V": ["V"],
    "O.5 A": ["A"],
    "OL": ["ohm"],
    "3.5 ± 0.2 kΩ": ["ohm"],
    ">20 MΩ": ["ohm"],
    "1 .": ["ohm"],
    "between 1 and 2 V": ["V"],
    "1,234 V": ["V"],
    "-5 to -3 °C": ["°C"],
}
SPICE = "0123456789.,eE+-−–±~<>_xX'/OolI toabucµΩ°%VvAaSsKkCcFfNn()\t\n\x00\x1b\u202e\ud7ff²½٣"


def test_a_hundred_thousand_mutated_readings_are_read_or_refused_and_nothing_else() -> None:
    dice = random.Random(20260101)
    accepted = {text: {unit(one).kind for one in accepts} for text, accepts in SEEDS.items()}
    texts, understood, loose = list(SEEDS), 0, 0
    for _ in range(100_000):
        seed = dice.choice(texts)
        text = list(seed)
        for _ in range(dice.randint(1, 3)):
            place = dice.randrange(len(text) + 1)
            text[place : place + dice.randint(0, 1)] = dice.choice(SPICE)
        try:
            read = read_reading("".join(text), SEEDS[seed], dice.choice(("", ".", ",")))
        except TypedError as error:
            assert error.got and error.expected
        else:
            understood += 1
            loose += bool(read.loosely)
            assert (
                read.kind in accepted[seed]
                and read.half_width >= 0
                and bool(read.half_width) == bool(read.loosely)
            )
    assert understood > 5_000 and loose > 1_000  # else the test mutates too hard to say anything


@given(st.text(max_size=80), st.sampled_from(["", ".", ","]))
def test_no_text_does_anything_but_read_or_refuse(text: str, decimal: str) -> None:
    try:
        read_reading(text, ["V"], decimal)
    except TypedError as error:
        assert error.got and error.expected


@given(
    st.sampled_from([row for row in units() if row.text != "1"]),
    st.floats(-1e9, 1e9).filter(lambda number: number == 0 or abs(number) > 1e-30),
)
def test_what_was_read_can_be_written_again(row: object, number: float) -> None:
    text = unit(row.text).text  # type: ignore[attr-defined]
    coherent = to_coherent(number, text)
    again = read_reading(f"{from_coherent(coherent, text):.17g} {text}", [text])
    assert again.number == pytest.approx(coherent, rel=1e-12, abs=1e-9 * max(1.0, abs(unit(text).offset)))
