"""One reader of data files: everything that is wrong at once, each with its place and what to write."""

from __future__ import annotations

from decimal import Decimal
from enum import StrEnum
from pathlib import Path
from typing import Any

import attrs
import pytest
from hypothesis import given
from hypothesis import strategies as st

from corekit.datafile import LARGEST, Count, Day, Positive, read_toml, required_field, structured, table
from corekit.errors import CorekitError
from corekit.fault import DataFileError, Faults, path_text


class Turn(StrEnum):
    LEFT, RIGHT = "left", "right"


@attrs.define(kw_only=True)
class Wheel:
    key: str
    turn: Turn
    load: float | None = None


@table
class Cart:
    name: str = required_field("what it is called", '"hay cart"', default="")
    price: Decimal = Decimal(0)
    seats: Count = Count(Decimal(1))
    weight: Positive = Positive(1.0)
    built: Day | None = None
    tags: list[str] = attrs.field(factory=list)
    wheel: list[Wheel | None] = attrs.field(factory=list)
    from_: dict[str, float | None] = attrs.field(factory=dict)


def read(data: Any) -> tuple[Cart, list[str]]:
    faults = Faults()
    form = structured(data, Cart, faults)
    return form, [str(fault) for fault in faults.in_order_of(data if isinstance(data, dict) else {})]


def test_a_sound_file_becomes_its_form() -> None:
    form, faults = read(
        {
            "name": "cart",
            "price": "12.50",
            "seats": 2,
            "weight": 80,
            "built": "2026-03-04",
            "wheel": [{"key": "a", "turn": "left", "load": 3}],
            "from": {"x": 1.5},
        }
    )
    assert faults == []
    assert (form.price, form.seats, form.weight, form.built) == (Decimal("12.50"), 2, 80.0, "2026-03-04")
    assert form.wheel == [Wheel(key="a", turn=Turn.LEFT, load=3.0)]
    assert form.from_ == {"x": 1.5}


def test_every_fault_is_named_at_once_in_the_order_of_the_file_and_the_rest_is_still_read() -> None:
    form, faults = read(
        {
            "price": 12.5,
            "wheel": [
                {"key": "front", "turn": "letf", "lode": 1},
                {"turn": "left"},
                "round",
                {"key": "d", "turn": "right"},
            ],
            "weight": float("nan"),
            "tags": ["a", 5, "c"],
            "colour": "red",
            "from": {"x": "1 m", "y": 2},
        }
    )
    assert faults == [
        'price: is the number 12.5, which is not exact; write "12.5" in quotes',
        'wheel[0].turn (front): is the text "letf"; expected one of "left", "right"',
        'wheel[0].lode (front): is not a key here; write one of key, turn, load (perhaps "load")',
        "wheel[1].key: is missing; expected text in quotes",
        'wheel[2]: is the text "round"; expected a table { … }',
        "weight: is the number nan; expected a number above 0, without quotes",
        'tags[1]: is the number 5; write "5"',
        "colour: is not a key here; expected one of name, price, seats, weight, built, tags, wheel, from",
        'from.x: is the text "1 m"; expected a number, without quotes',
        'name: is missing; write "hay cart"',
    ]
    assert form.wheel == [None, None, None, Wheel(key="d", turn=Turn.RIGHT)], "a row keeps its number"
    assert (form.name, form.price, form.tags, form.from_) == (
        "",
        Decimal(0),
        ["a", "c"],
        {"x": None, "y": 2.0},
    )


@pytest.mark.parametrize("answer", ["lef", "righ", "Left", "LEFT", "letf"])
def test_an_answer_that_is_none_lists_all_and_never_says_which_was_meant(answer: str) -> None:
    _, (fault,) = read({"name": "c", "wheel": [{"key": "a", "turn": answer}]})
    assert fault == f'wheel[0].turn (a): is the text "{answer}"; expected one of "left", "right"'


def test_a_file_of_another_kind_is_one_fault() -> None:
    for data in (None, [], "cart", 5):
        _, faults = read(data)
        assert len(faults) == 1 and faults[0].endswith("expected a table { … }")


def test_the_error_names_the_file_counts_the_faults_and_is_of_the_family() -> None:
    faults = Faults()
    data = {"wheel": [5], "seats": "two"}
    structured(data, Cart, faults)
    with pytest.raises(DataFileError) as caught:
        faults.refuse(data, "cart.toml")
    assert isinstance(caught.value, CorekitError)
    assert str(caught.value).splitlines() == [
        "cart.toml cannot be used: 3 faults. Rows are counted from 0.",
        "  wheel[0]: is the number 5; expected a table { … }",
        '  seats: "two" is not a plain decimal number; expected a decimal number in quotes, such as "0.60"',
        '  name: is missing; write "hay cart"',
    ]
    assert [fault.path for fault in caught.value.faults] == ["wheel[0]", "seats", "name"]


@pytest.mark.parametrize(
    ("content", "line"),
    [
        (b"a = \n", "line 1, column 5: Invalid value; expected TOML"),
        (b"a = 1\n[b", "line 2, column 3: "),
        (b"a = '\xff'", "line 1, column 6: the byte 0xff is not UTF-8; write it again as UTF-8"),
        (b"\xff\xfea", "file: is UTF-16 text, not UTF-8; write it again as UTF-8"),
        (b"\xef\xbb\xbfa = 1", "file: begins with a byte order mark; write it again as UTF-8 without one"),
        (b"a = 1\n\x00", "line 2, column 1: is a NUL byte"),
        (b"a = " + b"[" * 5000 + b"]" * 5000, "file: is nested too deeply"),
        (b"#" * (LARGEST + 1), "file: is larger than 1 MiB"),
    ],
    ids=["syntax", "end", "encoding", "utf-16", "mark", "nul", "depth", "size"],
)
def test_bytes_that_are_no_toml_say_where_and_what_to_do(content: bytes, line: str) -> None:
    with pytest.raises(DataFileError) as caught:
        read_toml(content, "cart.toml")
    first, second = str(caught.value).splitlines()
    assert first == "cart.toml cannot be used: one fault."
    assert second.strip().startswith(line)


def test_a_file_that_is_not_there_or_is_a_folder_is_named(tmp_path: Path) -> None:
    with pytest.raises(DataFileError, match="cannot be read"):
        read_toml(tmp_path / "none.toml")
    with pytest.raises(DataFileError, match="is a folder"):
        read_toml(tmp_path)


JUNK = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats()
    | st.text(max_size=5)
    | st.sampled_from(["left", "1.5"]),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(
            st.sampled_from(["name", "price", "seats", "wheel", "key", "turn", "load", "from", "tags", "x"]),
            inner,
            max_size=4,
        )
    ),
    max_leaves=12,
)


@given(JUNK)
def test_whatever_stands_in_a_file_is_read_or_is_a_fault_on_one_line(junk: Any) -> None:
    form, faults = read(junk)
    assert isinstance(form, Cart)
    assert all(fault.isprintable() for fault in faults)
    if not faults:
        assert form.name == junk["name"]


def test_a_path_is_written_as_the_file_has_it() -> None:
    assert path_text(("step", 3, "setup", "a.b")) == 'step[3].setup."a.b"'
    assert path_text(()) == "file"
