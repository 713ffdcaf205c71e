"""Questions over many jobs, and learning from them, with their times.

Run it: python tests/benchmarks/bench_fleet.py [--drawn 10000] [--tables FOLDER] [--seed 20261129]
[--engines duckdb,postgres,spark] [--spark-most 10000] [--learn]

Tables of so many generated jobs are drawn (how a job goes stands in tests/fleet/generated.py), or taken from
a folder; then ten times as many are made of them, the same ones under other ids, so that growth by ten is
shown. Every question is asked of both on each engine, and the answers of the engines are held against each
other. Before that, what a real job costs that is assessed for its rows: of the demo's. Times are seconds of
processor of this program and what it started (Spark), and of PostgreSQL; beside them those by the clock.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import math
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import pyarrow.compute as pc
import pyarrow.parquet as pq

from corekit.cli import main as corekit
from corekit.desk.shop import Shop
from corekit.fleet.answer import Answer, answer_of
from corekit.fleet.engines import load_postgres, local_spark, on_duckdb, on_postgres, on_spark
from corekit.fleet.learning import learn
from corekit.fleet.questions import QUESTIONS
from corekit.fleet.schema import ColumnKind, schemas
from corekit.fleet.tables import write_tables
from corekit.fleet.visits import retested_visits
from corekit.hub.throwaway import throwaway_server
from corekit.plugin.host import load
from tests.benchmarks.processor import Clock, folder_of
from tests.fleet.generated import fault_tables, generated


def asked(clock: Clock, engine: str, place: Any, count: int) -> dict[str, Answer]:
    found = {}
    with place as tables:
        for key, question in QUESTIONS.items():
            with clock.timed(f"{engine}, {key}, {count}"):
                found[key] = answer_of(question, tables)
    return found


def differ(one: Answer, other: Answer) -> int:
    """How many numbers of two answers differ by more than the last digits."""
    if len(one.rows) != len(other.rows):
        return max(len(one.rows), len(other.rows))
    return sum(
        not (mine == theirs or math.isclose(mine, theirs, rel_tol=1e-9, abs_tol=1e-9))
        for first, second in zip(one.rows, other.rows, strict=True)
        for mine, theirs in zip(first.values(), second.values(), strict=True)
        if isinstance(mine, (int, float)) or mine != theirs
    )


def real_jobs() -> None:
    """What a job of the demo costs."""
    with tempfile.TemporaryDirectory() as made, contextlib.chdir(made):
        with contextlib.redirect_stdout(io.StringIO()):
            corekit(["demo"])
        with Shop(Path(made, "demo-out")) as shop:
            write_tables(shop.context, Path(made, "warm"))
            began = time.perf_counter()
            rows = write_tables(shop.context, Path(made, "tables")).rows
        print(f"  a real job: {1000 * (time.perf_counter() - began) / rows['jobs']:.0f} ms", flush=True)


def tenfold(small: Path, large: Path) -> None:
    """The same jobs ten times, each time under other ids."""
    large.mkdir()
    for name, table in schemas().items():
        rows = pq.read_table(small / f"{name}.parquet")
        ids = [one.name for one in table.columns if one.kind in (ColumnKind.ID, ColumnKind.VEHICLE)]
        with pq.ParquetWriter(large / f"{name}.parquet", rows.schema) as file:
            for number in range(10):
                again = rows
                for one in ids:
                    other = pc.binary_join_element_wise(rows[one], f"-{number}", "")
                    again = again.set_column(rows.schema.get_field_index(one), rows.schema.field(one), other)
                file.write_table(again)


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--drawn", type=int, default=10_000)
    parser.add_argument("--tables", default="", help="start from these")
    parser.add_argument("--seed", type=int, default=20261129)
    parser.add_argument("--engines", default="duckdb,postgres,spark")
    parser.add_argument("--spark-most", type=int, default=10_000, help="of more jobs Spark is not asked")
    parser.add_argument("--learn", action="store_true", help="learn from the tables as well")
    args = parser.parse_args()
    plugins = load()
    faults = fault_tables(plugins)
    real_jobs()
    spark = local_spark() if "spark" in args.engines else None
    with contextlib.ExitStack() as stack:
        made, address, clock = stack.enter_context(tempfile.TemporaryDirectory()), "", Clock()
        if "postgres" in args.engines:
            server = stack.enter_context(throwaway_server(Path(tempfile.gettempdir())))
            address = f"postgresql://corekit@/postgres?host={folder_of(server)}"
            clock = Clock(folder_of(server))
        small, large = Path(args.tables or Path(made, "drawn")), Path(made, "ten times")
        if not args.tables:
            with clock.timed(f"draw and write {args.drawn} jobs"):
                generated(small, plugins, faults, args.drawn, args.seed)
        tenfold(small, large)
        for folder in (small, large):
            rows = {name: pq.read_metadata(folder / f"{name}.parquet").num_rows for name in schemas()}
            count, size = rows["jobs"], sum(file.stat().st_size for file in folder.iterdir())
            told = f"{sum(rows.values())} rows, {size / 1e6:.1f} MB, {size / count:.0f} bytes a job"
            print(f"{count} jobs, {told}", flush=True)
            answers = {}
            if "duckdb" in args.engines:
                answers["duckdb"] = asked(clock, "duckdb", on_duckdb(folder), count)
            if address:
                with clock.timed(f"load into PostgreSQL, {count}"):
                    load_postgres(address, folder)
                answers["postgres"] = asked(clock, "postgres", on_postgres(address), count)
            if spark is not None and count <= args.spark_most:
                answers["spark"] = asked(clock, "spark", on_spark(folder, spark), count)
            first, *others = answers
            for other in others:
                apart = sum(differ(answers[first][key], answers[other][key]) for key in QUESTIONS)
                rows = sum(len(answer.rows) for answer in answers[first].values())
                print(
                    f"  {first} and {other}, {rows} rows of {count} jobs: {apart} numbers differ", flush=True
                )
            if args.learn:
                with on_duckdb(folder) as tables, clock.timed(f"read visits, {count}"):
                    visits = retested_visits(tables, faults)
                with clock.timed(f"learn from {len(visits)} visits"):
                    learning = learn(visits, faults)
                changes = learning.changes
                print(f"  proposed: {len(changes.odds)} faults, {len(changes.rows)} rows of tests")


if __name__ == "__main__":
    main()
