"""From an empty folder to the first own paid invoice, on the screens alone."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pytest
from werkzeug.test import Client

from corekit.desk.setup import Answers, set_up
from corekit.desk.shop import Shop
from corekit.screens.app import NoAuth, first_run_app, work_app
from corekit.screens.context import Van

from .pages import Page

TOLD = {
    "name": "Me & Co",
    "address": "2 Lane\nTown",
    "contact": "000 1",
    "tax_id": "T-1",
    "tax_rate": "20",
    "currency": "eur",
    "per_hour": "60",
    "call_out": "25,00",
    "diagnosis": "35",
    "pays_by": "In cash, please.",
    "iban": "BE72 0000 0000 1616",
}


@pytest.fixture
def empty(tmp_path: Path) -> Path:
    return tmp_path / "new"


@pytest.fixture
def client(empty: Path) -> Iterator[Client]:
    with ExitStack() as stack:

        def opened() -> Any:
            shop = stack.enter_context(Shop(empty))
            return work_app(Van(shop.context), NoAuth())

        yield Client(first_run_app(empty, NoAuth(), opened))


def sent(client: Client, path: str, form: dict[str, str], status: int = 303) -> Any:
    reply = client.post(path, data=form)
    assert reply.status_code == status, reply.text[-800:]
    return reply


def test_the_first_invoice_is_paid_without_any_file_being_edited(client: Client, empty: Path) -> None:
    assert "Your shop" in client.get("/").text and not (empty / "shop.toml").exists()
    sent(client, "/", TOLD)
    assert "No open jobs" in client.get("/").text
    said = {"reason": "Oil change.", "vehicle.plate": "DEMO-1", "customer.name": "Somebody"}
    sent(client, "/job/aaaaaaaaaaaa/answer", {**said, "answer": "first-run-request-01"})
    job = "/job/aaaaaaaaaaaa"
    oil = {"work": "Oil change", "ground": "customer", "hours": "0.5", "keep": "book"}
    sent(client, f"{job}/own", {**oil, "answer": "first-run-request-02"})
    # by hand: (25.00 + 0.5 h × 60) × 1.20 = 66.00
    assert "66.00 EUR" in client.get(f"{job}/estimate").text
    take = {"may": "Oil change", "take": "Oil change", "call_out": "yes"}
    sent(client, f"{job}/estimate-of/repair", {**take, "answer": "first-run-request-03"})
    form = Page(client.get(f"{job}/estimate").text).form_of("how")
    sent(client, form.action, {**dict(form.fields), "how": "in person", "answer": "first-run-request-04"})
    form = Page(client.get(f"{job}/repair").text).form_of("step[0].serviced.work")
    sent(client, form.action, {**dict(form.fields), "answer": "first-run-request-05"})
    paid = {"step[0].paid.amount": "66.00", "step[0].paid.how": "cash"}
    sent(client, f"{job}/answer", {**paid, "answer": "first-run-request-06"})
    sent(client, f"{job}/issue", {"answer": "first-run-request-07"})
    page = client.get(f"{job}/hand").text
    assert "Invoice" in page and "Everything is paid" in page
    with Shop(empty) as shop:
        assert shop.store.verify() == []
        assert shop.context.settings.issuer.address == ("2 Lane", "Town")
        assert shop.context.settings.issuer.iban == "BE72000000001616"


@pytest.mark.parametrize(
    ("field", "text"),
    [
        ("name", ""),
        ("address", " "),
        ("currency", "euros"),
        ("tax_rate", "much"),
        ("per_hour", "-1"),
        ("iban", "BE71 0000 0000 1616"),
    ],
)
def test_what_is_wrong_stands_beside_its_field_and_nothing_is_written(
    client: Client, empty: Path, field: str, text: str
) -> None:
    reply = client.post(
        "/", data={**TOLD, field: text, "screen": "/"}, headers={"Accept": "application/json"}
    )
    assert reply.status_code == 422
    assert [fault["place"] for fault in reply.json["faults"]] == [field]
    assert not (empty / "shop.toml").exists() and not (empty / "journal.sqlite").exists()
    page = client.post("/", data={**TOLD, field: text, "screen": "/"}).text
    assert 'value="T-1"' in page, "what was typed comes back"


def test_what_the_shop_says_of_itself_is_changed_on_the_same_screen(tmp_path: Path) -> None:
    folder = tmp_path / "s"
    set_up(folder, Answers(name="Old Name", address=("A",), currency="EUR"))
    with Shop(folder) as shop:
        client = work_app(Van(shop.context), NoAuth()).test_client()
        assert 'value="Old Name"' in client.get("/shop").text
        said = {"name": "New Name", "per_hour": "70", "guard": ""}
        assert client.post("/shop", data=said).status_code == 303
        assert "New Name" in client.get("/").text
        assert 'value="70"' in client.get("/shop").text
        reply = client.post("/shop", data={"iban": "x"}, headers={"Accept": "application/json"})
        assert [fault["place"] for fault in reply.json["faults"]] == ["iban"]
        text = (folder / "shop.toml").read_text("utf-8")
        assert "# as invoices print it" not in text or "New Name" in text
        assert text.count("\n") > 20, "everything else stays"
