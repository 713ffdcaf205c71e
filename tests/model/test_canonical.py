"""The one way to write data down.

Judge: RFC 8785 (its examples from memory, reproduced with rfc8785 0.1.4).
"""

from __future__ import annotations

import json
import unicodedata

import pytest
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
