"""A record on the screens: its line in the job's history, withdrawn there like a reading."""

from __future__ import annotations

from collections.abc import Iterator
from io import BytesIO
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
    below = "/samples/battery.drain_log"
    for path in ("/test", "/explain", "/record", "/test/battery.parasitic_draw", below):
        assert client.get(f"/job/{job}{path}", follow_redirects=True).status_code == 200, path


# ---- taken in on a screen

LOG = b"time [min];current [mA]\n0;3000\n20;180\n40;180\n60;181\n"


def sent(client: Any, shop: Shop, **fields: Any) -> tuple[Any, tuple[Recorded, ...]]:
    """What comes back for a form with these fields, and the records that stand then."""
    begun = {"reason": "Flat.", "vehicle": {"plate": "DEMO-9"}}
    job = add_rows(shop.context, None, begun, request_id="arrival-000000001").job
    at = f"/job/{job}/samples/battery.drain_log"
    reply = client.post(at, data={"answer": "samples-00000000001", "screen": at, **fields})
    return reply, tuple(one.record for one in shop.store.job(job).all(Recorded))


def test_points_typed_one_a_line_are_the_record_of_a_visit_file(shop: Shop, client: Any) -> None:
    reply, (record,) = sent(client, shop, points="\n".join(["", *POINTS, ""]))
    assert reply.status_code == 303 and reply.headers["Location"].endswith("/test/battery.parasitic_draw")
    assert list(record.over) == [0.0, 1200.0, 2400.0]
    assert [float(one) for one in record.samples] == pytest.approx([3.0, 0.18, 0.18])


def test_a_loggers_file_is_read_with_the_units_above_its_columns(shop: Shop, client: Any) -> None:
    reply, (record,) = sent(client, shop, file=(BytesIO(b"\xef\xbb\xbf" + LOG), "C:\\logs\\drain.csv"))
    assert reply.status_code == 303
    assert list(record.over) == [0.0, 1200.0, 2400.0, 3600.0]
    assert [float(one) for one in record.samples] == pytest.approx([3.0, 0.18, 0.18, 0.181])
    assert len(record.sha256) == 64


@pytest.mark.parametrize(
    ("fields", "says"),
    [
        ({}, "Type two points or more"),
        ({"points": "0 min: 3 A\nlater: less"}, "Line 2"),
        ({"points": "0 min: 3 A\n0 min: 2 A"}, "Line 2"),
        ({"file": (BytesIO(b"\x89PNG\r\n"), "log.png")}, "no plain text"),
        ({"file": (BytesIO(b"time;current\n0;1\n1;x\n"), "log.csv")}, "line 3"),
        ({"file": (BytesIO(b""), "log.csv")}, "log.csv"),
        ({"points": "0 min: 3 A\n9 min: 2 A", "file": (BytesIO(LOG), "log.csv")}, "not both"),
    ],
)
def test_what_cannot_be_taken_comes_back_beside_its_field_and_nothing_is_kept(
    shop: Shop, client: Any, fields: dict[str, Any], says: str
) -> None:
    reply, records = sent(client, shop, **fields)
    assert reply.status_code == 422 and says in reply.text and records == ()
    if "points" in fields:
        assert fields["points"].partition("\n")[0] in reply.text, "what was typed comes back"


def test_a_record_sent_twice_is_kept_once(shop: Shop, client: Any) -> None:
    begun = {"reason": "Flat.", "vehicle": {"plate": "DEMO-9"}}
    job = add_rows(shop.context, None, begun, request_id="arrival-000000001").job
    at = f"/job/{job}/samples/battery.drain_log"
    for _ in range(2):
        form = {"answer": "samples-00000000001", "screen": at, "points": "\n".join(POINTS)}
        assert client.post(at, data=form).status_code == 303
    assert len(shop.store.job(job).all(Recorded)) == 1


def test_the_field_of_one_reading_leads_to_the_record_of_it(shop: Shop, client: Any) -> None:
    job, _ = recorded(shop, POINTS)
    assert (
        f"/job/{job}/samples/battery.drain_log" in client.get(f"/job/{job}/test/battery.parasitic_draw").text
    )
    assert "/samples/" not in client.get(f"/job/{job}/test/battery.charging_voltage").text
    assert client.get(f"/job/{job}/samples/battery.nothing").status_code == 404
