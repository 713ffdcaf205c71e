"""Mistakes that are easily made on a driveway, one after another: what is kept, what is refused, and what is
said.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from corekit.billing.payment import PaymentError
from corekit.desk import importing
from corekit.desk.errors import DeskError, EstimateAwaitedError
from corekit.desk.issuing import left_out
from corekit.desk.jobs import job_named
from corekit.desk.setup import Answers, set_up
from corekit.desk.shop import Shop
from corekit.model.entry import Draft
from corekit.model.money import Money
from corekit.model.records import Paid, body_of
from corekit.store.errors import StoreError
from corekit.store.transaction import Transaction

PRICES = """
currency  = "EUR"
tax       = { rates = { standard = "20" }, default = "standard" }
labour    = { per_hour = "60.00" }
call_out  = "0.00"
diagnosis = { price = "50.00" }

[operations."battery.charge"]
hours = "0.5"
"""

VISIT = """
job = "visit"
reason = "Cranks slowly."
vehicle = { plate = "XX 1", description = "a small car" }

[[step]]
approved = { estimate = "diagnosis 1", total = "60.00", by = "customer", how = "in person" }

[[step]]
requested = { operation = "battery.charge", ground = "customer" }
"""

SECOND = 'job = "second"\nreason = "Came back."\nvehicle = { plate = "XX 1" }\n'
AGREED = (
    '\n[[step]]\napproved = { estimate = "repair 1", total = "36.00", by = "customer", how = "in person" }\n'
)
DONE = '\n[[step]]\nrepaired = { operation = "battery.charge" }\n'


@pytest.fixture
def shop(tmp_path: Path) -> Shop:
    set_up(tmp_path / "shop", Answers(name="A Shop", address=("1 Lane",), currency="EUR", tax_id="T-1"))
    (tmp_path / "shop" / "prices.toml").write_text(PRICES, "utf-8")
    return Shop(tmp_path / "shop")


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "visit.toml"
    path.write_text(VISIT, "utf-8")
    return path


@pytest.fixture
def diagnosed(shop: Shop, file: Path) -> str:
    """A job with its diagnosis estimated and approved."""
    with pytest.raises(EstimateAwaitedError) as awaited:
        shop.import_visit(file)
    shop.estimate(awaited.value.job, "diagnosis")
    return shop.import_visit(file)


def test_a_shop_whose_prices_were_never_filled_in_makes_no_estimate(tmp_path: Path, file: Path) -> None:
    set_up(tmp_path / "new", Answers(name="A Shop", address=("1 Lane",), currency="EUR"))
    with Shop(tmp_path / "new") as shop:
        with pytest.raises(EstimateAwaitedError):
            shop.import_visit(file)
        with pytest.raises(DeskError, match=r"0\.00 EUR.*prices\.toml"):
            shop.estimate("visit")
        assert shop.store.job(shop.store.find("visit")).estimates == ()


def test_an_estimate_by_a_name_that_no_estimate_prints_is_named_with_those_that_were_made(
    shop: Shop, file: Path, diagnosed: str
) -> None:
    shop.estimate(diagnosed, "repair")
    for name in ("repair", "repair 3", "Repair 1"):
        file.write_text(VISIT + AGREED.replace("repair 1", name), "utf-8")
        with pytest.raises(
            EstimateAwaitedError,
            match=f"'{name}'.*made were 'diagnosis 1', 'repair 1'.*printed on the estimate",
        ):
            shop.import_visit(file)


def test_a_file_that_got_another_name_is_still_known_by_both(shop: Shop, file: Path, diagnosed: str) -> None:
    file.write_text(SECOND, "utf-8")
    assert shop.import_visit(file, "visit") == diagnosed
    file.write_text(VISIT, "utf-8")
    again = importing.add(shop.context, importing.read(shop.context, file))
    assert (again.job, again.added, again.corrected) == (diagnosed, 0, 0)
    assert len(shop.store.jobs()) == 1


def test_forgetting_finds_the_papers_under_every_name(shop: Shop, file: Path, diagnosed: str) -> None:
    assert len(list((shop.context.folder / "papers").iterdir())) == 1
    file.write_text(SECOND, "utf-8")
    shop.import_visit(file, "visit")
    shop.forget(diagnosed)
    assert list((shop.context.folder / "papers").iterdir()) == []


def test_a_row_that_comes_in_withdrawn_is_not_counted_as_a_correction(shop: Shop, file: Path) -> None:
    file.write_text(
        SECOND
        + '\n[[step]]\npaid = { amount = "1.00", how = "cash", withdrawn = "typed for another car" }\n',
        "utf-8",
    )
    done = importing.add(shop.context, importing.read(shop.context, file))
    assert done.corrected == 0
    assert done.withdrawn == 1
    assert shop.store.books() == [], "money that was never taken is not in the books"


def test_nobody_approves_without_a_name_or_a_way(shop: Shop, diagnosed: str) -> None:
    estimate = shop.estimate(diagnosed, "repair")
    for by, how in (("", "in person"), ("customer", " ")):
        with pytest.raises(DeskError, match="who approved and how"):
            shop.approve(estimate, by=by, how=how)
    assert len(shop.store.job(diagnosed).approvals) == 1


def test_who_approved_is_never_a_name_because_the_page_shows_it(
    shop: Shop, file: Path, diagnosed: str
) -> None:
    estimate = shop.estimate(diagnosed, "repair")
    with pytest.raises(DeskError, match="never a name"):
        shop.approve(estimate, by="A. Person", how="in person")
    file.write_text(VISIT + AGREED.replace('by = "customer"', 'by = "A. Person"') + DONE, "utf-8")
    with pytest.raises(DeskError, match=r"approved\.by: .*never a name"):
        shop.import_visit(file)


def test_after_the_invoice_what_is_approved_and_done_later_is_billed_on_another(
    shop: Shop, file: Path, diagnosed: str
) -> None:
    """An invoice is issued once and never changes; what comes later is billed, and money for it is taken."""
    before = shop.estimate(diagnosed, "repair")
    invoice = shop.issue(diagnosed)
    assert invoice.due == Money.of("60.00", "EUR")
    shop.approve(before, by="customer", how="in person")
    with pytest.raises(PaymentError, match=r"Only 96\.00 EUR is due"):  # 60.00 and 36.00
        shop.pay(diagnosed, Money.of("96.01", "EUR"), "cash")
    file.write_text(VISIT + DONE + '\n[[step]]\npaid = { amount = "96.00", how = "cash" }\n', "utf-8")
    shop.import_visit(file)
    second = shop.issue(diagnosed)
    assert second.number != invoice.number
    assert (second.document.total, second.due) == ("36.00", Money.of("0.00", "EUR"))


def test_a_payment_is_not_corrected_beyond_what_was_approved(shop: Shop, file: Path, diagnosed: str) -> None:
    paid = '\n[[step]]\npaid = { amount = "10.00", how = "cash" }\n'
    file.write_text(VISIT + paid, "utf-8")
    shop.import_visit(file)
    file.write_text(VISIT + paid.replace("10.00", "60.01"), "utf-8")
    with pytest.raises(PaymentError, match=r"Only 60\.00 EUR is due, and 60\.01 was given"):
        shop.import_visit(file)
    file.write_text(VISIT + paid.replace("10.00", "60.00"), "utf-8")
    shop.import_visit(file)
    assert [noted.record.amount for noted in shop.store.job(diagnosed).payments] == [6000]


def test_what_an_invoice_leaves_out_is_said(shop: Shop, file: Path, diagnosed: str) -> None:
    shop.estimate(diagnosed, "repair")
    assert left_out(shop.context, job_named(shop.context, diagnosed)) == [
        "the estimate 'repair 1' has no answer yet."
    ]
    file.write_text(VISIT + AGREED, "utf-8")
    shop.import_visit(file)
    (sentence,) = left_out(shop.context, job_named(shop.context, diagnosed))
    assert "Charge the battery" in sentence
    assert "nothing says that it was done" in sentence
    file.write_text(VISIT + AGREED + DONE, "utf-8")
    shop.import_visit(file)
    assert left_out(shop.context, job_named(shop.context, diagnosed)) == []


def test_work_that_nobody_approved_is_said_to_be_left_out(shop: Shop, file: Path, diagnosed: str) -> None:
    file.write_text(VISIT + DONE, "utf-8")
    shop.import_visit(file)
    (sentence,) = left_out(shop.context, job_named(shop.context, diagnosed))
    assert "nobody approved" in sentence


def booked(shop: Shop) -> list[tuple[int, str]]:
    return [
        (entry.body["amount"], entry.body["how"]) for entry in shop.store.books() if entry.kind == "payment"
    ]


def test_the_books_follow_a_payment_that_is_corrected_and_one_that_is_withdrawn(
    shop: Shop, file: Path, diagnosed: str
) -> None:
    paid = '\n[[step]]\npaid = { amount = "50.00", how = "cash" }\n'
    file.write_text(VISIT + paid, "utf-8")
    shop.import_visit(file)
    file.write_text(VISIT + paid.replace("50.00", "20.00"), "utf-8")
    shop.import_visit(file)
    assert booked(shop) == [(5000, "cash"), (-3000, "correction of cash")]
    assert shop.store.verify() == []
    file.write_text(
        VISIT
        + paid.replace("50.00", "20.00").replace('how = "cash"', 'how = "cash", withdrawn = "given back"'),
        "utf-8",
    )
    shop.import_visit(file)
    assert sum(amount for amount, _ in booked(shop)) == 0
    assert shop.store.verify() == []


def test_money_that_only_one_of_the_two_journals_knows_is_named(
    shop: Shop, diagnosed: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    lost = Draft(
        kind="paid", subject=":paid/lost", body=body_of(Paid(amount=700, currency="EUR", how="cash"))
    )
    with (
        pytest.raises(StoreError, match="must be the same"),
        shop.store.transaction(diagnosed) as transaction,
    ):
        transaction.append([lost])
    monkeypatch.setattr(Transaction, "_check_money", lambda _: None)
    with shop.store.transaction(diagnosed) as transaction:
        transaction.append([lost])
    assert [fault for fault in shop.store.verify() if "says that 700 was paid" in fault]
