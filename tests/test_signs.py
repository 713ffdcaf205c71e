"""Signs that steer a machine, or that nobody sees."""

from __future__ import annotations

import pytest

from corekit.signs import LONGEST, steering, text_fault, visible


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("a\x1b[2Jb", "a[U+001B][2Jb"),
        ("\x9b31m", "[U+009B]31m"),
        ("a\u200bb", "a[U+200B]b"),
        ("a\u00adb", "a[U+00AD]b"),
        ("\u202egnp.exe", "[U+202E]gnp.exe"),
        ("\u3164", "[U+3164]"),
        ("\U000e0041", "[U+E0041]"),
        ("\ud800", "[U+D800]"),
        ("a\u2028b", "a[U+2028]b"),
        ("a\u200db", "a[U+200D]b"),
    ],
)
def test_what_steers_or_hides_is_shown_by_its_code(text: str, shown: str) -> None:
    assert visible(text) == shown


@pytest.mark.parametrize(
    "text",
    [
        "Zoë Ångström, 12 Ω",
        "two\nlines",
        "12\u00a0V",
        "日本語テキスト",
        "العربية",
        "می\u200cخواهم",  # a name is written wrongly without its joiner
        "क्\u200dष",
        "\U0001f468\u200d\U0001f469\u200d\U0001f467",
        "❤\ufe0f",
        "e\u0301",
    ],
)
def test_what_people_write_stays_as_it_is(text: str) -> None:
    assert visible(text) == text


def test_a_text_may_be_just_so_long_and_may_have_lines() -> None:
    assert text_fault("a" * LONGEST) == ""
    assert str(LONGEST + 1) in text_fault("a" * (LONGEST + 1))
    assert text_fault("one\r\n\ttwo") == ""
    assert "U+001B" in text_fault("\x1b[2J") and steering("\u2069x") == "U+2069"
