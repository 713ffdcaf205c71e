"""What approved work really took: charged as far as the approvals and the law's rule allow, else refused with
what to ask for.
"""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import pytest

from corekit.billing.approval import ConsentError
from corekit.desk.changing import Change, change
from corekit.desk.errors import ApprovalError, DeskError
from corekit.desk.jobs import texts_of
from corekit.desk.required import IncompleteError
from corekit.desk.settings import SHOP_FILE, unknown_operations
from corekit.desk.setup import Answers, set_up
from corekit.desk.shop import Shop
from corekit.intake.fault import VisitError
from corekit.model.document import Document
from corekit.model.money import Money
from corekit.report.personal_text import resolver
from corekit.report.terminal import render_text

PRICES = """
currency  = "USD"
tax       = { rates = { standard = "10" }, default = "standard" }
labour    = { per_hour = "100.00" }
call_out  = "0.00"
diagnosis = { price = "50.00" }

[operations."battery.charge"]
hours = "2.0"
parts = [ { name = "Terminal", price = "20.00", quantity = "1", condition = "new" } ]
"""
VISIT = """
job = "visit"
reason = "Cranks slowly."
customer = { name = "N", address = "A", phone = "1" }
vehicle = { plate = "XX 1", description = "a small car", odometer = "98400 km" }

[[step]]
requested = { operation = "battery.charge", ground = "customer" }

[[step]]
old_parts = "given back"
"""
DONE = '\n[[step]]\nrepaired = { operation = "battery.charge" }\n'
WORK = "battery.charge"


#: The shop's own words on the right to cancel, where the law of its place gives one.
WORDS = "You may cancel this contract within the time that the law gives; the form for it is attached."
SUPPLIED = f'statements = {{ cancellation = "{WORDS}" }}\n'


def shop_in(folder: Path, jurisdiction: str = "", prices: str = PRICES, **more: str) -> Shop:
    answers = Answers(
        name="A Shop", address=("1 Lane",), currency="USD", tax_id="T-1", jurisdiction=jurisdiction, **more
    )
    set_up(folder / "shop", answers)
    (folder / "shop" / "prices.toml").write_text(prices, "utf-8")
    path = folder / "shop" / SHOP_FILE
    path.write_text(path.read_text("utf-8").replace('contact = ""', 'contact = "1"'), "utf-8")
    if jurisdiction in ("DE", "EU", "GB"):
        path.write_text(SUPPLIED + path.read_text("utf-8"), "utf-8")
    (folder / "visit.toml").write_text(VISIT, "utf-8")
    return Shop(folder / "shop")


def printed(shop: Shop, job: str, document: Document) -> str:
    """What the customer's own copy says, in one line."""
    texts = texts_of(shop.context, shop.store.job(job))
    return " ".join(render_text(document, resolver(texts), None, width=200).split())


def said_on_cancelling(shop: Shop) -> str:
    """What a customer says on the right to cancel, where there is one."""
    return "begin at once" if shop.context.jurisdiction.cancellation is not None else ""


def repaired(shop: Shop) -> str:
    """A job with its one repair estimated (242.00), approved and done."""
    file = shop.context.folder.parent / "visit.toml"
    job = shop.import_visit(file)
    estimate = shop.estimate(job, "repair")
    assert str(estimate.total) == "242.00"  # 1.1 × (200 + 20)
    shop.approve(estimate, by="customer", how="in person", cancellation=said_on_cancelling(shop))
    file.write_text(file.read_text("utf-8") + DONE, "utf-8")
    shop.import_visit(file)
    return job


def took(hours: str, **more: object) -> Change:
    return Change(operation=WORK, because="a seized bolt", hours=Decimal(hours), **more)  # type: ignore[arg-type]


# 10 % of 242.00 is 24.20, more than 10.00: up to 266.20. 2.22 h: 1.1 × 242.00 = 266.20; 2.221 h: 266.31.
@pytest.mark.parametrize(
    ("jurisdiction", "hours", "gross"),
    [
        ("", "2", "242.00"),
        ("", "1.5", "187.00"),
        ("", "2.001", None),
        ("US-FL", "2.22", "266.20"),
        ("US-FL", "2.221", None),
        ("US-MI", "2.001", None),
        ("US-XX", "2.001", None),
    ],
)
def test_work_is_charged_as_it_was_up_to_what_the_rule_allows(
    tmp_path: Path, jurisdiction: str, hours: str, gross: str | None
) -> None:
    with shop_in(tmp_path, jurisdiction) as shop:
        path = shop.context.folder / SHOP_FILE
        path.write_text(path.read_text("utf-8").replace('mechanic     = ""', 'mechanic     = "M 1"'), "utf-8")
        job = repaired(shop)
        change(shop.context, job, took(hours))
        if gross is None:
            with pytest.raises(ConsentError, match=r"Ask for \d+\.\d\d .*a seized bolt"):
                shop.issue(job)
            assert shop.store.job(job).issued == ()
        else:
            assert shop.issue(job).document.total == gross


def test_the_refusal_says_how_much_more_to_ask_for_and_it_is_issued_once_that_is_approved(
    tmp_path: Path,
) -> None:
    with shop_in(tmp_path) as shop:
        job = repaired(shop)
        change(shop.context, job, took("2.3"))
        # 0.3 h at 100.00 and 10 % tax
        with pytest.raises(
            ConsentError, match=r"Ask for 33\.00 USD more, tax included: .*2\.3 h instead of 2 h"
        ):
            shop.issue(job)
        less = Change(
            operation=WORK, because="a bolt", more=Money(3299, "USD"), by="customer", how="by phone, 14:10"
        )
        change(shop.context, job, less)
        with pytest.raises(ConsentError, match=r"Ask for 0\.01 USD more"):
            shop.issue(job)
        change(
            shop.context,
            job,
            Change(operation=WORK, because="a cent", more=Money(1, "USD"), by="customer", how="by phone"),
        )
        issued = shop.issue(job)
        assert issued.document.total == "275.00"
        words = printed(shop, job, issued.document)
        assert "by phone, 14:10: a bolt" in words
        assert "14:10" not in str(issued.document), "own words are personal by their type"
        assert "2.3 h instead of 2 h: a seized bolt" in words


def test_a_reason_in_own_words_stands_on_the_customers_copy_and_on_no_other(tmp_path: Path) -> None:
    with shop_in(tmp_path) as shop:
        job = repaired(shop)
        change(shop.context, job, Change(operation=WORK, because="Mrs N held the lamp", hours=Decimal(1)))
        issued = shop.issue(job)
        assert "Mrs N held the lamp" in printed(shop, job, issued.document)
        assert "Mrs N" not in str(issued.document)
        assert "Mrs N" not in str(shop.store.invoice(issued.number).body)
        assert shop.verify().faults == ()


def test_a_part_that_was_not_needed_is_not_charged(tmp_path: Path) -> None:
    with shop_in(tmp_path) as shop:
        job = repaired(shop)
        change(
            shop.context,
            job,
            Change(operation=WORK, because="the old one held", part="terminal", quantity=Decimal(0)),
        )
        assert shop.issue(job).document.total == "220.00"


def test_what_is_said_of_hours_or_parts_that_are_on_no_line_is_refused_by_name(tmp_path: Path) -> None:
    with shop_in(tmp_path) as shop:
        job = repaired(shop)
        change(shop.context, job, Change(operation=WORK, because="x", part="Bracket", quantity=Decimal(1)))
        with pytest.raises(ConsentError, match=r"'Bracket' cannot .* Terminal"):
            shop.issue(job)


def test_nothing_is_changed_that_was_not_approved_or_after_the_invoice(tmp_path: Path) -> None:
    with shop_in(tmp_path) as shop:
        job = repaired(shop)
        with pytest.raises(DeskError, match=r"battery\.replace is not approved.*battery\.charge"):
            change(shop.context, job, Change(operation="battery.replace", because="x", hours=Decimal(1)))
        for by, how in (("Somebody", "by phone"), ("customer", "  ")):
            with pytest.raises(ApprovalError):
                change(
                    shop.context,
                    job,
                    Change(operation=WORK, because="x", more=Money(1, "USD"), by=by, how=how),
                )
        shop.issue(job)
        with pytest.raises(DeskError, match=r"is on invoice .* already, which never changes"):
            change(shop.context, job, took("2.1"))


@pytest.mark.parametrize(
    ("step", "place"),
    [
        ('charged = { operation = "battery.charge", hours = "2.1" }', "because"),
        ('charged = { operation = "battery.charge", because = "x" }', "hours"),
        ('charged = { operation = "battery.charge", part = "T", hours = "1", because = "x" }', "hours"),
        ('charged = { operation = "battery.charge", hours = "1.2345", because = "x" }', "hours"),
        ('charged = { operation = "battery.chrage", hours = "1", because = "x" }', "operation"),
        (
            'approved_more = { operation = "battery.charge", amount = "0", by = "customer", how = "x" }',
            "amount",
        ),
        ('old_parts = "somewhere"', "old_parts"),
    ],
)
def test_a_row_with_a_fault_is_refused_with_its_place(tmp_path: Path, step: str, place: str) -> None:
    with shop_in(tmp_path) as shop:
        path = tmp_path / "visit.toml"
        path.write_text(f"{VISIT}\n[[step]]\n{step}\n", "utf-8")
        with pytest.raises(VisitError) as caught:
            shop.import_visit(path)
        assert any(fault.path.endswith(place) for fault in caught.value.faults), caught.value


def test_a_file_says_the_same_as_the_verb(tmp_path: Path) -> None:
    with shop_in(tmp_path) as shop:
        job = repaired(shop)
        path = tmp_path / "visit.toml"
        rows = (
            'charged = { operation = "battery.charge", hours = "2.3", because = "a seized bolt" }\n'
            "[[step]]\n"
            'approved_more = { operation = "battery.charge", amount = "33.00", by = "customer",'
            ' how = "by phone, 14:10", because = "a seized bolt" }\n'
        )
        path.write_text(f"{VISIT}{DONE}\n[[step]]\n{rows}", "utf-8")
        shop.import_visit(path, job)
        assert shop.issue(job).document.total == "275.00"


def test_an_invoice_that_lacks_required_items_is_refused_with_all_of_them_before_a_number(
    tmp_path: Path,
) -> None:
    with shop_in(tmp_path, "US-FL") as shop:
        (tmp_path / "visit.toml").write_text(
            VISIT.replace('customer = { name = "N", address = "A", phone = "1" }\n', "")
            .replace(', odometer = "98400 km"', "")
            .replace('\n[[step]]\nold_parts = "given back"\n', ""),
            "utf-8",
        )
        job = repaired(shop)
        with pytest.raises(IncompleteError) as caught:
            shop.issue(job)
        for part in ("customer's name", "customer's address", "phone", "odometer", "old parts", "no number"):
            assert part in str(caught.value)
        assert shop.store.books() == []


def test_with_tax_and_without_a_tax_number_nothing_goes_out_where_nobody_described_the_place(
    tmp_path: Path,
) -> None:
    with shop_in(tmp_path) as shop:
        job = repaired(shop)
    path = tmp_path / "shop" / SHOP_FILE
    path.write_text(path.read_text("utf-8").replace('"T-1"', '""'), "utf-8")
    with Shop(tmp_path / "shop") as shop, pytest.raises(IncompleteError, match="tax number"):
        shop.issue(job)


def test_the_estimate_says_how_far_the_invoice_may_go(tmp_path: Path) -> None:
    with shop_in(tmp_path, "US-FL") as shop:
        job = shop.import_visit(tmp_path / "visit.toml")
        words = str(shop.estimate(job, "repair").document)
        assert "at most 10.00 USD or 10 %, whichever is more, and never more than 50.00 USD above" in words
        assert "559.909" in words


def test_what_the_law_prescribes_is_asked_for_and_printed(tmp_path: Path) -> None:
    with shop_in(tmp_path, "US-MD") as shop:
        job = repaired(shop)
        with pytest.raises(IncompleteError, match=r"statements\.responsibility.*\n.*statements\.bulletins"):
            shop.issue(job)
    path = tmp_path / "shop" / SHOP_FILE
    said = 'statements = { responsibility = "Words of the law.", bulletins = "More words." }\n'
    path.write_text(said + path.read_text("utf-8"), "utf-8")
    with Shop(tmp_path / "shop") as shop:
        assert "Words of the law." in str(shop.issue(job).document)


SUPPLIES = PRICES.replace("[operations", 'supplies  = { percent = "5" }\n\n[operations')


def test_supplies_stand_on_no_estimate_where_the_law_forbids_them_or_wants_words_first(
    tmp_path: Path,
) -> None:
    for place, why in (("US-CA", "may not stand"), ("US-FL", r"statements\.supplies")):
        folder = tmp_path / place
        folder.mkdir()
        with shop_in(folder, place, SUPPLIES) as shop:
            job = shop.import_visit(folder / "visit.toml")
            with pytest.raises(DeskError, match=why):
                shop.estimate(job, "repair")
    folder = tmp_path / "anywhere"
    folder.mkdir()
    with shop_in(folder, "", SUPPLIES) as shop:
        job = shop.import_visit(folder / "visit.toml")
        assert str(shop.estimate(job, "repair").total) == "253.00"  # 1.1 × (200 + 20 + 10)


def test_where_the_customer_owes_the_tax_the_invoice_wants_the_customers_number(tmp_path: Path) -> None:
    owed = PRICES.replace(
        '{ rates = { standard = "10" }, default = "standard" }',
        '{ reverse_charge = "The customer owes it." }',
    )
    with shop_in(tmp_path, "", owed) as shop:
        file = tmp_path / "visit.toml"
        job = shop.import_visit(file)
        shop.approve(shop.estimate(job, "repair"), by="customer", how="in person")
        file.write_text(file.read_text("utf-8") + DONE, "utf-8")
        shop.import_visit(file)
        with pytest.raises(IncompleteError, match="customer's tax number"):
            shop.issue(job)
        file.write_text(
            file.read_text("utf-8").replace('name = "N"', 'name = "N", tax_number = "C-1"'), "utf-8"
        )
        shop.import_visit(file)
        assert "The customer owes it." in str(shop.issue(job).document)


def test_a_discount_in_the_file_lowers_the_estimate_and_the_invoice_once(tmp_path: Path) -> None:
    with shop_in(tmp_path) as shop:
        file = tmp_path / "visit.toml"
        step = '\n[[step]]\ndiscounted = { percent = "10", because = "a regular" }\n'
        file.write_text(file.read_text("utf-8") + step, "utf-8")
        job = shop.import_visit(file)
        estimate = shop.estimate(job, "repair")
        assert str(estimate.total) == "217.80"  # 1.1 × 0.9 × 220
        shop.approve(estimate, by="customer", how="in person")
        file.write_text(file.read_text("utf-8") + DONE, "utf-8")
        shop.import_visit(file)
        issued = shop.issue(job)
        assert issued.document.total == "217.80"
        assert "10 % off 100.00: a regular" in str(issued.document)


def test_an_operation_of_the_price_book_that_no_system_has_is_named(tmp_path: Path) -> None:
    typo = PRICES + '\n[operations."battery.chrage"]\nhours = "1"\n[operations."gearbox.fill"]\nhours = "1"\n'
    with shop_in(tmp_path, "", typo) as shop:
        (said,) = unknown_operations(shop.context.plugins, shop.context.prices)
        assert "battery.chrage" in said
        assert "battery.charge" in said
