"""The throw-away PostgreSQL server goes with whoever started it."""

from __future__ import annotations

import signal
import subprocess
import sys
import time
from pathlib import Path

import psycopg
import pytest

from corekit.hub.throwaway import programs, throwaway_server

HOLDER = """
import time
from corekit.hub.throwaway import throwaway_server
with throwaway_server() as address:
    print(address, flush=True)
    time.sleep(600)
"""


def folder_of(address: str) -> Path:
    return Path(address.split(maxsplit=1)[0].removeprefix("host="))


def runs(pid: int) -> bool:
    """Whether a process runs; one that has ended and was not asked for its end yet does not."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except FileNotFoundError:
        return False


def are_gone(folder: Path, pid: int) -> bool:
    until = time.monotonic() + 60
    while time.monotonic() < until and (folder.exists() or runs(pid)):
        time.sleep(0.05)
    return not folder.exists() and not runs(pid)


@pytest.mark.skipif(programs() is None, reason="PostgreSQL is not installed here")
def test_a_server_whose_program_was_killed_stops_and_leaves_nothing() -> None:
    with subprocess.Popen([sys.executable, "-c", HOLDER], stdout=subprocess.PIPE, text=True) as holder:
        assert holder.stdout is not None
        address = holder.stdout.readline().strip()
        folder = folder_of(address)
        with psycopg.connect(address) as line:
            assert line.execute("SELECT 1").fetchone() == (1,)
        postmaster = int((folder / "data" / "postmaster.pid").read_text().split()[0])
        assert runs(postmaster)
        holder.send_signal(signal.SIGKILL)
        holder.wait()
    assert are_gone(folder, postmaster)


@pytest.mark.skipif(programs() is None, reason="PostgreSQL is not installed here")
def test_a_server_is_gone_behind_its_block() -> None:
    with throwaway_server() as address:
        folder = folder_of(address)
        postmaster = int((folder / "data" / "postmaster.pid").read_text().split()[0])
    assert are_gone(folder, postmaster)
