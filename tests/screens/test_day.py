"""The day: appointments, parts that are missing, what is owed, whom to ask back."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from corekit.desk.shop import Shop
from corekit.screens.app import NoAuth, work_app
from corekit.screens.context import Van

from ..desk.visits_by_answer import VISIT, answered, by_file, demo_shop


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    with demo_shop(tmp_path / "shop") as made:
        yield made


@pytest.fixture
def client(shop: Shop) -> Any:
    return work_app(Van(shop.context), NoAuth()).test_client()


def came(shop: Shop, n: int, name: str) -> str:
    said = {
        "reason": "Does not start.",
        "vehicle": {"plate": f"DEMO-{n}"},
        "customer": {"name": name, "phone": "0171 5550123", "address": "2 Invented Road"},
    }
    return answered(shop, None, n, said).job


def on(shop: Shop, days: int) -> str:
    return (shop.context.now.date() + timedelta(days=days)).isoformat()


def planned(shop: Shop, job: str, n: int, days: int, **more: str) -> None:
    answered(shop, job, n, {"step": [{"planned": {"on": on(shop, days), **more}}]})


def test_the_day_is_in_the_order_of_its_hours_with_place_and_what_for(client: Any, shop: Shop) -> None:
    noon, early, late = (came(shop, n, f"Customer {n}") for n in (1, 2, 3))
    planned(shop, noon, 11, 0, time="12:00", place="3 Other Street", what="brake fluid")
    planned(shop, early, 12, 0, time="8:30")
    planned(shop, late, 13, 3)
    page = client.get("/day").text
    assert page.index("08:30") < page.index("12:00") < page.index("Later") < page.index("Customer 3")
    assert "3 Other Street" in page and "brake fluid" in page and "geo:0,0?q=3%20Other%20Street" in page
    assert "tel:01715550123" in page and "sms:01715550123" in page


def test_what_was_missed_stays_on_the_day_until_somebody_comes(client: Any, shop: Shop) -> None:
    job = came(shop, 1, "Missed")
    planned(shop, job, 2, -1, time="9:00")
    assert "not done yet" in client.get("/day").text
    answered(shop, job, 3, {"step": [{"arrived": {}}]})
    assert "Missed" not in client.get("/day").text


def test_a_job_that_was_left_comes_up_on_the_day_of_coming_back(client: Any, shop: Shop) -> None:
    job = came(shop, 1, "Waiting")
    answered(shop, job, 2, {"step": [{"left": {"because": "part missing", "back": on(shop, 0)}}]})
    page = client.get("/day").text
    assert "Waits for a part" in page and page.count("Waiting") >= 2


def test_what_is_owed_stands_by_age_with_a_reminder(client: Any, shop: Shop) -> None:
    text = VISIT.read_text("utf-8").replace("[[step]]\npaid", "# [[step]]\n# paid")
    file = shop.context.folder / "unpaid.toml"
    file.write_text(text, "utf-8")
    job = by_file(shop, file)
    invoice = shop.issue(job)
    assert invoice.due.minor > 0
    page = client.get("/day").text
    assert "Owed" in page and invoice.number in page and str(invoice.due) in page
    shop.pay(job, invoice.due, "cash")
    assert "Owed" not in client.get("/day").text
    assert shop.store.verify() == []


@pytest.mark.parametrize(("days", "shows"), [(14, True), (15, False), (-3, True)])
def test_a_recall_comes_up_by_itself(client: Any, shop: Shop, days: int, shows: bool) -> None:
    job = came(shop, 1, "Recalled")
    said = {"on": on(shop, days), "what": "Battery again"}
    answered(shop, job, 2, {"step": [{"recalled": said}]})
    page = client.get("/day").text
    assert ("Battery again" in page) is shows
    assert (f"/new?known={job}" in page) is shows


def test_a_recall_is_made_in_months_from_the_screen_and_taken_off(client: Any, shop: Shop) -> None:
    job = came(shop, 1, "Recalled")
    assert "In 6 months" in client.get(f"/job/{job}/plan").text
    form = {"step[0].recalled.on": on(shop, 1), "step[0].recalled.what": "Brake fluid"}
    reply = client.post(f"/job/{job}/answer", data={**form, "answer": "a-recall-of-the-fluid-1"})
    assert reply.status_code == 303
    (recall,) = shop.store.job(job).recalls
    assert f"/record/{recall.id}" in client.get(f"/job/{job}/plan").text
    taken = {"own": "done", "answer": "a-recall-of-the-fluid-2"}
    assert client.post(f"/job/{job}/record/{recall.id}/withdraw", data=taken).status_code == 303
    assert "Brake fluid" not in client.get("/day").text


@pytest.mark.parametrize(
    ("time", "good"), [("9:30", True), ("23:59", True), ("24:00", False), ("noon", False)]
)
def test_a_time_is_hours_and_minutes(shop: Shop, time: str, good: bool) -> None:
    from corekit.intake.fault import VisitError

    job = came(shop, 1, "Timed")
    if good:
        planned(shop, job, 2, 0, time=time)
        return
    with pytest.raises(VisitError, match="time of day"):
        planned(shop, job, 2, 0, time=time)
