"""The published tables of all vans, from their hub."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pyarrow.parquet as pq
import pytest

from corekit.cli import main as corekit
from corekit.hub.app import Hub
from corekit.model.personal import PersonalText
from corekit.model.records import Customer, Opened, Vehicle

from ..store.conftest import said
from ..store.writing import append
from .conftest import VanAt


def with_plate(van: VanAt, name: str, plate: str, who: str) -> str:
    job = van.store.new_job()
    append(
        van.store,
        job,
        [
            said("opened", f"{name}:opened/#1", Opened(origin=name, words=PersonalText("words", "Rattles."))),
            said("vehicle", f"{name}:vehicle/#1", Vehicle(plate=PersonalText("plate", plate))),
            said("customer", f"{name}:customer/#1", Customer(name=PersonalText("name", who))),
        ],
    )
    return job


def column(folder: Path, name: str) -> list[str]:
    return list(pq.read_table(folder / "jobs.parquet").column(name).to_pylist())


def test_a_vehicle_that_two_vans_were_at_is_one_vehicle(
    hub: Hub, new_van: Callable[[str], VanAt], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    a, b = new_van("one"), new_van("two")
    first = with_plate(a, "first", "DEMO-7", "Sample Keeper")
    again = with_plate(b, "again", "demo 7", "Sample Keeper")
    other = with_plate(b, "other", "DEMO-8", "Another Keeper")
    for van in (a, b):
        van.sync()
    folder = tmp_path / "tables"
    code = corekit(["tables", str(folder), "--hub", hub.database.address, "--key", str(tmp_path / "hub.key")])
    assert code == 0, capsys.readouterr().err
    vehicles = dict(zip(column(folder, "job"), column(folder, "vehicle"), strict=True))
    assert vehicles == {first: first, again: first, other: other}
    assert len(set(column(folder, "store"))) == 2, "each van by its chain"
    files = b"".join(file.read_bytes() for file in folder.glob("*.parquet"))
    for text in (b"DEMO-7", b"demo 7", b"Keeper", b"Rattles"):
        assert text not in files


def test_without_the_key_of_the_hub_there_are_no_tables(
    hub: Hub, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code = corekit(
        ["tables", str(tmp_path / "t"), "--hub", hub.database.address, "--key", str(tmp_path / "no")]
    )
    assert code == 1
    assert "no key of a hub" in capsys.readouterr().err
