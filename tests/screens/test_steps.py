"""The list of steps says what is done of each and leads to the customer; the screens can be installed."""

from __future__ import annotations

import json

from corekit.screens.done import done_steps
from corekit.visit.progress import Step

from .pages import Visit


def test_a_step_says_what_is_on_record_of_it(visit: Visit) -> None:
    assert done_steps(visit.job) == {Step.ARRIVE: ""}
    visit.rows(step=[{"seen": [{"of": "clutch.fluid", "is": "clear"}]}])
    visit.rows(step=[{"readings": [{"of": "clutch.sink", "is": "12 mm"}]}])
    assert done_steps(visit.job)[Step.TEST] == "2 things read or looked at"
    assert "2 things read or looked at" in visit.get("way").text
    assert Step.REPAIR not in done_steps(visit.job)


def test_one_tap_calls_writes_or_leads_to_the_customer(visit: Visit) -> None:
    assert "tel:" not in visit.get("way").html
    visit.rows(customer={"name": "Sample Keeper", "phone": "+00 000/00 01", "address": "1 Made-up Road"})
    links = visit.get("way").links
    # RFC 3966, RFC 5724, RFC 5870 with the query that map programs read
    assert {"tel:+000000001", "sms:+000000001", "geo:0,0?q=1%20Made-up%20Road"} <= set(links)


def test_the_screens_can_be_installed_under_the_shops_name(visit: Visit) -> None:
    reply = visit.client.get("/work.webmanifest")
    said = json.loads(reply.text)
    assert reply.mimetype == "application/manifest+json"
    assert said["name"] == visit.shop.context.settings.issuer.name and said["display"] == "standalone"
    assert all(visit.client.get(icon["src"]).status_code == 200 for icon in said["icons"])
    assert 'rel="manifest"' in visit.client.get("/").text
