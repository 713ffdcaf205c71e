"""The first sheet of every paper of the demo, read back from the file as a customer reads it: by position.

No word of it comes from the document's value: a reader program says what stands where.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import attrs
import pypdf
import pypdfium2
import pytest
import zxingcpp

from corekit.desk.shop import Shop
from corekit.model.document import Document, Paragraph, Picture, Readings, from_data
from corekit.report.pdf import ATTACHMENT
from corekit.testing.visits import assessed

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


def document_of(path: Path) -> Document:
    (attached,) = pypdf.PdfReader(path).attachments[ATTACHMENT]
    return from_data(json.loads(attached))


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
    # Before anybody looked there is nothing that we know.
    behind = "In detail" if "diagnosis" in paper.stem else "How we know"
    assert behind not in said(words_on(paper))
    assert behind in said(words_on(paper, 1))


REPAIRS = [(job, name) for job, name in papers() if name.startswith("repair")]


@pytest.mark.parametrize(("job", "name"), REPAIRS)
def test_an_estimate_before_any_work_says_of_nothing_that_it_was_not_put_right(
    job: str, name: str, demo_out: Path
) -> None:
    sheet = said(words_on(estimate_of(job, name, demo_out)))
    assert "Not put right" not in sheet and "Proposed" in sheet


@pytest.mark.parametrize(("job", "name"), REPAIRS)
def test_a_reading_stands_on_an_estimate_once_beside_the_work_that_it_shall_show(
    job: str, name: str, demo_out: Path
) -> None:
    sheet = said(words_on(estimate_of(job, name, demo_out)))
    proofs = re.findall(r"usual: (?:at least|at most|[0-9.]+ \S+ to) [0-9.]+ \S+", sheet)
    assert proofs and len(proofs) == len(set(proofs))


@pytest.mark.parametrize(("job", "name"), REPAIRS)
def test_no_estimate_says_that_work_can_wait_beside_a_warning_about_driving(
    job: str, name: str, demo_out: Path
) -> None:
    sheet = said(words_on(estimate_of(job, name, demo_out)))
    warns = "Before you drive" in sheet
    assert warns is (job in ("high-speed", "not-the-cure")), "7 sparks in 100 are missing there"
    assert ("If nothing is done: do not drive the vehicle until it is." in sheet) is warns
    assert ("Your answer to this estimate. Before you drive: see below." in sheet) is warns
    assert ("Do not drive on" in sheet) is warns


@pytest.mark.parametrize(("job", "name"), REPAIRS)
def test_what_an_estimate_says_was_not_looked_at_is_named_behind_it(
    job: str, name: str, demo_out: Path
) -> None:
    path = estimate_of(job, name, demo_out)
    pages = len(pypdfium2.PdfDocument(path))
    named = " ".join(said(words_on(path, nth)) for nth in range(1, pages)).partition("Not looked at: ")[2]
    counted = re.search(r"Not looked at (\d+) more things", said(words_on(path)))
    assert counted is not None
    assert named.partition(".")[0].count(";") + 1 >= int(counted[1])


def test_nothing_that_was_read_is_said_not_to_have_been_looked_at(job: str, demo_out: Path) -> None:
    document = document_of(invoice_of(job, demo_out))
    (read,) = [block for block in document.blocks if isinstance(block, Readings)]
    told = [
        str(block.words[0])
        for block in document.blocks
        if isinstance(block, Paragraph) and str(block.words[0]).startswith("Not looked at: ")
    ]
    unseen = {
        one.casefold() for text in told for one in text.removeprefix("Not looked at: ")[:-1].split("; ")
    }
    assert unseen
    assert {row.name.casefold() for row in read.rows} & unseen == set()


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
        "Not put right: a cracked spark plug",
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


def test_work_that_nothing_found_calls_for_says_by_whose_judgement_it_is_proposed(demo_out: Path) -> None:
    text = said(words_on(estimate_of("not-the-cure", "repair 1", demo_out)))
    assert "Proposed: replace the ignition coil." in text
    assert "Found:" not in text
    assert "By our judgement, not by a reading. The coil of this cylinder is the oldest" in text


def test_what_was_not_the_cure_is_not_what_is_to_be_done_next(demo_out: Path) -> None:
    text = said(words_on(invoice_of("not-the-cure", demo_out)))
    left = text[text.index("What next") :]
    assert "replace the spark plugs (76.70 EUR before tax)" in left
    assert "Replace the ignition coil" not in left


def test_a_check_up_shows_what_was_read_and_says_what_was_looked_at(demo_out: Path) -> None:
    text = said(words_on(invoice_of("check-up", demo_out)))
    for shown in ("98 %", "12.81 V", "16.0 mA", "10.40 V", "The battery case looks sound.", "Nothing found"):
        assert shown in text


def test_parts_that_were_removed_are_counted(demo_out: Path) -> None:
    text = said(words_on(invoice_of("high-speed", demo_out)))
    assert "spark plug (4 pieces): yours, unless you leave them with us." in text


def test_the_gaps_of_plugs_that_were_taken_out_leave_nothing_open(demo_out: Path) -> None:
    """On arrival they were compared with what the coil gives; the new ones were read again."""
    whole = JOBS["high-speed"].read_text("utf-8")
    compared_again = whole[
        whole.index("[[step]]                                                # coil and supply") :
    ]
    once = whole.replace(compared_again, "")
    onset = [one for one in assessed(once).current if one.code == "ignition.onset"]
    assert all("1.40 mm" not in str(one.text) for one in onset)
    assert any("1.40 mm" in str(one.text) for one in assessed(whole).findings if one.code == "ignition.onset")


def test_a_drain_put_right_says_the_same_days_before_and_behind(demo_out: Path) -> None:
    path = invoice_of("worn-battery", demo_out)
    (days,) = re.findall(r"should still start the car after (\d+) days", said(words_on(path)))
    assert f"lasts for {days} to" in said(words_on(path, 1))


def test_a_chart_of_what_was_wrong_is_drawn_again_as_it_is_after_the_work(demo_out: Path) -> None:
    """Of the battery that gave way, and of plugs that asked for more than the coil gives."""
    for job in ("worn-battery", "high-speed"):
        document = from_data(attached(invoice_of(job, demo_out)))
        titles = [block.figure.title for block in document.blocks if isinstance(block, Picture)]
        before = [title.removesuffix(" (on arrival)") for title in titles if title.endswith("(on arrival)")]
        assert before, job
        for title in before:
            assert any(other.startswith(f"{title} (after: ") for other in titles), title


def attached(paper: Path) -> dict[str, Any]:
    (data,) = pypdf.PdfReader(paper).attachments[ATTACHMENT]
    return dict(json.loads(data))
