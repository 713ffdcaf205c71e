"""A Document on the terminal."""

from __future__ import annotations

import subprocess
import sys
import unicodedata

import attrs
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corekit.model.document import Document, Paragraph
from corekit.model.personal import Personal
from corekit.report.personal_text import mask, resolver
from corekit.report.terminal import columns, render_text, wrapped
from corekit.report.text import clean

from .documents import accounts, documents
from .sample import LINK, MARK, TEXTS, sample

SAY = resolver(TEXTS)


@settings(max_examples=40, deadline=None)
@given(documents() | accounts(), st.integers(40, 120))
def test_no_line_is_wider_than_the_terminal(document: Document, width: int) -> None:
    for line in render_text(document, mask, LINK, width).splitlines():
        assert columns(line) <= width


@given(st.text(max_size=60))
def test_nothing_that_steers_a_terminal_comes_through(text: str) -> None:
    document = attrs.evolve(sample(), blocks=(Paragraph(words=(Personal("name", "h"),)),), shop=text)
    printed = render_text(document, resolver({"h": text}), LINK)
    assert not {char for char in printed if unicodedata.category(char) in ("Cc", "Cs") and char != "\n"}
    assert not {
        char
        for char in printed
        if unicodedata.bidirectional(char) in ("RLO", "LRO", "RLE", "LRE", "PDF", "RLI", "LRI", "FSI", "PDI")
    }


def test_an_escape_sequence_loses_its_teeth_and_letters_stay() -> None:
    assert clean("\x1b[31mZoë\x07 日本 \u202e123") == "[31mZoë 日本 123"
    assert clean("one\r\ntwo\tthree", lines=True) == "one\ntwo three"
    assert clean("one\r\ntwo") == "one two"
    assert clean("e\u0301") == "é"


def test_signs_that_nobody_sees_are_shown_by_their_code() -> None:
    assert clean("a\u200bb\u00adc\u3164") == "a[U+200B]b[U+00AD]c[U+3164]"
    assert clean("می\u200cخواهم") == "می\u200cخواهم"  # a joiner that the writing asks for


@pytest.mark.parametrize("char", ["x", "日", "✓"])
def test_a_word_of_two_thousand_characters_is_wrapped_by_character(char: str) -> None:
    printed = render_text(sample(), resolver(dict.fromkeys(TEXTS, char * 2000)), LINK)
    assert all(columns(line) <= 80 for line in printed.splitlines())
    assert printed.count(char) >= 5 * 2000, "the sample has five texts that people typed"


def test_a_number_stays_with_its_unit() -> None:
    assert wrapped("the reading is 12.65 V", 20) == ["the reading is", "12.65 V"]


def test_a_draft_says_so_and_shows_no_link() -> None:
    printed = render_text(attrs.evolve(sample(), draft=True, number="", demo=True), SAY, LINK)
    assert "DRAFT" in printed
    assert "DEMO" in printed
    assert LINK not in printed
    with pytest.raises(ValueError, match="A draft has no number"):
        render_text(attrs.evolve(sample(), draft=True), SAY, LINK)


def test_without_an_address_the_record_mark_stays() -> None:
    printed = render_text(sample(), SAY, None)
    assert MARK in printed
    assert "No page address set" in printed


def test_printing_on_the_terminal_loads_no_library_for_paper_or_page() -> None:
    heavy = ("reportlab", "jinja2", "qrcode", "PIL", "pint", "flask", "numpy")
    script = (
        "import sys, corekit.report.terminal, corekit.report.personal_text;"
        f" print([name for name in {heavy!r} if name in sys.modules])"
    )
    told = subprocess.run([sys.executable, "-c", script], check=True, capture_output=True, text=True)
    assert told.stdout.strip() == "[]"
