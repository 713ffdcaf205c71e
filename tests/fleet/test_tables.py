"""The published tables: what they hold of a shop's jobs, and that nobody is in them."""

from __future__ import annotations

import tomllib
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pyarrow.parquet as pq
import pytest

from corekit.desk.shop import Shop
from corekit.errors import InputError
from corekit.fleet.rows import Past, comebacks
from corekit.fleet.schema import Column, ColumnKind, Known, schemas
from corekit.fleet.tables import table_files, write_tables
from corekit.model.records import Customer, Opened, Vehicle
from corekit.plugin.host import Plugins

from ..desk.test_changes import WORK, shop_in
from ..desk.test_several_invoices import diagnosed, repaired

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def tables(demo_out: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("fleet") / "tables"
    with Shop(demo_out) as shop:
        written = write_tables(shop.context, folder)
    assert not any(written.left_out.values()), written.left_out
    return folder


def test_every_column_is_one_of_the_published_list(tables: Path) -> None:
    published = tomllib.loads((ROOT / "shared" / "tables.toml").read_text("utf-8"))
    for name, table in published.items():
        assert pq.read_schema(tables / f"{name}.parquet").names == list(table["columns"])
    assert {file.name for file in tables.iterdir()} == {
        "tables.toml",
        *(f"{name}.parquet" for name in published),
    }


def test_no_column_can_hold_words_or_a_day() -> None:
    """A kind that takes any text, or an instant, would be a way for a person into the tables."""
    known = Known(ids={"job1"}, keys=frozenset({"battery.replace"}), answers=frozenset({"slow"}))
    for table in schemas().values():
        for column in table.columns:
            for text in ("Some One", "AB 123", "2026-03-05", "some.one@example.org", "0170 1234567"):
                assert not column.holds(text, known), (table.name, column.name)


def test_nobody_and_no_word_of_a_job_is_in_the_files(demo_out: Path, tables: Path) -> None:
    with Shop(demo_out) as shop:
        store = shop.store
        texts = {
            text
            for job in store.jobs()
            for text in store.texts(store.job(job).persons()).values()
            if len(text) > 3
        }
        names = {name for called in store.names().values() for name in called}
        lists = [store.job(job).all(kind) for job in store.jobs() for kind in (Opened, Customer, Vehicle)]
    assert len(texts) > 20, "the test looks at nothing"
    assert any(lists)
    for file in tables.glob("*.parquet"):
        values = {
            str(value)
            for column in pq.read_table(file).columns
            for value in column.to_pylist()
            if isinstance(value, str)
        }
        content = file.read_bytes()
        assert values.isdisjoint(names), file.name
        for text in texts:
            assert text not in values, (file.name, text)
            assert text.encode() not in content, (file.name, text)


@pytest.mark.parametrize(
    ("kind", "good", "bad"),
    [
        (ColumnKind.ID, "job1", "job2"),
        (ColumnKind.VEHICLE, "job1", "JOB1"),
        (ColumnKind.KEY, "battery.replace", "battery.some one"),
        (ColumnKind.ANSWER, "slow", "slowly"),
        (ColumnKind.WORD, "gone", "went"),
        (ColumnKind.MONTH, "2026-12", "2026-13"),
        (ColumnKind.CURRENCY, "EUR", "Eur"),
        (ColumnKind.NUMBER, 1.5, float("nan")),
        (ColumnKind.COUNT, 3, 3.5),
        (ColumnKind.COUNT, 3, True),
        (ColumnKind.MONEY, -5, "5"),
        (ColumnKind.YES_NO, True, 1),
    ],
)
def test_a_column_holds_its_kind_alone(kind: ColumnKind, good: object, bad: object) -> None:
    known = Known(ids={"job1"}, keys=frozenset({"battery.replace"}), answers=frozenset({"slow"}))
    column = Column(name="one", kind=kind, what="it", words=("gone", ""))
    assert column.holds(good, known)
    assert not column.holds(bad, known)
    assert not column.holds(None, known)


def test_what_does_not_fit_is_left_empty_where_it_may_be_and_else_leaves_the_row_out() -> None:
    known = Known(ids={"job1"}, keys=frozenset({"battery", "battery.replace"}))
    row = {"job": "job1", "vehicle": "job1", "system": "battery", "operation": "battery.replace"}
    more = {"part": "Some One's part", "fault": None, "stage": 1, "share": 1.0, "shown_by": "complaint"}
    table = schemas()["causes"]
    made = table.row({**row, **more}, known)
    assert made is not None
    assert made["part"] is None
    assert table.row({**row, **more, "operation": "Some One's own"}, known) is None


def test_the_demos_jobs_are_there_with_what_ended_them(tables: Path) -> None:
    """Of the demo's jobs the papers say which work its reading shows to have helped."""
    causes = pq.read_table(tables / "causes.parquet").to_pylist()
    assert {"egr.clean", "ignition.replace_plugs", "battery.replace"} <= {row["operation"] for row in causes}
    assert {row["shown_by"] for row in causes} == {"reading"}
    prices = pq.read_table(tables / "prices.parquet").to_pylist()
    assert {(row["operation"], row["invoiced"]) for row in prices} >= {("battery.replace", 20550)}


NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)


def past(job: str, vehicle: str, day: int, **more: object) -> Past:
    return Past(
        job=job,
        vehicle=vehicle,
        opened=NOW - timedelta(days=day),
        told=frozenset(more.get("told", ())),  # type: ignore[call-overload]
        works=frozenset(more.get("works", ())),  # type: ignore[call-overload]
        made_good=frozenset(more.get("made_good", ())),  # type: ignore[call-overload]
    )


@pytest.mark.parametrize(
    ("later", "expected"),
    [
        ({"works": ["battery.replace"]}, (60, "same work")),
        ({"told": ["flat_standing"]}, (60, "same complaint")),
        ({"made_good": ["battery.replace"], "works": ["battery.replace"]}, (60, "guarantee")),
        ({"works": ["battery.charge"], "told": ["squeals"]}, (100, "")),
    ],
)
def test_a_repair_held_until_the_vehicle_came_back_for_it(
    later: dict[str, list[str]], expected: tuple[int, str]
) -> None:
    first = past("a", "a", 100, told=["flat_standing"])
    first.repairs.append(({"operation": "battery.replace"}, NOW - timedelta(days=100)))
    second = past("b", "a", 40, **later)
    stranger = past("c", "c", 90, works=["battery.replace"], told=["flat_standing"])
    ((_, row),) = comebacks([second, stranger, first], NOW)
    assert (row["days"], row["came_back"]) == expected


def test_a_vehicle_is_told_by_its_first_job_and_one_that_was_forgotten_by_itself(
    demo_copy: Path, tmp_path: Path, plugins: Plugins
) -> None:
    with Shop(demo_copy, plugins=plugins) as shop:
        write_tables(shop.context, tmp_path / "before")
        jobs = pq.read_table(tmp_path / "before" / "jobs.parquet").to_pylist()
        one = jobs[0]["job"]
        shop.forget(one)
        write_tables(shop.context, tmp_path / "after")
    after = {
        row["job"]: row["vehicle"] for row in pq.read_table(tmp_path / "after" / "jobs.parquet").to_pylist()
    }
    assert after[one] == one
    assert {row["vehicle"] for row in jobs} <= {row["job"] for row in jobs}


def test_what_a_job_was_invoiced_stands_together_beside_its_estimates(tmp_path: Path) -> None:
    """The diagnosis on an invoice of its own, 50.00, then the repair, 220.00, both without tax."""
    with shop_in(tmp_path) as shop:
        job, _ = diagnosed(shop)
        repaired(shop, job)
        write_tables(shop.context, tmp_path / "tables")
    prices = pq.read_table(tmp_path / "tables" / "prices.parquet").to_pylist()
    assert {row["operation"]: (row["estimated"], row["invoiced"]) for row in prices} == {
        None: (5000, 5000),
        WORK: (22000, 22000),
    }


def test_tables_by_month_hold_the_same_rows_and_are_asked_as_one_folder_is(
    demo_out: Path, tables: Path, tmp_path: Path
) -> None:
    folder = tmp_path / "shop"
    with Shop(demo_out) as shop:
        written = write_tables(shop.context, folder, by_month=True)
        with pytest.raises(InputError, match="would be in it twice"):
            write_tables(shop.context, folder)
        with pytest.raises(InputError, match="would be in it twice"):
            write_tables(shop.context, tables, by_month=True)
    months = set(pq.read_table(tables / "jobs.parquet").column("month").to_pylist())
    assert {one.name for one in folder.iterdir()} == months
    for name, files in table_files(folder).items():
        (whole,) = table_files(tables)[name]
        rows = [str(row) for file in files for row in pq.read_table(file).to_pylist()]
        assert sorted(rows) == sorted(map(str, pq.read_table(whole).to_pylist())), name
        assert written.rows[name] == len(rows)
