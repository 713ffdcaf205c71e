"""The first sheet of every paper of the demo, read by position as a hurried reader does, and what stands
behind it.
"""

from __future__ import annotations

import shutil
from decimal import Decimal
from functools import cache
from pathlib import Path

import attrs
import pytest

from corekit.account.state import State
from corekit.desk import paper
from corekit.desk.draft import draft_estimate, draft_invoice
from corekit.desk.in_memory import scratch_job
from corekit.desk.settings import declared as declared_of
from corekit.desk.settings import read_settings
from corekit.fault import DataFileError
from corekit.intake.visit import read_visit
from corekit.model.document import (
    Account,
    Answer,
    ApprovalForm,
    Block,
    Code,
    Document,
    Evidence,
    Findings,
    NextSteps,
    Pairs,
    Readings,
    Statement,
    Totals,
)
from corekit.plugin.host import load
from corekit.reference import data_path
from corekit.report.account_blocks import BETWEEN_POINTS
from corekit.report.dates import GROUP, day_words, distance_words

JOBS = sorted((data_path("demo") / "jobs").glob("*.toml"))
MOST_WORDS = 450  # of the first sheet
FIRST_WORDS = 120  # within which five plain questions are answered


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return Path(shutil.copytree(data_path("demo") / "shop", tmp_path_factory.mktemp("papers") / "shop"))


@pytest.fixture(scope="module", params=JOBS, ids=lambda path: path.stem)
def invoice(request: pytest.FixtureRequest, shop: Path) -> Document:
    return draft_invoice(str(request.param), is_file=True, folder=shop, km=None, as_text=True).document


@pytest.fixture(scope="module")
def estimate(shop: Path, tmp_path_factory: pytest.TempPathFactory) -> Document:
    """The repair that the first job calls for, as it stood before anybody approved it."""
    whole = JOBS[0].read_text("utf-8")
    arrival = tmp_path_factory.mktemp("arrival") / "arrival.toml"
    at = whole.index('approved = { estimate = "repair 1"')
    arrival.write_text(whole[: whole.rindex("[[step]]", 0, at)], "utf-8")
    return draft_estimate(
        str(arrival), is_file=True, folder=shop, stage="repair", km=None, as_text=True
    ).document


def first_sheet(document: Document) -> list[Block]:
    kinds = [type(block) for block in document.blocks]
    return list(document.blocks[: kinds.index(Evidence)])


def of(document: Document, kind: type[Block]) -> Block:
    (block,) = [block for block in document.blocks if isinstance(block, kind)]
    return block


def words_of(*blocks: Block) -> list[str]:
    """Every word of these blocks in reading order."""
    found: list[str] = []
    for block in blocks:
        if isinstance(block, Answer):
            found += [_text(block.said) or block.symptoms, block.text]  # paper quotes, the page has symptoms
            found += [f"{label} {words}" for label, words, _ in block.facts]
            found.append(block.proof)
        elif isinstance(block, Account):
            for row in block.rows:
                found += [row.point, row.what, row.cause]
                for proof in row.proofs:
                    found += [proof.name, proof.before, proof.now, proof.seen, proof.usual]
                for work in row.works:
                    found += [work.text, work.detail, work.net, work.reason]
                found += [row.state, row.next]
        elif isinstance(block, (NextSteps, Pairs)):
            found += [f"{label} {_text(words)}" for label, words in block.rows]
        elif isinstance(block, Totals):
            found += [f"{label} {value}" for label, value, _ in block.rows]
        elif isinstance(block, ApprovalForm):
            found += [*(" ".join(work) for work in block.works), block.valid_until, block.otherwise]
    return " ".join(found).split()


@cache
def _told() -> dict[str, str]:
    """What the demo's people said, by the hash under which it stands in a document."""
    shop = read_settings(data_path("demo") / "shop", demo=True)
    texts: dict[str, str] = {}
    for path in JOBS:
        read = read_visit(path, declared_of(load(), shop, "EUR"))
        texts |= scratch_job(read, paper.instruments_for(read, shop))[1]
    return texts


def _text(words: object) -> str:
    return "".join(run if isinstance(run, str) else _told()[run.hash] for run in words)  # type: ignore[attr-defined]


def test_the_first_sheet_is_the_account_and_the_bill_and_not_long(invoice: Document) -> None:
    sheet = first_sheet(invoice)
    assert [type(block) for block in sheet[:4]] == [Pairs, Answer, Account, NextSteps]
    assert {Totals, Code} <= {type(block) for block in sheet}
    assert len(words_of(*sheet)) <= MOST_WORDS
    assert invoice.form == 2


def test_five_plain_questions_are_answered_at_once(invoice: Document) -> None:
    answer, account = of(invoice, Answer), of(invoice, Account)
    assert isinstance(answer, Answer) and isinstance(account, Account)
    row = account.rows[0]
    until_done = attrs.evolve(row, works=row.works[:1], state="", next="")
    read = words_of(answer, Account(rows=(until_done,), currency="EUR"))
    assert len(read) <= FIRST_WORDS
    assert answer.text  # what was wrong, and whether it is put right
    facts = {label: words for label, words, _ in answer.facts}
    assert facts["Total"].startswith(f"{invoice.total} EUR")
    assert facts["Total"].endswith("paid") or "Still to pay" in facts or "Refund due to you" in facts
    assert facts["Next"]
    done = [one for one in account.rows if one.works and one.point]
    assert not done or row.works, "what was done stands in the first row where anything was"


def test_every_point_of_the_complaint_stands_in_the_account_with_a_state(invoice: Document) -> None:
    answer, account = of(invoice, Answer), of(invoice, Account)
    assert isinstance(answer, Answer) and isinstance(account, Account)
    rows = {point: row for row in account.rows for point in row.point.split(BETWEEN_POINTS)}
    for point in answer.symptoms.split(BETWEEN_POINTS):
        assert rows[point].state
    assert not {row.state for row in account.rows} & {"pass", "fail", "undecided", "advice"}
    assert {row.state for row in account.rows} <= {
        "",
        *map(str, State),
        "nothing found",
        "not looked at again",
        "did not fix it",
    }


def test_no_work_stands_without_a_price_or_a_reason(invoice: Document) -> None:
    account = of(invoice, Account)
    assert isinstance(account, Account)
    works = [work for row in account.rows for work in row.works]
    assert works
    assert all(work.net or work.reason for work in works)
    (net,) = [
        value
        for block in first_sheet(invoice)
        if isinstance(block, Totals)
        for label, value, _ in block.rows
        if label == "Net"
    ]
    assert sum(Decimal(work.net or "0") for work in works) == Decimal(net)


def test_behind_the_first_sheet_every_source_is_named_once_and_by_number(invoice: Document) -> None:
    behind = invoice.blocks[len(first_sheet(invoice)) :]
    notes = [
        (label, _text(words))
        for block in behind
        if isinstance(block, Pairs)
        for label, words in block.rows
        if label.startswith("[")
    ]
    assert [label for label, _ in notes] == [f"[{n}]" for n in range(1, len(notes) + 1)]
    assert len({text for _, text in notes}) == len(notes)
    cited = {
        row.source for block in behind if isinstance(block, Readings) for row in block.rows if row.source
    }
    assert cited <= {label for label, _ in notes}


def test_cautions_for_whoever_does_the_work_are_not_on_the_customers_invoice(
    invoice: Document, estimate: Document
) -> None:
    assert not [block for block in invoice.blocks if isinstance(block, Statement)]
    (caution,) = [block for block in estimate.blocks if isinstance(block, Statement)]
    assert "Local codes and licensed practice come first." in _text(caution.words)


def test_nothing_is_said_on_paper_of_a_part_that_was_taken_out_and_was_sound(shop: Path) -> None:
    document = draft_invoice(str(JOBS[0]), is_file=True, folder=shop, km=None, as_text=True).document
    replaced = any("Replace" in row.urgency for row in _findings(document))
    assert replaced, "the first job renews the battery"
    assert not [row.text for row in _findings(document) if "case" in row.text and row.verdict == "pass"]


def _findings(document: Document):  # type: ignore[no-untyped-def]
    return [row for block in document.blocks if isinstance(block, Findings) for row in block.rows]


# ---- the estimate


def test_an_estimate_can_be_answered_by_hand_piece_by_piece(estimate: Document) -> None:
    form = of(estimate, ApprovalForm)
    assert isinstance(form, ApprovalForm)
    (net,) = [
        value
        for block in estimate.blocks
        if isinstance(block, Totals)
        for label, value, _ in block.rows
        if label == "Net"
    ]
    assert sum(Decimal(price) for _, price in form.works) == Decimal(net)
    assert form.otherwise.startswith("If nothing is done")
    account = of(estimate, Account)
    assert isinstance(account, Account)
    assert {row.state for row in account.rows if row.works} == {str(State.PROPOSED)}
    assert all(row.cause for row in account.rows if row.works and row.point)


def test_an_estimate_holds_for_as_long_as_the_shop_says(estimate: Document, shop: Path) -> None:
    form = of(estimate, ApprovalForm)
    assert isinstance(form, ApprovalForm)
    day, month, year = form.valid_until.split()
    assert day.isdecimal() and len(month) == 3 and len(year) == 4
    assert read_settings(shop, demo=True).estimate_days == 30


@pytest.mark.parametrize(("days", "holds"), [("0", True), ("366", True), ("367", False), ("-1", False)])
def test_how_long_an_estimate_holds_has_bounds(tmp_path: Path, days: str, holds: bool) -> None:
    text = (data_path("demo") / "shop" / "shop.toml").read_text("utf-8")
    (tmp_path / "shop.toml").write_text(f"estimate_days = {days}\n{text}", "utf-8")
    if holds:
        assert read_settings(tmp_path, demo=True).estimate_days == int(days)
    else:
        with pytest.raises(DataFileError, match="no time for which an estimate holds"):
            read_settings(tmp_path, demo=True)


# ---- days and distances, in the shop's form


def test_a_day_is_printed_as_people_write_it_and_anything_else_stays() -> None:
    assert day_words("2026-11-28") == "28 Nov 2026"
    assert day_words("2026-02-30") == "2026-02-30"
    assert day_words("soon") == "soon"


def test_distances_are_grouped_from_five_digits_on() -> None:
    assert distance_words("98400 km") == f"98{GROUP}400 km"
    assert distance_words("187300") == f"187{GROUP}300"
    assert distance_words("9840 km") == "9840 km"
    assert distance_words("about 98400 km") == "about 98400 km"
