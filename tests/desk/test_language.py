"""Papers in the customer's language: as a whole, with days and amounts as CLDR has them, or in English with
what lacks a translation named.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from decimal import Decimal
from itertools import count
from pathlib import Path
from typing import Any

import attrs
import pytest

from corekit.billing.credit import CreditAsked
from corekit.cli import main
from corekit.desk.crediting import credit
from corekit.desk.estimating import estimate as make_estimate
from corekit.desk.exporting import invoice_value
from corekit.desk.paying import refund, write_off
from corekit.desk.reminding import remind
from corekit.desk.rows import add_rows
from corekit.desk.settings import SHOP_FILE
from corekit.desk.setup import Answers, set_up
from corekit.desk.shop import Shop
from corekit.desk.speaking import paper_language, untranslated
from corekit.errors import InputError
from corekit.fault import DataFileError
from corekit.intake.fault import VisitError
from corekit.languages import languages
from corekit.model.document import Document
from corekit.model.money import Money
from corekit.model.records import InvoiceIssued
from corekit.report.catalogue import catalogue, read_catalogue
from corekit.report.language import in_language
from corekit.report.page import render_page
from corekit.report.pdf import check_glyphs
from corekit.report.personal_text import mask
from corekit.report.terminal import render_text
from corekit.report.wording import words_in

PRICES = """
currency  = "EUR"
tax       = { rates = { standard = "19", reduced = "7" }, default = "standard", parts = "reduced" }
labour    = { per_hour = "1000.00" }
call_out  = "25.00"
travel    = { flat = "12.00" }
diagnosis = { price = "50.00", cap = "100.00" }
supplies  = { percent = "5", cap = "10.00" }

[operations."Ölwechsel"]
hours = "0.5"
parts = [
  { name = "Ölfilter", price = "20.00", quantity = "1", condition = "new", number = "F-1", core = "5.00" },
  { name = "Öl", price = "8.00", quantity = "4.5", unit = "l", condition = "new" },
]

[operations."Wischer"]
hours = "0.2"

[operations."battery.charge"]
hours = "1"
"""
IDS = count()


def eur(amount: str) -> Money:
    return Money.of(amount, "EUR")


def german_shop(folder: Path, moment: list[datetime], **more: str) -> Shop:
    answers = Answers(
        name="Eine Werkstatt", address=("Weg 1",), currency="EUR", tax_id="DE1", jurisdiction="DE", **more
    )
    set_up(folder / "shop", answers)
    (folder / "shop" / "prices.toml").write_text(PRICES, "utf-8")
    path = folder / "shop" / SHOP_FILE
    text = path.read_text("utf-8")
    for old, new in (
        ('contact = ""', 'contact = "0000 1"'),
        ("due_days  = 0", "due_days  = 14"),
        ('guarantee = ""', 'guarantee = "Ein Jahr auf Teile."'),
        ('pays_by   = ""', 'pays_by   = "Bitte bar oder per Überweisung."'),
        ('iban      = ""', 'iban      = "BE72 0000 0000 1616"'),
        ('# language = "de"', 'language = "de"'),
        ("# statements = {", 'statements = { cancellation = "Sie dürfen widerrufen." }  # {'),
    ):
        assert old in text
        text = text.replace(old, new)
    path.write_text(text, "utf-8")
    return Shop(folder / "shop", now=lambda: moment[0])


@pytest.fixture
def moment() -> list[datetime]:
    return [datetime(2026, 11, 1, 12, tzinfo=UTC)]


@pytest.fixture
def shop(tmp_path: Path, moment: list[datetime]) -> Iterator[Shop]:
    with german_shop(tmp_path, moment) as shop:
        yield shop


def begin(shop: Shop, **customer: str) -> str:
    rows: dict[str, Any] = {
        "reason": "Bitte Öl wechseln.",
        "vehicle": {"plate": "DEMO-1", "description": "kleiner Wagen", "odometer": "98400 km"},
        "customer": {"name": "N", "address": "A", "phone": "1", "order_number": "PO-1", **customer},
    }
    return add_rows(shop.context, None, rows, request_id=f"a-request-of-a-test-{next(IDS):06}").job


def say(shop: Shop, job: str, **step: object) -> None:
    add_rows(shop.context, job, {"step": [step]}, request_id=f"a-request-of-a-test-{next(IDS):06}")


def oil(shop: Shop, job: str, declined: bool = True) -> Document:
    """An oil change and a wiper, estimated; the wiper is declined, the oil change done and issued."""
    say(shop, job, requested={"work": "Ölwechsel", "ground": "customer"})
    say(shop, job, requested={"work": "Wischer", "ground": "judgement", "because": "Streifen"})
    estimate = make_estimate(shop.context, job, "repair", call_out=True)
    shop.approve(
        estimate,
        by="customer",
        how="in person",
        declined=["Wischer"] if declined else [],
        cancellation="begin at once",
    )
    return estimate.document


def all_papers(shop: Shop, moment: list[datetime]) -> list[Document]:
    """Every paper that a job of the shop's own work comes to."""
    job = begin(shop)
    papers = [oil(shop, job)]
    shop.pay(job, eur("30.00"), "cash")
    papers.append(shop.receipt(job).document)
    say(shop, job, serviced={"work": "Ölwechsel"})
    say(shop, job, old_parts="left with us")
    say(shop, job, discounted={"percent": "10", "because": "a regular"})
    invoice = shop.issue(job)
    papers.append(invoice.document)
    shop.pay(job, eur("10.00"), "bank transfer")
    papers.append(shop.receipt(job).document)
    moment[0] = datetime(2026, 12, 1, 12, tzinfo=UTC)
    papers.append(remind(shop.context, job).document)
    write_off(shop.context, job, eur("1.00"), "goodwill")
    moment[0] = datetime(2026, 12, 9, 12, tzinfo=UTC)
    papers.append(remind(shop.context, job).document)
    shop.pay(job, remind(shop.context, job).due, "card")
    papers.append(shop.receipt(job).document)
    back = CreditAsked(what="Ölwechsel", part="Öl", quantity=Decimal(1))
    papers.append(credit(shop.context, job, "a part was taken back", back).document)
    papers.append(credit(shop.context, job, "wrong price").document)
    refund(shop.context, job, eur("20.00"), "cash")
    papers.append(shop.receipt(job).document)

    looked = begin(shop)
    estimate = shop.estimate(looked, "diagnosis")
    shop.approve(estimate, by="customer", how="by phone", cancellation="urgent repair")
    papers += [estimate.document, shop.issue(looked).document]
    say(shop, looked, requested={"work": "Wischer", "ground": "scheduled"})
    estimate = shop.estimate(looked, "repair")
    shop.approve(estimate, by="owner", how="by message", cancellation="for a business")
    say(shop, looked, serviced={"work": "Wischer"})
    papers += [estimate.document, shop.issue(looked).document]

    several = [begin(shop), begin(shop)]
    for one in several:
        say(shop, one, requested={"work": "Wischer", "ground": "customer"})
        shop.approve(
            shop.estimate(one, "repair"), by="customer", how="in writing", cancellation="begin later"
        )
        say(shop, one, serviced={"work": "Wischer"})
    papers.append(shop.issue_together(several).document)
    shop.pay(several[0], eur("5.00"), "cash")
    papers.append(shop.receipt(several[0]).document)
    return papers


def test_no_text_of_the_papers_of_own_work_lacks_its_translation(shop: Shop, moment: list[datetime]) -> None:
    papers = all_papers(shop, moment)
    assert len(papers) == 16
    # Each was put into German as a whole, which is only done where nothing is missing.
    assert [paper.title for paper in papers if paper.language != "de"] == []
    assert shop.verify().faults == ()


def test_what_they_say_is_german_throughout(shop: Shop, moment: list[datetime]) -> None:
    english = {" the ", " and ", " you ", " your ", "invoice", "still to pay", "estimate", "receipt", " of "}
    for paper in all_papers(shop, moment):
        text = render_text(paper, mask, None, width=4000).casefold()
        assert [word for word in english if word in text] == [], paper.title
        page = render_page(paper, mask, None)
        assert 'lang="de"' in page
        with words_in(paper.language):
            check_glyphs(paper)


def test_days_and_amounts_are_written_as_people_there_write_them(shop: Shop, moment: list[datetime]) -> None:
    # CLDR for German: dates day.month.year, a comma before the cents, a point between thousands.
    job = begin(shop)
    text = render_text(oil(shop, job, declined=False), mask, None, width=400)
    for words in (
        "Ausgestellt 01.11.2026",
        "Gültig bis: 01.12.2026",
        "Ölwechsel, 0,5 h",
        "500,00",
        "Öl, neu, 4,5 l",
        "0,5 h × 1.000,00, steuer 19 %",
        "(Name: auf dem Original)",
    ):
        assert words in text, words
    assert "Vorschlag: Ölwechsel und Wischer." in text, "what the shop calls its work keeps its letters"


def test_the_mark_and_the_books_hold_what_was_handed_over(shop: Shop) -> None:
    job = begin(shop)
    oil(shop, job)
    say(shop, job, serviced={"work": "Ölwechsel"})
    say(shop, job, old_parts="left with us")
    invoice = shop.issue(job)
    assert invoice.document.mark
    assert shop.verify(invoice.document.mark).mark.startswith(f"The mark is that of invoice {invoice.number}")
    record = InvoiceIssued(**shop.store.invoice(invoice.number).body)
    value = invoice_value(shop.context, record, [shop.store.job(job)])
    assert str(value.gross) == invoice.document.total.replace(".", "").replace(",", ".")


def test_a_job_may_have_a_language_of_its_own(shop: Shop) -> None:
    job = begin(shop, language="en")
    assert (oil(shop, job).language, oil(shop, begin(shop)).language) == ("en", "de")
    with pytest.raises(VisitError, match='"xx" is no language'):
        begin(shop, language="xx")


def test_a_paper_with_a_text_that_has_no_translation_is_in_english_and_says_which(
    shop: Shop, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    # A system as one that came without German texts.
    monkeypatch.setattr(shop.context.plugins.systems["battery"], "folder", tmp_path)
    job = begin(shop)
    say(shop, job, requested={"operation": "battery.charge", "ground": "customer"})
    document = shop.estimate(job, "repair").document
    assert document.language == "en"
    missing = untranslated(shop.context, [shop.store.job(job)], document)
    assert any("harge" in text for text in missing)
    said = paper_language(shop.context, [job], document)
    assert said.startswith(
        f"The document is in English: {len(missing)} of its texts have no translation into 'de'"
    )
    assert main(["estimate", job, "--stage", "repair", "--shop", str(shop.context.folder)]) == 0
    assert said in capsys.readouterr().out


def test_a_shop_without_tax_says_why_in_its_own_words_and_exports_it(
    tmp_path: Path, moment: list[datetime]
) -> None:
    german_shop(tmp_path, moment).close()
    prices = tmp_path / "shop" / "prices.toml"
    lines = [line for line in prices.read_text("utf-8").splitlines() if not line.startswith("tax")]
    prices.write_text('tax = { none = "Kleinunternehmer." }\n' + "\n".join(lines), "utf-8")
    with Shop(tmp_path / "shop", now=lambda: moment[0]) as shop:
        job = begin(shop)
        oil(shop, job)
        say(shop, job, serviced={"work": "Ölwechsel"})
        say(shop, job, old_parts="left with us")
        invoice = shop.issue(job)
        assert "Es wird keine Steuer ausgewiesen: Kleinunternehmer." in str(invoice.document)
        record = InvoiceIssued(**shop.store.invoice(invoice.number).body)
        value = invoice_value(shop.context, record, [shop.store.job(job)])
        assert value.outside_tax == "Kleinunternehmer."


def test_an_unknown_language_is_refused(tmp_path: Path, moment: list[datetime]) -> None:
    assert languages() == ("en", "de")
    german_shop(tmp_path, moment).close()
    path = tmp_path / "shop" / SHOP_FILE
    path.write_text(path.read_text("utf-8").replace('language = "de"', 'language = "xx"'), "utf-8")
    with pytest.raises(DataFileError, match='"xx" is no language'):
        Shop(tmp_path / "shop")
    with pytest.raises(InputError, match="There is no language 'xx'"):
        catalogue("xx")


def test_a_catalogue_that_fills_in_something_else_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "de.toml"
    path.write_text('[texts]\n"Until {day}" = "Bis {amount}"\n"Net" = " "\n', "utf-8")
    with pytest.raises(DataFileError, match=r"(?s)Until.*fills in something else.*Net.*is empty"):
        read_catalogue(path)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("Paid, cash", "Bezahlt, bar"),
        ("Please pay until 5 Mar 2026.", "Bitte zahlen Sie bis 05.03.2026."),
        ("Tax 19 % on 1234.50", "Steuer 19 % auf 1.234,50"),
        ("Tax 8.5 % on -7.20", "Steuer 8,5 % auf -7,20"),
        ("number: F-1; condition: used; goodwill", "Nummer: F-1; Zustand: gebraucht; Kulanz"),
    ],
)
def test_a_text_is_put_together_from_its_parts(text: str, said: str) -> None:
    missing: dict[str, None] = {}
    assert catalogue("de").said(text, missing, {"f-1": "F-1"}) == said
    assert missing == {}


def test_what_is_missing_is_named_by_its_smallest_part() -> None:
    missing: dict[str, None] = {}
    assert catalogue("de").said("Paid, with shells", missing, {}) == "Paid, with shells"
    assert list(missing) == ["with shells"]


def test_english_papers_stay_what_they_are(shop: Shop) -> None:
    document = oil(shop, begin(shop, language="en"))
    assert in_language(document, "en").document is document
    assert attrs.evolve(document, language="en") == document
