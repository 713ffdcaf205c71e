"""A record in the store: added with its file, corrected, withdrawn and forgotten like a reading."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from corekit.desk.jobs import texts_of
from corekit.desk.rows import add_rows, withdraw_entry
from corekit.desk.shop import Shop
from corekit.fault import DataFileError
from corekit.model.records import Recorded
from corekit.visit.history import HistoryRow, record_of

from .visits_by_answer import demo_shop

LOG = "battery.drain_log"
ARRIVAL = {"reason": "Flat.", "vehicle": {"plate": "DEMO-9", "description": "a small van"}}
POINTS = ["0 min: 3 A", "20 min: 180 mA", "40 min: 180 mA"]
CSV = "t [min];I [mA]\n0;3000\n20;180\n40;180\n"


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    with demo_shop(tmp_path / "van") as opened:
        yield opened


@pytest.fixture
def visit(tmp_path: Path) -> Path:
    (tmp_path / "Sample.csv").write_text(CSV, "utf-8")
    rows = {"of": LOG, "file": "Sample.csv"}
    path = tmp_path / "visit.json"
    path.write_text(
        json.dumps({"job": "logged", "demo": True, **ARRIVAL, "step": [{"records": [rows]}]}), "utf-8"
    )
    return path


def records(shop: Shop, job: str) -> list[Recorded]:
    return [noted.record for noted in shop.store.job(job).all(Recorded)]


def lines(shop: Shop, job: str) -> list[HistoryRow]:
    found = shop.store.job(job)
    rows = record_of(found, shop.context.plugins, texts_of(shop.context, found))
    return [row for row in rows if row.title == "Drain log"]


def said(shop: Shop, job: str | None, name: str, **rows: Any) -> Any:
    return add_rows(shop.context, job, rows, request_id=f"{name:-<16}")


def test_samples_are_in_the_store_and_need_their_file_no_more(
    shop: Shop, visit: Path, tmp_path: Path
) -> None:
    job = shop.import_visit(visit)
    (tmp_path / "Sample.csv").unlink()
    (found,) = records(shop, job)
    assert (list(found.over), list(found.samples)) == ([0, 1200, 2400], [3, 0.18, 0.18])
    assert [finding.code for finding in shop.assess(job).findings if finding.code == "battery.parasitic_draw"]
    (line,) = lines(shop, job)
    assert line.text == "3 samples from Sample.csv" and line.withdrawable
    assert shop.store.verify() == []


def test_a_file_that_is_added_again_adds_nothing_and_one_that_changed_corrects(
    shop: Shop, visit: Path, tmp_path: Path
) -> None:
    job = shop.import_visit(visit)
    before = len(shop.store.job(job).entries)
    shop.import_visit(visit)
    assert len(shop.store.job(job).entries) == before
    (tmp_path / "Sample.csv").write_text(CSV.replace("180", "20"), "utf-8")
    shop.import_visit(visit)
    (found,) = records(shop, job)
    assert list(found.samples) == [3, 0.02, 0.02]
    assert len(shop.store.job(job).entries) == before + 1


def test_a_faulty_file_beside_it_refuses_the_whole_visit(shop: Shop, visit: Path, tmp_path: Path) -> None:
    (tmp_path / "Sample.csv").write_text(CSV.replace("180", "=180"), "utf-8")
    with pytest.raises(DataFileError, match=r"line 3: \"=180\""):
        shop.import_visit(visit)
    assert list(shop.store.jobs()) == []


def test_points_typed_on_a_screen_are_kept_shown_corrected_and_withdrawn(shop: Shop) -> None:
    job = said(shop, None, "arrival", **ARRIVAL).job
    (first,) = said(shop, job, "log", step=[{"records": [{"of": LOG, "points": POINTS}]}]).entries
    assert lines(shop, job)[0].text == "0 min: 3 A, 20 min: 180 mA, 40 min: 180 mA"
    points = [*POINTS[:2], "40 min: 170 mA"]
    rows = [{"records": [{"of": LOG, "points": points}]}]
    (second,) = said(shop, job, "again", step=rows, instead_of=first.id).entries
    assert second.replaces == (first.id,) and [list(one.samples)[-1] for one in records(shop, job)] == [0.17]
    withdraw_entry(shop.context, job, second.id, "the clamp slipped", request_id="withdrawn-log-0001")
    assert records(shop, job) == [] and lines(shop, job) == []
    assert shop.store.verify() == []


def test_a_screen_cannot_have_a_file_of_the_server_read(shop: Shop) -> None:
    job = said(shop, None, "arrival", **ARRIVAL).job
    with pytest.raises(DataFileError, match="only in a visit file"):
        said(shop, job, "log", step=[{"records": [{"of": LOG, "file": "shop.toml"}]}])


def test_what_is_withdrawn_in_the_file_no_longer_stands(shop: Shop, visit: Path) -> None:
    job = shop.import_visit(visit)
    visit.write_text(
        visit.read_text("utf-8").replace('"of": "battery', '"withdrawn": "wrong car", "of": "battery')
    )
    shop.import_visit(visit)
    assert records(shop, job) == []


def test_the_name_of_its_file_goes_with_the_persons_and_the_samples_stay(shop: Shop, visit: Path) -> None:
    job = shop.import_visit(visit)
    shop.forget(job)
    assert b"Sample.csv" not in shop.store.path.read_bytes()
    assert len(records(shop, job)) == 1 and "removed" in lines(shop, job)[0].text
    assert shop.store.verify() == []
