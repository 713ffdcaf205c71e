"""The day's books on paper: cash and its rounding, the drawer, reminders, and the time as a Document.

The amounts are worked by hand from the prices: 100.00 an hour, a terminal at 20.00, 10 % tax.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from corekit.billing.credit import CreditAsked
from corekit.billing.payment import PaymentError, cash_amount
from corekit.cli import main
from corekit.desk import drawer
from corekit.desk.books_paper import books_paper, write_books
from corekit.desk.crediting import credit
from corekit.desk.errors import DeskError
from corekit.desk.ledger import ledger
from corekit.desk.paying import refund, write_off
from corekit.desk.reminding import remind
from corekit.desk.rows import withdraw_entry
from corekit.desk.settings import SHOP_FILE
from corekit.desk.shop import Shop
from corekit.errors import InputError
from corekit.fault import DataFileError
from corekit.model.document import Code, Pairs, Table
from corekit.model.money import Money
from corekit.model.movement import LedgerKind
from corekit.report.page import render_page
from corekit.report.personal_text import mask, resolver
from corekit.report.terminal import render_text

from .test_changes import PRICES, WORK, printed, repaired, shop_in
from .test_ledger import closes, repaired_again, usd

#: 2 h at 49.99 and a terminal at 20.00: net 119.98, tax 12.00, together 131.98.
ODD = PRICES.replace('"100.00"', '"49.99"')


def chf(minor: int) -> Money:
    return Money(minor, "CHF")


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    with shop_in(tmp_path) as shop:
        yield shop


def said(folder: Path, row: str) -> None:
    """A row more in shop.toml."""
    path = folder / "shop" / SHOP_FILE
    path.write_text(f"{row}\n{path.read_text('utf-8')}", "utf-8")


@pytest.mark.parametrize(
    ("due", "step", "cash"),
    [
        (1002, 5, 1000),
        (1003, 5, 1005),
        (1007, 5, 1005),
        (1008, 5, 1010),
        (1025, 50, 1050),  # a half goes away from zero
        (1024, 50, 1000),
        (-1003, 5, -1005),
        (-1025, 50, -1050),
        (1000, 5, 1000),
    ],
)
def test_cash_is_rounded_to_the_nearest_smallest_coin(due: int, step: int, cash: int) -> None:
    assert cash_amount(chf(due), chf(step)) == chf(cash)


@given(st.integers(-(10**9), 10**9), st.integers(1, 100))
def test_cash_is_a_multiple_of_the_coin_and_never_farther_than_half_of_it(due: int, step: int) -> None:
    paid = cash_amount(chf(due), chf(step)).minor
    assert paid % step == 0
    assert 2 * abs(paid - due) <= step


def odd_shop(tmp_path: Path, coin: str) -> Shop:
    shop_in(tmp_path, prices=ODD).close()
    said(tmp_path, f'cash_rounding = "{coin}"')
    return Shop(tmp_path / "shop")


def issued_odd(shop: Shop) -> str:
    job = shop.import_visit(shop.context.folder.parent / "visit.toml")
    shop.approve(shop.estimate(job, "repair"), by="customer", how="in person")
    file = shop.context.folder.parent / "visit.toml"
    file.write_text(f'{file.read_text("utf-8")}\n[[step]]\nrepaired = {{ operation = "{WORK}" }}\n', "utf-8")
    shop.import_visit(file)
    assert str(shop.issue(job).due) == "131.98"
    return job


@pytest.mark.parametrize(
    ("coin", "cash", "rounded"), [("0.05", "132.00", "0.02"), ("0.10", "132.00", "0.02")]
)
def test_an_invoice_is_settled_in_cash_by_the_nearest_coin_and_the_rest_stands_by_itself(
    tmp_path: Path, coin: str, cash: str, rounded: str
) -> None:
    with odd_shop(tmp_path, coin) as shop:
        job = issued_odd(shop)
        assert shop.pay(job, usd(cash), "Cash") == usd("0.00")
        closes(shop)
        books = ledger(shop.context)
        assert books.in_hand == {"Cash": usd(cash)}
        assert books.sum_of(LedgerKind.ROUNDED) == usd(rounded)
        receipt = shop.receipt(job).document
        assert f"'Rounding, to the smallest coin', '{rounded}'" in str(receipt)
        assert "With it the invoice is paid in full." in str(receipt)


@pytest.mark.parametrize(("amount", "how"), [("132.00", "card"), ("131.99", "cash"), ("132.05", "cash")])
def test_nothing_else_is_rounded(tmp_path: Path, amount: str, how: str) -> None:
    with odd_shop(tmp_path, "0.05") as shop:
        job = issued_odd(shop)
        with pytest.raises(PaymentError, match=r"Only 131\.98"):
            shop.pay(job, usd(amount), how)
        assert shop.pay(job, usd("131.90"), "cash") == usd("0.08"), "a part of it is not rounded"
        closes(shop)


def test_whoever_has_the_cents_may_pay_them(tmp_path: Path) -> None:
    with odd_shop(tmp_path, "0.05") as shop:
        job = issued_odd(shop)
        assert shop.pay(job, usd("131.98"), "cash") == usd("0.00")
        assert ledger(shop.context).sum_of(LedgerKind.ROUNDED) == usd("0.00")


def test_a_payment_that_is_withdrawn_takes_its_rounding_along(tmp_path: Path) -> None:
    with odd_shop(tmp_path, "0.05") as shop:
        job = issued_odd(shop)
        shop.pay(job, usd("132.00"), "cash")
        (paid,) = shop.store.job(job).payments
        withdraw_entry(shop.context, job, paid.id, "typing error", request_id="a-request-to-withdraw")
        (one,) = ledger(shop.context).open
        assert one.due == usd("131.98")
        closes(shop)


def test_a_credit_note_on_all_of_it_gives_back_what_was_paid_in_cash(tmp_path: Path) -> None:
    with odd_shop(tmp_path, "0.05") as shop:
        job = issued_odd(shop)
        shop.pay(job, usd("132.00"), "cash")
        assert credit(shop.context, job, "goodwill").due == usd("-132.00")
        closes(shop)
        refund(shop.context, job, usd("132.00"), "cash")
        closes(shop)
        assert ledger(shop.context).open == ()


def test_cash_given_back_is_rounded_too(tmp_path: Path) -> None:
    with odd_shop(tmp_path, "0.05") as shop:
        job = issued_odd(shop)
        shop.pay(job, usd("131.98"), "card")
        credit(shop.context, job, "goodwill", CreditAsked(what=WORK, part="Terminal"))  # 22.00
        assert refund(shop.context, job, usd("21.98"), "card") == usd("-0.02")
        assert refund(shop.context, job, usd("0.02"), "card") == usd("0.00")
        closes(shop)


def test_a_file_that_is_read_again_says_the_same_of_cash(tmp_path: Path) -> None:
    with odd_shop(tmp_path, "0.05") as shop:
        job = issued_odd(shop)
        file = tmp_path / "visit.toml"
        row = '\n[[step]]\npaid = { amount = "132.00", how = "cash" }\n'
        file.write_text(file.read_text("utf-8") + row, "utf-8")
        for _ in range(2):
            shop.import_visit(file)
            assert [one.record.rounded for one in shop.store.job(job).payments] == [-2]
        closes(shop)


@pytest.mark.parametrize("coin", ["0.00", "-0.05", "100.01", "much"])
def test_a_coin_that_is_none_is_refused(tmp_path: Path, coin: str) -> None:
    shop_in(tmp_path).close()
    said(tmp_path, f'cash_rounding = "{coin}"')
    with pytest.raises(DataFileError, match="cash_rounding"):
        Shop(tmp_path / "shop")


def test_a_coin_of_another_currencys_decimals_is_named(tmp_path: Path) -> None:
    with odd_shop(tmp_path, "0.005") as shop:
        job = issued_odd(shop)
        with pytest.raises(DeskError, match="no amount of USD"):
            shop.pay(job, usd("131.98"), "cash")


# ── the drawer ──────────────────────────────────────────────────────────────────────────────────────────────


def test_what_lies_in_the_drawer_follows_from_cash_moved_and_counted(shop: Shop) -> None:
    job = repaired(shop)
    shop.issue(job)
    drawer.move(shop.context, usd("50.00"), "Change to begin with")
    shop.pay(job, usd("100.00"), "cash")
    shop.pay(job, usd("142.00"), "card")
    drawer.move(shop.context, usd("-120.00"), "to the bank")
    assert drawer.in_drawer(shop.context) == usd("30.00")  # 50 + 100 - 120
    row = drawer.count(shop.context, usd("29.50"))
    assert (row.amount, row.left, row.counted) == (usd("-0.50"), usd("29.50"), True)
    drawer.move(shop.context, usd("-29.50"), "to the owner")
    assert drawer.in_drawer(shop.context) == usd("0.00")
    assert [str(one.left) for one in drawer.last_rows(shop.context, 99)] == [
        *("50.00", "150.00", "30.00", "29.50", "0.00"),
    ]
    closes(shop)


def test_more_than_lies_there_is_not_taken_out_and_why_is_of_a_list(shop: Shop) -> None:
    drawer.move(shop.context, usd("10.00"), "from the owner")
    with pytest.raises(InputError, match=r"Only 10\.00 USD should lie"):
        drawer.move(shop.context, usd("-10.01"), "to the bank")
    with pytest.raises(InputError, match=r'"to the bank".*got "my cousin"'):
        drawer.move(shop.context, usd("-1.00"), "my cousin")
    with pytest.raises(InputError, match="how much"):
        drawer.move(shop.context, usd("0.00"), "to the bank")
    with pytest.raises(InputError, match="below zero"):
        drawer.count(shop.context, usd("-1.00"))
    with pytest.raises(InputError, match="kept in USD"):
        drawer.count(shop.context, chf(100))
    assert len(drawer.last_rows(shop.context, 99)) == 1
    drawer.move(shop.context, usd("-10.00"), "to the bank")


def test_cash_that_was_a_typing_error_is_out_of_the_drawer_again(shop: Shop) -> None:
    job = repaired(shop)
    shop.pay(job, usd("60.00"), "cash")
    (paid,) = shop.store.job(job).payments
    withdraw_entry(shop.context, job, paid.id, "typing error", request_id="a-request-to-withdraw")
    assert drawer.in_drawer(shop.context) == usd("0.00")


def test_the_command_counts_and_moves(shop: Shop, capsys: pytest.CaptureFixture[str]) -> None:
    folder = str(shop.context.folder)
    assert main(["drawer", "--shop", folder, "--in", "50", "--because", "from the bank"]) == 0
    assert main(["drawer", "--shop", folder, "--counted", "48.50"]) == 0
    told = capsys.readouterr().out
    assert "Counted 48.50 USD: 1.50 too little." in told
    assert "In the drawer: 48.50 USD" in told
    assert main(["drawer", "--shop", folder, "--out", "5", "--because", "nothing"]) != 0


# ── reminders ───────────────────────────────────────────────────────────────────────────────────────────────


@pytest.fixture
def owing(tmp_path: Path) -> Iterator[tuple[Shop, list[datetime]]]:
    """A shop whose invoices are due in 14 days, and its clock, on 1 Nov 2026."""
    moment = [datetime(2026, 11, 1, 12, tzinfo=UTC)]
    shop_in(tmp_path).close()
    path = tmp_path / "shop" / SHOP_FILE
    path.write_text(path.read_text("utf-8").replace("due_days  = 0", "due_days  = 14"), "utf-8")
    with Shop(tmp_path / "shop", now=lambda: moment[0]) as shop:
        yield shop, moment


def test_a_reminder_is_made_from_the_day_after_and_says_what_is_left(
    owing: tuple[Shop, list[datetime]],
) -> None:
    shop, moment = owing
    job = repaired(shop)
    number = shop.issue(job).number
    shop.pay(job, usd("100.00"), "card")
    write_off(shop.context, job, usd("2.00"), "goodwill")
    moment[0] = datetime(2026, 11, 15, 12, tzinfo=UTC)
    with pytest.raises(DeskError, match="until 2026-11-15; a reminder can be made from the day after"):
        remind(shop.context, job)
    moment[0] = datetime(2026, 11, 16, 12, tzinfo=UTC)
    made = remind(shop.context, job)
    assert (made.number, made.nth, made.due, made.until) == (number, 1, usd("140.00"), "2026-11-30")
    text = printed(shop, job, made.document)
    for words in (
        f"Reminder, invoice {number}",
        f"Invoice {number} was to be paid until 15 Nov 2026. Please pay 140.00 USD until 30 Nov 2026.",
        f"Total of invoice {number} 242.00",
        "Paid, card -100.00",
        "Not asked for any more -2.00",
        "Still to pay 140.00",
    ):
        assert words in text
    assert made.pdf.is_file()
    (mark,) = [
        block.rows[0][1][0]
        for block in made.document.blocks
        if isinstance(block, Pairs) and block.rows[0][0] == "Record mark"
    ]
    assert shop.verify(str(mark)).mark.startswith(f"The mark is that of reminder 1 of invoice {number}")


def test_asked_again_on_the_same_day_it_is_the_same_and_later_the_next(
    owing: tuple[Shop, list[datetime]],
) -> None:
    shop, moment = owing
    job = repaired(shop)
    shop.issue(job)
    moment[0] = datetime(2026, 11, 16, 12, tzinfo=UTC)
    first = remind(shop.context, job)
    assert remind(shop.context, job).document == first.document
    assert len(shop.store.job(job).reminders) == 1
    moment[0] = datetime(2026, 12, 1, 12, tzinfo=UTC)
    assert remind(shop.context, job).document.title.startswith("Reminder 2, ")
    assert shop.verify().faults == ()


def test_without_an_invoice_or_a_debt_nobody_is_reminded(owing: tuple[Shop, list[datetime]]) -> None:
    shop, moment = owing
    job = repaired(shop)
    with pytest.raises(DeskError, match="on no invoice"):
        remind(shop.context, job)
    shop.issue(job)
    shop.pay(job, usd("242.00"), "cash")
    moment[0] = datetime(2026, 12, 1, 12, tzinfo=UTC)
    with pytest.raises(DeskError, match="Nothing of invoice"):
        remind(shop.context, job)


def test_forgetting_takes_the_reminders_paper_too(owing: tuple[Shop, list[datetime]]) -> None:
    shop, moment = owing
    job = repaired(shop)
    shop.issue(job)
    moment[0] = datetime(2026, 12, 1, 12, tzinfo=UTC)
    made = remind(shop.context, job)
    shop.forget(job, because="the customer asked for it")
    assert not made.pdf.exists()
    assert "XX 1" not in str(made.document)


# ── the books on paper ──────────────────────────────────────────────────────────────────────────────────────


def week(shop: Shop, moment: list[datetime]) -> None:
    """Two invoices of 242.00, one on the last day of the year and one on the next; one part is credited."""
    moment[0] = datetime(2026, 12, 31, 12, tzinfo=UTC)
    first = repaired(shop)
    shop.issue(first)
    drawer.move(shop.context, usd("50.00"), "change to begin with")
    shop.pay(first, usd("200.00"), "cash")
    moment[0] = datetime(2027, 1, 1, 12, tzinfo=UTC)
    second = repaired_again(shop)
    shop.pay(second, usd("242.00"), "card")
    credit(shop.context, second, "a part was taken back", CreditAsked(what=WORK, part="Terminal"))
    drawer.count(shop.context, usd("250.00"))


def rows_of(shop: Shop, span: str) -> list[tuple[str, ...]]:
    return [
        row
        for block in books_paper(shop.context, span).blocks
        if isinstance(block, Table)
        for row in block.rows
    ]


def test_the_books_of_a_day_a_month_and_a_year_add_up(owing: tuple[Shop, list[datetime]]) -> None:
    shop, moment = owing
    week(shop, moment)
    for span in ("2026-12-31", "2026-12", "2026"):
        found = rows_of(shop, span)
        assert ("", "In all", "220.00", "22.00", "242.00") in found
        assert ("", "In all", "200.00") in found
        assert ("10 %", "220.00", "22.00") in found
        assert ("", "In it before", "", "0.00") in found
    for span in ("2027-01-01", "2027-01", "2027"):
        found = rows_of(shop, span)
        assert ("", "In all", "200.00", "20.00", "220.00") in found  # 242 less 22 credited
        assert ("", "In all", "242.00") in found
        assert ("10 %", "200.00", "20.00") in found
        assert ("", "In it before", "", "250.00") in found
        assert ("1 Jan 2027", "counted, 0.00 from what should be there", "0.00", "250.00") in found
    assert any(row[0] == "December 2026" and row[1] == "1 × invoiced" for row in rows_of(shop, "2026"))
    # 42.00 of the first is open; of the second 22.00 goes back.
    assert ("In all", "20.00") in rows_of(shop, "")


def test_the_books_are_written_as_a_paper_and_say_so_everywhere(
    owing: tuple[Shop, list[datetime]], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    shop, moment = owing
    week(shop, moment)
    path = write_books(shop.context, "2026-12")
    assert path.name == "books-2026-12.pdf"
    document = books_paper(shop.context, "2026-12")
    text = render_text(document, resolver({}), None, width=100)
    assert "Books, December 2026" in text
    assert "In hand, cash" in text
    assert "December 2026" in render_page(document, mask, None)
    assert (
        main(["books", "2026-12", "--shop", str(shop.context.folder), "--pdf", str(tmp_path / "b.pdf")]) == 0
    )
    assert (tmp_path / "b.pdf").read_bytes()[:5] == b"%PDF-"


def test_books_of_nothing_are_a_paper_too(shop: Shop) -> None:
    assert "Nothing is open." in str(books_paper(shop.context, "2026-12"))
    assert not any(isinstance(block, Code) for block in books_paper(shop.context).blocks)


# ---- what is found in them


def found(shop: Shop, text: str, span: str = "") -> list[tuple[str, str, str]]:
    rows = ledger(shop.context, span, text).rows
    return [(str(row.kind), row.number, str(row.amount)) for row in rows]


def two_jobs(shop: Shop, moment: list[datetime]) -> tuple[str, str]:
    """One of 3 November, written off in part and paid on the 4th; one of the 6th."""
    moment[0] = datetime(2026, 11, 3, 12, tzinfo=UTC)
    first = repaired(shop)
    shop.issue(first)
    moment[0] = datetime(2026, 11, 4, 12, tzinfo=UTC)
    write_off(shop.context, first, usd("2.00"), "goodwill")
    shop.pay(first, usd("240.00"), "cash")
    moment[0] = datetime(2026, 11, 6, 12, tzinfo=UTC)
    file = shop.context.folder.parent / "visit.toml"
    told = file.read_text("utf-8").replace('"visit"', '"other"')
    other = told.replace('name = "N"', 'name = "Otto Sample"').replace("XX 1", "YY 22")
    file.with_name("other.toml").write_text(other.partition("\n[[step]]\nrepaired")[0], "utf-8")
    second = shop.import_visit(file.with_name("other.toml"))
    shop.approve(shop.estimate(second, "repair"), by="customer", how="in person")
    shop.pay(second, usd("30.00"), "card")
    return first, second


FIRST_ROWS = [
    ("invoiced", "2026-0001", "242.00"),
    ("written off", "2026-0001", "-2.00"),
    ("received", "", "-240.00"),
]
SECOND_ROWS = [("received", "", "-30.00")]


@pytest.mark.parametrize(
    ("text", "rows"),
    [
        ("XX 1", FIRST_ROWS),
        ("xx1", FIRST_ROWS),
        ("visit", FIRST_ROWS),
        ("yy-22", SECOND_ROWS),
        ("Otto Sample", SECOND_ROWS),
        ("sample otto", SECOND_ROWS),
        ("242.00", FIRST_ROWS[:1]),
        ("2,00", FIRST_ROWS[1:2]),
        ("30", SECOND_ROWS),
        ("4 Nov 2026", FIRST_ROWS[1:]),
        ("2026-11-06", SECOND_ROWS),
        ("2026-11", FIRST_ROWS + SECOND_ROWS),
        ("nobody", []),
        ("241.99", []),
    ],
)
def test_the_books_are_searched_by_customer_plate_job_amount_and_day(
    owing: tuple[Shop, list[datetime]], text: str, rows: list[tuple[str, str, str]]
) -> None:
    two_jobs(*owing)
    number = ledger(owing[0].context).rows[0].number
    rows = [(kind, number if said else "", amount) for kind, said, amount in rows]
    assert found(owing[0], text) == rows


def test_the_books_are_searched_by_number_within_a_time_and_tell_what_is_open_of_it(
    owing: tuple[Shop, list[datetime]], capsys: pytest.CaptureFixture[str]
) -> None:
    shop, _ = owing
    first, _ = two_jobs(*owing)
    number = shop.store.job(first).issued[-1].record.number
    assert [row[0] for row in found(shop, number.lower())] == ["invoiced", "written off", "received"]
    assert [row[0] for row in found(shop, number, "2026-11-04")] == ["written off", "received"]
    assert found(shop, number, "2026-10") == []
    assert [one.job for one in ledger(shop.context, "", "otto").open] == ["other"]
    assert ledger(shop.context, "", number).open == ()
    where = ["--shop", str(shop.context.folder)]
    assert main(["books", *where, "--find", "otto", "--csv", "-"]) == 0
    assert capsys.readouterr().out.splitlines()[1] == "2026-11-06,received,,other,-30.00,USD,,,card"
    assert main(["books", *where, "--find", "otto"]) == 0
    assert "Open: no invoice yet, other: -30.00 USD" in capsys.readouterr().out
    assert main(["books", *where, "--find", "nobody"]) == 0
    assert "Nothing was found." in capsys.readouterr().out
    assert main(["books", *where, "--find", " "]) == 1
    assert "Say what to find" in capsys.readouterr().err
    paper = books_paper(shop.context, "", "otto")
    assert ("Only what has to do with", ("otto",)) in paper.blocks[0].rows  # type: ignore[union-attr]
    assert "242.00" not in str(paper)


def test_where_more_was_found_than_is_told_it_says_so(
    owing: tuple[Shop, list[datetime]], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    shop, _ = owing
    two_jobs(*owing)
    asked = ["books", "--shop", str(shop.context.folder), "--find", "car"]  # both vehicles are called so
    for most, cut in ((2, False), (1, True)):
        monkeypatch.setattr("corekit.desk.ledger.MOST", most)
        assert ledger(shop.context, "", "car").cut is cut
        assert main(asked) == 0
        assert ("More was found" in capsys.readouterr().out) is cut
    assert "More was found" in str(books_paper(shop.context, "", "car"))


def test_what_was_forgotten_is_not_found_in_the_books_but_by_number_amount_and_day(
    owing: tuple[Shop, list[datetime]],
) -> None:
    shop, moment = owing
    first, second = two_jobs(*owing)
    number = shop.store.job(first).issued[-1].record.number
    moment[0] = datetime(2046, 11, 6, 12, tzinfo=UTC)
    for job in (first, second):
        shop.store.forget(job)
    for text in ("XX 1", "visit", "other", "Otto Sample", "yy 22", "sample"):
        assert found(shop, text) == [], text
    assert len(found(shop, number)) == 3
    assert found(shop, "30.00") == SECOND_ROWS
    assert len(found(shop, "2026-11-04")) == 2
    assert shop.verify().faults == ()


def test_an_invoice_over_two_jobs_stands_in_the_books_once_and_is_found_by_either(shop: Shop) -> None:
    first = repaired(shop)
    file = shop.context.folder.parent / "visit.toml"
    told = file.read_text("utf-8").replace('"visit"', '"other"').replace("XX 1", "YY 22")
    other, done = file.with_name("other.toml"), "\n[[step]]\nrepaired"
    other.write_text(told.partition(done)[0], "utf-8")
    second = shop.import_visit(other)
    shop.approve(shop.estimate(second, "repair"), by="customer", how="in person")
    other.write_text(told, "utf-8")
    shop.import_visit(other)
    number = shop.issue_together([first, second]).number
    invoiced = ("invoiced", number, "484.00")
    assert [row.number for row in ledger(shop.context).rows] == [number]
    for plate in ("XX 1", "YY 22", number):
        assert found(shop, plate) == [invoiced]
    shop.pay(second, usd("84.00"), "card")
    assert [one.due for one in ledger(shop.context).open] == [usd("400.00")]
    closes(shop)
