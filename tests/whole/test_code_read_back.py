"""The code on the paper, read back by programs that know nothing of corekit, and the page that it opens.

The reading chain is a scanner's: the sheet at 150 dpi in grey (pypdfium2), the symbol found and decoded by
zxing-cpp. What the symbol is was defined by ISO/IEC 18004; four modules of quiet zone around it are its
clause on that, known from memory.
"""

from __future__ import annotations

import json
import re
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import pypdf
import pypdfium2
import pytest
import zxingcpp

from corekit.desk.errors import EstimateAwaitedError
from corekit.desk.issuing import Invoice
from corekit.desk.shop import Shop
from corekit.model.document import Answer, from_data, to_data
from corekit.report.pdf import check_glyphs, render_pdf
from corekit.report.personal_text import mask

from ..conftest import Watched
from .chain import (
    JOBS,
    at,
    checked,
    corekit,
    document_texts,
    done,
    edited,
    paper_text,
    persons_in,
    squeezed,
    written,
)

_NUMBER = re.compile(r"\d+(?:\.\d+)*")


@pytest.fixture(scope="session")
def invoices(demo_out: Path) -> dict[str, Invoice]:
    """The demo's invoices as they stand; asking again draws the same papers."""
    with Shop(demo_out) as shop:
        return {shop.store.job(job).name: shop.issue(job) for job in shop.store.jobs()}


def scanned(pdf: bytes) -> list[str]:
    """Every code on every sheet, as a scanner reads it at 150 dpi in grey."""
    sheets = (page.render(scale=150 / 72).to_pil().convert("L") for page in pypdfium2.PdfDocument(pdf))
    return [found.text for sheet in sheets for found in zxingcpp.read_barcodes(sheet)]


def test_the_code_on_the_invoice_holds_its_link(invoices: dict[str, Invoice], job: str) -> None:
    invoice = invoices[job]
    assert re.fullmatch(r"http://127\.0\.0\.1:8741/v#[A-Z2-7]{26}", invoice.link)
    assert scanned(invoice.pdf.read_bytes()) == [invoice.link]
    page, _, code = invoice.link.partition("#")
    printed = squeezed(paper_text(invoice.pdf))
    assert page in printed, "the page's address is not printed beside the code"
    assert code in printed, "what is to be typed, in groups of four, is not printed beside the code"


def test_no_two_papers_hold_the_same_code(invoices: dict[str, Invoice]) -> None:
    assert len({invoice.link for invoice in invoices.values()}) == len(invoices)


def test_estimates_carry_no_code(demo_out: Path) -> None:
    for path in (demo_out / "papers").glob("estimate-*.pdf"):
        assert scanned(path.read_bytes()) == [], path.name


def test_every_face_on_every_paper_is_embedded_and_is_the_one_face(demo_out: Path) -> None:
    for path in (demo_out / "papers").iterdir():
        fonts = [
            font.get_object()
            for page in pypdf.PdfReader(path).pages
            for font in page["/Resources"]["/Font"].values()
        ]  # type: ignore[index]
        assert fonts, path.name
        for font in fonts:
            described = [font, *(one.get_object() for one in font.get("/DescendantFonts", ()))]
            files = [one["/FontDescriptor"].get_object() for one in described if "/FontDescriptor" in one]
            assert any("/FontFile2" in one or "/FontFile3" in one for one in files), (
                f"{path.name}: {font['/BaseFont']} is not embedded"
            )
            assert "FiraSans" in font["/BaseFont"] or "FiraCode" in font["/BaseFont"], path.name


def test_our_own_texts_are_all_in_the_face_of_the_papers(
    demo_out: Path, invoices: dict[str, Invoice], job: str
) -> None:
    """What people type may fall back to another face; what plugins and papers say must not."""
    check_glyphs(invoices[job].document)
    with Shop(demo_out) as shop:
        for estimate in shop.store.job(shop.store.find(job)).estimates:
            check_glyphs(from_data(estimate.record.document))


def test_the_invoice_answers_in_the_order_of_a_customers_questions(
    invoices: dict[str, Invoice], job: str
) -> None:
    text = " ".join(paper_text(invoices[job].pdf).split())
    document = invoices[job].document
    (answer,) = [block.text for block in document.blocks if isinstance(block, Answer)]
    order = [
        "For",
        "You told us",
        answer,
        "Total",
        "You asked us to come and look",
        "We looked at",
        "Guarantee",
        "Still to pay",
        "How we know",
        "The work, line by line",
        "What you approved",
    ]
    if job == "worn-battery":
        order.insert(9, "Result of the repair")
    place = 0
    for heading in order:
        place = text.index(heading, place)  # raises where it does not stand behind the one before


# ---- the page


@pytest.fixture(scope="session", params=JOBS)
def job(request: pytest.FixtureRequest) -> str:
    return str(request.param)


@pytest.fixture(scope="session")
def opened(
    invoices: dict[str, Invoice], demo_served: str, lasting_phone: Callable[..., Watched], job: str
) -> Watched:
    """The page of one job, opened by the link that its paper's code holds."""
    watched = lasting_phone()
    (link,) = scanned(invoices[job].pdf.read_bytes())
    watched.open(at(link, demo_served))
    return watched


@pytest.fixture(scope="session")
def masked_paper(opened: Watched) -> bytes:
    """The copy of the paper that the page gives away."""
    with opened.page.expect_download() as download:
        opened.page.click("text=Save as PDF")
    return Path(download.value.path()).read_bytes()


@pytest.mark.browser
def test_the_page_opens_on_a_phone_without_a_fault_a_stranger_or_a_sideways_scroll(
    opened: Watched, job: str, demo_served: str, invoices: dict[str, Invoice]
) -> None:
    assert f"Invoice {invoices[job].number}" in opened.text
    assert opened.errors == []
    assert opened.asked
    assert [address for address in opened.asked if not address.startswith(f"{demo_served}/")] == []
    assert too_wide(opened) == []
    with opened.unfolded():
        assert too_wide(opened) == []
    assert opened.page.context.cookies() == []


def too_wide(watched: Watched) -> list[str]:
    """What stands over the right edge of a phone's screen, or makes the page scroll sideways."""
    assert watched.page.evaluate("document.documentElement.scrollWidth") <= 360
    return list(
        watched.page.evaluate(
            "[...document.querySelectorAll('article *')].filter(one => one.getBoundingClientRect().right >"
            " innerWidth + 1).map(one => one.outerHTML.slice(0, 80))"
        )
    )


@pytest.mark.browser
def test_every_number_is_the_same_on_paper_page_and_check(
    opened: Watched, job: str, masked_paper: bytes, invoices: dict[str, Invoice], demo_out: Path
) -> None:
    page, paper = squeezed(opened.whole_text).casefold(), squeezed(paper_text(invoices[job].pdf))
    readings = checked(job, demo_out)["readings"]
    assert len(readings) >= 2
    for reading in readings:
        # What ± means stands once, below the readings.
        shown = squeezed(reading["shown"]).replace("(k=2)", "")
        assert _NUMBER.search(shown)
        assert shown in paper, f"{reading['of']} {reading['shown']}: not on the paper"
        assert shown.casefold() in page, f"{reading['of']} {reading['shown']}: not on the page"
        assert shown in squeezed(paper_text(masked_paper)), (
            f"{reading['of']} {reading['shown']}: not on the masked copy"
        )
    for finding in checked(job, demo_out)["findings"]:
        for limit in finding["limits"][:1]:
            if squeezed(finding["text"]) in paper:
                assert squeezed(limit["shown"]) in paper
                assert squeezed(limit["shown"]).casefold() in page


def _without_running_heads(pdf: bytes | Path) -> str:
    """What a paper says, so that a sentence that goes on overleaf is whole."""
    head = re.compile(r"[^\n]*Record mark \S+\s+page \d+ of \d+\n(DEMO:[^\n]*\n)?")
    return head.sub(" ", paper_text(pdf))


def symptoms_of(invoice: Invoice) -> list[str]:
    return [block.symptoms for block in invoice.document.blocks if isinstance(block, Answer)]


@pytest.mark.browser
def test_every_text_of_the_document_stands_on_paper_and_page(
    opened: Watched, job: str, invoices: dict[str, Invoice]
) -> None:
    page = squeezed(opened.whole_text).casefold()
    paper = squeezed(_without_running_heads(invoices[job].pdf)).casefold()
    # Several symptoms stand with the rows that answer them, where the customer's own words stand above.
    texts = [
        one
        for text in document_texts(to_data(invoices[job].document)["blocks"])
        for one in text.split("; " if text in symptoms_of(invoices[job]) else "\0")
        if one
    ]
    assert len(texts) > 40
    missing = {
        (where, text)
        for text in texts
        for where, whole in (("page", page), ("paper", paper))
        if squeezed(text).casefold() not in whole
    }
    assert missing == set()


@pytest.mark.browser
def test_paper_and_masked_copy_print_the_same_numbers(
    masked_paper: bytes, job: str, invoices: dict[str, Invoice], opened: Watched
) -> None:
    def numbers(text: str) -> Counter[str]:
        for personal in persons_in(job):
            # White in it may be a line's end on the paper.
            text = re.sub(r"\s+".join(map(re.escape, personal.split())), " ", text)
        return Counter(_NUMBER.findall(text))

    whole, masked = numbers(paper_text(invoices[job].pdf)), numbers(paper_text(masked_paper))
    assert (whole - masked, masked - whole) == (Counter(), Counter())


@pytest.mark.browser
def test_nothing_of_a_person_is_on_the_page_or_its_copy_and_all_of_it_on_the_customers_paper(
    opened: Watched, job: str, masked_paper: bytes, invoices: dict[str, Invoice]
) -> None:
    paper, copy = squeezed(paper_text(invoices[job].pdf)), squeezed(paper_text(masked_paper))
    seen = squeezed(opened.page.content() + opened.text)
    for personal in persons_in(job):
        assert squeezed(personal) in paper
        assert squeezed(personal) not in copy
        # The figures of a number do not count: between others they are nobody's.
        assert not re.search(rf"(?<![0-9.]){re.escape(squeezed(personal))}(?![0-9])", seen)
    assert scanned(masked_paper) == [invoices[job].link]


def test_what_was_published_holds_no_word_of_a_person(demo_out: Path) -> None:
    published = "".join(path.read_text("utf-8") for path in (demo_out / "published").iterdir())
    store = (demo_out / "journal.sqlite").read_bytes().decode("utf-8", "replace")
    for personal in (text for job in JOBS for text in persons_in(job)):
        assert personal in store, "the test looks for the wrong words"
        assert personal not in published


@pytest.mark.browser
def test_the_page_prints_what_is_open_without_its_buttons_on_paper_of_its_own(
    invoices: dict[str, Invoice], demo_served: str, phone: Callable[..., Watched]
) -> None:
    watched = phone()
    watched.open(at(invoices["worn-battery"].link, demo_served))
    folded = paper_text(watched.page.pdf(format="A4"))
    assert "Voltage under load" not in folded
    with watched.unfolded():
        opened = paper_text(watched.page.pdf(format="A4"))
    assert "Voltage under load" in opened
    assert "10.30 V ± 0.08 V" in opened
    for printed in (folded, opened):
        assert "Save as PDF" not in printed
        assert "10.30 V" in printed
        assert "366.60" in printed


@pytest.mark.browser
def test_a_customer_reads_before_after_limit_source_ground_and_what_stays_open(
    invoices: dict[str, Invoice], demo_served: str, phone: Callable[..., Watched]
) -> None:
    watched = phone()
    watched.open(at(invoices["worn-battery"].link, demo_served))
    for words in (
        "before 8.40 V",
        "now 10.30 V",
        "Put right and shown",
        "What next",
        "Not looked at",
        "Total 366.60",
        "Call-out",
    ):
        assert squeezed(words) in squeezed(watched.text), words
    for words in (
        "At least 9.31 V",
        "at least 9.31 V ± 0.10 V",
        "TM 5-4210-230-14&P-1",
        "Shown to work. Retest: It holds 10.30 V",
        "shown by: Voltage under load",
        "Your request: asked for a diagnosis",
        "306.60 EUR, approved by the customer",
    ):
        assert squeezed(words) in squeezed(watched.whole_text), words
    assert_drawn(watched, "svg.limit-strip", least=2)
    with watched.unfolded():
        assert_drawn(watched, "svg.strip", least=4)


def assert_drawn(watched: Watched, strips: str, *, least: int) -> None:
    found = watched.page.query_selector_all(strips)
    assert len(found) >= least
    for strip in found:
        box = strip.bounding_box()
        assert box["width"] > 150
        assert box["height"] > 10


def test_a_full_vehicle_number_is_on_the_customers_paper_alone(demo_copy: Path) -> None:
    """The number is constructed, of no maker's; its check digit fits (as core-vin-04)."""
    text = edited(
        JOBS["undecided"].read_text("utf-8"),
        ('"undecided"', '"with-vin"'),
        ('plate = "DEMO-5"', 'vin = "0TSTE1D1XS0000001"'),
    )
    visit = written(demo_copy.parent, text)
    with Shop(demo_copy) as shop:
        with pytest.raises(EstimateAwaitedError) as awaited:
            shop.import_visit(visit)
        shop.estimate(awaited.value.job, "diagnosis")
        invoice = shop.issue(shop.import_visit(visit))
        shop.publish()
    assert "0TSTE1D1XS0000001" in paper_text(invoice.pdf)
    assert "0TSTE1D1XS" not in paper_text(render_pdf(invoice.document, mask, invoice.link))
    assert "0TSTE1D1XS" not in json.dumps(to_data(invoice.document))
    assert not any("0TSTE1D1XS" in path.read_text("utf-8") for path in (demo_copy / "published").iterdir())
    done(corekit("verify", shop=demo_copy))
