"""The one way to write data down.

Judge: RFC 8785 (its examples from memory, reproduced with rfc8785 0.1.4).
"""

from __future__ import annotations

import json
import math
import random
import sqlite3
import struct
import unicodedata
from contextlib import closing
from enum import IntEnum, StrEnum
from pathlib import Path

import pytest
import rfc8785
from hypothesis import given
from hypothesis import strategies as st

from corekit.model.canonical import canonical, digest

WHOLE = 2**53 - 1
JSON = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-WHOLE, WHOLE)
    | st.floats(-(2**53), 2**53, exclude_min=True, exclude_max=True)
    | st.text(),
    lambda inner: (
        st.lists(inner, max_size=4) | st.dictionaries(st.text("abcäöü", max_size=4), inner, max_size=4)
    ),
    max_leaves=12,
)


@pytest.mark.parametrize(
    ("data", "text"),
    [
        pytest.param(  # RFC 8785, 3.2.2
            '{"numbers":[333333333.33333329,1E30,4.50,2e-3,0.000000000000000000000000001],'
            '"string":"\\u20ac$\\u000F\\u000aA\'\\u0042\\u0022\\u005c\\\\\\"\\/","literals":[null,true,false]}',
            '{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],"string":"€$\\u000f\\nA\'B\\"\\\\\\\\\\"/"}',
            id="core-jcs-01",
        ),
        pytest.param(
            "[12.60, 1.0, -0.0, 1e21, 0.30000000000000004]",
            "[12.6,1,0,1e+21,0.30000000000000004]",
            id="core-jcs-03",
        ),
    ],
)
def test_data_is_written_as_the_standard_writes_it(data: str, text: str) -> None:
    assert canonical(json.loads(data)) == text.encode()


@pytest.mark.parametrize("keys", [["€", "\r", "Ａ", "1", "😀", "\x80", "ö"]], ids=["core-jcs-02"])
def test_names_stand_in_the_order_of_their_utf_16_units(keys: list[str]) -> None:
    # RFC 8785, 3.2.3. Its Hebrew letter U+FB33 is no letter of NFC, so another one from beyond the surrogates
    # (U+FF21) stands here.
    assert list(json.loads(canonical(dict.fromkeys(keys, 0)))) == ["\r", "1", "\x80", "ö", "€", "😀", "Ａ"]


@given(JSON)
def test_what_was_written_down_is_read_as_the_same_and_has_the_same_hash(data: object) -> None:
    assert digest(json.loads(canonical(data))) == digest(data)


@given(st.text())
def test_letters_count_the_same_however_they_are_composed(text: str) -> None:
    apart, together = (unicodedata.normalize(form, text) for form in ("NFD", "NFC"))
    assert digest({apart: [apart]}) == digest({together: [together]})


@pytest.mark.parametrize(
    "data", [float("nan"), float("inf"), {1, 2}, 2**53, {"a": -(2**53)}, object(), b"x"], ids=repr
)
def test_what_json_cannot_hold_is_refused(data: object) -> None:
    with pytest.raises(ValueError, match="cannot be written down for good"):
        canonical(data)


def test_two_names_that_compose_to_one_are_refused() -> None:
    with pytest.raises(ValueError, match="one name"):
        canonical({"é": 1, "e\u0301": 2})


# ── the quick writer against the library of the standard ───────────────────────────────────────────────────

#: Numbers at both sides of every place where one writer or the other changes its way of writing.
EDGES = (
    0.0, -0.0, 1.0, -1.0, 0.1, 12.6, 1e-4, math.nextafter(1e-4, 0), 1e-5, 1e-6, math.nextafter(1e-6, 0), 1e-7,
    1e15, 1e16, math.nextafter(1e16, 0), math.nextafter(1e16, math.inf), 123456789012345.68, 1e20, 1e21, 1e22,
    math.nextafter(1e21, 0), 5e-324, 1.7976931348623157e308, 2.0**53, 2.0**53 - 1, 2.0**53 + 2, 0.3, 1 / 3,
)  # fmt: skip
TEXTS = (
    "",
    "12.6 V",
    '"\\/\b\f\n\r\t\x00\x1f\x7f',
    "µΩ °C",
    "e\u0301",
    "\u212b",
    "\u0338",
    "😀",
    "\ufb33",
    "\uffff",
    "\u2028",
)


def by_the_library(data: object) -> bytes | None:
    """What rfc8785 alone writes, every text in NFC first; None where it refuses."""

    def composed(data: object) -> object:
        if isinstance(data, str):
            return unicodedata.normalize("NFC", data)
        if isinstance(data, dict):
            pairs = {composed(name): composed(item) for name, item in data.items()}
            if len(pairs) < len(data):
                raise ValueError
            return pairs
        return [composed(item) for item in data] if isinstance(data, (list, tuple)) else data

    try:
        return rfc8785.dumps(composed(data))  # type: ignore[arg-type]
    except ValueError:
        return None


def by_us(data: object) -> bytes | None:
    try:
        return canonical(data)
    except ValueError:
        return None


@pytest.mark.parametrize(
    "number", [*EDGES, *(-edge for edge in EDGES), 2**53 - 1, 1 - 2**53, 2**53, -(2**53)]
)
def test_a_number_is_written_as_the_library_writes_it_at_every_change_of_form(number: float) -> None:
    assert by_us([number]) == by_the_library([number])
    assert by_us(number) == by_the_library(number)


@pytest.mark.parametrize("text", [*TEXTS, "\ud800", "a\udfff"])
def test_a_text_is_written_as_the_library_writes_it_as_a_value_and_as_a_name(text: str) -> None:
    for data in (text, {text: 1, "Ａ": 2, "z": 3}, [{"a": text}], (text, [text])):
        assert by_us(data) == by_the_library(data)


@pytest.mark.parametrize(
    "data", [{1: 2}, {"a": {None: 1}}, {True: 1}, {1.5: 1}, [{2: "2", "2": 2}]], ids=repr
)
def test_a_name_that_is_no_text_is_refused_however_deep(data: object) -> None:
    with pytest.raises(ValueError, match="cannot be written down for good"):
        canonical(data)


class Word(StrEnum):
    ONE = "one"


class Number(IntEnum):
    TWO = 2


def test_what_only_looks_like_a_text_or_a_number_is_written_as_the_library_writes_it() -> None:
    for data in (Word.ONE, {"a": Word.ONE}, [Number.TWO], True, [True, 1, 0, False, None]):
        assert by_us(data) == by_the_library(data)


def drawn(draws: random.Random, depth: int = 0) -> object:
    """Any data, most of it such that one of the two writers alone would write it."""
    kind = draws.randrange(11 if depth < 3 else 8)
    if kind == 0:
        return struct.unpack("<d", draws.randbytes(8))[0]
    if kind == 1:
        return draws.choice(EDGES) * draws.choice((1, -1))
    if kind == 2:
        return round(draws.uniform(-1000, 1000), draws.randrange(6))
    if kind == 3:
        return draws.randint(-(2**53) - 2, 2**53 + 2) if draws.random() < 0.3 else draws.randrange(-99, 99)
    if kind in (4, 5):
        return "".join(map(chr, draws.choices(LETTERS, k=draws.randrange(6))))
    if kind == 6:
        return draws.choice((None, True, False))
    if kind == 7:
        return draws.choice(TEXTS)
    if kind == 8:
        return {
            "".join(map(chr, draws.choices(LETTERS, k=draws.randrange(1, 4)))): drawn(draws, depth + 1)
            for _ in range(draws.randrange(5))
        }
    items = [drawn(draws, depth + 1) for _ in range(draws.randrange(5))]
    return tuple(items) if kind == 9 else items


LETTERS = [
    *(
        *range(0x20, 0x7F),
        *range(0x20, 0x7F),
        0x9,
        0xA,
        0xB5,
        0xE4,
        0x301,
        0x308,
        0x338,
        0x2126,
        0x20AC,
        0xD7FF,
    ),
    *(0xE000, 0xFF21, 0x1F600, 0x1D15E),
]


def test_both_writers_write_a_hundred_thousand_drawn_values_alike() -> None:
    draws = random.Random(8785)
    for number in range(100_000):
        data = drawn(draws)
        assert by_us(data) == by_the_library(data), f"value {number}: {data!r}"


def test_every_entry_of_the_demo_is_written_as_the_library_writes_it(demo_out: Path) -> None:
    with closing(sqlite3.connect(demo_out / "journal.sqlite")) as connection:
        bodies = [body for (body,) in connection.execute("SELECT body FROM entry")]
    assert len(bodies) > 100
    for body in bodies:
        assert by_us(json.loads(body)) == by_the_library(json.loads(body))
