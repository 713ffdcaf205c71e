"""How words stand in lines: what is wider than its column, blanks at quotation marks, boxes to tick.

That a hyphen at a line's end is written as U+00AD is ISO 32000-1, 14.8.2.2.3 (from memory).
"""

from __future__ import annotations

import io

import pypdf
import pytest
from hypothesis import given
from hypothesis import strategies as st

from corekit.model.document import Document, DocumentKind, Paragraph
from corekit.report.catalogue import catalogue
from corekit.report.first_sheet import trimmed
from corekit.report.fonts import typeface, wrap
from corekit.report.page import render_page
from corekit.report.pdf import render_pdf
from corekit.report.personal_text import mask, resolver
from corekit.report.terminal import render_text

HYPHEN = "\u00ad"
SIZE, ROOM = 9.0, 60.0


def lines_of(text: str, room: float = ROOM) -> list[str]:
    return ["".join(run for _, run in line.runs) for line in wrap([(text, True)], "regular", SIZE, room)]


def width_of(text: str) -> float:
    return typeface("regular").advance(text) * SIZE / 1000


def test_a_name_that_is_wider_than_its_column_is_parted_with_a_hyphen() -> None:
    lines = lines_of("Langenhinterunterobersachsenfeld,")
    assert len(lines) > 1
    assert all(line.endswith(HYPHEN) for line in lines[:-1])
    assert "".join(lines).replace(HYPHEN, "") == "Langenhinterunterobersachsenfeld,"
    assert all(width_of(line) <= ROOM for line in lines)
    assert len(lines[-1].rstrip(",")) >= 3, "no line begins with what is left of a name"


def test_a_name_of_several_pieces_is_parted_as_one() -> None:
    pieces = [("Langenhinterunterobersachsenfeld", True), (", ", False), ("Weg 1", True)]
    first, second, *_ = (
        "".join(run for _, run in line.runs) for line in wrap(pieces, "regular", SIZE, 120.0)
    )
    assert first.endswith(HYPHEN)
    assert first.removesuffix(HYPHEN) + second == "Langenhinterunterobersachsenfeld, Weg 1"


def test_a_name_with_a_hyphen_of_its_own_is_parted_there() -> None:
    assert lines_of("Musterfrau-Beispielhausen", 70.0) == ["Musterfrau-", "Beispielhausen"]


@pytest.mark.parametrize(
    "text",
    ["PO-99999999999999999999999999", "a1b2c3d4e5f6a7b8c9d0e1f2", "https://pages.example/v#AAAAAAAAAAAA"],
)
def test_what_is_no_word_gets_no_hyphen_that_would_change_it(text: str) -> None:
    assert "".join(lines_of(text)) == text


@given(st.text("abcdefghäöüßéñØ-", min_size=1, max_size=60), st.floats(25, 200))
def test_without_its_hyphens_every_word_is_what_it_was_and_fits(text: str, room: float) -> None:
    lines = lines_of(text, room)
    assert "".join(lines).replace(HYPHEN, "") == text
    assert all(width_of(line) <= room + 1e-6 for line in lines if len(line) > 1)


@pytest.mark.parametrize(
    ("said", "kept"),
    [
        ([("It rattles. ", True)], [("It rattles.", True)]),
        (
            [("  ", False), (" It", True), (" is\n ", True), ("", False)],
            [("It", True), (" is", True)],
        ),
        ([], []),
        ([("  ", True)], []),
    ],
)
def test_a_persons_words_stand_close_to_their_quotation_marks(
    said: list[tuple[str, bool]], kept: list[tuple[str, bool]]
) -> None:
    assert trimmed(said) == kept


def test_what_somebody_may_tick_has_a_box() -> None:
    document = Document(
        id="0" * 16,
        kind=DocumentKind.ESTIMATE,
        title="Estimate",
        shop="A Shop",
        issued="1 December 2026",
        currency="EUR",
        total="1.00",
        blocks=(Paragraph(words=("Tick what holds.",)), Paragraph(words=("Begin at once.",), tone="choice")),
    )
    assert "[ ] Begin at once." in render_text(document, mask, None, width=80)
    assert '<p class="choice">Begin at once.</p>' in render_page(document, mask, None)
    (page,) = pypdf.PdfReader(io.BytesIO(render_pdf(document, resolver({}), None))).pages
    assert "Begin at once." in page.extract_text()
    assert "[" not in page.extract_text()


def test_a_minus_stays_as_wide_as_a_plus_in_every_language() -> None:
    said = catalogue("de", []).said("Tax 19 % on −2,162.65".replace(",", " "), {}, {})
    assert said == "Steuer 19 % auf −2.162,65"
