"""Names in scripts that the papers' own face lacks: drawn, joined and ordered as they are read."""

from __future__ import annotations

import io

import pypdf
import pytest

from corekit.model.document import Document, DocumentKind, Pairs
from corekit.model.personal import Personal
from corekit.report.fonts import runs, set_line, typeface
from corekit.report.pdf import render_pdf
from corekit.report.personal_text import resolver
from corekit.report.scripts import in_visual_order

HASH = "ab" * 32


def paper(name: str) -> bytes:
    document = Document(
        id="d1",
        kind=DocumentKind.INVOICE,
        title="Invoice 1",
        number="1",
        shop="Example Mobile Repairs",
        issued="2026-07-01",
        currency="EUR",
        total="60.00",
        blocks=(Pairs(rows=(("Customer", (Personal("name", HASH),)),)),),
    )
    return render_pdf(document, resolver({HASH: name}), None)


def printed(name: str) -> str:
    (page,) = pypdf.PdfReader(io.BytesIO(paper(name))).pages
    return page.extract_text()


@pytest.mark.parametrize("name", ["עברית", "العربية", "हिन्दी", "ไทยทดสอบ", "กำ", "क्ष"])
def test_a_reader_program_gets_the_letters_that_were_typed(name: str) -> None:
    assert name in printed(name)
    assert "[U+" not in printed(name)


def test_what_no_face_draws_is_printed_by_its_code() -> None:
    assert "[U+65E5][U+672C]" in printed("日本")


def test_the_same_paper_is_the_same_bytes() -> None:
    first = paper("العربية")
    paper("שלום हिन्दी")  # other glyphs were numbered meanwhile
    assert paper("العربية") == first


def test_lam_and_alef_are_one_glyph() -> None:
    """The one ligature that Arabic cannot do without (The Unicode Standard, section 9.2, from memory)."""
    (face, signs), *rest = set_line([("لا", True)], "regular", 10).runs
    assert (face.script, len(signs), rest) == ("arabic", 1, [])


def test_a_line_of_latin_letters_loads_no_other_face() -> None:
    assert [face.name for face, _ in runs("Zoë Ω", "regular", typed=True)] == ["corekit-regular"]


#: By the rules of UAX #9, by hand: what is drawn from left to right.
ORDERS = {
    "to the right alone": (["abc (12)"], "abc (12)"),
    "one word within": (["name ", "אבג", " x"], "name אבג x"),
    "two words change places": (["a ", "אב", " ", "גד", " z"], "a גד אב z"),
    "figures within keep their order": (["אב", " 12"], "12 אב"),
    "brackets are turned": (["שם", " (", "אב", ")"], "(אב) שם"),
}


@pytest.mark.parametrize("kind", ORDERS)
def test_words_are_drawn_in_the_order_in_which_they_are_read(kind: str) -> None:
    texts, drawn = ORDERS[kind]
    assert "".join(text for _, text in in_visual_order(texts)) == drawn


def test_a_word_from_right_to_left_is_drawn_from_its_last_letter() -> None:
    line = set_line([("אב", True)], "regular", 10)
    ((face, signs),) = line.runs
    first, second = (face.font.glyph(ord(sign)) for sign in signs)
    assert [first, second] == [face.font.glyph(ord("ב")), face.font.glyph(ord("א"))]
    assert line.width == pytest.approx(sum(typeface("hebrew").advance(one) for one in "אב") / 100)
