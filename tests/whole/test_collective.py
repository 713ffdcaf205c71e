"""One invoice over several vehicles of one customer, from the visits to the paper, the page, the payment and
forgetting.

Sums are worked out by hand with EN 16931-1's rules (BR-CO-10: lines rounded each; BR-CO-17: tax per rate on
the document, rounded half up; BT-114: rounding amount); prices and rate are those of `fleet.PRICES`,
invented.
"""

from __future__ import annotations

import json
import shutil
from itertools import permutations
from pathlib import Path
from typing import Any

import pytest

from corekit.billing.errors import ConsentError
from corekit.billing.payment import PaymentError
from corekit.desk.errors import DeskError
from corekit.desk.issuing import Page, invoice_draft
from corekit.desk.jobs import billed_with, job_named, names_in_books, texts_of
from corekit.desk.payments import due, payments_of
from corekit.model.document import Code
from corekit.model.entry import jobs_of
from corekit.model.money import Money
from corekit.report.page import render_page
from corekit.report.personal_text import mask
from corekit.share.published import PublishError, publish_to
from corekit.store.transaction import Transaction

from .chain import corekit, done, pages_of, paper_text, refused, squeezed
from .fleet import CUSTOMER, Fleet

# Van 1: call-out 20.01, diagnosis 30.02, 0.35 h × 61.70 = 21.595 → 21.60, part 4.55: net 76.18. Alone 19 %:
# 14.4742 → 14.47; 90.65. Van 2: call-out 20.01, diagnosis 30.02, 0.4 h × 61.70 = 24.68: net 74.71. Alone 19
# %: 14.1949 → 14.19; 88.90. Together: net 150.89, tax 28.6691 → 28.67, gross 179.56; apart 179.55, so the
# rounding amount is -0.01.
NET_1, NET_2, NET, TAX, TOTAL = "76.18", "74.71", "150.89", "28.67", 17955
VAN_1: dict[str, Any] = {
    "description": "panel van, white",
    "plate": "XX 1",
    "work": ("battery.clean_contacts",),
}
VAN_2: dict[str, Any] = {"description": "pick-up, grey", "plate": "XX 2", "work": ("battery.charge",)}


@pytest.fixture(scope="module")
def visited(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A shop with the visits to two vans of one customer and to one of another, all done and none billed.

    Do not write into it.
    """
    fleet = Fleet.of(tmp_path_factory.mktemp("fleet") / "shop")
    fleet.visited("van-1", **VAN_1)
    fleet.visited("van-2", **VAN_2)
    fleet.visited("van-3", description="estate car, blue", plate="XX 3")
    fleet.visited(
        "other",
        description="hatchback, red",
        plate="YY 1",
        customer=CUSTOMER | {"address": "10 Made-up Road, Sampleton"},
    )
    return fleet.folder


@pytest.fixture
def fleet(visited: Path, tmp_path: Path) -> Fleet:
    for file in visited.parent.glob("*.json"):
        shutil.copy(file, tmp_path)
    return Fleet(Path(shutil.copytree(visited, tmp_path / "shop")))


def euros(minor: int) -> Money:
    return Money(minor, "EUR")


def words(pdf: Path) -> str:
    return " ".join(paper_text(pdf).split())


def after(text: str, *parts: str) -> None:
    """Each part stands in the text, after the one before it."""
    at = 0
    for part in parts:
        found = text.find(part, at)
        assert found >= 0, f"{part!r} does not stand after {text[max(0, at - 60) : at]!r}"
        at = found + len(part)


def test_the_paper_tells_of_each_vehicle_and_adds_up_all_of_it(fleet: Fleet) -> None:
    with fleet.open() as shop:
        invoice = shop.issue_together(["van-1", "van-2"])
        assert invoice.due == euros(TOTAL)
        assert invoice.document.total == "179.55"
    said = words(invoice.pdf)
    after(
        said,
        f"Invoice {invoice.number}",
        CUSTOMER["name"],
        CUSTOMER["address"],
        "panel van, white, XX 1",
        "pick-up, grey, XX 2",
        "Complaint about van-1.",
        "Complaint about van-2.",
        "Vehicle 1: ",
        "Vehicle 2: ",
        "21.60",
        "4.55",
        "24.68",
        "Guarantee",
        f"Net {NET}",
        f"Tax 19 % on {NET} {TAX}",
        "Rounding, to the approved total −0.01",
        "Total 179.55",
        "Still to pay 179.55",
        "Record mark",
        "How we know",
        "Vehicle 1",
        "12.78 V",
        "Result of the repair",
        f"Net, vehicle 1 {NET_1}",
        "Vehicle 2",
        "12.78 V",
        "Result of the repair",
        f"Net, vehicle 2 {NET_2}",
    )
    for approved in ("59.54 EUR, approved by the customer, by message", "31.12 EUR", "29.37 EUR"):
        assert approved in said
    assert said.count("Rule: pass when") == 1, "how readings are judged is said once"
    assert "1 of 3" in said or "1 of 2" in said, "two vehicles fit two to three pages"


@pytest.mark.parametrize("order", list(permutations(["van-1", "van-2", "van-3"])))
def test_the_order_in_which_jobs_are_named_changes_no_sum(fleet: Fleet, order: tuple[str, ...]) -> None:
    # Van 3 alone: net 50.03, tax 9.5057 → 9.51, 59.54. Together: net 200.92, tax 38.1748 → 38.17, gross
    # 239.09; apart 179.55 + 59.54 = 239.09.
    with fleet.open() as shop:
        invoice = shop.issue_together(order)
        assert invoice.due == euros(23909)
        assert [shop.store.job(job).name for job in invoice.jobs] == list(order)


def test_all_jobs_have_the_one_number_and_asking_again_gives_the_same_invoice(fleet: Fleet) -> None:
    with fleet.open() as shop:
        first = shop.issue_together(["van-1", "van-2"])
        before = first.pdf.read_bytes()
        (entry,) = [entry for entry in shop.store.books() if entry.kind == "invoice"]
        for name in ("van-1", "van-2"):
            issued = shop.store.job(shop.store.find(name)).issued
            assert [
                (one.record.number, one.record.document_hash, one.record.books_entry) for one in issued
            ] == [(first.number, entry.body["document_hash"], entry.id)]
            again = shop.issue(name)
            assert (again.number, again.due, again.jobs) == (first.number, first.due, first.jobs)
            assert again.pdf.read_bytes() == before
        assert shop.issue_together(["van-2", "van-1"]).number == first.number
        assert jobs_of(entry) == first.jobs
        assert names_in_books(shop.context, entry) == "van-1, van-2"
        assert sum(entry.kind == "invoice" for entry in shop.store.books()) == 1
        assert shop.store.verify() == []


def test_an_answer_sent_twice_issues_once_and_another_under_its_id_is_refused(fleet: Fleet) -> None:
    with fleet.open() as shop:
        first = shop.issue_together(["van-1", "van-2"], request_id="answer-0123456789")
        assert shop.issue_together(["van-1", "van-2"], request_id="answer-0123456789").number == first.number
        with pytest.raises(Exception, match="given before and said something else"):
            shop.issue_together(["van-1", "van-3"], request_id="answer-0123456789")
        assert sum(entry.kind == "invoice" for entry in shop.store.books()) == 1
        assert shop.store.verify() == []


def entries(fleet: Fleet) -> int:
    with fleet.open() as shop:
        return sum(len(shop.store.journal(job)) for job in shop.store.jobs()) + len(shop.store.books())


@pytest.mark.parametrize(
    ("jobs", "kind", "text"),
    [
        (
            ["van-1", "other"],
            DeskError,
            (
                r"^The customer's address differs: '9 Made-up Road, Sampleton' in van-1, '10 Made-up Road,"
                r" Sampleton' in other\. Nothing was issued"
            ),
        ),
        (["van-1", "van-1"], DeskError, r"^van-1 is named twice\. Nothing was issued"),
        (["van-1", "nobody"], Exception, r"^No job fits 'nobody'"),
        ([], DeskError, r"^An invoice is over at least one job"),
    ],
)
def test_jobs_that_do_not_belong_together_are_refused_in_one_sentence(
    fleet: Fleet, jobs: list[str], kind: type[Exception], text: str
) -> None:
    before = entries(fleet)
    with fleet.open() as shop, pytest.raises(kind, match=text):
        shop.issue_together(jobs)
    assert entries(fleet) == before


@pytest.mark.parametrize(
    ("customer", "text"),
    [
        (
            CUSTOMER | {"name": "Somebody Else"},
            r"The customer's name differs: 'Invented Deliveries' in van-1, 'Somebody Else' in more",
        ),
        ({"name": CUSTOMER["name"]}, r"address differs: '9 Made-up Road, Sampleton' in van-1, none in more"),
        ({"phone": "000 0009"}, r"more names no customer"),
    ],
)
def test_another_customer_is_named_with_the_difference(
    fleet: Fleet, customer: dict[str, str], text: str
) -> None:
    fleet.visited("more", description="lorry", plate="XX 9", customer=customer)
    with fleet.open() as shop, pytest.raises(DeskError, match=text):
        shop.issue_together(["van-1", "more"])


def test_another_phone_is_still_the_same_customer(fleet: Fleet) -> None:
    fleet.visited("more", description="lorry", plate="XX 9", customer=CUSTOMER | {"phone": "000 0010"})
    with fleet.open() as shop:
        assert shop.issue_together(["van-1", "more"]).number


def test_a_job_that_is_on_an_invoice_already_joins_no_other(fleet: Fleet) -> None:
    with fleet.open() as shop:
        number = shop.issue("van-1").number
        with pytest.raises(DeskError, match=f"van-1 is on invoice {number} already"):
            shop.issue_together(["van-1", "van-2"])
        both = shop.issue_together(["van-2", "van-3"]).number
        for jobs in (["van-2", "van-1"], ["van-2", "van-3", "van-1"], ["other", "van-3"]):
            with pytest.raises(DeskError, match=f"is on invoice {both} already"):
                shop.issue_together(jobs)
        assert not shop.store.job(shop.store.find("other")).issued


def test_a_draft_over_several_jobs_comes_to_what_is_issued_and_keeps_nothing(fleet: Fleet) -> None:
    before = entries(fleet)
    with fleet.open() as shop:
        draft = invoice_draft(shop.context, *(job_named(shop.context, name) for name in ["van-1", "van-2"]))
        assert (draft.document.draft, draft.document.number, draft.due) == (True, "", euros(TOTAL))
    assert entries(fleet) == before
    with fleet.open() as shop:
        number = shop.issue_together(["van-1", "van-2"]).number
        with pytest.raises(DeskError, match=f"Invoice {number} is over these jobs already"):
            invoice_draft(shop.context, *(job_named(shop.context, name) for name in ["van-2", "van-1"]))


def test_whoever_shows_the_paper_gets_the_words_of_all_its_jobs_and_of_no_other(fleet: Fleet) -> None:
    with fleet.open() as shop:
        shop.issue_together(["van-1", "van-2"])
        for name in ("van-1", "van-2"):
            assert {"XX 1", "XX 2"} <= set(
                texts_of(shop.context, *billed_with(shop.context, job_named(shop.context, name))).values()
            )
        assert {"XX 1", "XX 2"}.isdisjoint(
            texts_of(shop.context, *billed_with(shop.context, job_named(shop.context, "van-3"))).values()
        )
        assert "XX 2" not in texts_of(shop.context, shop.store.job(shop.store.find("van-1"))).values()


def test_a_job_of_which_there_is_nothing_to_invoice_is_refused(fleet: Fleet) -> None:
    with fleet.open() as shop:
        rows = json.loads((fleet.folder.parent / "van-3.json").read_text("utf-8")) | {"job": "just-begun"}
        fleet.added(shop, rows)
        with pytest.raises(
            ConsentError,
            match=r"^Nothing in just-begun was both approved and done, .*\. Nothing was issued\.$",
        ):
            shop.issue_together(["van-1", "just-begun"])
        assert not shop.store.job(shop.store.find("van-1")).issued


def test_a_job_that_cannot_keep_to_its_approval_is_named(fleet: Fleet) -> None:
    prices = (fleet.folder / "prices.toml").read_text("utf-8")
    (fleet.folder / "prices.toml").write_text(prices.replace('"19"', '"21"'), "utf-8")
    text = (  # 1.21 × 76.18 = 92.1778
        r"^van-1: The invoice comes to 92\.18 EUR, but 90\.66 was approved\. .* Nothing was issued\.$"
    )
    with fleet.open() as shop, pytest.raises(ConsentError, match=text):
        shop.issue_together(["van-1", "van-2"])
    with fleet.open() as shop:
        assert shop.store.books() == []


def test_when_it_fails_in_the_middle_no_job_is_issued_and_no_number_is_taken(
    fleet: Fleet, monkeypatch: pytest.MonkeyPatch
) -> None:
    with fleet.open() as shop:
        append_to, jobs = Transaction._append_to, []

        def fails_at_the_second(transaction: Transaction, job: str, *what: Any) -> Any:
            jobs.append(job)
            if len(jobs) == 2:
                raise OSError("the power went")
            return append_to(transaction, job, *what)

        monkeypatch.setattr(Transaction, "_append_to", fails_at_the_second)
        with pytest.raises(OSError, match="the power went"):
            shop.issue_together(["van-1", "van-2"])
        monkeypatch.undo()
        assert len(jobs) == 2
        assert not any(shop.store.job(job).issued for job in shop.store.jobs())
        assert shop.store.books() == []
        assert shop.issue_together(["van-1", "van-2"]).number.endswith("A0001")


def test_what_is_paid_for_any_of_the_jobs_is_paid_for_the_invoice(fleet: Fleet) -> None:
    with fleet.open() as shop:
        shop.pay("van-1", euros(1000), "card")
        invoice = shop.issue_together(["van-1", "van-2"])
        assert "Paid, vehicle 1, card −10.00" in words(invoice.pdf)
        assert shop.pay("van-2", euros(10000), "bank transfer") == euros(TOTAL - 11000)
        for name in ("van-1", "van-2"):
            assert (
                due(shop.context, job_named(shop.context, name))
                == shop.issue(name).due
                == euros(TOTAL - 11000)
            )
            assert [
                (str(one.amount), one.how)
                for one in payments_of(shop.context, billed_with(shop.context, job_named(shop.context, name)))
            ] == [
                ("10.00", "card"),
                ("100.00", "bank transfer"),
            ]
        with pytest.raises(PaymentError, match=r"Only 69\.55 EUR is due"):
            shop.pay("van-1", euros(7000), "cash")
        receipt = shop.receipt("van-2")
        said = words(receipt.pdf)
        after(
            said,
            f"Receipt, invoice {invoice.number}",
            "for 2 vehicles",
            "Received 100.00 EUR, bank",
            "Still to pay: 69.55 EUR",
            "179.55",
            "Paid before, card −10.00",
        )
        assert shop.receipt("van-1").document == receipt.document, (
            "the last payment of the invoice, whichever job is named"
        )
        assert shop.pay("van-1", euros(6955), "cash") == euros(0)
        assert shop.store.verify() == []


def test_a_payment_in_the_file_of_one_job_is_held_against_the_whole_invoice(fleet: Fleet) -> None:
    with fleet.open() as shop:
        shop.issue_together(["van-1", "van-2"])
        shop.pay("van-2", euros(17000), "bank")
        rows = json.loads((fleet.folder.parent / "van-1.json").read_text("utf-8"))
        rows["step"].append({"paid": {"amount": "9.56", "how": "cash"}})
        with pytest.raises(
            PaymentError,
            match=r"Only 9\.55 EUR is due, and 9\.56 was given",
        ):
            fleet.added(shop, rows)
        rows["step"][-1]["paid"]["amount"] = "9.55"
        fleet.added(shop, rows)
        assert due(shop.context, job_named(shop.context, "van-2")) == euros(0)


def test_publishing_goes_on_where_it_stopped_and_sends_each_page_once(
    fleet: Fleet, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("corekit.share.reader.asked", pages_of(fleet.folder))
    sent: list[str] = []

    def broken(target: Path, name: str, envelope: bytes, bearer: str | None) -> str:
        sent.append(name)
        if len(sent) == 2:
            raise PublishError("the network is gone", later=True)
        return publish_to(target, name, envelope, bearer)

    with fleet.open() as shop:
        numbers = [shop.issue(job).number for job in ("van-1", "van-2")]
        monkeypatch.setattr("corekit.share.published.publish_to", broken)
        with pytest.raises(PublishError, match="the network is gone"):
            shop.publish()
        assert shop.publish() == numbers[1:]
        assert shop.publish() == []
    assert len(sent) == 3
    assert len(list((fleet.folder / "published").glob("*.json"))) == 2


def test_the_page_shows_the_masked_paper_once_and_goes_down_for_all(
    fleet: Fleet, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("corekit.share.reader.asked", pages_of(fleet.folder))
    with fleet.open() as shop:
        first = shop.issue_together(["van-1", "van-2"])
        assert first.page is Page.WAITS
        assert shop.publish("van-2") == [first.number]
        assert shop.publish() == []
        (published,) = (fleet.folder / "published").glob("*.json")
        shown = render_page(first.document, mask, first.link)
        for text in (published.read_text("utf-8"), shown):
            for person in (
                *CUSTOMER.values(),
                "panel van, white",
                "pick-up, grey",
                "XX 1",
                "XX 2",
                "Complaint about",
            ):
                assert person not in text
        for part in ("Vehicle 1", "Vehicle 2", NET_1, NET_2, "179.55"):
            assert part in shown
        assert {shop.issue(name).page for name in ("van-1", "van-2")} == {Page.OPEN}
        shop.withdraw(first.number)
        assert {shop.issue(name).page for name in ("van-1", "van-2")} == {Page.DOWN}
        assert shop.store.verify() == []


def test_forgetting_one_job_leaves_the_persons_of_the_other_on_the_paper(fleet: Fleet) -> None:
    with fleet.open() as shop:
        invoice = shop.issue_together(["van-1", "van-2"])
        second = shop.store.find("van-2")
        shop.forget("van-2", because="the customer asked for it")
        assert not invoice.pdf.exists(), "the paper with the forgotten words stayed here"
        said = words(shop.issue("van-1").pdf)
        for gone in ("XX 2", "pick-up, grey", "Complaint about van-2."):
            assert gone not in said
        for kept in ("XX 1", "panel van, white", "Complaint about van-1.", CUSTOMER["name"]):
            assert kept in said
        assert "(plate removed)" in said
        assert shop.store.verify() == []
        shop.forget("van-1", because="the customer asked for it")
        assert CUSTOMER["name"] not in words(shop.issue(second).pdf)
        assert shop.store.verify() == []


def test_the_record_mark_is_over_all_of_it(fleet: Fleet) -> None:
    with fleet.open() as shop:
        invoice = shop.issue_together(["van-1", "van-2"])
        (mark,) = [block.record_mark for block in invoice.document.blocks if isinstance(block, Code)]
    assert (
        f"that of invoice {invoice.number}" in done(corekit("verify", "--mark", mark, shop=fleet.folder)).out
    )


def test_the_command_takes_several_jobs_and_says_one_invoice(fleet: Fleet) -> None:
    refused(corekit("invoice", "van-1", "van-2", shop=fleet.folder, answer="n\n"), "no number was taken")
    asked = corekit("invoice", "van-1", "van-2", shop=fleet.folder, answer="y\n")
    assert "Issue one invoice over van-1 and van-2?" in done(asked).words
    assert "due 179.55 EUR" in asked.out
    again = done(corekit("invoice", "van-2", shop=fleet.folder))
    assert again.out.splitlines()[-3:] == asked.out.splitlines()[-3:]
    refused(corekit("invoice", "van-1", "van-3", "--yes", shop=fleet.folder), "is on invoice")


def test_several_jobs_of_one_paper_are_as_long_as_they_are(fleet: Fleet) -> None:
    """Ten vehicles on one invoice: every line and every vehicle is on the paper."""
    names = ["van-1", "van-2", "van-3", *(f"more-{nth}" for nth in range(7))]
    for nth, name in enumerate(names[3:]):
        fleet.visited(name, description=f"trailer {nth}", plate=f"ZZ {nth}")
    with fleet.open() as shop:
        invoice = shop.issue_together(names)
    # 200.92 + 7 × 50.03 = 551.13; 19 % is 104.7147, so 104.71: 655.84. Apart 239.09 + 7 × 59.54 = 655.87, so
    # nothing is rounded.
    assert invoice.due == euros(65584)
    text = squeezed(paper_text(invoice.pdf))
    assert all(f"Vehicle{nth}" in text and f"Net,vehicle{nth}" in text for nth in range(1, 11))


def test_the_customers_order_number_stands_once_where_it_is_of_all_vehicles(fleet: Fleet) -> None:
    for name in ("o-1", "o-2"):
        fleet.visited(
            name, description="van", plate=f"OO {name}", customer=CUSTOMER | {"order_number": "PO-4711"}
        )
    with fleet.open() as shop:
        invoice = shop.issue_together(["o-1", "o-2"])
        assert words(invoice.pdf).count("Your order number PO-4711") == 1
        assert "PO-4711" not in str(invoice.document), "an order number may name a person"


def test_each_vehicle_has_its_own_order_number_where_they_differ(fleet: Fleet) -> None:
    for name, order in (("p-1", "PO-1"), ("p-2", "PO-2"), ("p-3", "")):
        customer = CUSTOMER | ({"order_number": order} if order else {})
        fleet.visited(name, description="van", plate=f"PP {name}", customer=customer)
    with fleet.open() as shop:
        said = words(shop.issue_together(["p-1", "p-2", "p-3"]).pdf)
    after(said, "Your order number, vehicle 1 PO-1", "Your order number, vehicle 2 PO-2")
    assert "Your order number, vehicle 3" not in said
