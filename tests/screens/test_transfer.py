"""A bank transfer: the code that fills it in, announced until it is there, and paid in parts."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from corekit.desk.shop import Shop
from corekit.model.document import from_data
from corekit.screens.app import NoAuth, work_app
from corekit.screens.context import Van

from ..desk.visits_by_answer import VISIT, by_file, demo_shop

zxing = pytest.importorskip("zxingcpp")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    with demo_shop(tmp_path / "shop") as made:
        folder = made.context.folder
    path = folder / "shop.toml"
    path.write_text(f'iban = "BE72 0000 0000 1616"\n{path.read_text("utf-8")}', "utf-8")
    return folder


@pytest.fixture
def shop(folder: Path) -> Iterator[Shop]:
    with Shop(folder) as made:
        yield made


@pytest.fixture
def client(shop: Shop) -> Any:
    return work_app(Van(shop.context), NoAuth()).test_client()


@pytest.fixture
def unpaid(shop: Shop) -> str:
    text = VISIT.read_text("utf-8")
    head, mark, rest = text.partition("[[step]]\npaid")
    assert mark, "the demo's visit is paid in a step of its own"
    after = rest.partition("[[step]]")
    file = shop.context.folder / "unpaid.toml"
    file.write_text(head + after[1] + after[2], "utf-8")
    return by_file(shop, file)


def test_the_invoice_carries_the_code_of_its_transfer_on_paper_and_screen(
    client: Any, shop: Shop, unpaid: str
) -> None:
    invoice = shop.issue(unpaid)
    document = from_data(shop.store.invoice(invoice.number).body["document"])
    lines = document.transfer.splitlines()
    euros = f"{invoice.due.amount.normalize():f}"
    # EPC069-12: version 002 without the bank's code, then the name, the account, the amount, the words
    assert lines[:5] == ["BCD", "002", "1", "SCT", ""]
    assert lines[6:8] == ["BE72000000001616", f"EUR{euros}"] and lines[-1] == invoice.number
    page = client.get(f"/job/{unpaid}/hand").text
    assert "Code for a bank transfer" in page and "BE72 0000 0000 1616" in page
    pypdfium2 = pytest.importorskip("pypdfium2")
    image = pypdfium2.PdfDocument(invoice.pdf.read_bytes())[0].render(scale=4).to_pil()
    assert document.transfer in [found.text for found in zxing.read_barcodes(image)]


def test_what_is_announced_is_not_paid_until_it_has_arrived(client: Any, shop: Shop, unpaid: str) -> None:
    due = shop.issue(unpaid).due
    said = {"step[0].announced.amount": str(due), "step[0].announced.how": "bank transfer"}
    reply = client.post(f"/job/{unpaid}/answer", data={**said, "answer": "an-announced-transfer-1"})
    assert reply.status_code == 303
    page = client.get(f"/job/{unpaid}/hand").text
    assert f"Announced: {due} EUR, bank transfer" in page and f"Still to pay: {due}" in page
    (announced,) = shop.store.job(unpaid).announced
    path = f"/job/{unpaid}/arrived/{announced.id}"
    for _ in range(2):  # sent twice it counts once
        assert client.post(path, data={"answer": "an-announced-transfer-2"}).status_code == 303
    page = client.get(f"/job/{unpaid}/hand").text
    assert "Announced" not in page and "Everything is paid" in page
    assert len(shop.store.job(unpaid).payments) == 1 and not shop.store.job(unpaid).announced
    assert shop.store.verify() == []


def test_after_a_part_payment_the_code_asks_for_the_rest(client: Any, shop: Shop, unpaid: str) -> None:
    from corekit.desk.issuing import invoice_of, transfer_of
    from corekit.model.money import Money

    due = shop.issue(unpaid).due
    left = shop.pay(unpaid, Money(1000, "EUR"), "cash")
    assert left == due - Money(1000, "EUR")
    invoice = invoice_of(shop.context, shop.store.job(unpaid))
    assert f"EUR{left.amount.normalize():f}" in transfer_of(shop.context, invoice.number, invoice.due)
    assert f"{left} EUR" in client.get(f"/job/{unpaid}/hand").text


def test_a_paid_invoice_and_a_shop_without_an_account_carry_no_such_code(tmp_path: Path, shop: Shop) -> None:
    paid = shop.issue(by_file(shop, VISIT))
    assert not from_data(shop.store.invoice(paid.number).body["document"]).transfer or paid.due.minor > 0


@pytest.mark.parametrize("iban", ["BE71 0000 0000 1616", "1616"])
def test_a_slip_in_the_account_number_is_named_when_the_shop_is_opened(folder: Path, iban: str) -> None:
    from corekit.fault import DataFileError

    path = folder / "shop.toml"
    path.write_text(path.read_text("utf-8").replace("BE72 0000 0000 1616", iban), "utf-8")
    with pytest.raises(DataFileError, match="iban"):
        Shop(folder)
