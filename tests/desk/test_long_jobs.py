"""A job that file after file is added to: as much as one reason to come can hold, and no more."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from corekit.desk import recording
from corekit.desk.rows import add_rows, withdraw_entry
from corekit.desk.shop import Shop
from corekit.errors import CorekitError
from corekit.intake.file import MOST_REPAIRS

from .visits_by_answer import demo_shop

BEGUN = {"reason": "Cranks slowly.", "vehicle": {"plate": "DEMO-9", "description": "a small van"}}
REPAIR = {"repaired": {"operation": "battery.charge"}}
READING = {"readings": [{"of": "battery.open_circuit_voltage", "is": "12.6 V"}]}


def added(shop: Shop, job: str | None, number: int, steps: list[dict[str, object]]) -> str:
    rows = {**({} if job else BEGUN), "step": steps}
    return add_rows(shop.context, job, rows, request_id=f"request-{number:08}").job


def test_repairs_are_bounded_over_all_files_and_what_ends_the_job_is_not(tmp_path: Path) -> None:
    with demo_shop(tmp_path / "van") as shop:
        job = added(shop, None, 0, [REPAIR] * MOST_REPAIRS)
        added(shop, job, 1, [REPAIR] * (recording.MOST_REPAIRS - MOST_REPAIRS))
        before = shop.store.job(job).entries
        with pytest.raises(CorekitError, match="at most 50"):
            added(shop, job, 2, [REPAIR])
        assert shop.store.job(job).entries == before
        withdraw_entry(shop.context, job, before[-1].id, "not done", request_id="request-withdrawn")
        added(shop, job, 3, [READING, {"planned": {"on": "2026-12-01", "time": "09:00"}}])


def test_statements_are_bounded_over_all_files(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(recording, "MOST_STATEMENTS", 5)
    with demo_shop(tmp_path / "van") as shop:
        job = added(shop, None, 0, [READING] * 3)
        added(shop, job, 1, [READING] * 2)
        with pytest.raises(CorekitError, match="would have 6 statements; one has at most 5"):
            added(shop, job, 2, [READING])
        file = tmp_path / "visit.json"
        file.write_text(json.dumps({"job": "long", "demo": True, **BEGUN, "step": [READING] * 6}), "utf-8")
        with pytest.raises(CorekitError, match="at most 5"):
            shop.import_visit(file)
