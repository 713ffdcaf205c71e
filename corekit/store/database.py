"""The file under a store: made and opened, read in one unchanging view, written in one transaction."""

from __future__ import annotations

import contextlib
import os
import sqlite3
import tempfile
import threading
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import Self

from ..files import name_once
from ..model.entry import utc_text
from . import schema, seals
from .door import Door
from .errors import StoreError, store_error
from .mark import random_id
from .reading import connect_to_read, may_be_written
from .seen import missing_since_seen, note_seen, seen_path

LINEAGE_LETTERS = 12


def utc_now() -> str:
    """This moment, RFC 3339 UTC."""
    return utc_text(datetime.now(UTC))


class Database:
    """One store file, open. Safe to use from several threads; several programs may have it open.

    Every writer begins IMMEDIATE, commits under WAL and synchronous=FULL, and returns after the commit.

    Attributes:
        door: What looks at everything on its way in; see `Door`.
        is_read_only: It may not be written, and is read as it lies or from a copy.
    """

    is_read_only: bool
    _copy: tempfile.TemporaryDirectory[str] | None

    def __init__(self, path: Path, connection: sqlite3.Connection, now: Callable[[], str]) -> None:
        self.path = path
        self.door = Door()
        self._connection = connection
        self._now = now
        self._lock = threading.RLock()

    @classmethod
    def create(cls, path: Path, *, demo: bool, now: Callable[[], str] | None = None) -> Self:
        """Make a new store at `path`, readable by its owner only, and open it.

        It is built beside its place and moved there when it is whole, so a cut creation leaves no half store.

        Raises:
            StoreError: something stands at `path` already, or its folder does not exist or may not be
                written.
        """
        path = Path(path)
        if path.exists():
            raise StoreError(
                f"{path} exists already. Open it, or create the new store under another name; nothing was"
                " changed."
            )
        unfinished = path.with_name(f".{path.name}.{random_id(8)}.new")
        try:
            os.close(os.open(unfinished, os.O_CREAT | os.O_EXCL | os.O_RDWR, 0o600))
            try:
                _create_tables(unfinished, demo, (now or utc_now)())
                name_once(unfinished, path)
                seen_path(path).unlink(missing_ok=True)  # that was of another store
            finally:
                for rest in ("", "-wal", "-shm"):
                    unfinished.with_name(unfinished.name + rest).unlink(missing_ok=True)
        except sqlite3.Error as error:
            raise store_error(error, path) from error
        except FileExistsError as error:
            raise StoreError(
                f"{path} exists already. Open it, or create the new store under another name; nothing was"
                " changed."
            ) from error
        except OSError as error:
            raise StoreError(
                f"No store can be made at {path}: {error.strerror}. Its folder must exist, be writable, and"
                " have room."
            ) from error
        return cls.open(path, now=now)

    @classmethod
    def open(
        cls, path: Path, *, now: Callable[[], str] | None = None, patience: float = schema.PATIENCE
    ) -> Self:
        """Open the store at `path`.

        Args:
            now: Gives the time of recording, RFC 3339 UTC; the machine's clock if None.
            patience: How long a writer waits for another one, [s].

        Raises:
            StoreError: there is no file, it is no corekit store, a newer program wrote it, or it cannot be
                opened.
        """
        path = Path(path)
        if not path.exists():
            raise StoreError(f"There is no store at {path}. Check the name, or make one with `corekit init`.")
        if not path.is_file():
            raise StoreError(f"{path} is not a file, so it is no corekit store. Name the store's own file.")
        copy, is_read_only = None, not may_be_written(path)
        try:
            if is_read_only:
                connection, copy = connect_to_read(path, patience)
            else:
                connection = schema.connect(path, patience)
            try:
                where = path if copy is None else Path(copy.name, path.name)
                _admit(connection, where, now or utc_now, is_immutable=is_read_only and copy is None)
            except BaseException:
                connection.close()
                if copy is not None:
                    copy.cleanup()
                raise
        except sqlite3.Error as error:
            raise store_error(error, path) from error
        except OSError as error:
            raise StoreError(
                f"No copy of {path} could be made before bringing it up to date: {error.strerror}. Make"
                " room beside it."
            ) from error
        store = cls(path, connection, now or utc_now)
        store.is_read_only, store._copy = is_read_only, copy
        return store

    def close(self) -> None:
        """Bring everything into the one file and close it. Closing twice is nothing."""
        with self._lock:
            # A reader elsewhere or a full disk may keep the journal file from being folded in; what was
            # acknowledged stands in it all the same.
            with contextlib.suppress(sqlite3.Error):
                self._connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
            self._connection.close()
            if self._copy is not None:
                self._copy.cleanup()

    def copy_to(self, target: Path) -> None:
        """A copy of the store as it stands, in one file at `target`, readable by its owner only; others may
        write to the store meanwhile.

        Raises:
            StoreError: it could not be written; what stands at `target` then is no copy.
        """
        try:
            os.close(os.open(target, os.O_CREAT | os.O_EXCL | os.O_RDWR, 0o600))
            own = self._open()
            # By a connection of its own: nobody who uses this one waits for the copy.
            with (
                contextlib.nullcontext(own)
                if self.is_read_only
                else contextlib.closing(schema.connect(self.path)) as here,
                contextlib.closing(schema.connect(target)) as copy,
            ):
                here.backup(copy)
                copy.execute("PRAGMA journal_mode = DELETE")
            with target.open("rb+") as file:
                os.fsync(file.fileno())
        except sqlite3.Error as error:
            raise store_error(error, target) from error
        except OSError as error:
            raise StoreError(
                f"No copy of the store could be written to {target}: {error.strerror}. Its folder must exist,"
                " be writable, and have room."
            ) from error

    def must_be_writable(self) -> None:
        """Return when the store may be written.

        Raises:
            StoreError: it may only be read.
        """
        if self.is_read_only:
            raise store_error(sqlite3.OperationalError("read-only"), self.path, is_read_only=True)

    @property
    def missing(self) -> int:
        """How many entries were seen under this store's name that it lacks: it is an older copy of itself."""
        with self._reading() as connection:
            return missing_since_seen(connection, self.path)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def now(self) -> str:
        """This moment as it would be recorded, RFC 3339 UTC."""
        return self._now()

    @property
    def lineage(self) -> str:
        """Name of the chain that this store's jobs are written in."""
        return self._meta("lineage")

    @property
    def device(self) -> str:
        """Letters of this device in the numbers of invoices, where the store says so; else the shop does."""
        with self._reading() as connection:
            row = connection.execute(seals.select("meta", "WHERE key = 'device'")).fetchone()
        return "" if row is None else str(seals.columns_without_seal("meta", row)[1])

    @property
    def demo(self) -> bool:
        """True in a store for trying things out; its papers say DEMO."""
        value = self._meta("demo")
        if value not in ("0", "1"):
            raise StoreError(
                f"The store {self.path} no longer says whether it is a demo. Run `corekit verify`, and go"
                " back to the last backup."
            )
        return value == "1"

    @property
    def schema_version(self) -> int:
        with self._reading() as connection:
            return schema.version(connection)

    def _meta(self, key: str) -> str:
        with self._reading() as connection:
            row = connection.execute(seals.select("meta", "WHERE key = ?"), (key,)).fetchone()
        if row is None:
            raise StoreError(
                f"The store {self.path} has lost its {key}. Run `corekit verify`, and go back to the last"
                " backup."
            )
        return str(seals.columns_without_seal("meta", row)[1])

    @contextlib.contextmanager
    def _reading(self) -> Iterator[sqlite3.Connection]:
        """One unchanging view of the file; inside a writer, the writer's own."""
        with self._lock:
            nested = self._open().in_transaction
            try:
                if not nested:
                    self._connection.execute("BEGIN")
                yield self._connection
            except sqlite3.Error as error:
                raise store_error(error, self.path) from error
            finally:
                if not nested:
                    self._roll_back()

    @contextlib.contextmanager
    def _writing(self) -> Iterator[sqlite3.Connection]:
        """One transaction: everything written in it is on the disk when it ends, or nothing is."""
        self.must_be_writable()
        with self._lock:
            if self._open().in_transaction:
                raise StoreError(
                    f"Something tried to write to {self.path} within another write. What builds an invoice"
                    " may read the store, not write it."
                )
            try:
                self._connection.execute("BEGIN IMMEDIATE")
                yield self._connection
                if self._connection.in_transaction:  # else it was cancelled
                    self._commit()
            except sqlite3.Error as error:
                self._roll_back()
                raise store_error(error, self.path) from error
            except BaseException:
                self._roll_back()
                raise

    def _commit(self) -> None:
        self._connection.execute("COMMIT")
        note_seen(self._connection, self.path)

    def _roll_back(self) -> None:
        # A full disk has rolled back by itself already, and a second ROLLBACK would hide the first problem.
        if self._connection.in_transaction:
            with contextlib.suppress(sqlite3.Error):
                self._connection.execute("ROLLBACK")

    def _open(self) -> sqlite3.Connection:
        try:
            _ = self._connection.total_changes
        except sqlite3.ProgrammingError as error:
            raise StoreError(f"The store {self.path} was closed. Open it again.") from error
        return self._connection

    def _sweep(self, job: str) -> None:
        """Destroy a job's personal texts in the copies that migrations made too, and rewrite the file, so
        that nothing deleted is left in it or beside it.
        """
        with self._lock:
            try:
                for backup in schema.backups(self.path):
                    with contextlib.closing(schema.connect(backup)) as copy:
                        copy.execute("BEGIN IMMEDIATE")
                        schema.destroy(copy, job)
                        copy.execute("COMMIT")
                        copy.execute("VACUUM")
                self._open().execute("VACUUM")
                busy, *_ = self._connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
            except sqlite3.Error as error:
                raise store_error(error, self.path) from error
            if busy:
                raise StoreError(
                    f"The texts are destroyed, but another program that has {self.path} open keeps an old"
                    " state of it on the disk. Close that program and ask again."
                )


def lineage_name(generation: int) -> str:
    """A name for a chain; the names count up, so that what is written later also sorts later."""
    return f"{generation:03d}-{random_id(LINEAGE_LETTERS)}"


def _create_tables(path: Path, demo: bool, at: str) -> None:
    connection = schema.connect(path)
    try:
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("BEGIN IMMEDIATE")
        schema.create_tables(connection)
        for number in range(schema.SCHEMA):
            schema.step(connection, number, at)
        seals.insert(connection, "meta", ("lineage", lineage_name(1)), ("demo", "1" if demo else "0"))
        connection.execute("COMMIT")
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    finally:
        connection.close()


def _admit(
    connection: sqlite3.Connection, path: Path, now: Callable[[], str], *, is_immutable: bool = False
) -> None:
    """Let a store in that this program can work with, brought to today's schema."""
    if not schema.is_store(connection):
        raise StoreError(
            f"{path} is not a corekit store. Name the store's own file, or create a store somewhere else."
        )
    version = schema.version(connection)
    if version > schema.SCHEMA:
        raise StoreError(
            f"The store {path} was written by a newer corekit (schema {version}; this one knows"
            f" {schema.SCHEMA}). Install the newer program; nothing was changed."
        )
    if is_immutable:
        return
    mode = connection.execute("PRAGMA journal_mode = WAL").fetchone()[0]
    if mode != "wal":
        raise StoreError(
            f"The store {path} lies on a file system where a write-ahead log cannot be kept (got {mode})."
            " Move it to a local disk."
        )
    if version < schema.SCHEMA:
        schema.migrate(connection, path, now)
