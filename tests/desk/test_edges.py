"""What waited on its way in: from when on it was not said just now, and what a typed time is worth then."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import attrs
import pytest

from corekit.desk.rows import add_rows
from corekit.desk.shop import Shop
from corekit.model.entry import Entry

from .visits_by_answer import demo_shop

ARRIVAL = {"reason": "Cranks slowly.", "vehicle": {"plate": "DEMO-9", "description": "a small van"}}
NOW = datetime(2026, 3, 2, 9, 30, tzinfo=UTC)
TYPED = "2026-03-01T09:00:00+01:00"


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    with demo_shop(tmp_path / "van") as opened:
        yield opened


def entry_of(shop: Shop, waited: float, **row: Any) -> Entry:
    """The one entry that a look at the battery's case became, sent at half past nine."""
    context = attrs.evolve(shop.context, clock=lambda: NOW)
    job = add_rows(context, None, ARRIVAL, request_id="arrival-0123456789").job
    rows = {"step": [{"seen": [{"of": "battery.case", "is": "sound", **row}]}]}
    (entry,) = add_rows(context, job, rows, request_id="late-0123456789abc", waited=waited).entries
    return entry


def moment(text: str) -> datetime:
    return datetime.fromisoformat(text)


@pytest.mark.parametrize("waited", [0.0, 3.0, 59.0])
def test_what_arrives_within_a_minute_was_said_just_now(shop: Shop, waited: float) -> None:
    assert entry_of(shop, waited).taken == ""


@pytest.mark.parametrize("waited", [61.0, 3600.0])
def test_what_arrives_after_more_than_a_minute_is_dated_back_by_as_long_as_it_waited(
    shop: Shop, waited: float
) -> None:
    assert moment(entry_of(shop, waited).taken) == NOW - timedelta(seconds=waited)


@pytest.mark.parametrize("waited", [0.0, 59.0, 61.0, 3600.0, 86400.0])
def test_a_time_that_was_typed_is_kept_on_either_side_of_the_minute(shop: Shop, waited: float) -> None:
    assert moment(entry_of(shop, waited, taken=TYPED).taken) == moment(TYPED)


def test_of_two_rows_that_waited_only_the_one_without_a_time_gets_the_phone_s(shop: Shop) -> None:
    context = attrs.evolve(shop.context, clock=lambda: NOW)
    job = add_rows(context, None, ARRIVAL, request_id="arrival-0123456789").job
    seen = [
        {"of": "battery.case", "is": "sound", "taken": TYPED},
        {"of": "battery.terminals", "is": "clean and tight"},
    ]
    entries = add_rows(
        context, job, {"step": [{"seen": seen}]}, request_id="late-0123456789abc", waited=61.0
    ).entries
    taken = {entry.body["of"]: moment(entry.taken) for entry in entries}
    assert taken == {
        "battery.case": moment(TYPED),
        "battery.terminals": NOW - timedelta(seconds=61),
    }
