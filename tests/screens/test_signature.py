"""A drawn signature: any strokes on its sheet come back as they were, and nothing else gets in."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from corekit.screens.signature import (
    HEIGHT,
    MOST_NUMBERS,
    MOST_STROKES,
    WIDTH,
    SignatureError,
    read_signature,
)

points = st.tuples(st.integers(0, WIDTH), st.integers(0, HEIGHT))
strokes = st.lists(
    st.lists(points, min_size=1, max_size=20).map(
        lambda drawn: [number for point in drawn for number in point]
    ),
    min_size=1,
    max_size=10,
)


@given(strokes)
def test_what_was_drawn_is_kept_as_it_was(drawn: list[list[int]]) -> None:
    read = read_signature(json.dumps(drawn))
    assert read is not None and [list(stroke) for stroke in read.strokes] == drawn
    assert read_signature(read.text) == read
    assert read.path.count("M") == len(drawn)


@pytest.mark.parametrize("text", ["", "  ", "[]", "[[]]"])
def test_an_empty_sheet_is_no_signature(text: str) -> None:
    assert read_signature(text) is None


@pytest.mark.parametrize(
    "text",
    [
        "hello",
        "{}",
        "5",
        "[5]",
        '["M0 0"]',
        "[[1]]",
        "[[1,2,3]]",
        "[[1,401]]",
        "[[1001,2]]",
        "[[-1,2]]",
        "[[1.5,2]]",
        "[[true,2]]",
        '[["1",2]]',
        "[[null,2]]",
        "[[[1,2]]]",
        "[" * 100_000,
        json.dumps([[1, 2]] * (MOST_STROKES + 1)),
        json.dumps([[1, 2] * (MOST_NUMBERS // 2 + 1)]),
        "[[NaN,2]]",
        "[[1e400,2]]",
        '[["<script>",2]]',
    ],
)
def test_anything_else_is_refused_in_one_sentence(text: str) -> None:
    with pytest.raises(SignatureError) as error:
        read_signature(text)
    assert len(str(error.value)) < 120


@given(st.text())
def test_any_text_is_strokes_or_refused(text: str) -> None:
    try:
        read = read_signature(text)
    except SignatureError:
        return
    assert read is None or read.strokes
