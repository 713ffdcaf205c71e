"""A record on the screens: its line in the job's history, withdrawn there like a reading."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from corekit.desk.rows import add_rows
from corekit.desk.shop import Shop
from corekit.model.records import Recorded
from corekit.screens.app import NoAuth, work_app
from corekit.screens.context import Van

POINTS = ["0 min: 3 A", "20 min: 180 mA", "40 min: 180 mA"]
SHORT = ["0 min: 3 A", "12 min: 900 mA"]


@pytest.fixture
def shop(empty_shop: Path) -> Iterator[Shop]:
    with Shop(empty_shop) as made:
        yield made


@pytest.fixture
def client(shop: Shop) -> Any:
    return work_app(Van(shop.context), NoAuth()).test_client()


def recorded(shop: Shop, points: list[str]) -> tuple[str, str]:
    """A job with a drain log, and the log's entry."""
    begun = {"reason": "Flat.", "vehicle": {"plate": "DEMO-9"}}
    job = add_rows(shop.context, None, begun, request_id="arrival-000000001").job
    rows = {"step": [{"records": [{"of": "battery.drain_log", "points": points}]}]}
    (entry,) = add_rows(shop.context, job, rows, request_id="record-0000000001").entries
    return job, entry.id


def test_a_record_stands_in_the_history_and_is_withdrawn_there(shop: Shop, client: Any) -> None:
    job, entry = recorded(shop, POINTS)
    page = client.get(f"/job/{job}/record")
    assert page.status_code == 200 and "0 min: 3 A, 20 min: 180 mA" in page.text
    one = client.get(f"/job/{job}/record/{entry}").text
    assert "Drain log" in one and "The probe slipped" in one, "it is taken back for the reasons of a reading"
    form = {"reason": "the probe slipped", "answer": "withdrawn-000000001"}
    assert client.post(f"/job/{job}/record/{entry}/withdraw", data=form).status_code in (302, 303)
    assert shop.store.job(job).all(Recorded) == ()


@pytest.mark.parametrize("points", [POINTS, SHORT], ids=["settled", "not settled"])
def test_every_screen_of_a_job_with_a_record_opens(shop: Shop, client: Any, points: list[str]) -> None:
    job, _ = recorded(shop, points)
    for path in ("/test", "/explain", "/record", "/test/battery.parasitic_draw"):
        assert client.get(f"/job/{job}{path}", follow_redirects=True).status_code == 200, path
