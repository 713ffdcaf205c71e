"""From a file and from the car on the screens: a draft, a look, and only then the record."""

from __future__ import annotations

import io
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from corekit.plugin.host import load

from ..readers.logs import drive, table
from ..readers.small_vehicle import Module, SmallVehicle, engine
from .pages import Page, Visit, begun


@pytest.fixture
def visit(empty_shop: Path) -> Iterator[Visit]:
    yield from begun(empty_shop, load())


def kinds(visit: Visit) -> list[str]:
    return [noted.entry.kind for noted in visit.job.standing]


def upload(visit: Visit, text: str, status: int = 200) -> Page:
    form = visit.get("log").form_of("time")
    fields: dict[str, Any] = dict(form.fields) | {"log": (io.BytesIO(text.encode()), "my log.csv")}
    reply = visit.client.post(form.action, data=fields, content_type="multipart/form-data")
    assert reply.status_code == status, reply.text[-800:]
    return Page(reply.text)


def ticked(page: Page) -> list[str]:
    return [value for name, value in page.form_of("draft").fields if name == "row"]


def save(visit: Visit, page: Page, rows: list[str], status: int = 303) -> Page:
    form = page.form_of("draft")
    fields = {name: value for name, value in form.fields if name != "row"}
    reply = visit.client.post(form.action, data={**fields, "row": rows})
    assert reply.status_code == status, reply.text[-800:]
    return visit.get(reply.headers["Location"]) if status == 303 else Page(reply.text)


def test_a_files_draft_is_looked_over_and_then_saved(visit: Visit) -> None:
    before = kinds(visit)
    page = upload(visit, table(drive()))
    assert "Nothing of it is saved yet" in page.text
    assert "EGR error the ECU reports: -100 %" in page.text
    assert "It cannot show" in page.text
    assert kinds(visit) == before
    record = save(visit, page, ticked(page))
    assert kinds(visit).count("measured") >= 3
    assert "recorded" in kinds(visit)
    assert "From my log.csv, lines" in record.text


def test_only_what_is_ticked_is_saved(visit: Visit) -> None:
    page = upload(visit, table(drive()))
    save(visit, page, ticked(page)[:1])
    assert kinds(visit).count("measured") == 1
    assert "recorded" not in kinds(visit)


def test_the_same_draft_sent_twice_is_saved_once(visit: Visit) -> None:
    page = upload(visit, table(drive()))
    save(visit, page, ticked(page)[:1])
    save(visit, page, ticked(page)[:1])
    assert kinds(visit).count("measured") == 1


def test_nothing_ticked_and_a_draft_that_is_gone_save_nothing(visit: Visit) -> None:
    page = upload(visit, table(drive()))
    assert "nothing was saved" in save(visit, page, [], status=422).text
    page.form_of("draft").fields[:] = [
        (name, "gone" if name == "draft" else value) for name, value in page.form_of("draft").fields
    ]
    assert "no longer here" in save(visit, page, ["0"], status=422).text


def test_a_file_that_is_no_log_is_refused_on_the_same_screen(visit: Visit) -> None:
    page = upload(visit, "Date;Payee;Amount\n2026-03-01;Rent;-650.00\n2026-03-02;Bread;-3.20\n", status=422)
    assert "none of them is a quantity of a vehicle" in page.text


def test_the_car_is_read_looked_over_and_saved(visit: Visit) -> None:
    form = visit.get("log").form_of("channel")
    with SmallVehicle("screen-car", Module(0x7E8, engine())):
        fields = dict(form.fields) | {"channel": "screen-car", "interface": "virtual", "seconds": "10"}
        reply = visit.client.post(form.action, data=fields)
    assert reply.status_code == 200, reply.text[-500:]
    page = Page(reply.text)
    assert "stored: P0401" in page.text
    save(visit, page, ticked(page))
    assert visit.job.vehicle.vin is not None
    codes = [noted.record for noted in visit.job.standing if noted.entry.kind == "codes"]
    assert {one.state: one.codes for one in codes} == {"stored": ["P0401"], "pending": [], "permanent": []}
    assert "freeze frame of P0401".casefold() in visit.get("record").text.casefold()


def test_another_car_than_the_recorded_one_is_asked_about(visit: Visit) -> None:
    visit.rows(vehicle={"vin": "11111111111111111"})
    form = visit.get("log").form_of("channel")
    with SmallVehicle("other-car", Module(0x7E8, engine())):
        fields = dict(form.fields) | {"channel": "other-car", "interface": "virtual", "seconds": "10"}
        page = Page(visit.client.post(form.action, data=fields).text)
    assert "Is this the right car?" in page.text
    assert "0" not in ticked(page)  # the VIN's row


def test_an_adapter_that_is_not_there_is_said_on_the_same_screen(visit: Visit) -> None:
    form = visit.get("log").form_of("channel")
    page = visit.send(form, {"channel": "can9", "interface": "no-such"}, status=422)
    assert "cannot be opened" in page.text
