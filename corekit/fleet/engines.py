"""Where the tables are asked: DuckDB over their files, PostgreSQL, or Spark."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..errors import InputError
from .extra import needs
from .schema import schemas
from .tables import arrow_schema, table_files

if TYPE_CHECKING:
    import ibis
    from pyspark.sql import SparkSession

    from .questions import Tables

#: The schema of a PostgreSQL database that holds the published tables.
POSTGRES_SCHEMA = "corekit_tables"
_ROWS = 10_000


@contextmanager
def on_duckdb(folder: Path) -> Iterator[Tables]:
    """The tables of a folder, read where they lie by DuckDB in this process.

    Raises:
        InputError: the extra is not installed, or there are no tables.
    """
    needs("ibis", "duckdb")
    import ibis

    connection = ibis.duckdb.connect()
    try:
        yield {
            name: connection.read_parquet([str(file) for file in files], table_name=name)
            for name, files in table_files(folder).items()
        }
    finally:
        connection.disconnect()


@contextmanager
def on_postgres(address: str) -> Iterator[Tables]:
    """The tables that `load_postgres` put into a database.

    Raises:
        InputError: the extra is not installed, or the database does not hold them.
    """
    connection = _postgres(address)
    try:
        there = set(connection.list_tables(database=POSTGRES_SCHEMA))
        if missing := sorted(schemas().keys() - there):
            raise InputError(
                f"The database holds no tables ({', '.join(missing)} missing); put them there with"
                " `corekit tables FOLDER --to ADDRESS`."
            )
        yield {name: connection.table(name, database=POSTGRES_SCHEMA) for name in schemas()}
    finally:
        connection.disconnect()


def load_postgres(address: str, folder: Path) -> None:
    """Put the tables of a folder into a PostgreSQL database, in place of those that are there, in one
    transaction.

    Raises:
        InputError: the extra is not installed, or there are no tables. psycopg.Error: the database refused.
    """
    needs("psycopg", "pyarrow")
    import psycopg
    import pyarrow.parquet as pq
    from psycopg import sql

    kinds = {"string": "text", "double": "double precision", "int64": "bigint", "bool": "boolean"}
    files = table_files(folder)
    with psycopg.connect(address) as connection, connection.cursor() as cursor:
        cursor.execute(sql.SQL("CREATE SCHEMA IF NOT EXISTS {}").format(sql.Identifier(POSTGRES_SCHEMA)))
        for name, table in schemas().items():
            there = sql.Identifier(POSTGRES_SCHEMA, name)
            columns = [
                sql.SQL("{} {}").format(sql.Identifier(field.name), sql.SQL(kinds[str(field.type)]))
                for field in arrow_schema(table)
            ]
            cursor.execute(sql.SQL("DROP TABLE IF EXISTS {}").format(there))
            cursor.execute(sql.SQL("CREATE TABLE {} ({})").format(there, sql.SQL(", ").join(columns)))
            with cursor.copy(sql.SQL("COPY {} FROM STDIN").format(there)) as copy:
                for file in files[name]:
                    for batch in pq.ParquetFile(file).iter_batches(_ROWS):
                        for row in zip(*(column.to_pylist() for column in batch.columns), strict=True):
                            copy.write_row(row)
            cursor.execute(sql.SQL("ANALYZE {}").format(there))


def _postgres(address: str) -> ibis.BaseBackend:
    needs("ibis", "psycopg")
    import ibis

    return ibis.connect(address)


@contextmanager
def on_spark(folder: Path, session: SparkSession | None = None) -> Iterator[Tables]:
    """The tables of a folder, asked by Spark: a session of the caller's, or a local one for this once.

    Raises:
        InputError: the extra is not installed, or there are no tables.
    """
    needs("ibis", "pyspark")
    import ibis

    files = table_files(folder)
    spark = session or local_spark()
    try:
        connection = ibis.pyspark.connect(spark)
        found = {}
        for name, paths in files.items():
            spark.read.parquet(*map(str, paths)).createOrReplaceTempView(name)
            found[name] = connection.table(name)
        yield found
    finally:
        if session is None:
            spark.stop()


def local_spark(**settings: Any) -> SparkSession:
    """A small Spark session in this machine, on its own address alone."""
    from pyspark.sql import SparkSession

    builder = SparkSession.builder.master("local[2]").appName("corekit")
    for key, value in {
        "spark.sql.shuffle.partitions": "2",
        "spark.default.parallelism": "2",
        "spark.sql.session.timeZone": "UTC",
        "spark.ui.enabled": "false",
        "spark.ui.showConsoleProgress": "false",
        "spark.driver.bindAddress": "127.0.0.1",
        "spark.driver.host": "127.0.0.1",
        "spark.driver.memory": "1g",
        **{name.replace("_", "."): str(value) for name, value in settings.items()},
    }.items():
        builder = builder.config(key, value)
    session = builder.getOrCreate()
    session.sparkContext.setLogLevel("ERROR")
    return session


@contextmanager
def tables_on(where: str, folder: Path) -> Iterator[Tables]:
    """The tables on the engine that somebody names: `duckdb`, `spark`, or the address of a PostgreSQL
    database that holds them.

    Raises:
        InputError: there is no such engine, or no tables on it.
    """
    if where.startswith(("postgresql://", "postgres://")):
        with on_postgres(where) as tables:
            yield tables
    elif where == "spark":
        with on_spark(folder) as tables:
            yield tables
    elif where == "duckdb":
        with on_duckdb(folder) as tables:
            yield tables
    else:
        raise InputError(f"--on: {where!r} is no place to ask; write duckdb, spark or postgresql://….")
