"""The database under a hub: opened, brought to today's schema, and lent out a line at a time."""

from __future__ import annotations

import contextlib
import threading
from collections.abc import Iterator
from typing import Any

import psycopg

from .errors import DatabaseError, HubError
from .tables import STEPS

Line = psycopg.Connection[tuple[Any, ...]]

#: What writers of one hub wait for: the letters `corehub`. They write one after the other, so that what came
#: later also counts higher.
WRITING = 0x636F7265687562
_IDLE = 8


class HubDatabase:
    """Lines to one PostgreSQL database. Safe to use from several threads."""

    def __init__(self, address: str) -> None:
        """Open it and bring its tables up to date.

        Args:
            address: As libpq takes it: `postgresql://…` or `host=… dbname=…`.

        Raises:
            DatabaseError: it cannot be reached. HubError: a newer program wrote it.
        """
        self.address = address
        self._idle: list[Line] = []
        self._lock = threading.Lock()
        with self.line() as line:
            _bring_up_to_date(line)

    @contextlib.contextmanager
    def line(self) -> Iterator[Line]:
        """One transaction: everything in the block is kept when it ends, or, if it raises, nothing is.

        Raises:
            DatabaseError: it cannot be reached. HubError: it cannot hold what it is given.
        """
        line = self._taken()
        try:
            with line.transaction():
                yield line
        except BaseException as error:
            line.close()
            if isinstance(error, psycopg.OperationalError):
                raise DatabaseError(
                    f"The database of the hub is in trouble ({_words(error)}). Try again."
                ) from error
            if isinstance(error, psycopg.DataError):  # a sign or a size that no column holds
                raise HubError(
                    f"What came holds a value that cannot be kept ({_words(error)}). Nothing was taken in."
                ) from error
            raise
        with self._lock:
            if len(self._idle) < _IDLE:
                self._idle.append(line)
                return
        line.close()

    @contextlib.contextmanager
    def writing(self) -> Iterator[Line]:
        """As `line`, while nobody else writes into this hub."""
        with self.line() as line:
            line.execute("SELECT pg_advisory_xact_lock(%s)", (WRITING,))
            yield line

    def close(self) -> None:
        with self._lock:
            for line in self._idle:
                line.close()
            self._idle.clear()

    def _taken(self) -> Line:
        while True:
            with self._lock:
                line = self._idle.pop() if self._idle else None
            if line is None:
                break
            with contextlib.suppress(psycopg.Error):
                line.execute("SELECT 1")  # the server may have been started anew meanwhile
                return line
            line.close()
        try:
            return psycopg.connect(self.address, autocommit=True, connect_timeout=10)
        except psycopg.Error as error:
            raise DatabaseError(
                f"The database of the hub cannot be reached ({_words(error)}). Name one that exists with"
                " --database, e.g. postgresql:///corekit; `createdb corekit` makes it."
            ) from error


def _bring_up_to_date(line: Line) -> None:
    line.execute("SELECT pg_advisory_xact_lock(%s)", (WRITING,))
    line.execute("CREATE TABLE IF NOT EXISTS schema_step (n integer PRIMARY KEY)")
    found = line.execute("SELECT coalesce(max(n), 0) FROM schema_step").fetchone()
    taken = int(found[0]) if found else 0
    if taken > len(STEPS):
        raise HubError(
            f"This hub was written by a newer corekit (schema {taken}; this one knows {len(STEPS)}). Install"
            " the newer program; nothing was changed."
        )
    for n, statements in enumerate(STEPS[taken:], taken + 1):
        for statement in statements:
            line.execute(statement)
        line.execute("INSERT INTO schema_step VALUES (%s)", (n,))


def _words(error: Exception) -> str:
    return " ".join(str(error).split()) or type(error).__name__
