"""Several invoices in a job: the diagnosis first, the repair later.

The amounts are worked by hand from the prices: diagnosis 50.00, an hour 100.00, a terminal 20.00, 10 % tax.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path

import pytest

from corekit.billing.approval import ConsentError
from corekit.billing.credit import CreditAsked
from corekit.billing.payment import PaymentError
from corekit.desk.changing import Change, change
from corekit.desk.crediting import credit
from corekit.desk.day import day_list
from corekit.desk.errors import DeskError
from corekit.desk.issuing import Invoice, invoice_of
from corekit.desk.ledger import ledger
from corekit.desk.paying import refund, write_off
from corekit.desk.reminding import remind
from corekit.desk.rows import add_rows
from corekit.desk.shop import Shop
from corekit.model.job_state import JobState, state_of
from corekit.model.money import Money

from .test_changes import VISIT, WORK, shop_in
from .test_ledger import closes, usd

TAIL = iter(range(10**6))


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    with shop_in(tmp_path) as shop:
        yield shop


def say(shop: Shop, job: str, **step: object) -> None:
    add_rows(shop.context, job, {"step": [step]}, request_id=f"a-request-of-a-test-{next(TAIL):06}")


def diagnosed(shop: Shop) -> tuple[str, Invoice]:
    """A job whose diagnosis is invoiced, 55.00, and in which nothing else was said yet."""
    job = shop.import_visit(shop.context.folder.parent / "visit.toml")
    shop.approve(shop.estimate(job, "diagnosis"), by="customer", how="in person")
    return job, shop.issue(job)


def repaired(shop: Shop, job: str) -> Invoice:
    """The repair estimated (242.00), approved, done and issued."""
    estimate = shop.estimate(job, "repair")
    assert str(estimate.total) == "242.00"
    shop.approve(estimate, by="customer", how="in person")
    say(shop, job, repaired={"operation": WORK})
    return shop.issue(job)


def due(shop: Shop) -> dict[str, str]:
    return {one.number: str(one.due) for one in ledger(shop.context).open}


def texts(invoice: Invoice) -> str:
    return str(invoice.document)


def test_the_repair_follows_on_an_invoice_of_its_own(shop: Shop) -> None:
    job, first = diagnosed(shop)
    assert first.document.total == "55.00"
    second = repaired(shop, job)
    assert (first.number[-5:], second.number[-5:]) == ("A0001", "A0002")
    assert second.document.total == "242.00", "the diagnosis is not charged twice"
    assert "Diagnosis, flat price" not in texts(second)
    assert "('Approved by you', '242.00', False)" in texts(second)
    assert due(shop) == {first.number: "55.00", second.number: "242.00"}
    closes(shop)
    assert shop.issue(job).number == second.number, "asked again, it is the same"
    assert shop.verify().faults == ()


def test_each_invoice_is_drawn_again_as_it_was(shop: Shop) -> None:
    job, first = diagnosed(shop)
    second = repaired(shop, job)
    record = shop.store.job(job)
    assert invoice_of(shop.context, record, number=first.number).document == first.document
    assert invoice_of(shop.context, record).document == second.document


def test_after_the_first_invoice_the_job_is_closed_until_it_goes_on(shop: Shop) -> None:
    job, first = diagnosed(shop)
    assert state_of(shop.store.job(job)) is JobState.INVOICED
    estimate = shop.estimate(job, "repair")
    assert state_of(shop.store.job(job)) is JobState.ESTIMATE
    assert shop.issue(job).number == first.number, "nothing more is done yet"
    shop.approve(estimate, by="customer", how="in person", declined=[WORK])
    assert state_of(shop.store.job(job)) is JobState.INVOICED, "declined: nothing more is to come"
    assert shop.issue(job).number == first.number
    assert len([one for one in shop.store.books() if one.kind == "invoice"]) == 1


def test_payments_settle_the_oldest_invoice_first(shop: Shop) -> None:
    job, first = diagnosed(shop)
    second = repaired(shop, job)
    shop.pay(job, usd("40.00"), "cash")
    assert due(shop) == {first.number: "15.00", second.number: "242.00"}
    shop.pay(job, usd("100.00"), "card")
    assert due(shop) == {second.number: "157.00"}
    assert shop.issue(job).due == usd("157.00")
    with pytest.raises(PaymentError, match=r"Only 157\.00"):
        shop.pay(job, usd("157.01"), "cash")
    shop.pay(job, usd("157.00"), "cash")
    assert due(shop) == {}
    closes(shop)


def test_what_was_paid_too_much_for_the_first_counts_for_the_second(shop: Shop) -> None:
    job = shop.import_visit(shop.context.folder.parent / "visit.toml")
    shop.approve(shop.estimate(job, "diagnosis"), by="customer", how="in person")
    estimate = shop.estimate(job, "repair")
    shop.approve(estimate, by="customer", how="in person")
    shop.pay(job, usd("200.00"), "cash")
    first = shop.issue(job)
    assert (first.document.total, str(first.due)) == ("55.00", "-145.00")
    say(shop, job, repaired={"operation": WORK})
    assert due(shop) == {"": "-145.00"}, "it is kept for the work that is invoiced next"
    second = shop.issue(job)
    assert (second.document.total, str(second.due)) == ("242.00", "97.00")
    assert f"('Paid, beyond invoice {first.number}', '-145.00', False)" in texts(second)
    assert "('Still to pay', '97.00', True)" in texts(second)
    closes(shop)


def test_money_kept_for_later_work_can_still_be_given_back(shop: Shop) -> None:
    job = shop.import_visit(shop.context.folder.parent / "visit.toml")
    shop.approve(shop.estimate(job, "diagnosis"), by="customer", how="in person")
    shop.approve(shop.estimate(job, "repair"), by="customer", how="in person")
    shop.pay(job, usd("200.00"), "cash")
    shop.issue(job)
    with pytest.raises(PaymentError, match=r"Only 145\.00"):
        refund(shop.context, job, usd("145.01"), "cash")
    refund(shop.context, job, usd("145.00"), "cash")
    closes(shop)
    assert due(shop) == {}


def test_a_deposit_for_the_repair_is_taken_after_the_first_invoice(shop: Shop) -> None:
    job, first = diagnosed(shop)
    with pytest.raises(PaymentError, match=r"Only 55\.00"):
        shop.pay(job, usd("56.00"), "cash")
    shop.approve(shop.estimate(job, "repair"), by="customer", how="in person")
    shop.pay(job, usd("155.00"), "cash")  # 55 of the invoice and 100 in advance
    assert due(shop) == {"": "-100.00"}
    with pytest.raises(PaymentError, match=r"Only 142\.00"):
        shop.pay(job, usd("142.01"), "cash")
    say(shop, job, repaired={"operation": WORK})
    assert shop.issue(job).due == usd("142.00")
    closes(shop)
    assert first.number not in due(shop)


def test_no_more_is_invoiced_in_all_than_was_approved(tmp_path: Path) -> None:
    prices = """
currency  = "USD"
tax       = { rates = { standard = "8.875" }, default = "standard" }
labour    = { per_hour = "33.30" }
diagnosis = { price = "0.00" }

[operations."battery.charge"]
hours = "1.0"

[operations."battery.clean_contacts"]
hours = "1.0"
"""
    with shop_in(tmp_path, prices=prices) as shop:
        job = shop.import_visit(tmp_path / "visit.toml")
        say(shop, job, requested={"operation": "battery.clean_contacts", "ground": "customer"})
        estimate = shop.estimate(job, "repair")
        # 66.60 × 0.08875 = 5.91075: 72.51 together; 33.30 × 0.08875 = 2.955375: 36.26 each, 72.52 apart.
        assert str(estimate.total) == "72.51"
        shop.approve(estimate, by="customer", how="in person")
        totals = []
        for work in (WORK, "battery.clean_contacts"):
            say(shop, job, repaired={"operation": work})
            totals.append(shop.issue(job).document.total)
        assert totals == ["36.26", "36.25"], "the cent that nobody approved is taken off the second"
        closes(shop)


def test_more_than_was_approved_is_refused_on_the_second_too(shop: Shop) -> None:
    job, _ = diagnosed(shop)
    shop.approve(shop.estimate(job, "repair"), by="customer", how="in person")
    say(shop, job, repaired={"operation": WORK})
    say(shop, job, charged={"operation": WORK, "hours": "2.1", "because": "rust"})
    with pytest.raises(ConsentError, match=r"Ask for 11\.00 USD more"):
        shop.issue(job)


def test_what_is_invoiced_is_charged_no_other_way_any_more(shop: Shop) -> None:
    job, _ = diagnosed(shop)
    second = repaired(shop, job)
    with pytest.raises(DeskError, match=f"is on invoice {second.number} already"):
        change(shop.context, job, Change(operation=WORK, because="rust", hours=Decimal(1)))


def test_the_first_can_be_credited_whole_and_made_anew_while_the_second_stands(shop: Shop) -> None:
    job, first = diagnosed(shop)
    second = repaired(shop, job)
    note = credit(shop.context, job, "wrong address", invoice=first.number)
    assert (note.of, str(note.total), str(note.due)) == (first.number, "-55.00", "242.00")
    closes(shop)
    again = shop.issue(job)
    assert again.document.total == "55.00"
    assert f"'In place of invoice', ('{first.number}',)" in texts(again)
    assert due(shop) == {second.number: "242.00", again.number: "55.00"}
    closes(shop)
    with pytest.raises(DeskError, match="is not on invoice 1999"):
        credit(shop.context, job, "x", invoice="1999")


def test_the_second_credited_whole_can_be_made_anew_without_the_first(shop: Shop) -> None:
    job, first = diagnosed(shop)
    second = repaired(shop, job)
    credit(shop.context, job, "wrong price")
    closes(shop)
    third = shop.issue(job)
    assert third.document.total == "242.00"
    assert f"'In place of invoice', ('{second.number}',)" in texts(third)
    assert due(shop) == {first.number: "55.00", third.number: "242.00"}


def test_a_part_is_taken_back_of_the_second_only(shop: Shop) -> None:
    job, first = diagnosed(shop)
    second = repaired(shop, job)
    note = credit(shop.context, job, "a part was taken back", CreditAsked(what=WORK, part="Terminal"))
    assert (note.of, str(note.due)) == (second.number, "220.00")
    assert due(shop) == {first.number: "55.00", second.number: "220.00"}
    closes(shop)


def test_each_invoice_is_written_off_by_itself(shop: Shop) -> None:
    job, first = diagnosed(shop)
    second = repaired(shop, job)
    with pytest.raises(PaymentError, match=rf"of invoice {first.number} 55\.00 USD is due"):
        write_off(shop.context, job, usd("55.01"), "goodwill", invoice=first.number)
    write_off(shop.context, job, usd("55.00"), "goodwill", invoice=first.number)
    assert due(shop) == {second.number: "242.00"}
    write_off(shop.context, job, usd("2.00"), "goodwill")
    assert due(shop) == {second.number: "240.00"}
    closes(shop)
    credit(shop.context, job, "wrong price", invoice=first.number)
    assert due(shop) == {second.number: "240.00"}, "what was written off of the first lapses with it"
    closes(shop)


def test_the_lists_know_what_is_owed_on_each(shop: Shop) -> None:
    job, first = diagnosed(shop)
    second = repaired(shop, job)
    shop.pay(job, usd("50.00"), "cash")
    assert {one.number: one.amount for one in day_list(shop.context).owed} == {
        first.number: usd("5.00"),
        second.number: usd("242.00"),
    }
    assert shop.verify().faults == ()


def test_the_oldest_that_is_overdue_is_reminded_of(tmp_path: Path) -> None:
    moment = [datetime(2026, 11, 1, 12, tzinfo=UTC)]
    shop_in(tmp_path).close()
    with Shop(tmp_path / "shop", now=lambda: moment[0]) as shop:
        job, first = diagnosed(shop)
        second = repaired(shop, job)
        moment[0] = datetime(2026, 11, 9, 12, tzinfo=UTC)
        assert (remind(shop.context, job).number, remind(shop.context, job).due) == (
            first.number,
            usd("55.00"),
        )
        shop.pay(job, usd("60.00"), "cash")
        made = remind(shop.context, job)
        assert (made.number, made.due) == (second.number, usd("237.00"))
        assert "('Paid, so far', '-5.00', False)" in str(made.document)


def test_a_second_diagnosis_is_charged_where_it_was_approved_anew(shop: Shop) -> None:
    job, first = diagnosed(shop)
    again = shop.estimate(job, "diagnosis")
    assert again.name == "diagnosis 2"
    shop.approve(again, by="customer", how="in person")
    second = shop.issue(job)
    assert (second.number != first.number, second.document.total) == (True, "55.00")
    closes(shop)


def test_a_job_on_a_common_invoice_takes_no_further_one(shop: Shop) -> None:
    ids = []
    path = shop.context.folder.parent / "visit.toml"
    for name in ("one", "two"):
        path.write_text(VISIT.replace('job = "visit"', f'job = "{name}"'), "utf-8")
        job = shop.import_visit(path)
        shop.approve(shop.estimate(job, "diagnosis"), by="customer", how="in person")
        ids.append(job)
    number = shop.issue_together(ids).number
    with pytest.raises(DeskError, match=f"Invoice {number} is over one and other jobs"):
        shop.estimate(ids[0], "repair")
    assert Money(0, "USD") == ledger(shop.context).open[0].due - usd("110.00")
