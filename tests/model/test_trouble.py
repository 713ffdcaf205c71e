"""Trouble codes go from text to two bytes and back, and a text that is none is refused with the likely
meaning.
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from corekit.model.trouble import CodeError, decode, encode, is_generic, read_code

# source: the bits as in a public protocol library that was read (fields location, code1 to code4); 0135 a
# published example
KNOWN = {
    "0401": "P0401",
    "0409": "P0409",
    "0113": "P0113",
    "0135": "P0135",
    "9234": "B1234",
    "C100": "U0100",
    "4300": "C0300",
    "2457": "P2457",
    "96A1": "B16A1",
    "3400": "P3400",
}


@pytest.mark.parametrize(("raw", "code"), KNOWN.items(), ids=[f"egr-E01-{raw}" for raw in KNOWN])
def test_two_bytes_are_one_code(raw: str, code: str) -> None:
    assert decode(bytes.fromhex(raw)) == code
    assert encode(code) == bytes.fromhex(raw)


def test_all_65536_codes_come_back_as_they_went_and_no_two_are_alike() -> None:
    codes = [decode(number.to_bytes(2, "big")) for number in range(65536)]
    assert len(set(codes)) == 65536
    assert [int.from_bytes(encode(code), "big") for code in codes] == list(range(65536))


@pytest.mark.parametrize("typed", ["P0401", "p0401", " P0401 ", "0x0401", "0X0401", "04 01", "0x04 01"])
def test_a_code_may_be_typed_in_small_letters_and_as_its_bytes(typed: str) -> None:
    assert read_code(typed) == "P0401"


@pytest.mark.parametrize(
    ("typed", "got", "write"),
    [
        ("PO401", "a letter where a digit belongs", '"P0401"'),
        ("P04OI", "a letter where a digit belongs", '"P0401"'),
        ("0401", "no letter in front", '"P0401" (or C, B, U)'),
        ("00401", "begins with a digit", '"P0401"'),
        ("O0401", "begins with a digit", '"P0401"'),
        ("P 0401", "a blank in it", '"P0401"'),
        ("P401", "has 4 characters, not five", ""),
        ("P04011", "has 6 characters, not five", ""),
        ("P4401", "the first digit is 0 to 3", ""),
        ("P04G1", "0-9 and A-F only", ""),
        ("X0401", "does not begin with P, C, B or U", ""),
        ("", "is empty", ""),
        ("P" * 5000, "characters, not five", ""),
    ],
)
def test_a_text_that_is_no_code_is_refused_with_what_is_wrong(typed: str, got: str, write: str) -> None:
    with pytest.raises(CodeError) as caught:
        read_code(typed)
    assert got in caught.value.got and write in caught.value.write and bool(write) == bool(caught.value.write)
    assert len(str(caught.value)) < 250


@given(st.text(max_size=8))
def test_whatever_is_typed_gives_a_code_or_a_problem_in_words(typed: str) -> None:
    try:
        code = read_code(typed)
    except CodeError as error:
        assert error.got and error.expected
    else:
        assert decode(encode(code)) == code


@pytest.mark.parametrize("count", [0, 1, 3])
def test_a_code_is_exactly_two_bytes(count: int) -> None:
    with pytest.raises(ValueError, match="two bytes"):
        decode(bytes(count))


@pytest.mark.parametrize(
    ("code", "generic"),
    [
        ("P0401", True),
        ("P2457", True),
        ("P3400", True),
        ("P1401", False),
        ("P3001", False),
        ("U0100", True),
        ("C1234", False),
    ],
)
def test_the_makers_own_codes_are_told_from_the_generic_ones(code: str, generic: bool) -> None:
    # source: SAE J2012 / ISO 15031-6, groups of codes, from memory
    assert is_generic(code) is generic
