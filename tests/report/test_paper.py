"""The paper, read back with pypdf, pypdfium2 and zxing-cpp."""

from __future__ import annotations

import colorsys
import io
import os
import re
import statistics
import subprocess
import sys
from itertools import pairwise
from pathlib import Path
from typing import Any

import attrs
import pypdf
import pytest
import zxingcpp
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from corekit.model.document import (
    Account,
    Answer,
    Code,
    Document,
    FindingRow,
    Findings,
    Heading,
    Pairs,
    Paragraph,
    PricedLines,
    ReadingRow,
    Readings,
    Statement,
    Totals,
    from_data,
    to_data,
)
from corekit.model.figure import Figure
from corekit.model.personal import Personal
from corekit.report.code import MODULE_MM, QUIET, symbol
from corekit.report.fonts import MissingGlyphError, runs, typeface
from corekit.report.layout import Box, paginate
from corekit.report.pdf import check_glyphs, render_pdf
from corekit.report.personal_text import mask, resolver
from corekit.report.strip import strip_figure
from corekit.report.wording import theme

from .documents import accounts, documents
from .readback import glyph_boxes, grey, numbers, page_text, pdf_numbers, pdf_pages, squeezed
from .sample import LINK, MARK, TEXTS, sample

SAY = resolver(TEXTS)
MM = 72 / 25.4
HOSTILE = '<img src=x onerror=alert(1)> & "Ö" ✓ =1+1'
BRIEF = settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)


@pytest.fixture(scope="module")
def paper() -> bytes:
    return render_pdf(sample(), SAY, LINK)


def reader(paper: bytes) -> pypdf.PdfReader:
    return pypdf.PdfReader(io.BytesIO(paper))


# --- faces --------------------------------------------------------------------------------------------------


def embedded_fonts(paper: bytes) -> dict[str, bool]:
    """Name → whether its file is in the PDF, of every font object, used or not."""
    found = {}
    pdf = reader(paper)
    for nth in range(1, pdf.trailer["/Size"]):
        thing = pdf.get_object(nth)
        if isinstance(thing, pypdf.generic.DictionaryObject) and thing.get("/Type") == "/Font":
            found[str(thing["/BaseFont"])] = "/FontFile2" in thing.get("/FontDescriptor", {})
    return found


def test_every_font_is_embedded_and_is_one_of_ours(paper: bytes) -> None:
    fonts = embedded_fonts(paper)
    assert fonts
    assert all(fonts.values())
    assert {name.split("+")[-1] for name in fonts} == {"FiraSans-Regular", "FiraSans-SemiBold"}
    assert b"Helvetica" not in paper


def test_typed_text_brings_its_own_face_and_nothing_else() -> None:
    fonts = embedded_fonts(render_pdf(sample(), resolver({**TEXTS, "h-name": "✓"}), LINK))
    assert all(fonts.values())
    assert {name.split("+")[-1] for name in fonts} == {
        "FiraSans-Regular",
        "FiraSans-SemiBold",
        "FiraCode-Light",
    }


def test_core_pdf_01_every_character_an_invoice_with_findings_needs_is_in_the_faces_but_tick_and_cross() -> (
    None
):
    """core-pdf-01: expected from looking them up in reportlab's own Vera, which lacks six of them."""
    from reportlab.pdfbase.ttfonts import TTFont

    characters = "Ωµμ≤≥±°−Δ√→✓✗€£₂×·"
    vera = TTFont("vera-for-comparison", "Vera.ttf").face.charToGlyph
    assert [char for char in characters if ord(char) not in vera] == ["μ", "Δ", "→", "✓", "✗", "₂"]
    assert (
        [char for char in characters if not typeface("regular").knows(char)]
        == [char for char in characters if not typeface("strong").knows(char)]
        == ["✓", "✗"]
    )
    # A tick comes from the face for typed text; a cross is in neither, so it is said as a code point and
    # never as an empty box.
    assert runs("✓✗", "regular", typed=True) == [(typeface("typed"), "✓"), (typeface("regular"), "[U+2717]")]


def test_all_digits_are_of_one_width_and_are_not_the_proportional_ones() -> None:
    from reportlab.pdfbase.ttfonts import TTFont

    for style, file in (("regular", "FiraSans-Regular.ttf"), ("strong", "FiraSans-SemiBold.ttf")):
        import fontpkg_fira_sans

        plain = TTFont("plain", str(Path(fontpkg_fira_sans.ROOT) / "files" / file)).face.charWidths
        assert len({plain[ord(digit)] for digit in "0123456789"}) > 1, (
            "the file's own digits differ; else this test proves nothing"
        )
        assert len({typeface(style).advances[ord(digit)] for digit in "0123456789"}) == 1


def test_amounts_end_on_one_edge_and_their_digits_stand_below_each_other(paper: bytes) -> None:
    sheet = next(nth for nth, text in enumerate(pdf_pages(paper)) if "Net EUR" in text)
    boxes = [(char, box) for page, char, box in glyph_boxes(paper) if page == sheet and char.isdigit()]
    edge = max(box[2] for _, box in boxes)
    last = [box for _, box in boxes if edge - box[2] < 1.5]
    assert len(last) >= 10
    assert edge - min(box[2] for box in last) < 0.05, "every amount ends at the edge, whatever its last digit"
    advance = statistics.mode(
        round(box[2] - box[0], 2) for box in last
    )  # of the table's digits; heads and totals have others
    before = [
        box[2]
        for _, box in boxes
        if abs(edge - advance - box[2]) < 1.0 and abs(box[2] - box[0] - advance) < 0.05
    ]
    assert len(before) >= 5
    assert max(before) - min(before) < 0.05, "the digits before the last stand below each other too"


def test_a_missing_glyph_is_named_when_our_own_texts_are_checked_and_never_costs_anybody_a_paper() -> None:
    broken = attrs.evolve(
        sample(),
        blocks=(Heading(text="ქ found"), Paragraph(words=("how: ✓",)), Statement(title="ქ", words=("✓",))),
    )
    with pytest.raises(MissingGlyphError, match=r"U\+10E5.*ქ found"):
        check_glyphs(broken)
    said = squeezed("".join(pdf_pages(render_pdf(broken, SAY, LINK))))
    assert "[U+10E5]found" in said
    assert "how:✓" in said
    check_glyphs(sample())


def test_what_people_typed_falls_back_glyph_by_glyph_then_to_the_code_point() -> None:
    text = squeezed(
        "".join(pdf_pages(render_pdf(sample(), resolver({**TEXTS, "h-name": "Zoë ✓ ქა 🚗"}), LINK)))
    )
    assert "Zoë✓[U+10E5][U+10D0][U+1F697]" in text


# --- the text layer -----------------------------------------------------------------------------------------


def test_the_text_layer_says_everything_in_reading_order(paper: bytes) -> None:
    said = squeezed("".join(pdf_pages(paper)))
    wanted = [
        # what the customer asks, in that order
        "Invoice 2026-0001",
        "Issued 24 November 2026",
        "378.60",
        "Who, and which vehicle",
        "Example Customer",
        "DEMO-1",
        "What you told us",
        "Does not crank after two days",
        "before driving",
        "8.40 V, allowed at least 9.60 V",
        "Probability of conformity 0.00",
        "Rest voltage",
        "12.18 V",
        "12.72 V",
        "at least 12.40 V",
        "Battery handbook",
        "Voltage under load",
        "8.40 V",
        "10.30 V",
        "Odometer",
        "98 400 km",
        "What you approved",
        "Diagnosis, flat rate",
        "the customer's request",
        "60.00",
        "Fit and register",
        "0.60 h",
        "95.00",
        "19 %",
        "57.00",
        "−4.03",
        "Total",
        "378.60",
        "Due",
        "0.00",
        "What to watch",
        LINK,
        MARK,
    ]
    at = 0
    for words in wanted:
        found = said.find(squeezed(words), at)
        assert found >= 0, f"{words!r} does not follow what stands before it"
        at = found


def test_every_page_says_the_shop_the_title_and_its_place() -> None:
    pages = pdf_pages(render_pdf(sample(70, 40, 12), SAY, LINK))
    assert len(pages) > 4
    for nth, text in enumerate(pages, 1):
        assert text.splitlines()[0].startswith("Kerbside Example Mechanics")
        assert "Invoice 2026-0001" in text
        assert f"page {nth} of {len(pages)}" in text


def test_a_shop_name_that_does_not_fit_the_running_head_is_cut_with_three_dots() -> None:
    for text in pdf_pages(render_pdf(attrs.evolve(sample(), shop="Long Name " * 40), SAY, LINK)):
        assert re.match(r"(Long Name ?)+…", text)
        assert "Invoice 2026-0001" in text


@pytest.mark.parametrize(
    ("change", "words"), [({"draft": True, "number": ""}, "DRAFT"), ({"demo": True}, "DEMO")]
)
def test_every_page_says_in_words_what_the_paper_is_not(change: dict[str, Any], words: str) -> None:
    pages = pdf_pages(render_pdf(attrs.evolve(sample(40), **change), SAY, LINK))
    assert len(pages) > 1
    assert all(words in text for text in pages)
    assert words not in "".join(pdf_pages(render_pdf(sample(), resolver({**TEXTS, "h-plate": "A-1"}), LINK)))


def test_title_author_language_and_bookmarks_are_in_the_file(paper: bytes) -> None:
    pdf = reader(paper)
    assert pdf.metadata is not None
    assert pdf.metadata.title == "Invoice 2026-0001, Kerbside Example Mechanics"
    assert pdf.metadata.author == "Kerbside Example Mechanics"
    assert pdf.metadata.creation_date is None
    catalog: Any = pdf.trailer["/Root"]
    assert catalog["/Lang"] == "en"
    assert bool(catalog["/ViewerPreferences"]["/DisplayDocTitle"])

    def flat(outline: list[Any]) -> list[str]:
        return [
            title
            for item in outline
            for title in (flat(item) if isinstance(item, list) else [str(item.title)])
        ]

    assert flat(pdf.outline) == [block.text for block in sample().blocks if isinstance(block, Heading)]


def test_nothing_on_the_paper_has_a_colour_but_the_one_ink(paper: bytes) -> None:
    """Readable in black and white: whatever is not grey has the ink's hue, and nothing is filled with it."""
    import pypdfium2

    hue = colorsys.rgb_to_hsv(*theme().ink)[0]
    for sheet in pypdfium2.PdfDocument(paper):
        picture = sheet.render(scale=1.5).to_pil().convert("RGB")
        for _, pixel in picture.getcolors(1 << 24):
            h, s, _ = colorsys.rgb_to_hsv(*(part / 255 for part in pixel))
            assert s < 0.15 or abs(h - hue) < 0.05, f"colour {pixel}"


# --- the same again -----------------------------------------------------------------------------------------


def test_the_same_document_gives_the_same_bytes_even_in_another_process(paper: bytes, tmp_path: Path) -> None:
    assert render_pdf(sample(), SAY, LINK) == paper
    script = (
        "import sys; from tests.report.sample import LINK, TEXTS, sample; from corekit.report.pdf import"
        " render_pdf; from corekit.report.personal_text import resolver"
        f"\nopen({str(tmp_path / 'again.pdf')!r}, 'wb').write(render_pdf(sample(), resolver(TEXTS), LINK))"
    )
    subprocess.run(
        [sys.executable, "-c", script],
        check=True,
        cwd=Path(__file__).parents[2],
        env={**os.environ, "PYTHONHASHSEED": "4711"},
    )
    assert (tmp_path / "again.pdf").read_bytes() == paper


@BRIEF
@given(documents() | accounts())
def test_a_document_written_down_and_read_again_gives_the_same_bytes(document: Document) -> None:
    again = from_data(to_data(document))
    assert render_pdf(again, mask, LINK) == render_pdf(document, mask, LINK)


# --- layout -------------------------------------------------------------------------------------------------


def test_twenty_five_readings_and_twelve_lines_stand_on_two_pages() -> None:
    assert len(pdf_pages(render_pdf(sample(25, 12, 6, picture=False), SAY, LINK))) == 2


def inside_the_margins(paper: bytes) -> None:
    at = theme()
    for page, char, (left, bottom, right, top) in glyph_boxes(paper):
        assert left >= at.left * MM - 0.5, f"{char!r} on page {page + 1} stands at {left:.1f}"
        assert right <= 595.276 - at.right * MM + 0.5, f"{char!r} on page {page + 1} ends at {right:.1f}"
        assert bottom >= at.bottom * MM - 4, f"{char!r} on page {page + 1} stands {bottom:.1f} high"
        assert top <= 841.89 - at.top * MM + 4


@pytest.mark.parametrize("char", ["x", "ქ", "✓", "W"])
def test_a_word_of_two_thousand_characters_breaks_nothing(char: str) -> None:
    long = char * 2000
    document = sample()
    own = PricedLines(
        rows=tuple(attrs.evolve(row, text=long, ground=long, note=long) for row in _lines(document).rows[:2]),
        currency="EUR",
    )
    readings = Readings(
        rows=(ReadingRow(name="Voltage", before="1 V", note=long), *_readings(document).rows[:1])
    )
    blocks = (*document.blocks, readings, own, Statement(title="Long", words=(Personal("note", "h-note"),)))
    paper = render_pdf(
        attrs.evolve(document, shop=long, blocks=blocks), resolver(dict.fromkeys(TEXTS, long)), LINK
    )
    inside_the_margins(paper)
    shown = char if char != "ქ" else "[U+10E5]"
    # name, address, plate, vehicle, words, note; two lines with three texts each; one reading's note
    least = (6 + 2 * 3 + 1) * 2000 * len(shown)
    counted = squeezed("".join(pdf_pages(paper))).count(shown) * len(shown)
    assert counted >= least


def _lines(document: Document) -> PricedLines:
    return next(block for block in document.blocks if isinstance(block, PricedLines))


def _readings(document: Document) -> Readings:
    return next(block for block in document.blocks if isinstance(block, Readings))


@pytest.mark.parametrize("rows", [10, 37, 38, 39, 40, 41, 120])
def test_table_heads_are_repeated_and_no_heading_ends_a_page(rows: int) -> None:
    pages = pdf_pages(render_pdf(sample(rows, rows, 8), SAY, LINK))
    headings = {squeezed(block.text) for block in sample().blocks if isinstance(block, Heading)}
    for nth, text in enumerate(pages):
        lines = [line.strip() for line in text.splitlines() if line.strip()]
        assert squeezed(lines[-1]) not in headings, f"page {nth + 1} ends with a heading"
    for first, after in pairwise(pages):
        if "Rest voltage" in first and "Rest voltage" in after:  # the table of readings goes on
            assert "Limit and source" in " ".join(after.splitlines()[:8])


def test_when_something_is_due_is_said_once_for_a_run_of_findings_and_again_on_a_new_page() -> None:
    row = FindingRow(text="Worn.", verdict="fail", urgency="before driving", basis="Limit: at least 9.6 V.")
    pages = pdf_pages(render_pdf(attrs.evolve(sample(), blocks=(Findings(rows=(row,) * 80),)), SAY, LINK))
    assert len(pages) > 2
    assert [text.count("before driving") for text in pages] == [1] * len(pages)
    assert sum(text.count("Worn.") for text in pages) == 80


@settings(max_examples=200, deadline=None)
@given(
    st.lists(
        st.tuples(st.floats(4, 130), st.floats(0, 15), st.booleans(), st.booleans()), min_size=1, max_size=60
    ),
    st.integers(1, 3),
)
def test_boxes_fall_onto_pages_whole_in_order_and_never_end_one_with_what_must_go_on(
    shapes: list[tuple[float, float, bool, bool]], kept: int
) -> None:
    room = 500.0
    head = Box(min_height=12.0, keep=True)
    boxes: list[Box] = []
    in_a_row = 0
    for tall, gap, keep, in_table in shapes:
        in_a_row = in_a_row + 1 if keep else 0
        boxes.append(
            Box(min_height=tall, gap=gap, keep=keep and in_a_row < kept, head=head if in_table else None)
        )
    pages = paginate(boxes, room)
    placed = [box for page in pages for box, _ in page if box is not head]
    assert placed == boxes
    for nth, page in enumerate(pages):
        end = page[-1][0]
        assert page[-1][1] + end.height <= room + 1e-9
        assert not end.keep or nth == len(pages) - 1
        if nth and page[0][0].head is not None:
            pytest.fail("a row opens a page without its table's head")
        if nth and page[0][0] is head:
            assert page[1][0].head is head


def test_a_row_higher_than_a_page_is_broken_between_its_lines_and_loses_none() -> None:
    long = " ".join(f"w{nth}" for nth in range(4000))
    paper = render_pdf(
        attrs.evolve(sample(), blocks=(Pairs(rows=(("Told", (Personal("words", "h-words"),)),)),)),
        resolver({"h-words": long}),
        LINK,
    )
    assert len(pdf_pages(paper)) > 2
    assert [
        word for page in pdf_pages(paper) for word in page.split() if word.startswith("w")
    ] == long.split()
    inside_the_margins(paper)


# --- the code -----------------------------------------------------------------------------------------------


def test_the_code_read_from_a_grey_picture_is_the_link(paper: bytes) -> None:
    found = zxingcpp.read_barcodes(grey(paper, 150))
    assert [code.text for code in found] == [LINK]
    assert [code.format for code in found] == [zxingcpp.BarcodeFormat.QRCode]


def test_the_code_is_read_from_a_sheet_laid_down_askew(paper: bytes) -> None:
    turned = grey(paper, 150).rotate(11, expand=True, fillcolor=255, resample=3)
    assert [code.text for code in zxingcpp.read_barcodes(turned)] == [LINK]


@pytest.mark.parametrize("size", [60, 84, 150, 450])
def test_the_code_has_its_modules_and_its_quiet_zone_on_the_sheet(size: int) -> None:
    """ISO/IEC 18004: 4 modules of white on all four sides; readers manage with less, so it is measured, not
    read.
    """
    link = "https://readings.example/v#" + "A" * (size - 27)
    dpi = 600
    sheet = grey(render_pdf(sample(3, 2, 1, picture=False), SAY, link), dpi)
    drawn = symbol(link)
    code = zxingcpp.read_barcodes(sheet.resize((sheet.width // 3, sheet.height // 3)))[0]
    assert code.text == link
    # From inside the symbol out to its last dark row and column; the finder patterns make three corners dark.
    left, top = code.position.top_left.x * 3 - 30, code.position.top_left.y * 3 - 30
    right, bottom = code.position.top_right.x * 3 + 30, code.position.bottom_left.y * 3 + 30
    dark = sheet.crop((left, top, right, bottom)).point(lambda level: 255 if level < 128 else 0).getbbox()
    x0, y0, x1, y1 = left + dark[0], top + dark[1], left + dark[2], top + dark[3]
    module = (x1 - x0) / len(drawn.rows)
    assert module * 25.4 / dpi >= 0.5 - 0.01
    assert abs((y1 - y0) - (x1 - x0)) <= 2
    quiet = round(QUIET * module) - 1
    around = sheet.crop((x0 - quiet, y0 - quiet, x1 + quiet, y1 + quiet)).point(
        lambda level: 255 if level < 250 else 0
    )
    ink = around.getbbox()
    wanted = (quiet, quiet, quiet + x1 - x0, quiet + y1 - y0)
    assert max(abs(here - there) for here, there in zip(ink, wanted, strict=True)) <= 2, (
        f"something stands in the quiet zone: {ink}, {wanted}"
    )


def test_the_code_is_one_path(paper: bytes) -> None:
    content = reader(paper).pages[-1].get_contents()
    assert content is not None
    data = content.get_data().decode("latin-1")
    path = data[data.index(" cm ", data.index("q 0 g")) : data.index(" f Q")]
    assert path.count(" re") == sum(1 for _ in symbol(LINK).runs())
    assert data.count(" f Q") == 1


@pytest.mark.parametrize(
    ("size", "version"),
    [(60, 4), (62, 4), (63, 5), (84, 5), (85, 6), (414, 16), (666, 20), (667, 21)],
    ids=lambda value: f"core-qr-02-{value}",
)
def test_the_smallest_version_that_takes_the_link_is_chosen(size: int, version: int) -> None:
    """core-qr-02: versions at level M from the bit tables of qrcode 8.2, confirmed by segno 1.6.6."""
    assert symbol("x" * size).version == version


@pytest.mark.parametrize(
    ("version", "most"), [(4, 62), (5, 84), (10, 213), (20, 666)], ids=lambda value: f"core-qr-01-{value}"
)
def test_a_version_holds_what_the_tables_say(version: int, most: int) -> None:
    """core-qr-01, its cases at level M in byte mode (we draw no others): segno 1.6.6 and qrcode 8.2 agree."""
    assert symbol("a" * most).version == version
    assert symbol("a" * (most + 1)).version > version


def test_core_qr_03_a_version_5_code_is_22_and_a_half_millimetres_wide() -> None:
    """core-qr-03: 17 + 4 × 5 + 2 × 4 = 45 modules of 0.5 mm."""
    assert symbol("x" * 84).side == 45
    assert symbol("x" * 84).side * MODULE_MM == 22.5


def test_a_link_that_fits_no_code_is_refused_with_its_length() -> None:
    """2331 bytes are the most at level M (core-qr-01's table)."""
    assert symbol("x" * 2331).version == 40
    with pytest.raises(ValueError, match="2332"):
        symbol("x" * 2332)


def test_a_draft_has_neither_number_nor_code() -> None:
    draft = attrs.evolve(sample(), draft=True, number="", title="Invoice, draft")
    paper = render_pdf(draft, SAY, LINK)
    text = squeezed("".join(pdf_pages(paper)))
    assert zxingcpp.read_barcodes(grey(paper, 150)) == []
    assert squeezed(LINK) not in text
    assert squeezed("A draft carries no code.") in text
    with pytest.raises(ValueError, match="A draft has no number"):
        render_pdf(attrs.evolve(sample(), draft=True), SAY, LINK)


def test_without_an_address_the_paper_has_its_record_mark_and_says_so() -> None:
    paper = render_pdf(sample(), SAY, None)
    text = "".join(pdf_pages(paper))
    assert MARK in text
    assert "No page address set" in text
    assert zxingcpp.read_barcodes(grey(paper, 150)) == []


# --- the three renderers say the same -----------------------------------------------------------------------

HEAD = "Kerbside Example Mechanics Invoice 2026-0001"


@BRIEF
@given(documents(strips_too=False))
def test_the_same_numbers_stand_in_the_same_order_on_paper_page_and_terminal(document: Document) -> None:
    from corekit.report.page import render_page
    from corekit.report.terminal import render_text

    paper = pdf_numbers(render_pdf(document, mask, LINK), head=HEAD)
    assert numbers(page_text(render_page(document, mask, LINK))) == paper
    assert numbers(render_text(document, mask, LINK, width=200)) == paper


@BRIEF
@given(documents(strips_too=True))
def test_the_same_numbers_stand_on_strips_and_figures_of_paper_and_page(document: Document) -> None:
    from corekit.report.page import render_page

    assert numbers(page_text(render_page(document, mask, LINK))) == pdf_numbers(
        render_pdf(document, mask, LINK), head=HEAD
    )


@BRIEF
@given(accounts())
def test_what_an_account_measured_and_comes_to_stands_on_paper_page_and_terminal(document: Document) -> None:
    from corekit.report.page import render_page
    from corekit.report.terminal import render_text

    wanted: set[str] = set()
    for block in document.blocks:
        if isinstance(block, Answer):
            wanted |= {number for _, text, _ in block.facts for number in numbers(text)}
        if isinstance(block, Account):
            proofs = [proof for row in block.rows for proof in row.proofs]
            wanted |= {number for proof in proofs for number in numbers(f"{proof.before} {proof.now}")}
        if isinstance(block, Totals):
            wanted |= {number for _, text, _ in block.rows for number in numbers(text)}
    paper = render_pdf(document, mask, LINK)
    inside_the_margins(paper)
    assert wanted <= set(numbers(" ".join(pdf_pages(paper))))
    assert wanted <= set(numbers(page_text(render_page(document, mask, LINK))))
    assert wanted <= set(numbers(render_text(document, mask, LINK, width=200)))


def test_no_number_of_the_document_is_missing_on_the_paper(paper: bytes) -> None:
    found = pdf_numbers(paper, head=HEAD)
    document = sample()
    wanted = [document.total]
    for block in document.blocks:
        if isinstance(block, Readings):
            for row in block.rows:
                wanted += [number for text in (row.before, row.after, row.limit) for number in numbers(text)]
        if isinstance(block, PricedLines):
            wanted += [
                number
                for row in block.rows
                for text in (row.quantity, row.price, row.tax, row.net)
                for number in numbers(text)
            ]
        if isinstance(block, Totals):
            wanted += [number for label, value, _ in block.rows for number in numbers(label + " " + value)]
    at = iter(found)
    assert all(number in at for number in wanted)


@pytest.mark.parametrize("tone", ["plain", "quote"])
def test_a_hostile_name_shows_literally_on_paper_page_and_terminal(tone: str) -> None:
    from corekit.report.page import render_page
    from corekit.report.terminal import render_text

    document = attrs.evolve(
        sample(),
        shop=HOSTILE,
        blocks=(Paragraph(words=(Personal("name", "h"),), tone=tone), *sample().blocks),
    )
    say = resolver({**TEXTS, "h": HOSTILE})
    assert squeezed("".join(pdf_pages(render_pdf(document, say, LINK)))).count(squeezed(HOSTILE)) >= 2
    fragment = render_page(document, say, LINK)
    assert page_text(fragment).count(HOSTILE) == 2
    assert "<img" not in fragment
    assert render_text(document, say, LINK).count(HOSTILE) == 2


def test_a_strip_is_drawn_in_vectors(paper: bytes) -> None:
    """No picture is embedded anywhere, and the strip's numbers are text."""
    assert all(not page.images for page in reader(paper).pages)
    strip = _readings(sample()).rows[0].strip
    assert strip is not None
    figure: Figure = strip_figure(strip)
    text = pdf_pages(paper)[0]
    for mark in figure.marks:
        if hasattr(mark, "text"):
            assert mark.text in text


def test_the_code_block_alone_makes_a_paper() -> None:
    lone = attrs.evolve(sample(), blocks=(Code(document_id="d", link=1, record_mark=MARK),))
    assert [code.text for code in zxingcpp.read_barcodes(grey(render_pdf(lone, SAY, LINK), 150))] == [LINK]
