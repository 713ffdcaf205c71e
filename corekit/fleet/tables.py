"""The published tables of a shop as Parquet files, one of each name, and where they are found again."""

from __future__ import annotations

import contextlib
import os
import shutil
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

import attrs

from ..assess.assessment import Assessment
from ..desk.assessing import assessment_of
from ..desk.context import ShopContext
from ..errors import InputError
from ..files import flush_folder
from ..model.entry import Entry
from ..model.job import Job
from ..model.personal import Personal
from ..model.records import RECORDS, InvoiceIssued
from ..plugin.host import Plugins
from ..reference import data_path
from .extra import needs
from .rows import Past, Row, comebacks, known_names, past_of, rows_of
from .schema import ColumnKind, Known, TableSchema, schemas

if TYPE_CHECKING:
    import pyarrow as pa

#: The published schema, beside the files it tells of.
SCHEMA_FILE = "tables.toml"
#: So many rows of a table are held before they are written.
BATCH = 50_000


@attrs.frozen(kw_only=True)
class Written:
    """What was written: rows of each table, and how many rows did not fit it and were left out."""

    folder: Path
    rows: Mapping[str, int]
    left_out: Mapping[str, int]


def arrow_schema(table: TableSchema) -> pa.Schema:
    """The table's columns as Arrow says them, each with what it means."""
    import pyarrow as pa

    def kind(of: ColumnKind) -> pa.DataType:
        if of is ColumnKind.YES_NO:
            return pa.bool_()
        if of is ColumnKind.NUMBER:
            return pa.float64()
        return pa.string() if of.is_text else pa.int64()

    return pa.schema(
        [
            pa.field(one.name, kind(one.kind), nullable=one.empty, metadata={"what": one.what})
            for one in table.columns
        ],
        metadata={"what": table.what},
    )


class TableWriter:
    """Writes rows into the files of a folder; they appear whole when it is closed without an error.

    Use it as a context manager.
    """

    def __init__(self, folder: Path, known: Known) -> None:
        needs("pyarrow")
        self.folder, self.known = folder, known
        self.rows = dict.fromkeys(schemas(), 0)
        self.left_out = dict.fromkeys(schemas(), 0)
        self._new = folder.with_name(f".{folder.name}.{os.getpid()}.new")
        self._held: dict[str, list[dict[str, object]]] = {name: [] for name in schemas()}
        self._files: dict[str, Any] = {}

    def __enter__(self) -> TableWriter:
        import pyarrow.parquet as pq

        shutil.rmtree(self._new, ignore_errors=True)
        self._new.mkdir(parents=True)
        for name, table in schemas().items():
            self._files[name] = pq.ParquetWriter(self._new / f"{name}.parquet", arrow_schema(table))
        return self

    def __exit__(self, kind: type[BaseException] | None, *rest: object) -> None:
        for name, file in self._files.items():
            if kind is None:
                self._write(name)
            file.close()
        if kind is not None:
            shutil.rmtree(self._new, ignore_errors=True)
            return
        shutil.copyfile(data_path(f"shared/{SCHEMA_FILE}"), self._new / SCHEMA_FILE)
        self.folder.mkdir(parents=True, exist_ok=True)
        for file in sorted(self._new.iterdir()):
            file.replace(self.folder / file.name)
        self._new.rmdir()
        flush_folder(self.folder)

    def add(self, rows: Iterable[Row]) -> None:
        """Add rows; what does not fit its table is left out and counted."""
        for name, values in rows:
            row = schemas()[name].row(values, self.known)
            if row is None:
                self.left_out[name] += 1
                continue
            self.rows[name] += 1
            self._held[name].append(row)
            if len(self._held[name]) >= BATCH:
                self._write(name)

    def _write(self, name: str) -> None:
        import pyarrow as pa

        table = pa.Table.from_pylist(self._held[name], schema=arrow_schema(schemas()[name]))
        self._files[name].write_table(table)
        self._held[name] = []


class Jobs(Protocol):
    """The jobs that tables are written of: of a van's own store, or of all vans on their hub."""

    def jobs(self) -> Sequence[str]:
        """Ids of the jobs, the first that began first."""

    def job(self, job: str) -> Job:
        """The job as its journal tells it."""

    def texts(self, refs: Iterable[Personal]) -> Mapping[str, str]:
        """Hash → text of those references whose text is here."""

    def books_entry(self, id_: str) -> Entry:
        """An entry of the books, by its id."""


def write_tables(shop: ShopContext, folder: Path, *, by_month: bool = False) -> Written:
    """Write the tables of all jobs of a shop. In a real shop jobs for trying out are left out.

    Args:
        by_month: As `write_tables_of`.

    Raises:
        InputError: the extra is not installed, or the folder holds tables of the other kind. OSError: the
            folder cannot be written.
    """

    def assess(job: Job) -> Assessment:
        return assessment_of(shop, job)

    return write_tables_of(
        shop.store, folder, shop.plugins, assess, demo=shop.demo, now=shop.now, by_month=by_month
    )


def write_tables_of(
    record: Jobs,
    folder: Path,
    plugins: Plugins,
    assess: Callable[[Job], Assessment],
    *,
    demo: bool,
    now: datetime,
    by_month: bool = False,
) -> Written:
    """Write the tables of all jobs of a record. A vehicle that several vans were at is one vehicle, where the
    record knows its plate.

    Args:
        by_month: A folder for the jobs of each month (`2026-03`), so that years are many files, of which
            those of one shop lie side by side; they are asked as one folder is.

    Raises:
        InputError: the extra is not installed, or the folder holds tables of the other kind. OSError: the
            folder cannot be written.
    """
    _must_be_of_one_kind(folder, by_month)
    order = record.jobs()
    ids = set(order)
    vehicles: dict[str, str] = {}
    pasts: list[Past] = []
    known = known_names(plugins, ids)
    writers: dict[str, TableWriter] = {}
    months: dict[str, str] = {}
    with contextlib.ExitStack() as stack:

        def writer_of(month: str) -> TableWriter:
            if month not in writers:
                writers[month] = stack.enter_context(TableWriter(folder / month, known))
            return writers[month]

        if not by_month:
            writer_of("")  # a shop without a job has tables without a row
        for id_ in order:
            job = record.job(id_)
            if not job.entries or (job.demo and not demo):
                continue
            past = past_of(job, _vehicle_of(record, job, vehicles))
            pasts.append(past)
            begun_in = job.entries[0].chain  # one chain a van
            ids.add(begun_in)
            months[job.id] = past.opened.strftime("%Y-%m") if by_month else ""
            rows = rows_of(assess(job), plugins, past, begun_in, _invoices_of(record, job))
            writer_of(months[job.id]).add(rows)
        for name, row in comebacks(pasts, now):
            writer_of(months[row["job"]]).add([(name, row)])
    return Written(
        folder=folder,
        rows={name: sum(one.rows[name] for one in writers.values()) for name in schemas()},
        left_out={name: sum(one.left_out[name] for one in writers.values()) for name in schemas()},
    )


def _must_be_of_one_kind(folder: Path, by_month: bool) -> None:
    """Return when no table in a folder would be counted twice."""
    other = folder.glob("*/jobs.parquet") if not by_month else folder.glob("jobs.parquet")
    if any(other):
        kind = "by month" if not by_month else "of all months together"
        raise InputError(
            f"{folder} holds tables {kind}, and each job would be in it twice. Name another folder."
        )


def _vehicle_of(record: Jobs, job: Job, vehicles: dict[str, str]) -> str:
    """The id of the first job of the same vehicle; one that nobody can tell any more is one by itself."""
    references = [one for one in (job.vehicle.vin, job.vehicle.plate) if isinstance(one, Personal)]
    texts = record.texts(references)
    for one in references:
        text = "".join(sign for sign in texts.get(one.hash, "").upper() if sign.isalnum())
        if text:
            return vehicles.setdefault(text, job.id)
    return job.id


def _invoices_of(record: Jobs, job: Job) -> dict[str, InvoiceIssued]:
    found = {}
    for noted in job.issued:
        entry = record.books_entry(noted.record.books_entry)
        found[entry.id] = RECORDS["invoice"](**entry.body)
    return found


def table_files(folder: Path) -> dict[str, list[Path]]:
    """The files of each table in a folder and the folders in it: of one van, or of several side by side.

    Raises:
        InputError: there is none of some table.
    """
    found = {name: sorted(folder.rglob(f"{name}.parquet")) for name in schemas()}
    if missing := [name for name, files in found.items() if not files]:
        raise InputError(
            f"{folder} holds no tables ({', '.join(missing)} missing); write them with"
            f" `corekit tables {folder}`."
        )
    return found
