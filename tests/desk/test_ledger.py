"""Money that closes: given back, credited, corrected, written off, and the books of it.

The amounts are worked by hand from the prices: 100.00 an hour, a terminal at 20.00, 10 % tax.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from corekit.billing.credit import CreditAsked, CreditError
from corekit.billing.payment import PaymentError
from corekit.desk.changing import Change, change
from corekit.desk.crediting import credit
from corekit.desk.errors import DeskError
from corekit.desk.forgetting import RetentionError
from corekit.desk.jobs import amount_due, closed_jobs
from corekit.desk.ledger import as_csv, ledger, unformulaic
from corekit.desk.paying import refund, write_off
from corekit.desk.setup import Answers, set_up
from corekit.desk.shop import Shop
from corekit.errors import InputError
from corekit.model.document import Code
from corekit.model.money import Money
from corekit.model.movement import LedgerKind

from .test_changes import VISIT, WORK, printed, repaired, shop_in

MONTHS = {"11": "Nov", "12": "Dec", "01": "Jan"}


def usd(amount: str) -> Money:
    return Money.of(amount, "USD")


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    with shop_in(tmp_path) as shop:
        yield shop


def closes(shop: Shop) -> None:
    """What was invoiced, credited, paid and written off comes to what is open, to the cent."""
    books = ledger(shop.context)
    moved = sum(row.amount.minor for row in books.rows if row.kind is not LedgerKind.ANNOUNCED)
    assert moved == sum(one.due.minor for one in books.open)
    due = {one.number: one.due for one in books.open if one.number}
    for row in closed_jobs(shop.context, 10):
        assert amount_due(shop.context, row) == due.get(row.number, Money(0, "USD"))
    assert shop.verify().faults == ()


def test_a_deposit_too_high_is_given_back_on_record(shop: Shop) -> None:
    job = repaired(shop)  # 242.00 approved
    shop.pay(job, usd("242.00"), "cash")
    change(shop.context, job, Change(operation=WORK, because="it went fast", hours=Decimal(1)))
    issued = shop.issue(job)
    assert issued.document.total == "132.00"  # 1.1 × (100 + 20)
    assert str(issued.due) == "-110.00"
    with pytest.raises(PaymentError, match=r"Only 110\.00 USD .*110\.01 cannot"):
        refund(shop.context, job, usd("110.01"), "cash")
    assert refund(shop.context, job, usd("110.00"), "cash") == usd("0.00")
    paper = shop.receipt(job)
    assert "Given back 110.00 USD, cash" in str(paper.document)
    closes(shop)
    assert ledger(shop.context).open == ()
    assert ledger(shop.context).in_hand == {"cash": usd("132.00")}


def test_before_an_invoice_no_more_is_given_back_than_was_paid(shop: Shop) -> None:
    job = repaired(shop)
    shop.pay(job, usd("50.00"), "cash")
    with pytest.raises(PaymentError, match=r"Only 50\.00 USD"):
        refund(shop.context, job, usd("50.01"), "cash")
    assert [(one.number, str(one.due)) for one in ledger(shop.context).open] == [("", "-50.00")]
    refund(shop.context, job, usd("50.00"), "cash")
    closes(shop)


@pytest.mark.parametrize("amount", ["0.00", "-1.00"])
def test_nothing_and_less_cannot_be_given_back(shop: Shop, amount: str) -> None:
    job = repaired(shop)
    shop.pay(job, usd("50.00"), "cash")
    with pytest.raises(PaymentError):
        refund(shop.context, job, usd(amount), "cash")


def test_a_part_taken_back_is_credited_and_then_no_more_of_it(shop: Shop) -> None:
    job = repaired(shop)
    shop.issue(job)
    shop.pay(job, usd("242.00"), "card")
    note = credit(shop.context, job, "wrong size", CreditAsked(what=WORK, part="terminal"))
    assert (note.number[-5:], str(note.total), str(note.due)) == ("A0002", "-22.00", "-22.00")
    assert "Credit note" in note.document.title
    assert "wrong size" in printed(shop, job, note.document)
    assert "wrong size" not in str(note.document), "own words are personal by their type"
    (mark,) = [block.record_mark for block in note.document.blocks if isinstance(block, Code)]
    assert shop.verify(mark).mark.startswith(f"The mark is that of credit note {note.number}")
    with pytest.raises(CreditError, match="nothing of it is left"):
        credit(shop.context, job, "again", CreditAsked(what=WORK, part="terminal"))
    with pytest.raises(CreditError, match=r"from above 0 to 1 can"):
        refund(shop.context, job, usd("22.00"), "card")
        credit(
            shop.context,
            repaired_again(shop),
            "x",
            CreditAsked(what=WORK, part="Terminal", quantity=Decimal(2)),
        )
    closes(shop)


def repaired_again(shop: Shop) -> str:
    """A second job like the first, issued."""
    path = shop.context.folder.parent / "visit.toml"
    path.write_text(VISIT.replace('job = "visit"', 'job = "second"'), "utf-8")
    job = repaired(shop)
    shop.issue(job)
    return job


def test_an_invoice_is_corrected_by_a_credit_note_on_all_of_it_and_a_new_one(shop: Shop) -> None:
    job = repaired(shop)
    first = shop.issue(job)
    before = shop.store.invoice(first.number).body
    shop.pay(job, usd("242.00"), "cash")
    note = credit(shop.context, job, "the odometer was wrong")
    assert (str(note.total), str(note.due)) == ("-242.00", "-242.00")
    closes(shop)
    second = shop.issue(job)
    assert second.number.endswith("A0003")
    assert f"'In place of invoice', ('{first.number}',)" in str(second.document)
    assert second.due == usd("0.00")
    assert shop.issue(job).number == second.number
    assert shop.store.invoice(first.number).body == before
    kinds = [row.kind for row in ledger(shop.context).rows]
    assert kinds.count(LedgerKind.INVOICED) == 2
    assert kinds.count(LedgerKind.CREDITED) == 1
    closes(shop)


def test_without_an_invoice_or_a_reason_nothing_is_credited(shop: Shop) -> None:
    job = repaired(shop)
    with pytest.raises(DeskError, match="no invoice"):
        credit(shop.context, job, "x")
    shop.issue(job)
    with pytest.raises(DeskError, match="says why"):
        credit(shop.context, job, " ")
    credit(shop.context, job, "x")
    with pytest.raises(DeskError, match="no invoice"):
        credit(shop.context, job, "x")


def test_a_request_for_a_credit_note_said_twice_is_one(shop: Shop) -> None:
    job = repaired(shop)
    shop.issue(job)
    first = credit(shop.context, job, "x", CreditAsked(what=WORK, part="Terminal"), request_id="r" * 20)
    again = credit(shop.context, job, "x", CreditAsked(what=WORK, part="Terminal"), request_id="r" * 20)
    assert first.number == again.number


def test_no_more_is_written_off_than_is_due(shop: Shop) -> None:
    job = repaired(shop)
    with pytest.raises(PaymentError):
        write_off(shop.context, job, usd("1.00"), "gone away")
    shop.issue(job)
    shop.pay(job, usd("200.00"), "cash")
    with pytest.raises(PaymentError, match=r"42\.00 USD is due"):
        write_off(shop.context, job, usd("42.01"), "gone away")
    assert write_off(shop.context, job, usd("42.00"), "gone away") == usd("0.00")
    with pytest.raises(PaymentError):
        shop.pay(job, usd("0.01"), "cash")
    closes(shop)


def test_what_is_announced_is_no_money_yet(shop: Shop) -> None:
    job = repaired(shop)
    path = shop.context.folder.parent / "visit.toml"
    path.write_text(
        path.read_text("utf-8") + '\n[[step]]\nannounced = { amount = "242.00", how = "transfer" }\n', "utf-8"
    )
    shop.import_visit(path)
    assert shop.issue(job).due == usd("242.00")
    assert [row.amount for row in ledger(shop.context).rows if row.kind is LedgerKind.ANNOUNCED] == [
        usd("242.00")
    ]
    closes(shop)


def test_a_file_gives_money_back_as_the_verb_does(shop: Shop) -> None:
    job = repaired(shop)
    path = shop.context.folder.parent / "visit.toml"
    rows = (
        '\n[[step]]\npaid = { amount = "50.00", how = "cash" }\n'
        '\n[[step]]\nrefunded = { amount = "20.00", how = "cash" }\n'
    )
    path.write_text(path.read_text("utf-8") + rows, "utf-8")
    shop.import_visit(path)
    shop.import_visit(path)
    assert [row.amount.minor for row in ledger(shop.context).rows] == [-5000, 2000]
    assert shop.issue(job).due == usd("212.00")
    closes(shop)


def test_an_invoice_is_overdue_from_the_day_after_its_due_date(tmp_path: Path) -> None:
    moment = [datetime(2026, 11, 1, 12, tzinfo=UTC)]
    shop_in(tmp_path).close()
    settings = tmp_path / "shop" / "shop.toml"
    settings.write_text(settings.read_text("utf-8").replace("due_days  = 0", "due_days  = 14"), "utf-8")
    with Shop(tmp_path / "shop", now=lambda: moment[0]) as shop:
        job = repaired(shop)
        issued = shop.issue(job)
        assert "Please pay until 15 Nov 2026." in str(issued.document)
        for day, is_overdue in ((15, False), (16, True)):
            moment[0] = datetime(2026, 11, day, 12, tzinfo=UTC)
            (one,) = ledger(shop.context).open
            assert (one.due_on, one.is_overdue) == ("2026-11-15", is_overdue)
        shop.pay(job, usd("242.00"), "cash")
        assert ledger(shop.context).open == ()


@pytest.mark.parametrize(
    ("zone", "moment", "day", "number"),
    [
        # 29 Nov 04:03 local
        ("Etc/GMT-10", "2026-11-28T18:03:00+00:00", "2026-11-29", "2026-A0001"),
        # 31 Dec 17:30 local
        ("Etc/GMT+8", "2027-01-01T01:30:00+00:00", "2026-12-31", "2026-A0001"),
        ("Etc/GMT-14", "2026-12-31T10:00:00+00:00", "2027-01-01", "2027-A0001"),
        ("Etc/UTC", "2026-12-31T23:59:59+00:00", "2026-12-31", "2026-A0001"),
    ],
)
def test_papers_numbers_and_books_go_by_the_shops_own_day(
    tmp_path: Path, zone: str, moment: str, day: str, number: str
) -> None:
    shop_in(tmp_path, zone=zone).close()
    with Shop(tmp_path / "shop", now=lambda: datetime.fromisoformat(moment)) as shop:
        job = repaired(shop)
        issued = shop.issue(job)
        assert issued.number == number
        shop.pay(job, usd("242.00"), "cash")
        assert {row.day for row in ledger(shop.context).rows} == {day}
        words = issued.document.issued
        assert words == f"{int(day[8:])} {MONTHS[day[5:7]]} {day[:4]}"
        assert len(ledger(shop.context, day).rows) == len(ledger(shop.context, day[:7]).rows) == 2
        assert ledger(shop.context, "1999").rows == ()


def test_a_zone_that_is_none_is_refused(tmp_path: Path) -> None:
    set_up(tmp_path / "s", Answers(name="N", address=("A",), currency="EUR", zone="Utopia/Town"))
    with pytest.raises(Exception, match="no time zone"):
        Shop(tmp_path / "s")


@pytest.mark.parametrize("span", ["2026-13", "yesterday", "2026-11-31", "26"])
def test_a_time_that_is_none_is_refused(shop: Shop, span: str) -> None:
    with pytest.raises(InputError, match="no day, month or year"):
        ledger(shop.context, span)


def test_the_books_as_csv(shop: Shop) -> None:
    job = repaired(shop)
    shop.issue(job)
    shop.pay(job, usd("200.00"), "cash")
    write_off(shop.context, job, usd("42.00"), '=HYPERLINK("x"), with "quotes"\nand a line')
    rows = list(csv.DictReader(io.StringIO(as_csv(ledger(shop.context)), newline="")))
    assert [(row["kind"], row["amount"], row["net"], row["tax"]) for row in rows] == [
        ("invoiced", "242.00", "220.00", "22.00"),
        ("received", "-200.00", "", ""),
        ("written off", "-42.00", "", ""),
    ]
    assert rows[2]["note"].startswith("'=HYPERLINK")


@given(st.text())
def test_no_text_of_the_csv_is_a_formula(text: str) -> None:
    said = unformulaic(text)
    assert said.endswith(text)
    assert not said.lstrip(" ").startswith(("=", "+", "-", "@", "\t", "\r", "\n"))


def test_what_was_credited_whole_is_kept_as_long_as_an_invoice(shop: Shop) -> None:
    job = repaired(shop)
    shop.issue(job)
    credit(shop.context, job, "x")
    with pytest.raises(RetentionError, match="are kept until"):
        shop.forget(job)
