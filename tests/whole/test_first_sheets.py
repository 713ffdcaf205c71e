"""The first sheet of every paper of the demo, read back from the file as a customer reads it: by position.

No word of it comes from the document's value: a reader program says what stands where.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import attrs
import pypdfium2
import pytest
import zxingcpp

from corekit.desk.shop import Shop

from ..report.test_sheet import type_sizes
from .chain import JOBS, estimate_of, estimates_in, invoice_of

MOST_WORDS = 450
FIRST_WORDS = 120  # within which five plain questions are answered
SMALLEST = 8.5  # points


@attrs.frozen
class Word:
    """A word and where it stands, in points from the sheet's lower left."""

    text: str
    left: float
    bottom: float


def words_on(path: Path, page: int = 0) -> list[Word]:
    """The words of a sheet in the order in which they are stored, which is that of a screen reader."""
    layer = pypdfium2.PdfDocument(path)[page].get_textpage()
    words: list[Word] = []
    text, at = "", (0.0, 0.0)
    for nth in range(layer.count_chars()):
        char = layer.get_text_range(nth, 1)
        if char.strip():
            at = at if text else layer.get_charbox(nth)[:2]
            text += char
        elif text:
            words.append(Word(text, *at))
            text = ""
    return [*words, *([Word(text, *at)] if text else [])]


def said(words: list[Word]) -> str:
    return " ".join(word.text for word in words)


def papers() -> Iterator[tuple[str, str]]:
    for job in JOBS:
        yield job, ""
        for estimate in estimates_in(job):
            yield job, estimate


@pytest.fixture(params=papers(), ids=lambda paper: "-".join(filter(None, paper)))
def paper(request: pytest.FixtureRequest, demo_out: Path) -> Path:
    job, estimate = request.param
    return estimate_of(job, estimate, demo_out) if estimate else invoice_of(job, demo_out)


@pytest.fixture(params=list(JOBS))
def job(request: pytest.FixtureRequest) -> str:
    return str(request.param)


def test_the_account_is_one_sheet_and_the_evidence_begins_on_the_next(paper: Path) -> None:
    assert "How we know" not in said(words_on(paper)).replace("“How we know”", "")
    assert "How we know" in said(words_on(paper, 1))


def test_the_first_sheet_has_at_most_450_words(paper: Path) -> None:
    assert len(words_on(paper)) <= MOST_WORDS


def test_nothing_on_the_first_sheet_is_smaller_than_8_and_a_half_points(paper: Path) -> None:
    sizes = type_sizes(paper.read_bytes(), 0)
    assert min(sizes) >= SMALLEST
    assert 10.0 in sizes


def test_no_word_of_the_first_sheet_reaches_over_its_edge(paper: Path) -> None:
    page = pypdfium2.PdfDocument(paper)[0]
    layer, (width, height) = page.get_textpage(), page.get_size()
    for nth in range(layer.count_chars()):
        if layer.get_text_range(nth, 1).strip():
            left, bottom, right, top = layer.get_charbox(nth)
            assert left > 20 and right < width - 20 and bottom > 20 and top < height - 20


def test_no_sentence_stands_on_a_first_sheet_twice(paper: Path) -> None:
    """A short answer may stand beside the total and once more where it is looked for."""
    text = said(words_on(paper))
    sentences = [one.strip() for one in text.replace("?", ".").split(". ") if len(one.split()) >= 9]
    assert len(sentences) == len(set(sentences))


@pytest.mark.parametrize("jargon", ["k = 2", "±", "Ω", "inHg", "duty", "Advice", "Undecided"])
def test_the_customers_sheet_is_free_of_the_trades_signs(paper: Path, jargon: str) -> None:
    assert jargon not in said(words_on(paper))


def test_bill_code_and_answer_stand_on_the_first_sheet_of_an_invoice(job: str, demo_out: Path) -> None:
    path = invoice_of(job, demo_out)
    words = words_on(path)
    text = said(words)
    with Shop(demo_out) as shop:
        invoice = shop.issue(shop.store.find(job))
    sheet = pypdfium2.PdfDocument(path)[0].render(scale=150 / 72).to_pil().convert("L")
    assert [found.text for found in zxingcpp.read_barcodes(sheet)] == [invoice.link]
    for words_of_bill in ("Net ", "Tax 20 % on", "Total", "Approved by you", "Paid", "Still to pay"):
        assert words_of_bill in text
    heights = {word.text: word.bottom for word in reversed(words)}  # the first place of each word
    assert heights["told"] > heights["Total"] > heights["What"] > heights["Code"], "top to bottom"


#: The answer to each question: what it was and whether it is fixed stand in one sentence.
ANSWERS = {
    "worn-battery": ("Put right: a worn-out", "The old battery is taken", "366.60", "Nothing is open"),
    "too-little-egr": ("Put right: a passage choked", "passages that lead", "157.80", "Nothing is open"),
    "high-speed": ("Put right: worn spark plugs", "new ones are fitted", "152.04", "Nothing is open"),
    "check-up": ("Nothing found that is wrong", "Looked over", "60.00", "Nothing is open"),
    "undecided": ("Cause not found yet", "Call-out", "60.00", "Two more tests (50.00 EUR"),
    "not-the-cure": (
        "Not put right: spark plug with a cracked insulator",
        "Done, but not the cure: “Replace the ignition coil”",
        "60.00",
        "Replace the spark plugs (76.70 EUR",
    ),
}


def test_five_plain_questions_are_answered_within_120_words(job: str, demo_out: Path) -> None:
    """What was wrong, is it fixed, what was done, what did it cost, what next: read down the sheet, from the
    customer's own words on.
    """
    words = words_on(invoice_of(job, demo_out))
    start = next(
        nth for nth, word in enumerate(words) if word.text == "You" and words[nth + 1].text == "told"
    )
    text = said(words[start : start + FIRST_WORDS])
    for answer in ANSWERS[job]:
        assert answer in text, f"{answer!r} comes later"


def test_days_and_kilometres_are_written_for_people(paper: Path) -> None:
    text = said(words_on(paper))
    assert re.search(r"\b\d{1,2} (Jan|Feb|Mar|Apr|May|Jun|Jul|Aug|Sep|Oct|Nov|Dec) \d{4}\b", text)
    assert not re.search(r"\b\d{4}-\d\d-\d\d\b", text)
    assert re.search(r"\b\d{2,3} \d{3} km\b", text)
