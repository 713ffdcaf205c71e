"""Receipts: a paper for each payment that the invoice does not show, kept as it was handed over."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from corekit.billing.payment import PaymentError
from corekit.desk.errors import DeskError
from corekit.desk.jobs import billed_with, job_named
from corekit.desk.payments import due, payments_of
from corekit.model.document import DocumentKind, document_hash
from corekit.model.money import Money
from corekit.report.dates import day_words
from corekit.report.page import render_page
from corekit.report.personal_text import mask
from corekit.report.terminal import render_text

from .chain import corekit, done, paper_text, refused
from .fleet import CUSTOMER, Fleet

# 20.01 + 30.02 = 50.03 net; 19 % of it is 9.5057, so 9.51; together 59.54 (EN 16931 BR-CO-17, rounded half
# up, by hand).
TOTAL = 5954


@pytest.fixture
def fleet(tmp_path: Path) -> Fleet:
    return Fleet.of(tmp_path / "shop")


@pytest.fixture
def job(fleet: Fleet) -> str:
    return fleet.visited("van-1", description="panel van, white", plate="XX 1")


def euros(minor: int) -> Money:
    return Money(minor, "EUR")


def words(pdf: Path) -> str:
    return " ".join(paper_text(pdf).split())


def test_money_after_the_invoice_gives_a_receipt_that_says_for_what_how_when_and_what_is_left(
    fleet: Fleet, job: str
) -> None:
    with fleet.open() as shop:
        number = shop.issue(job).number
        shop.pay(job, euros(2000), "cash")
        receipt = shop.receipt(job)
        (payment,) = payments_of(shop.context, billed_with(shop.context, job_named(shop.context, job)))
        assert due(shop.context, job_named(shop.context, job)) == euros(TOTAL - 2000)
        assert receipt.document.kind is DocumentKind.RECEIPT
        assert receipt.document.number == ""
        assert shop.issue(job).number == number, "a receipt took a number"
        assert sum(entry.kind == "invoice" for entry in shop.store.books()) == 1
    said = words(receipt.pdf)
    for part in (
        f"Receipt, invoice {number}",
        f"Received 20.00 EUR, cash, on {day_words(payment.day)}.",
        "Still to pay: 39.54 EUR.",
        "59.54",
        "39.54",
        CUSTOMER["name"],
        CUSTOMER["address"],
        "panel van, white",
        "Test Repairs",
        "Record mark",
    ):
        assert part in said, part


def test_the_second_receipt_counts_the_first_payment_and_says_when_all_is_paid(
    fleet: Fleet, job: str
) -> None:
    with fleet.open() as shop:
        shop.issue(job)
        shop.pay(job, euros(2000), "cash")
        shop.pay(job, euros(TOTAL - 2000), "card")
        later = shop.receipt(job)
        first = shop.receipt(
            job, payments_of(shop.context, billed_with(shop.context, job_named(shop.context, job)))[0].id
        )
    assert "Still to pay: 39.54 EUR." in words(first.pdf), (
        "the first receipt must not count what came after it"
    )
    said = words(later.pdf)
    assert "Received 39.54 EUR, card" in said
    assert "With it the invoice is paid in full." in said
    assert "Paid before, cash −20.00" in said


def test_a_deposit_has_a_receipt_of_its_own_and_stands_on_the_invoice_later(fleet: Fleet, job: str) -> None:
    with fleet.open() as shop:
        shop.pay(job, euros(1500), "card")
        deposit = shop.receipt(job)
        assert "no invoice has been issued yet" in words(deposit.pdf)
        assert "Still to pay 44.54" in words(deposit.pdf)
        invoice = shop.issue(job)
        assert "Paid, card −15.00" in words(invoice.pdf)
        before = deposit.pdf.read_bytes()
        assert shop.receipt(job).pdf.read_bytes() == before, (
            "what was handed over changed when the invoice came"
        )
        assert (
            payments_of(shop.context, billed_with(shop.context, job_named(shop.context, job)))[0].on_invoice
            == invoice.number
        )


def test_a_payment_that_the_invoice_shows_needs_no_receipt(fleet: Fleet, job: str) -> None:
    with fleet.open() as shop:
        shop.pay(job, euros(1500), "card")
        number = shop.issue(job).number
        entries = len(shop.store.journal(job))
        with pytest.raises(
            DeskError, match=f"Invoice {number} shows the payment of 15.00 EUR, so it is the receipt for it"
        ):
            shop.receipt(job)
        assert len(shop.store.journal(job)) == entries


def test_a_receipt_is_drawn_again_byte_for_byte_and_from_what_was_kept(
    fleet: Fleet, job: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    with fleet.open() as shop:
        shop.issue(job)
        shop.pay(job, euros(2000), "cash")
        first = shop.receipt(job)
        before, kept = first.pdf.read_bytes(), len(shop.store.journal(job))
        first.pdf.unlink()
        monkeypatch.setattr(
            "corekit.desk.receipts.receipt", lambda *_, **__: pytest.fail("it was built a second time")
        )
        again = shop.receipt(job)
        assert again.pdf.read_bytes() == before
        assert again.document == first.document
        assert len(shop.store.journal(job)) == kept
        (record,) = [noted.record for noted in shop.store.job(job).receipts]
        assert record.document_hash == document_hash(first.document)
        assert shop.store.verify() == []


def test_asked_for_twice_at_once_the_first_receipt_stands(fleet: Fleet, job: str) -> None:
    with fleet.open() as one, fleet.open() as other:
        one.issue(job)
        one.pay(job, euros(2000), "cash")
        transaction = other.store.transaction

        def late(*jobs: str) -> Any:
            one.receipt(job)
            return transaction(*jobs)

        other.store.transaction = late  # type: ignore[method-assign, assignment]
        assert other.receipt(job).document == one.receipt(job).document
        assert len(one.store.job(job).receipts) == 1
        assert not one.store.job(job).disputes


def test_the_masked_receipt_shows_no_person_and_forgetting_removes_them_for_good(
    fleet: Fleet, job: str
) -> None:
    with fleet.open() as shop:
        shop.issue(job)
        shop.pay(job, euros(2000), "cash")
        receipt = shop.receipt(job)
        masked = render_page(receipt.document, mask, None) + render_text(receipt.document, mask, None)
        for person in (*CUSTOMER.values(), "panel van, white"):
            assert person not in masked
            assert person in words(receipt.pdf)
        shop.forget(job, because="the customer asked for it")
        assert not receipt.pdf.exists(), "the paper with the name on it stayed here"
        said = words(shop.receipt(job).pdf)
        assert CUSTOMER["name"] not in said
        assert "(name removed)" in said
        assert shop.store.verify() == []


def test_the_record_mark_of_a_receipt_is_found_and_one_with_a_wrong_letter_is_not(
    fleet: Fleet, job: str
) -> None:
    with fleet.open() as shop:
        shop.issue(job)
        shop.pay(job, euros(2000), "cash")
        document = shop.receipt(job).document
        mark = _mark(document)
    assert "receipt van-1 1" in done(corekit("verify", "--mark", mark, shop=fleet.folder)).out
    wrong = ("1" if mark[0] != "1" else "2") + mark[1:]
    assert "no invoice, credit note or receipt" in corekit("verify", "--mark", wrong, shop=fleet.folder).words


def _mark(document: object) -> str:
    for block in document.blocks:  # type: ignore[attr-defined]
        for row in getattr(block, "rows", ()):
            if row[0] == "Record mark":
                return str(row[1][0])
    raise AssertionError("the receipt has no record mark")


def test_a_payment_written_in_the_file_has_its_receipt_too(fleet: Fleet, job: str) -> None:
    with fleet.open() as shop:
        shop.issue(job)
        file = fleet.folder.parent / "van-1.json"
        rows = json.loads(file.read_text("utf-8"))
        rows["step"].append({"paid": {"amount": "10.00", "how": "bank"}})
        fleet.added(shop, rows)
        assert "Received 10.00 EUR, bank" in words(shop.receipt(job).pdf)
        rows["step"][-1] = {"paid": {"amount": "12.00", "how": "bank"}}
        fleet.added(shop, rows)
        corrected = shop.receipt(job)
        assert "Received 12.00 EUR, bank" in words(corrected.pdf), (
            "the corrected payment must have a receipt of its own"
        )
        assert "Paid before" not in words(corrected.pdf)


def test_what_cannot_have_a_receipt_is_refused_in_one_sentence(fleet: Fleet, job: str) -> None:
    with fleet.open() as shop:
        with pytest.raises(DeskError, match="Nothing was paid for van-1 yet"):
            shop.receipt(job)
        shop.issue(job)
        shop.pay(job, euros(2000), "cash")
        with pytest.raises(
            DeskError, match=r"No payment of van-1 fits 'zz'\. There are: [0-9a-f]{12} \(20\.00 EUR, cash"
        ):
            shop.receipt(job, "zz")
        with pytest.raises(PaymentError):
            shop.pay(job, euros(TOTAL), "cash")
        assert len(payments_of(shop.context, billed_with(shop.context, job_named(shop.context, job)))) == 1


def test_the_command_that_takes_money_says_where_the_receipt_is(fleet: Fleet, job: str) -> None:
    done(corekit("invoice", "van-1", "--yes", shop=fleet.folder))
    said = done(corekit("pay", "van-1", "20", shop=fleet.folder))
    (paper,) = (fleet.folder / "papers").glob("receipt-van-1-*.pdf")
    assert f"The receipt: {paper}" in said.out
    before = paper.read_bytes()
    paper.unlink()
    again = done(corekit("receipt", "van-1", shop=fleet.folder))
    assert str(paper) in again.out
    assert paper.read_bytes() == before
    refused(corekit("receipt", "van-1", "zz", shop=fleet.folder), "No payment")
