"""Prices at the kerb: what needs one is asked in fields; a book changed beside the screens holds at once."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from corekit.desk.errors import DeskError, VisitError
from corekit.desk.pricing import CurrentPrices, TypedPart, write_price
from corekit.desk.shop import Shop
from corekit.screens.app import NoAuth, work_app
from corekit.screens.context import Van

from ..desk.visits_by_answer import answered, demo_shop
from .pages import Page

HOSES = "egr.replace_sensing_hoses"


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    with demo_shop(tmp_path / "shop") as made:
        yield made


@pytest.fixture
def client(shop: Shop) -> Any:
    return work_app(Van(shop.context), NoAuth()).test_client()


def asked_for(shop: Shop, key: str) -> str:
    wish = {"operation": key, "ground": "customer"}
    job = answered(shop, None, 1, {"reason": "It smells.", "vehicle": {"plate": "DEMO-1"}}).job
    return answered(shop, job, 2, {"step": [{"requested": wish}]}).job


def test_work_without_a_price_is_priced_in_fields_and_goes_on_the_estimate(client: Any, shop: Shop) -> None:
    job = asked_for(shop, HOSES)
    page = client.get(f"/job/{job}/estimate").text
    assert "Needs a price" in page and "toml" not in page and "operations." not in page
    form = {"hours": "0,5", "parts[0].name": "Hose, 5 mm", "parts[0].price": "4.20", "parts[0].quantity": "2"}
    reply = client.post(f"/job/{job}/price/{HOSES}", data={**form, "answer": "a-price-for-the-hoses-1"})
    assert (reply.status_code, reply.headers["Location"]) == (303, f"/job/{job}/estimate")
    # by hand, demo/shop/prices.toml: (0.5 h × 62.50 + 2 × 4.20) × 1.20 = 47.58
    assert "47.58 EUR" in client.get(f"/job/{job}/estimate").text
    data = tomllib.loads((shop.context.folder / "prices.toml").read_text("utf-8"))
    assert data["operations"][HOSES]["hours"] == "0.5"
    assert data["operations"]["battery.replace"]["hours"] == "0.6", "what stood there stands"


def test_a_price_is_changed_in_place_and_keeps_what_the_form_does_not_ask(client: Any, shop: Shop) -> None:
    path = shop.context.folder / "prices.toml"
    text = path.read_text("utf-8").replace('hours = "1.2"', 'hours = "1.2"\nhazard = "It is hot."')
    path.write_text(f"{text}\n# the end of my own book\n", "utf-8")
    job = asked_for(shop, "egr.clean")
    page = Page(client.get(f"/job/{job}/price/egr.clean").text)
    fields = dict(page.form_of("hours").fields)
    assert fields["hours"] == "1.2" and fields["parts[0].price"] == "6.50"
    reply = client.post(f"/job/{job}/price/egr.clean", data={**fields, "parts[0].price": "7.00"})
    assert reply.status_code == 303
    after = path.read_text("utf-8")
    egr = tomllib.loads(after)["operations"]["egr.clean"]
    assert egr["parts"] == [
        {"name": "Gasket, EGR valve", "price": "7.00", "quantity": "1", "condition": "new"}
    ]
    assert egr["hazard"] == "It is hot." and "# the end of my own book" in after
    assert after.count('[operations."egr.clean"]') == 1
    # (1.2 h × 62.50 + 7.00) × 1.20
    assert "98.40 EUR" in client.get(f"/job/{job}/estimate").text


@pytest.mark.parametrize(
    ("fields", "at"),
    [
        ({"hours": "soon"}, "hours"),
        ({"hours": "0.5", "parts[0].name": "Hose", "parts[0].price": "cheap"}, "parts[0].price"),
        ({"hours": "0.5", "parts[0].price": "4.20"}, "parts[0].name"),
    ],
)
def test_what_is_no_price_comes_back_beside_its_field_and_nothing_is_written(
    client: Any, shop: Shop, fields: dict[str, str], at: str
) -> None:
    job, path = asked_for(shop, HOSES), shop.context.folder / "prices.toml"
    before = path.read_bytes()
    sent = {**fields, "answer": "what-is-no-price-at-all", "screen": f"/job/{job}/price/{HOSES}"}
    reply = client.post(f"/job/{job}/price/{HOSES}", data=sent)
    assert reply.status_code == 422 and path.read_bytes() == before
    assert 'class="fault"' in reply.text.partition(f'data-faults="{at}"')[2].partition("</div>")[0]


def test_a_book_changed_beside_the_screens_holds_from_the_next_tap_on(client: Any, shop: Shop) -> None:
    job, path = asked_for(shop, "battery.charge"), shop.context.folder / "prices.toml"
    # 0.4 h × 62.50 × 1.20, then 0.4 h × 100.00 × 1.20
    assert "30.00 EUR" in client.get(f"/job/{job}/estimate").text
    text = path.read_text("utf-8")
    path.write_text(text.replace("62.50", "100.00"), "utf-8")
    assert "48.00 EUR" in client.get(f"/job/{job}/estimate").text
    path.write_text("currency = ", "utf-8")
    page = client.get(f"/job/{job}/estimate").text
    assert "48.00 EUR" in page and "cannot be used as it is" in page, "the prices before it hold"
    path.write_text(text, "utf-8")
    page = client.get(f"/job/{job}/estimate").text
    assert "30.00 EUR" in page and "cannot be used as it is" not in page


def test_a_book_written_in_another_way_is_left_as_it_is(tmp_path: Path) -> None:
    with demo_shop(tmp_path / "other") as shop:
        path = shop.context.folder / "prices.toml"
        head = path.read_text("utf-8").partition("[operations")[0]
        path.write_text(f'{head}operations = {{ "egr.clean" = {{ hours = "1.2" }} }}\n', "utf-8")
        before = path.read_bytes()
        with pytest.raises(DeskError, match="nothing was changed"):
            write_price(CurrentPrices.of(shop.context.folder), HOSES, "0.5", [])
        assert path.read_bytes() == before


@pytest.mark.parametrize("name", ['a "quoted" hose', "back\\slash", "line\nbreak", '"] evil = ["'])
def test_a_parts_name_is_a_text_whatever_is_in_it(tmp_path: Path, name: str) -> None:
    with demo_shop(tmp_path / "names") as shop:
        prices = CurrentPrices.of(shop.context.folder)
        before = set(prices.book.operations)
        write_price(prices, HOSES, "0.5", [TypedPart(name=name, price="1.00")])
        (part,) = prices.book.operations[HOSES].parts
        assert part.name == name.replace("\n", " ")
        assert set(prices.book.operations) == before | {HOSES}
        with pytest.raises(VisitError):
            write_price(prices, HOSES, "-1", [])
