"""A PostgreSQL server for trying things out: made in a folder, gone with it, reached through that folder
alone.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path

from .errors import HubError

#: Where Debian keeps the programs of each version.
_DEBIAN = Path("/usr/lib/postgresql")
_PATIENCE = 60


def programs() -> Path | None:
    """The folder with `initdb` and `pg_ctl`, of the newest PostgreSQL of this machine; None where there is
    none.
    """
    found = shutil.which("initdb")
    if found and (Path(found).resolve().parent / "pg_ctl").exists():
        return Path(found).resolve().parent
    versions = sorted(
        (path for path in _DEBIAN.glob("*/bin") if (path / "initdb").exists()),
        key=lambda path: float(path.parent.name),
    )
    return versions[-1] if versions else None


#: Waits until whoever holds the other end of its input is gone, however it went, and clears up: the server is
#: stopped, its folder removed.
_CLEAR_UP = 'read -r _; "$0" -D "$1/data" -m immediate -w stop; rm -rf "$1"'


@contextlib.contextmanager
def throwaway_server(parent: Path = Path("/tmp")) -> Iterator[str]:
    """The address of an empty database, on a server that runs as long as the block lasts, and no longer than
    this process, even if that is killed.

    Args:
        parent: Where its folder is made; a short path, because that of a socket is at most about a hundred
            letters, and one that everybody may enter.

    Raises:
        HubError: PostgreSQL is not installed here, or does not start.
    """
    bin_ = programs()
    if bin_ is None:
        raise HubError(
            "PostgreSQL is not installed on this machine. Install it, on Debian with `apt install"
            " postgresql`."
        )
    folder = Path(tempfile.mkdtemp(prefix="corekit-pg-", dir=parent if parent.is_dir() else None))
    # PostgreSQL refuses to run as root.
    user = "postgres" if os.name == "posix" and os.geteuid() == 0 else None
    with _cleared_up(user, folder, bin_):
        if user:
            shutil.chown(folder, user)
        options = (
            f"-c listen_addresses= -c unix_socket_directories={folder} -c fsync=off -c full_page_writes=off"
        )
        new = ("-U", "corekit", "-A", "trust", "-N", "-E", "UTF8", "--no-locale")
        _run(user, folder, bin_ / "initdb", "-D", folder / "data", *new)
        log = ("-l", folder / "log", "-w", "-t", str(_PATIENCE))
        _run(user, folder, bin_ / "pg_ctl", "-D", folder / "data", *log, "-o", options, "start")
        yield f"host={folder} user=corekit dbname=postgres"


@contextlib.contextmanager
def _cleared_up(user: str | None, folder: Path, bin_: Path) -> Iterator[None]:
    """Behind the block, or when this process ends before that, server and folder are gone."""
    watcher = subprocess.Popen(
        ["sh", "-c", _CLEAR_UP, str(bin_ / "pg_ctl"), str(folder)],
        stdin=subprocess.PIPE,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        user=user,
        cwd="/",
        start_new_session=True,  # Ctrl-C is for us; this one goes when we are gone
    )
    try:
        yield
    finally:
        assert watcher.stdin is not None
        watcher.stdin.close()
        watcher.wait()
        shutil.rmtree(folder, ignore_errors=True)  # what its own user may not remove


def _run(user: str | None, folder: Path, *words: str | Path) -> None:
    # What stays open in the server would keep whoever reads our output waiting.
    with (folder / "out").open("ab") as out:
        run = subprocess.run(
            list(map(str, words)),
            stdin=subprocess.DEVNULL,
            stdout=out,
            stderr=out,
            user=user,
            cwd="/",
            check=False,
        )
    if run.returncode:
        said = " ".join((folder / "out").read_text("utf-8", "replace").split())[-400:]
        raise HubError(f"PostgreSQL did not start here: {said}")
