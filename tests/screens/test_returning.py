"""A vehicle that comes back is known: found by what is typed of it, with what was read and left open then."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from corekit.desk.shop import Shop
from corekit.screens.app import NoAuth, work_app
from corekit.screens.context import Van

from ..desk.visits_by_answer import VISIT, answered, by_file, demo_shop

OCV = "battery.open_circuit_voltage"


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    with demo_shop(tmp_path / "shop") as made:
        yield made


@pytest.fixture
def client(shop: Shop) -> Any:
    return work_app(Van(shop.context), NoAuth()).test_client()


def came(shop: Shop, n: int, plate: str = "AB-12 CD", name: str = "Zoë Müller", **more: Any) -> str:
    said = {
        "reason": "Does not start.",
        "vehicle": {"plate": plate, "description": "estate", **more},
        "customer": {"name": name, "phone": "0171 5550123", "email": "zoe@example.org"},
    }
    return answered(shop, None, n, said).job


@pytest.mark.parametrize(
    "asked", ["ab12cd", "AB 12-CD", "ab-1", "müller", "Zoe", "muller estate", "+49 171 555 0123", "estate"]
)
def test_a_job_is_found_by_what_is_known_of_it(client: Any, shop: Shop, asked: str) -> None:
    came(shop, 1)
    came(shop, 2, plate="XY-9", name="Somebody Else")
    page = client.get("/find", query_string={"q": asked}).text
    assert "AB-12 CD" in page


def test_both_words_must_be_there(client: Any, shop: Shop) -> None:
    came(shop, 1)
    assert "Nothing found" in client.get("/find?q=muller+van").text


def test_a_search_that_finds_nothing_says_what_to_do(client: Any) -> None:
    page = client.get("/find?q=nobody").text
    assert "Nothing found" in page and "invoice number" in page and "/new" in page


def test_a_job_is_found_by_its_invoice_and_its_day(client: Any, shop: Shop) -> None:
    job = by_file(shop, VISIT)
    number = shop.issue(job).number
    day = shop.context.now.date().isoformat()
    for asked in (number, number.lower(), day, day[:7]):
        assert f"/job/{job}" in client.get("/find", query_string={"q": asked}).text, asked


def test_what_was_forgotten_is_found_by_no_person_any_more(client: Any, shop: Shop) -> None:
    job = came(shop, 1)
    shop.forget(job)
    assert "Nothing found" in client.get("/find?q=muller").text
    assert "Nothing found" in client.get("/find?q=ab12cd").text
    assert shop.store.verify() == []


def test_a_typed_plate_offers_the_vehicle_and_its_customer(client: Any, shop: Shop) -> None:
    job = came(shop, 1, odometer="98400 km")
    page = client.post("/job/aaaaaaaaaaaa/arrive/try", data={"vehicle.plate": "ab12 cd"}).text
    assert f"/new?known={job}" in page and "Zoë Müller" in page
    assert "/new?known=" not in client.post("/job/aaaaaaaaaaaa/arrive/try", data={"vehicle.plate": "a"}).text
    form = client.get(f"/new?known={job}").text
    assert 'value="AB-12 CD"' in form and 'value="Zoë Müller"' in form and "zoe@example.org" in form
    assert "98400" not in form and "Does not start" not in form, "what may have changed is asked again"


def test_the_last_reading_stands_beside_the_field(client: Any, shop: Shop) -> None:
    first = came(shop, 1)
    reading = {"step": [{"readings": [{"of": OCV, "is": "12.6 V"}]}]}
    answered(shop, first, 2, reading)
    again = came(shop, 3, plate="ab12cd")
    page = client.get(f"/job/{again}/test/{OCV}").text
    assert "Last time 12.6 V, " in page
    other = came(shop, 4, plate="AB-12 CE")
    assert "Last time" not in client.get(f"/job/{other}/test/{OCV}").text
    assert "Last time" not in client.get(f"/job/{first}/test/{OCV}").text, "what comes later is not before"


def test_what_was_left_open_and_done_then_is_told(client: Any, shop: Shop) -> None:
    first = by_file(shop, VISIT)
    shop.issue(first)
    plate = next(
        text for text in shop.store.texts(shop.store.job(first).persons()).values() if "DEMO" in text
    )
    again = came(shop, 900, plate=plate)
    page = client.get(f"/job/{again}/before").text
    assert "Replace the battery" in page and f"/new?again={first}" in page
    assert "This vehicle before" in client.get(f"/job/{again}/way").text
    assert "This vehicle before" not in client.get(f"/job/{first}/way").text
