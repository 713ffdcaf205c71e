"""The paper of an account: its first sheet read back by position, on A4 and on Letter."""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from typing import Any

import attrs
import pypdf
import pypdfium2
import pytest
import zxingcpp
from hypothesis import given, settings
from hypothesis import strategies as st

from corekit.model.document import Account, AccountRow, Code, Document, ProofRow, WorkRow
from corekit.model.figure import Dot, Figure, Label, Polyline, Strip
from corekit.report import pdf
from corekit.report.account_table import add_scale
from corekit.report.measures import ROOMY
from corekit.report.panel import Column, SetFigure, SetLine
from corekit.report.pdf import render_pdf
from corekit.report.pen import GREY, Voice
from corekit.report.personal_text import mask, resolver
from corekit.report.strip import on_common_scales, place_on, scale_figure
from corekit.report.typesetter import Typesetter
from corekit.report.wording import theme, wording

from . import accounts
from .accounts import ALL, LINK, MARK, TEXTS, full_sheet, paper
from .documents import strips
from .readback import pdf_pages, squeezed

SAY = resolver(TEXTS)
MM = 72 / 25.4
_KERNED = 1.2  # points by which the face lets neighbours such as f and t reach over each other, at 17 points
SIZES = {"A4": (595.276, 841.890), "letter": (612.0, 792.0)}
CARRIED = "https://readings.example/v#" + "A7" * 205  # as long as a code that carries readings may be
Drawn = Callable[..., bytes]
Boxed = tuple[str, tuple[float, float, float, float]]


@pytest.fixture(params=list(SIZES))
def size(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> str:
    look = attrs.evolve(theme(), paper=request.param)
    monkeypatch.setattr(pdf, "theme", lambda: look)
    return str(request.param)


def boxes(file: bytes, page: int = 0) -> list[Boxed]:
    """(character, (left, bottom, right, top)) of all that leaves ink on a page, as tight as it is drawn."""
    layer = pypdfium2.PdfDocument(file)[page].get_textpage()
    found = [(layer.get_text_range(at, 1), layer.get_charbox(at)) for at in range(layer.count_chars())]
    return [(char, box) for char, box in found if char.strip()]


def place(file: bytes, words: str, page: int = 0) -> tuple[float, float]:
    """(left, bottom) of the first place where these words stand on a page."""
    layer = pypdfium2.PdfDocument(file)[page].get_textpage()
    found = layer.search(words).get_next()
    assert found is not None, f"{words!r} does not stand on page {page + 1}"
    left, bottom, *_ = layer.get_charbox(found[0])
    return left, bottom


def type_sizes(file: bytes, page: int) -> set[float]:
    content: Any = pypdf.PdfReader(io.BytesIO(file)).pages[page].get_contents()
    return {float(found) for found in re.findall(rb"([\d.]+) Tf", content.get_data())}


def codes(file: bytes) -> list[Any]:
    picture = pypdfium2.PdfDocument(file)[0].render(scale=150 / 72).to_pil().convert("L")
    return list(zxingcpp.read_barcodes(picture))


def overlaps(file: bytes, page: int) -> list[tuple[str, str]]:
    """Pairs of characters that lie upon each other by more than a hair."""
    found = sorted(boxes(file, page), key=lambda one: one[1][0])
    pairs = []
    for nth, (char, (left, bottom, right, top)) in enumerate(found):
        for other, (left2, bottom2, right2, top2) in found[nth + 1 :]:
            if left2 > right - _KERNED:
                break
            if (
                min(right, right2) - max(left, left2) > _KERNED
                and min(top, top2) - max(bottom, bottom2) > 0.4
            ):
                pairs.append((char, other))
    return pairs


# --- one sheet ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("carried", [None, CARRIED], ids=["one code", "two codes"])
@pytest.mark.parametrize("name", list(ALL))
def test_three_faults_and_twelve_lines_stand_on_one_sheet_with_bill_and_code(
    name: str, carried: str | None, size: str
) -> None:
    file = render_pdf(ALL[name](), SAY, LINK, carried=carried)
    first, *behind = pdf_pages(file)
    assert MARK in first
    assert squeezed("Still to pay") in squeezed(first) or name == "estimate"
    assert behind
    assert all("How we know" not in text for text in (first, *behind[1:]))
    box = pypdf.PdfReader(io.BytesIO(file)).pages[0].mediabox
    assert (float(box.width), float(box.height)) == pytest.approx(SIZES[size], abs=0.01)


def test_the_full_sheet_has_three_faults_and_twelve_lines() -> None:
    (account,) = (block for block in full_sheet().blocks if isinstance(block, Account))
    assert sum(bool(row.proofs) for row in account.rows) == 3
    assert sum(len(row.works) for row in account.rows) == 12


@pytest.mark.parametrize("name", list(ALL))
def test_nothing_on_the_first_sheet_is_set_smaller_than_8_and_a_half_points(name: str, size: str) -> None:
    file = render_pdf(ALL[name](), SAY, LINK)
    sizes = type_sizes(file, 0)
    assert min(sizes) >= 8.5
    assert 10.0 in sizes
    assert 16.0 <= max(sizes) <= 18.0, "the answer is the largest"


@pytest.mark.parametrize("name", list(ALL))
def test_the_first_sheet_has_at_most_450_words(name: str) -> None:
    assert len(pdf_pages(render_pdf(ALL[name](), SAY, LINK))[0].split()) <= 450


@pytest.mark.parametrize("name", list(ALL))
def test_no_character_lies_upon_another_on_any_sheet(name: str, size: str) -> None:
    file = render_pdf(ALL[name](), SAY, LINK, carried=CARRIED)
    for page in range(len(pdf_pages(file))):
        assert overlaps(file, page) == [], f"page {page + 1}"


@pytest.mark.parametrize("name", list(ALL))
def test_everything_stands_between_the_margins(name: str, size: str) -> None:
    file = render_pdf(ALL[name](), SAY, LINK)
    wide, tall = SIZES[size]
    look = theme()
    for page in range(len(pdf_pages(file))):
        for char, (left, bottom, right, top) in boxes(file, page):
            assert left >= look.left * MM - 0.6, f"{char!r} on page {page + 1}"
            assert right <= wide - look.right * MM + 0.6, f"{char!r} on page {page + 1}"
            assert look.bottom * MM - 1 <= bottom <= top <= tall - look.top * MM + 1


def test_the_answer_stands_in_the_upper_third_and_the_bill_on_the_right_of_the_lower_half(size: str) -> None:
    file = render_pdf(accounts.battery_and_drain(), SAY, LINK)
    wide, tall = SIZES[size]
    assert place(file, "Put right: a worn-out")[1] > tall * 2 / 3
    assert place(file, "366.60 EUR")[1] > tall * 0.65
    for words in ("Tax 20 %", "Total EUR", "Still to pay"):
        left, bottom = place(file, words)
        assert left > wide / 2
        assert bottom < tall / 2
    assert place(file, "Guarantee")[0] < wide / 4


def test_what_was_found_how_and_for_how_much_stand_on_one_line() -> None:
    file = render_pdf(accounts.battery_and_drain(), SAY, LINK)
    lines = {
        words: place(file, words)[1]
        for words in ("Empty after standing", "Drawn while parked", "Drain found")
    }
    assert max(lines.values()) - min(lines.values()) < 3.0


def test_the_text_layer_says_the_account_in_the_order_of_its_rows() -> None:
    said = squeezed("".join(pdf_pages(render_pdf(accounts.battery_and_drain(), SAY, LINK))))
    at = 0
    for words in (
        "Kerbside Example Mechanics",
        "Invoice 2026-A0001",
        "28 Nov 2026",
        "Example Customer",
        "“Does not crank after two days at the kerb.”",
        "Put right: a worn-out battery",
        "366.60 EUR",
        "Both were measured again",
        "Battery worn out",
        "now 10.3 V",
        "before 8.4 V",
        "usual: at least 9.3 V",
        "Battery replaced",
        "37.50",
        "Put right and shown",
        "A lamp stayed on",
        "Not looked at",
        "Total EUR",
        "Still to pay",
        "readings.example/v",
        "Code K7QX 4M2P 7TBD 6HWE 3RNA ZCVJ 5Q",
        MARK,
        "How we know",
        "10.30 V ± 0.07 V",
        "8.40 V ± 0.06 V",
        "Current before the lamp was unplugged",
        "Current after",
    ):
        found = said.find(squeezed(words), at)
        assert found >= 0, f"{words!r} does not follow what stands before it"
        at = found


# --- codes --------------------------------------------------------------------------------------------------


def test_the_code_decodes_at_150_dpi_is_25_mm_wide_and_ends_the_sheet(size: str) -> None:
    (code,) = codes(render_pdf(accounts.check_up(), SAY, LINK))
    assert code.text == LINK
    assert (code.position.top_right.x - code.position.top_left.x) / 150 * 25.4 >= 24.7  # a pixel is 0.17 mm
    lowest = code.position.bottom_left.y / 150 * 72
    assert SIZES[size][1] - lowest < (theme().bottom + 5) * MM


def test_both_codes_decode_at_150_dpi_and_the_carried_one_has_its_45_mm(size: str) -> None:
    """A code of 427 bytes has 81 modules, with its quiet zone 89 of 45 mm: 81 / 89 × 45 = 41.0 mm."""
    found = {code.text: code for code in codes(render_pdf(full_sheet(), SAY, LINK, carried=CARRIED))}
    assert set(found) == {LINK, CARRIED}
    corners = found[CARRIED].position
    assert (corners.top_right.x - corners.top_left.x) / 150 * 25.4 == pytest.approx(41.0, abs=0.5)
    assert found[LINK].position.top_right.x < corners.top_left.x


def test_an_address_without_a_token_and_one_of_this_computer_are_printed_as_they_are_typed() -> None:
    text = pdf_pages(render_pdf(accounts.check_up(), SAY, "http://127.0.0.1:8741/v#ABCDEFGH"))[0]
    assert "http://127.0.0.1:8741/v" in text
    assert "Code ABCD EFGH" in text


def test_a_draft_of_an_account_has_no_code_and_says_draft_on_every_sheet() -> None:
    file = render_pdf(attrs.evolve(accounts.check_up(), draft=True, number=""), SAY, LINK, carried=CARRIED)
    assert codes(file) == []
    assert all("DRAFT" in text for text in pdf_pages(file))
    assert "A draft carries no code." in pdf_pages(file)[0]
    assert "Record mark" not in "".join(pdf_pages(file))


# --- what does not fit --------------------------------------------------------------------------------------


def long_account(rows: int) -> Document:
    return paper([accounts.BATTERY, *[accounts.PASSAGE] * rows, accounts.VISIT], answer="Put right.")


@pytest.mark.parametrize("rows", [6, 9, 14, 30])
def test_more_than_one_sheet_holds_grows_onto_the_next_and_loses_nothing(rows: int, size: str) -> None:
    pages = pdf_pages(render_pdf(long_account(rows), SAY, LINK))
    text = "\n".join(pages)
    assert text.count("Valve and passages cleaned") == rows
    assert text.count("not charged: goodwill") == rows
    before = next(nth for nth, page in enumerate(pages) if "How we know" in page)
    assert before > 1
    for page in pages[1:before]:
        if "Valve and passages cleaned" in page:
            assert page.index("What we did") < page.index("Valve and passages cleaned")
    assert "Still to pay" in pages[before - 1]
    assert MARK in pages[before - 1].split("Still to pay")[1], "the code never stands alone"


@pytest.mark.parametrize("char", ["x", "ქ", "✓", "W"])
def test_a_word_of_two_thousand_characters_anywhere_in_an_account_breaks_nothing(
    char: str, size: str
) -> None:
    long = char * 2000
    row = AccountRow(
        point=long,
        what=long,
        cause=long,
        proofs=(ProofRow(name=long, before=long, now=long, usual=long, strip=accounts.LOAD),),
        works=(WorkRow(text=long, detail=long, net=long, reason=long),),
        state=long,
        next=long,
    )
    file = render_pdf(
        paper([row], answer=long, proof=long, shop=long, facts=((long, long, True), (long, long, False))),
        resolver(dict.fromkeys(TEXTS, long)),
        LINK,
    )
    shown = char if char != "ქ" else "[U+10E5]"
    pages = pdf_pages(file)
    assert squeezed("".join(pages)).count(shown) >= (12 + 5 + 4) * 2000
    wide, _ = SIZES[size]
    for sheet in pypdfium2.PdfDocument(file):
        layer = sheet.get_textpage()
        for nth in range(layer.count_rects()):
            left, _, right, _ = layer.get_rect(nth)
            assert left >= theme().left * MM - 0.6
            assert right <= wide - theme().right * MM + 0.6


def test_a_paper_that_ends_in_an_account_without_code_and_evidence_is_drawn() -> None:
    document = paper([accounts.BATTERY], answer="Put right.", evidence=(), code=False)
    assert len(pdf_pages(render_pdf(document, mask, LINK))) == 1


def test_the_shop_s_whole_name_stands_on_the_first_sheet_and_the_mark_on_those_behind() -> None:
    first, *behind = pdf_pages(render_pdf(full_sheet(), SAY, LINK))
    assert squeezed(full_sheet().shop) in squeezed(first)
    for text in behind:
        assert text.startswith("Kerbside Example Mechanics")
        assert MARK in text.splitlines()[0]


def test_the_parts_of_a_paper_are_bookmarked_and_the_sheets_behind_are_one() -> None:
    outline = pypdf.PdfReader(io.BytesIO(render_pdf(accounts.battery_and_drain(), SAY, LINK))).outline
    titles = [str(item.title) for item in outline if not isinstance(item, list)]
    assert titles[:2] == ["Invoice 2026-A0001", "How we know"]


def test_without_the_customer_s_own_words_the_symptom_is_said() -> None:
    document = accounts.check_up()
    told = tuple(
        attrs.evolve(block, said=()) if hasattr(block, "said") else block for block in document.blocks
    )
    text = pdf_pages(render_pdf(attrs.evolve(document, blocks=told), SAY, LINK))[0]
    assert "You told us: does not crank" in text
    assert "“" not in text


def test_the_same_account_gives_the_same_bytes() -> None:
    assert render_pdf(full_sheet(), SAY, LINK) == render_pdf(full_sheet(), SAY, LINK)


# --- strips -------------------------------------------------------------------------------------------------


def setter() -> Typesetter:
    code = Code(document_id="d", link=1, record_mark=MARK)
    return Typesetter(
        document=attrs.evolve(accounts.check_up(), blocks=(code,)),
        resolve=mask,
        wording=wording(),
        measures=ROOMY,
        width=400.0,
    )


VOICE = Voice("regular", 8.5, 10.8, GREY)


@settings(deadline=None)
@given(strips(), st.sampled_from(["1", "10.3 V", "12,345.67 kΩ ± 0.12 kΩ"]), st.sampled_from([141.7, 255.1]))
def test_values_at_the_dots_stand_inside_the_strip_and_clear_of_each_other(
    strip: Strip, value: str, width: float
) -> None:
    column = Column(30.0, width)
    before = value if strip.before is not None else ""
    add_scale(setter(), column, strip, "Voltage", before=before, now=value, voice=VOICE)
    lines = [thing for thing in column.things if isinstance(thing, SetLine)]
    assert len(lines) == (2 if before else 1)
    for line, at in zip(lines, (strip.reading, strip.before), strict=False):
        assert line.x >= 30.0 - 1e-6
        assert line.x + line.width <= 30.0 + width + 1e-6
        dot = 30.0 + place_on(strip, at or 0.0) * width
        assert line.x - 1e-6 <= dot <= line.x + line.width + 1e-6 or line.width < 14.0
    (scale,) = (thing for thing in column.things if isinstance(thing, SetFigure))
    assert lines[0].foot <= scale.down + 1e-6
    if before:
        assert lines[1].down >= scale.foot - 1e-6


def test_a_value_too_long_for_its_strip_is_broken_and_not_clipped() -> None:
    column = Column(0.0, 141.7)
    add_scale(
        setter(),
        column,
        accounts.CHARGING,
        "Voltage",
        before="",
        now="14.31 V " + "at speed " * 9,
        voice=VOICE,
    )
    lines = [thing for thing in column.things if isinstance(thing, SetLine)]
    assert len(lines) > 1
    assert all(line.line.text.width <= 141.7 for line in lines)


def test_from_before_to_now_a_dashed_line_leads() -> None:
    def dashed(figure: Figure) -> list[Polyline]:
        return [mark for mark in figure.marks if isinstance(mark, Polyline) and mark.dashed]

    (path,) = dashed(scale_figure(accounts.LOAD, "Voltage", room=141.7, numbered=False))
    dots = [
        mark.x
        for mark in scale_figure(accounts.LOAD, "Voltage", room=141.7, numbered=False).marks
        if isinstance(mark, Dot)
    ]
    assert [x for x, _ in path.points] == dots
    assert dashed(scale_figure(accounts.CHARGING, "Voltage", room=141.7, numbered=False)) == []


def test_a_strip_on_the_first_sheet_carries_no_small_numbers_and_one_behind_does() -> None:
    def labels(numbered: bool) -> list[str]:
        figure = scale_figure(accounts.LOAD, "Voltage", room=255.1, numbered=numbered)
        return [mark.text for mark in figure.marks if isinstance(mark, Label)]

    assert labels(False) == []
    assert labels(True) == ["7", "8", "9", "10", "11", "12"]


def strip(unit: str, low: float, high: float) -> Strip:
    return Strip(unit=unit, low_end=low, high_end=high, reading=low, uncertainty=0.0)


def test_strips_of_one_unit_share_a_scale_and_those_of_another_do_not() -> None:
    load, charging, drain = strip("V", 7, 12), strip("V", 13, 15), strip("mA", 0, 50)
    assert [(one.low_end, one.high_end) for one in on_common_scales([load, drain, charging])] == [
        (7, 15),
        (0, 50),
        (7, 15),
    ]


@pytest.mark.parametrize(("high", "is_shared"), [(6.0, True), (6.1, False)], ids=["a sixth", "less"])
def test_a_scale_is_shared_as_long_as_each_strip_keeps_a_sixth_of_it(high: float, is_shared: bool) -> None:
    narrow, wide = on_common_scales([strip("V", 0, 1), strip("V", 0, high)])
    assert (narrow.high_end == wide.high_end) == is_shared
