"""Handing a job to another van, on the van's own screens."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from corekit.desk.shop import Shop
from corekit.model.job_state import JobState
from corekit.screens.app import NoAuth, work_app
from corekit.screens.context import Van

from ..desk.visits_by_answer import answered, demo_shop
from .everywhere import forms_of

CAME = {"reason": "Does not start.", "vehicle": {"plate": "DEMO-1"}, "customer": {"name": "Sample Keeper"}}


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    with demo_shop(tmp_path / "shop") as made:
        yield made


@pytest.fixture
def client(shop: Shop) -> Any:
    return work_app(Van(shop.context), NoAuth()).test_client()


def test_a_van_alone_has_no_button_for_another(client: Any, shop: Shop) -> None:
    job = answered(shop, None, 1, CAME).job
    assert "To another van" not in client.get(f"/job/{job}/way").text
    assert "No other van is known here" in client.get(f"/job/{job}/other-van").text


def test_a_job_is_handed_to_another_van_by_two_taps(client: Any, shop: Shop) -> None:
    job = answered(shop, None, 1, CAME).job
    shop.store.join("http://127.0.0.1:1", "A")
    shop.store.note_vans({"A": "Van 1", "B": "Van 2", "OFFICE": "Office"})
    assert "To another van" in client.get(f"/job/{job}/way").text
    page = client.get(f"/job/{job}/other-van").text
    assert "Van 2 (B)" in page and "Van 1" not in page and "Office" not in page
    (form,) = [one for one in forms_of(page) if one.action.endswith("/other-van")]
    told = {**form.filled(""), "van": "B"}
    for _ in range(2):  # a tap that is sent twice hands it over once
        reply = client.post(form.action, data=told)
        assert (reply.status_code, reply.location) == (303, "/")
    handed = [entry for entry in shop.store.journal(job) if entry.kind == "handed"]
    assert [entry.body["to"] for entry in handed] == ["B"]
    (row,) = [row for row in shop.store.closed_jobs(5) if row.id == job]
    assert row.state == JobState.HANDED
    assert "was handed to Van 2" in client.get(f"/job/{job}/other-van").text


def test_a_van_that_nobody_knows_is_named_with_those_that_are_known(client: Any, shop: Shop) -> None:
    job = answered(shop, None, 1, CAME).job
    shop.store.join("http://127.0.0.1:1", "A")
    shop.store.note_vans({"A": "Van 1", "B": "Van 2"})
    page = client.get(f"/job/{job}/other-van").text
    (form,) = [one for one in forms_of(page) if one.action.endswith("/other-van")]
    reply = client.post(form.action, data={**form.filled(""), "van": "Q"})
    assert reply.status_code == 422
    assert "There is no van" in reply.text and "B (Van 2)" in reply.text
    assert not [entry for entry in shop.store.journal(job) if entry.kind == "handed"]
