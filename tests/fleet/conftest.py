"""A throw-away PostgreSQL server and one small Spark session for all tests of this folder."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from corekit.plugin.host import Plugins, load


@pytest.fixture(scope="session")
def plugins() -> Plugins:
    return load()


def missing(what: str) -> None:
    """Where every engine has to be there its absence is a failure."""
    if os.environ.get("COREKIT_CI"):
        pytest.fail(f"{what} is not installed; .ci/run installs it")
    pytest.skip(f"{what} is not installed")


@pytest.fixture(scope="session")
def postgres() -> Iterator[str]:
    """Address of a server of its own, which goes with the tests."""
    servers = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    if not servers:
        missing("PostgreSQL")
    programs = servers[-1].parent
    # Not where the tests' other files are: that folder may be closed to the server's own user.
    folder = Path(tempfile.mkdtemp(prefix="corekit-pg-", dir="/tmp"))
    as_user: list[str] = []
    if os.getuid() == 0:  # the server refuses to be run by root
        shutil.chown(folder, "postgres")
        as_user = ["runuser", "-u", "postgres", "--"]
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    data = folder / "data"

    def run(*words: str) -> None:
        subprocess.run([*as_user, *words], check=True, stdout=subprocess.DEVNULL, cwd=folder)

    try:
        run(f"{programs}/initdb", "-D", f"{data}", "-U", "postgres", "-A", "trust", "--no-sync", "-E", "UTF8")
        said = f"-p {port} -k {folder} -c listen_addresses=127.0.0.1 -c fsync=off"
        run(f"{programs}/pg_ctl", "-D", f"{data}", "-w", "-l", f"{folder}/log", "-o", said, "start")
        try:
            yield f"postgresql://postgres@127.0.0.1:{port}/postgres"
        finally:
            run(f"{programs}/pg_ctl", "-D", f"{data}", "-m", "immediate", "stop")
    finally:
        shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture(scope="session")
def spark() -> Iterator[object]:
    if shutil.which("java") is None:
        missing("Java")
    from corekit.fleet.engines import local_spark

    session = local_spark(spark_sql_codegen_wholeStage="false", spark_sql_adaptive_enabled="false")
    yield session
    session.stop()
