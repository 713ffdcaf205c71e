"""Arriving on the screens: a new job from few fields, a VIN that says what it says, corrections, another car
in the driveway.
"""

from __future__ import annotations

import re
import secrets
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from corekit.desk.jobs import texts_of
from corekit.desk.rows import add_rows, withdraw_entry
from corekit.desk.shop import Shop
from corekit.model.job import Job
from corekit.model.records import Remarked
from corekit.screens.app import NoAuth, work_app
from corekit.screens.arrive import vin_words
from corekit.screens.context import Van

#: 49 CFR 565.15(c) works an example of its check digit; this is another often printed one, from memory, and
#: 1…1 is a sum done by hand (89 mod 11 = 1).
AGREES, ALL_ONES = "1M8GDM9AXKP042788", "1" * 17


@pytest.fixture
def shop(empty_shop: Path) -> Iterator[Shop]:
    with Shop(empty_shop) as made:
        yield made


@pytest.fixture
def client(shop: Shop) -> Any:
    return work_app(Van(shop.context), NoAuth()).test_client()


def form_of(page: str, nth: int = 0) -> dict[str, str]:
    """The hidden fields of a form, as a browser would send them, and where it is sent."""
    form = re.findall(r"<form.*?</form>", page, re.S)[nth]
    found: dict[str, str] = dict(re.findall(r'<input type="hidden" name="([^"]*)" value="([^"]*)"', form))
    action = re.search(r'action="([^"]*)"', form)
    return found | {"to": action[1] if action else ""}


def send(client: Any, form: dict[str, str], **fields: str) -> Any:
    given = form | {name.replace("__", "."): text for name, text in fields.items()}
    return client.post(given.pop("to"), data=given)


def begun(client: Any, shop: Shop, **fields: str) -> Job:
    reply = send(client, form_of(client.get("/new").text), **fields)
    assert reply.status_code == 303, reply.text
    return shop.store.job(reply.headers["Location"].rpartition("/")[2])


def test_a_complaint_and_a_plate_begin_a_job_and_lead_to_what_looking_costs(client: Any, shop: Shop) -> None:
    job = begun(
        client,
        shop,
        reason="Cranks slowly.",
        vehicle__plate="DEMO-1",
        vehicle__odometer="98400 km",
        customer__name="Sample Keeper",
    )
    assert {"Cranks slowly.", "DEMO-1", "Sample Keeper", job.name} == set(
        texts_of(shop.context, shop.store.job(job.id)).values()
    )
    assert client.get(f"/job/{job.id}").headers["Location"] == f"/job/{job.id}/diagnosis"


def test_a_form_sent_twice_begins_one_job(client: Any, shop: Shop) -> None:
    form = form_of(client.get("/new").text)
    replies = [send(client, form, reason="Cranks slowly.", vehicle__plate="DEMO-1") for _ in range(3)]
    assert {reply.headers["Location"] for reply in replies} == {form["to"].removesuffix("/answer")}
    assert len(shop.store.jobs()) == 1


def test_an_odometer_takes_the_unit_key_that_was_pressed(client: Any, shop: Shop) -> None:
    job = begun(
        client,
        shop,
        reason="Smell.",
        vehicle__plate="DEMO-1",
        **{"vehicle__odometer": "61000", "vehicle__odometer|unit": "mi"},
    )
    assert job.vehicle.odometer == pytest.approx(61000 * 1609.344)  # international mile, exact


def test_without_any_number_a_reason_is_asked_for_in_the_open(client: Any, shop: Shop) -> None:
    refused = send(
        client, form_of(client.get("/new").text), reason="Cranks slowly.", vehicle__description="small van"
    )
    assert refused.status_code == 422 and "neither VIN nor plate" in refused.text
    assert re.search(r"<details open>(?:(?!</details>).)*neither VIN nor plate", refused.text, re.S), (
        "a fault must not hide behind a closed lid"
    )
    assert "no_vin =" not in refused.text, "the language of files has no place on a screen"
    assert 'value="small van"' in refused.text
    job = begun(
        client,
        shop,
        reason="Cranks slowly.",
        vehicle__description="small van",
        vehicle__no_vin="not seen yet",
    )
    assert job.vehicle.why_no_vin == "not seen yet"


def test_the_same_new_job_comes_back_after_a_fault(client: Any, shop: Shop) -> None:
    form = form_of(client.get("/new").text)
    refused = send(client, form, reason="Cranks slowly.", vehicle__description="small van")
    assert form_of(refused.text)["to"] == form["to"]


@pytest.mark.parametrize(
    ("vin", "words"),
    [
        (AGREES, "The check digit agrees."),
        (AGREES.lower(), "The check digit agrees."),
        (ALL_ONES, "The check digit agrees."),
        (AGREES[:8] + "1" + AGREES[9:], "would be X. Its region demands one"),  # 1: United States
        ("W" + AGREES[1:], "Many regions use none"),
        (AGREES[:-1], "this has 16"),
        ("I" + AGREES[1:], "The letter I at position 1 does not occur in a VIN"),
    ],
)
def test_a_vin_says_at_once_what_it_says(client: Any, vin: str, words: str) -> None:
    assert words in client.post("/job/anything/arrive/try", data={"vehicle.vin": vin}).text


def test_the_model_years_are_those_of_position_ten() -> None:
    assert (
        "1989 or 2019" in vin_words(AGREES)[1]
    )  # 49 CFR 565.15(d), table VII: K is 1989 and 2019; a digit at position 7 makes the first likely
    assert vin_words("   ") == ()


def test_what_is_said_anew_corrects_and_loses_nothing(client: Any, shop: Shop) -> None:
    job = begun(
        client,
        shop,
        reason="Cranks slowly.",
        vehicle__description="small van",
        vehicle__no_vin="not seen yet",
        customer__name="Sample Keeper",
    )
    page = client.get(f"/job/{job.id}/arrive").text
    said = {
        "vehicle__description": "small van, 2011",
        "vehicle__plate": "DEMO-7",
        "vehicle__no_vin": "",
        "vehicle__odometer": "98400 km",
    }
    assert send(client, form_of(page, 0), **said).status_code == 303, (
        "the vehicle was not seen yet, so it is what is asked first"
    )
    assert send(client, form_of(page, 2), reason="Cranks slowly when cold.").status_code == 303
    assert (
        send(client, form_of(page, 3), customer__name="Sample Keeper", customer__phone="000 0001").status_code
        == 303
    )
    now = shop.store.job(job.id)
    texts = texts_of(shop.context, shop.store.job(job.id))
    assert now.vehicle.odometer_typed == "98400 km" and not now.vehicle.why_no_vin
    assert {"Cranks slowly when cold.", "DEMO-7", "000 0001"} <= set(texts.values())
    assert "Cranks slowly." in texts.values(), "what stood before stays in the journal"
    assert [entry.kind for entry in now.entries].count("vehicle") == 2


def test_the_state_on_arrival_is_noted_in_free_words_and_can_be_taken_back(client: Any, shop: Shop) -> None:
    job = begun(
        client,
        shop,
        reason="Cranks slowly.",
        vehicle__plate="DEMO-1",
        **{"step[0].remarked.words": "Dent in the left door."},
    )
    page = client.get(f"/job/{job.id}/arrive").text
    assert "Dent in the left door." in page
    reply = send(client, form_of(page, 0), **{"step[0].remarked.words": "Engine warm."})
    assert reply.headers["Location"] == f"/job/{job.id}/arrive"
    remarks = shop.store.job(job.id).all(Remarked)
    assert {texts_of(shop.context, shop.store.job(job.id))[noted.record.words.hash] for noted in remarks} == {
        "Dent in the left door.",
        "Engine warm.",
    }
    withdraw_entry(
        shop.context, job.id, remarks[0].id, "on the other car", request_id="the-dent-is-on-the-other"
    )
    assert "Dent in the left door." not in client.get(f"/job/{job.id}/arrive").text


def test_a_correction_of_what_was_corrected_meanwhile_is_refused(client: Any, shop: Shop) -> None:
    job = begun(client, shop, reason="Cranks slowly.", vehicle__plate="DEMO-1")
    page = client.get(f"/job/{job.id}/arrive").text
    first, second = form_of(page, 2), form_of(page, 2) | {"answer": secrets.token_urlsafe(18)}
    assert send(client, first, vehicle__plate="DEMO-2").status_code == 303
    refused = send(client, second, vehicle__plate="DEMO-3")
    assert refused.status_code == 422 and "does not stand any more" in refused.text


def test_another_car_in_the_driveway_has_the_same_customer_and_pays_for_no_coming(
    client: Any, shop: Shop
) -> None:
    first = begun(
        client,
        shop,
        reason="Cranks slowly.",
        vehicle__plate="DEMO-1",
        customer__name="Sample Keeper",
        customer__phone="000 0001",
    )
    page = client.get(f"/new?beside={first.id}").text
    assert 'value="Sample Keeper"' in page and 'value="000 0001"' in page
    reply = send(
        client,
        form_of(page),
        reason="Smells of exhaust.",
        vehicle__plate="DEMO-2",
        customer__name="Sample Keeper",
    )
    second = shop.store.job(reply.headers["Location"].rpartition("/")[2])
    assert second.same_trip_as == first.id
    looking = client.get(f"/job/{second.id}/diagnosis").text
    assert (
        "36.00 EUR" in looking and "Call-out" not in looking
    )  # demo/shop/prices.toml: the diagnosis alone, 30.00 × 1.20
    third = client.get(f"/new?beside={second.id}").text
    assert form_of(third)["step[0].arrived.same_trip_as"] == first.id, (
        "the one that pays is named, not the one between"
    )


def test_another_car_beside_no_job_is_not_there(client: Any) -> None:
    assert client.get("/new?beside=nosuchjob").status_code == 404


def test_a_fault_beside_another_car_keeps_whose_driveway_it_is(client: Any, shop: Shop) -> None:
    first = begun(client, shop, reason="Cranks slowly.", vehicle__plate="DEMO-1")
    form = form_of(client.get(f"/new?beside={first.id}").text)
    refused = send(client, form, reason="Smells.", vehicle__description="saloon")
    assert refused.status_code == 422 and form_of(refused.text)["step[0].arrived.same_trip_as"] == first.id


def test_names_from_outside_are_text_on_the_screen(client: Any, shop: Shop) -> None:
    job = begun(client, shop, reason='<script>alert("1")</script>', vehicle__plate='"><img src=x>')
    page = client.get(f"/job/{job.id}/arrive").text
    assert "<script>alert" not in page and "<img src=x>" not in page and "&lt;script&gt;" in page
    add_rows(
        shop.context, job.id, {"customer": {"name": "</textarea><b>"}}, request_id=secrets.token_urlsafe(18)
    )
    assert "<b>" not in client.get(f"/job/{job.id}/arrive").text
