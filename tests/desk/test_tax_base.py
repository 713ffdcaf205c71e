"""A shop in whose place work is taxed as soon as a part is supplied with it, from the estimate to the books;
and one that charges a lump sum without tax.

The rule is that of Fla. Admin. Code 12A-1.006; the amounts are worked by hand from the prices: an hour
100.00, a terminal 20.00, a diagnosis 50.00, 10 % tax on parts, and on work as soon as there is one.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from corekit.billing.approval import ConsentError
from corekit.billing.credit import CreditAsked
from corekit.cli import main
from corekit.desk.crediting import credit
from corekit.desk.draft import draft_estimate
from corekit.desk.errors import DeskError
from corekit.desk.estimating import estimate as make_estimate
from corekit.desk.ledger import ledger
from corekit.desk.pricing import TypedPart, write_price
from corekit.desk.quote import approved_if
from corekit.desk.settings import SHOP_FILE
from corekit.desk.shop import Shop
from corekit.model.records import InvoiceIssued

from .test_changes import PRICES, WORK, printed, shop_in
from .test_ledger import closes, usd
from .test_several_invoices import due, say

ALONE = "battery.clean_contacts"
HANGS = (
    PRICES.replace(
        '{ rates = { standard = "10" }, default = "standard" }',
        '{ rates = { sales = "10", untaxed = "0" }, default = "sales", labour = "untaxed",'
        ' call_out = "untaxed", with_parts = "sales" }',
    )
    + f'\n[operations."{ALONE}"]\nhours = "1.0"\n'
)
#: The same with one price for the first work and its terminal.
LUMP = HANGS.replace(', with_parts = "sales"', ', lump_sum = "untaxed"').replace(
    'hours = "2.0"\nparts = [ { name = "Terminal", price = "20.00", ',
    'hours = "2.0"\nlump_sum = "199.00"\nparts = [ { name = "Terminal", ',
)


def both_asked(shop: Shop) -> str:
    """A job in which work with a part (200.00 and 20.00) and work alone (100.00) were asked for."""
    job = shop.import_visit(shop.context.folder.parent / "visit.toml")
    say(shop, job, requested={"operation": ALONE, "ground": "customer"})
    return job


def record_of(shop: Shop, number: str) -> InvoiceIssued:
    return InvoiceIssued(**shop.store.invoice(number).body)


def test_work_is_taxed_beside_a_part_and_not_without_from_the_estimate_to_the_books(tmp_path: Path) -> None:
    with shop_in(tmp_path, prices=HANGS) as shop:
        job = both_asked(shop)
        estimate = shop.estimate(job, "repair")
        assert str(estimate.total) == "352.00"  # 320.00 + 10 %
        assert "Tax 10 % on 320.00" in printed(shop, job, estimate.document)
        assert str(approved_if(shop.context, estimate, [WORK])) == "100.00", "without the part no tax"
        assert str(approved_if(shop.context, estimate, [ALONE])) == "242.00"
        shop.approve(estimate, by="customer", how="in person", declined=[WORK])
        say(shop, job, repaired={"operation": ALONE})
        issued = shop.issue(job)
        assert issued.document.total == "100.00"
        closes(shop)


def test_an_invoice_keeps_the_rates_it_was_issued_with(tmp_path: Path) -> None:
    with shop_in(tmp_path, prices=HANGS) as shop:
        job = both_asked(shop)
        shop.approve(shop.estimate(job, "repair"), by="customer", how="in person")
        for work in (WORK, ALONE):
            say(shop, job, repaired={"operation": work})
        issued = shop.issue(job)
        assert issued.document.total == "352.00"
        assert {line["tax"] for line in record_of(shop, issued.number).lines} == {"sales"}
        # The part comes back: what was taxed for it stays taxed, as it was invoiced.
        note = credit(shop.context, job, "wrong size", CreditAsked(what=WORK, part="Terminal"))
        assert str(note.total) == "-22.00"
        note = credit(shop.context, job, "goodwill", CreditAsked(what=ALONE))
        assert str(note.total) == "-110.00"
        assert [str(row.tax) for row in ledger(shop.context).rows] == ["32.00", "-2.00", "-10.00"]
        credit(shop.context, job, "all the rest")
        corrected = shop.issue(job)
        assert (corrected.document.total, record_of(shop, corrected.number).corrects) == (
            "352.00",
            issued.number,
        )
        closes(shop)


def test_a_changed_price_book_changes_no_issued_invoice(tmp_path: Path) -> None:
    with shop_in(tmp_path, prices=HANGS.replace(', with_parts = "sales"', "")) as shop:
        job = both_asked(shop)
        shop.approve(shop.estimate(job, "repair"), by="customer", how="in person")
        for work in (WORK, ALONE):
            say(shop, job, repaired={"operation": work})
        number = shop.issue(job).number
        assert record_of(shop, number).tax == 200
        (shop.context.folder / "prices.toml").write_text(HANGS, "utf-8")
        shop.context.price_book.refresh()
        assert [str(one.tax) for row in ledger(shop.context).rows for one in row.rates] == ["2.00", "0.00"]
        note = credit(shop.context, job, "all of it")
        assert str(note.total) == "-322.00"
        with pytest.raises(ConsentError, match=r"comes to 352\.00 USD, but 322\.00 was approved"):
            shop.issue(job)
        closes(shop)


def test_a_repair_with_a_part_asks_for_the_tax_on_the_diagnosis_before_it(tmp_path: Path) -> None:
    with shop_in(tmp_path, prices=HANGS) as shop:
        job = shop.import_visit(tmp_path / "visit.toml")
        looked = shop.estimate(job, "diagnosis")
        assert str(looked.total) == "50.00"
        shop.approve(looked, by="customer", how="in person")
        estimate = shop.estimate(job, "repair")
        assert str(estimate.total) == "247.00"  # 220.00 + 22.00 + 5.00 on the diagnosis
        said = printed(shop, job, estimate.document)
        assert "Tax, because work and parts come on one invoice 5.00" in said
        assert "Together with it 297.00" in said
        assert shop.estimate(job, "repair").name == estimate.name
        drafted = draft_estimate(
            job, is_file=False, folder=shop.context.folder, stage="repair", km=None, as_text=True
        )
        assert drafted.document.total == "247.00"
        shop.approve(estimate, by="customer", how="in person")
        say(shop, job, repaired={"operation": WORK})
        assert shop.issue(job).document.total == "297.00"  # 270.00 + 10 %
        closes(shop)


def test_a_diagnosis_on_an_invoice_of_its_own_stays_without_tax(tmp_path: Path) -> None:
    with shop_in(tmp_path, prices=HANGS) as shop:
        job = shop.import_visit(tmp_path / "visit.toml")
        shop.approve(shop.estimate(job, "diagnosis"), by="customer", how="in person")
        assert shop.issue(job).document.total == "50.00"
        estimate = shop.estimate(job, "repair")
        assert str(estimate.total) == "242.00"
        shop.approve(estimate, by="customer", how="in person")
        say(shop, job, repaired={"operation": WORK})
        assert shop.issue(job).document.total == "242.00"
        assert due(shop) == {
            record.number: total
            for record, total in zip(
                (InvoiceIssued(**one.body) for one in shop.store.books()), ("50.00", "242.00"), strict=True
            )
        }
        closes(shop)


def test_a_tax_that_nobody_approved_is_not_charged_as_rounding(tmp_path: Path) -> None:
    with shop_in(tmp_path, prices=HANGS) as shop:
        job = shop.import_visit(tmp_path / "visit.toml")
        repair, looked = shop.estimate(job, "repair"), shop.estimate(job, "diagnosis")
        for estimate in (repair, looked):  # each was made before the other was approved
            shop.approve(estimate, by="customer", how="in person")
        say(shop, job, repaired={"operation": WORK})
        with pytest.raises(ConsentError, match=r"comes to 297\.00 USD, but 292\.00 was approved"):
            shop.issue(job)


def test_the_tax_on_what_came_before_goes_where_the_law_lets_it(tmp_path: Path) -> None:
    """Fla. Stat. 559.909(1)(b): 10.00 or 10 % more, at most 50.00."""
    with shop_in(tmp_path, "US-FL", HANGS) as shop:
        job = shop.import_visit(tmp_path / "visit.toml")
        repair, looked = shop.estimate(job, "repair"), shop.estimate(job, "diagnosis")
        for estimate in (repair, looked):
            shop.approve(estimate, by="customer", how="in person")
        say(shop, job, repaired={"operation": WORK})
        assert shop.issue(job).document.total == "297.00"
        closes(shop)


def test_work_that_takes_longer_is_taxed_for_the_part_too(tmp_path: Path) -> None:
    with shop_in(tmp_path, prices=HANGS) as shop:
        job = both_asked(shop)
        shop.approve(shop.estimate(job, "repair"), by="customer", how="in person")
        for work in (WORK, ALONE):
            say(shop, job, repaired={"operation": work})
        say(shop, job, charged={"operation": ALONE, "hours": "1.1", "because": "rust"})
        with pytest.raises(ConsentError, match=r"Ask for 11\.00 USD more, tax included"):
            shop.issue(job)
        more = {"operation": ALONE, "amount": "11.00", "by": "customer", "how": "by phone", "because": "rust"}
        say(shop, job, approved_more=more)
        assert shop.issue(job).document.total == "363.00"
        closes(shop)


def test_what_is_owed_in_cash_goes_to_the_smallest_coin(tmp_path: Path) -> None:
    prices = HANGS.replace('price = "20.00"', 'price = "20.33"')
    with shop_in(tmp_path, prices=prices) as shop:
        path = shop.context.folder / SHOP_FILE
        path.write_text('cash_rounding = "0.05"\n' + path.read_text("utf-8"), "utf-8")
    with Shop(tmp_path / "shop") as shop:
        job = shop.import_visit(tmp_path / "visit.toml")
        shop.approve(shop.estimate(job, "repair"), by="customer", how="in person")
        say(shop, job, repaired={"operation": WORK})
        assert shop.issue(job).document.total == "242.36"  # 220.33 + 22.03
        shop.pay(job, usd("242.35"), "cash")
        assert due(shop) == {}
        closes(shop)


def test_a_lump_sum_is_invoiced_without_tax_and_names_its_part(tmp_path: Path) -> None:
    with shop_in(tmp_path, prices=LUMP) as shop:
        job = shop.import_visit(tmp_path / "visit.toml")
        estimate = shop.estimate(job, "repair")
        assert str(estimate.total) == "199.00"
        said = printed(shop, job, estimate.document)
        assert "condition: new; in the lump sum" in said
        assert "Tax 0 % on 199.00 0.00" in said
        shop.approve(estimate, by="customer", how="in person")
        say(shop, job, repaired={"operation": WORK})
        issued = shop.issue(job)
        assert issued.document.total == "199.00"
        record = record_of(shop, issued.number)
        assert (record.net, record.tax) == (19900, 0)
        note = credit(shop.context, job, "all of it")
        assert str(note.total) == "-199.00"
        closes(shop)


def test_a_screen_does_not_take_a_lump_sum_out_of_the_price_book(tmp_path: Path) -> None:
    with shop_in(tmp_path, prices=LUMP) as shop:
        before = (shop.context.folder / "prices.toml").read_text("utf-8")
        with pytest.raises(DeskError, match="one price for work and parts"):
            write_price(shop.context.price_book, WORK, "1", [TypedPart(name="Terminal", price="1")])
        assert (shop.context.folder / "prices.toml").read_text("utf-8") == before


def test_who_makes_an_estimate_is_told_once_what_the_law_taxes(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with shop_in(tmp_path, "US-FL") as shop:
        shop.import_visit(tmp_path / "visit.toml")
    assert main(["estimate", "visit", "--shop", str(tmp_path / "shop")]) == 0
    said = capsys.readouterr().out
    assert said.count("Fla. Admin. Code 12A-1.006") == 1
    assert 'with_parts = "standard"' in said
    (tmp_path / "shop" / "prices.toml").write_text(HANGS, "utf-8")
    assert main(["estimate", "visit", "--shop", str(tmp_path / "shop")]) == 0
    assert "Fla. Admin. Code" not in capsys.readouterr().out


def test_the_screen_of_the_estimate_tells_it_too_in_the_language_of_the_shop(tmp_path: Path) -> None:
    from corekit.screens.app import NoAuth, work_app
    from corekit.screens.context import Van

    with shop_in(tmp_path, "US-FL") as shop:
        job = shop.import_visit(tmp_path / "visit.toml")
        client = work_app(Van(shop.context), NoAuth()).test_client()
        assert "Taxed otherwise than the law of US-FL" in client.get(f"/job/{job}/estimate").get_data(
            as_text=True
        )
        path = shop.context.folder / SHOP_FILE
        path.write_text('screen_language = "de"\n' + path.read_text("utf-8"), "utf-8")
    with Shop(tmp_path / "shop") as shop:
        client = work_app(Van(shop.context), NoAuth()).test_client()
        said = client.get(f"/job/{job}/estimate").get_data(as_text=True)
        assert (
            "Anders besteuert, als das Recht von US-FL es hat: Arbeit, Diagnose, Anfahrt und Fahrt." in said
        )
        assert "nach Fla. Admin. Code 12A-1.006" in said


def test_work_alone_after_a_repair_with_a_part_is_estimated_with_its_tax(tmp_path: Path) -> None:
    with shop_in(tmp_path, prices=HANGS) as shop:
        job = shop.import_visit(tmp_path / "visit.toml")
        shop.approve(shop.estimate(job, "repair"), by="customer", how="in person")
        say(shop, job, requested={"operation": ALONE, "ground": "customer"})
        estimate = make_estimate(shop.context, job, "repair", without=[WORK])
        assert str(estimate.total) == "110.00"
        shop.approve(estimate, by="customer", how="in person")
        for work in (WORK, ALONE):
            say(shop, job, repaired={"operation": work})
        assert shop.issue(job).document.total == "352.00"
        closes(shop)
