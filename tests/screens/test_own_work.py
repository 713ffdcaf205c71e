"""A day of a mobile mechanic: an oil change, wipers, a bulb. Named, priced, approved, done and invoiced."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from corekit.desk.shop import Shop
from corekit.model.document import Account, from_data
from corekit.screens.app import NoAuth, work_app
from corekit.screens.context import Van

from ..desk.visits_by_answer import answered, demo_shop
from .pages import Page

OIL = {
    "work": "Oil change",
    "ground": "scheduled",
    "hours": "0,5",
    "parts[0].name": "Engine oil",
    "parts[0].price": "9.80",
    "parts[0].quantity": "4",
    "parts[0].number": "OIL-5W30",
    "parts[0].condition": "new",
}


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    with demo_shop(tmp_path / "shop") as made:
        yield made


@pytest.fixture
def client(shop: Shop) -> Any:
    return work_app(Van(shop.context), NoAuth()).test_client()


@pytest.fixture
def job(shop: Shop) -> str:
    said = {"reason": "Oil change, please.", "vehicle": {"plate": "DEMO-1"}}
    return answered(shop, None, 1, said).job


def sent(client: Any, path: str, form: dict[str, Any], n: int, status: int = 303) -> Any:
    reply = client.post(path, data={**form, "answer": f"own-work-request-{n:04}"})
    assert reply.status_code == status, reply.text[-600:]
    return reply


def book_of(shop: Shop) -> dict[str, Any]:
    return tomllib.loads((shop.context.folder / "prices.toml").read_text("utf-8"))["operations"]


def test_an_oil_change_is_priced_approved_done_and_invoiced_without_a_diagnosis(
    client: Any, shop: Shop, job: str
) -> None:
    sent(client, f"/job/{job}/own", {**OIL, "keep": "job"}, 1)
    assert "Oil change" not in book_of(shop), "for this job alone"
    page = client.get(f"/job/{job}", follow_redirects=True).text
    # by hand, demo/shop/prices.toml: (20.00 call-out + 0.5 h × 62.50 + 4 × 9.80) × 1.20 = 108.54
    assert "108.54 EUR" in page and "Call-out" in page
    estimating = {"may": "Oil change", "take": "Oil change", "call_out": "yes"}
    sent(client, f"/job/{job}/estimate-of/repair", estimating, 2)
    asking = Page(client.get(f"/job/{job}/estimate").text)
    form = asking.form_of("how")
    sent(client, form.action, {**dict(form.fields), "how": "in person"}, 3)
    page = Page(client.get(f"/job/{job}", follow_redirects=True).text)
    assert "Oil change" in page.text and "The new part" not in page.text
    done = page.form_of("step[0].serviced.work")
    sent(client, done.action, dict(done.fields), 4)
    record = shop.store.job(job)
    assert record.stage == 0, "no reading rests on it, so no stage follows"
    assert record.approval.done == ("Oil change",) and not record.approval.open
    assert "Hand over" in client.get(f"/job/{job}", follow_redirects=True).text
    invoice = shop.issue(job)
    assert str(invoice.due) == "108.54"
    (table,) = [block for block in invoice.document.blocks if isinstance(block, Account)]
    row = next(row for row in table.rows if row.what == "Oil change")
    assert row.state == "done" and row.cause == "It was due."
    assert not any("not looked at" in row.state for row in table.rows), "the wish was answered"
    body = shop.store.job(job).estimates[-1].record
    assert any(line["number"] == "OIL-5W30" for line in body.lines if line["kind"] == "part")
    assert from_data(body.document) is not None


def test_own_work_in_the_book_is_one_tap_in_the_next_job(client: Any, shop: Shop, job: str) -> None:
    sent(client, f"/job/{job}/own", {**OIL, "keep": "book"}, 1)
    kept = book_of(shop)["Oil change"]
    assert kept["hours"] == "0.5"
    assert kept["parts"] == [
        {
            "name": "Engine oil",
            "price": "9.80",
            "quantity": "4",
            "condition": "new",
            "number": "OIL-5W30",
        }
    ]
    other = answered(shop, None, 2, {"reason": "Service.", "vehicle": {"plate": "DEMO-2"}}).job
    page = client.get(f"/job/{other}/requested").text
    assert 'value="Oil change"' in page
    wish = {"step[0].requested.operation": "oil  change", "step[0].requested.ground": "customer"}
    sent(client, f"/job/{other}/answer", {**wish, "step[0].requested.operation": "Oil change"}, 3)
    assert "108.54 EUR" in client.get(f"/job/{other}/estimate").text


def test_own_work_on_ones_own_judgement_needs_a_reason_and_keeps_nothing_without(
    client: Any, shop: Shop, job: str
) -> None:
    form = {**OIL, "ground": "judgement", "keep": "book"}
    page = sent(client, f"/job/{job}/own", {**form, "screen": f"/job/{job}/own"}, 1, 422).text
    assert "reason" in page and "step[0]" not in page
    assert "Oil change" not in book_of(shop) and not shop.store.job(job).requested


@pytest.mark.parametrize(
    ("field", "text"),
    [
        ("hours", "half"),
        ("parts[0].price", "-1"),
        ("parts[0].quantity", "0"),
        ("work", "battery.replace"),
        ("work", ""),
        ("ground", "because"),
    ],
)
def test_what_is_wrong_stands_beside_its_field(
    client: Any, shop: Shop, job: str, field: str, text: str
) -> None:
    form = {**OIL, field: text, "keep": "job"}
    reply = client.post(
        f"/job/{job}/own",
        data={**form, "answer": "own-work-request-0001"},
        headers={"Accept": "application/json"},
    )
    assert reply.status_code == 422
    assert {fault["place"] for fault in reply.json["faults"]} == {field}
    assert not shop.store.job(job).requested and not shop.store.job(job).priced


def test_a_price_for_one_job_alone_leaves_the_book_and_other_jobs_as_they_are(
    client: Any, shop: Shop, job: str
) -> None:
    wish = {"step": [{"requested": {"operation": "egr.clean", "ground": "customer"}}]}
    answered(shop, job, 2, wish)
    before = book_of(shop)
    price = {"hours": "2", "parts[0].name": "Gasket", "parts[0].price": "8,40", "parts[0].condition": "used"}
    sent(client, f"/job/{job}/price/egr.clean", {**price, "keep": "job"}, 3)
    # by hand: (2 h × 62.50 + 8.40) × 1.20 = 160.08, and in the book (1.2 h × 62.50 + 6.50) × 1.20 = 97.80
    assert "160.08 EUR" in client.get(f"/job/{job}/estimate").text
    assert book_of(shop) == before
    other = answered(shop, None, 4, {"reason": "It smells.", "vehicle": {"plate": "DEMO-2"}}).job
    answered(shop, other, 5, wish)
    assert "97.80 EUR" in client.get(f"/job/{other}/estimate").text


def test_a_part_that_the_customer_brings_costs_nothing(client: Any, shop: Shop, job: str) -> None:
    form = {**OIL, "parts[0].condition": "customer's own", "keep": "job"}
    reply = client.post(
        f"/job/{job}/own",
        data={**form, "answer": "own-work-request-0001"},
        headers={"Accept": "application/json"},
    )
    assert {fault["place"] for fault in reply.json["faults"]} == {"parts[0].price"}


def test_a_visit_file_says_the_same(shop: Shop, tmp_path: Path) -> None:
    visit = tmp_path / "service.toml"
    visit.write_text(
        'job = "service"\ndemo = true\nreason = "Oil change."\n'
        'vehicle = { plate = "DEMO-1" }\ncustomer = { name = "Nobody" }\n'
        '[[step]]\nrequested = { work = "Oil change", ground = "customer" }\n'
        'priced = { operation = "Oil change", hours = "0.5" }\n'
        '[[step]]\nserviced = { work = "Oil change" }\n',
        "utf-8",
    )
    record = shop.store.job(shop.import_visit(visit))
    assert record.works_done == ("Oil change",) and record.stage == 0
    assert record.priced["Oil change"].hours == "0.5"


def test_own_work_that_nobody_asked_for_is_named_with_the_cure(shop: Shop, job: str) -> None:
    from corekit.intake.fault import VisitError

    with pytest.raises(VisitError, match="an earlier step"):
        answered(shop, job, 2, {"step": [{"serviced": {"work": "Wiper blades"}}]})
    with pytest.raises(VisitError, match="operation of a system"):
        answered(shop, job, 3, {"step": [{"serviced": {"work": "battery.replace"}}]})
