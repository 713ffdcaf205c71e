"""Questions about many jobs, each answered from the lists; no journal is read for them."""

from __future__ import annotations

from collections.abc import Sequence

from . import movements, queries
from .database import Database
from .list_rows import InvoiceRow, JobRow
from .movements import DrawerMove, MoneyRow


class Lists(Database):
    """One store file, open, and what its lists answer."""

    def jobs(self) -> list[str]:
        """Ids of all jobs, in the order in which they began."""
        with self._reading() as connection:
            return queries.jobs(connection)

    @property
    def job_count(self) -> int:
        """How many jobs there are."""
        with self._reading() as connection:
            return queries.job_count(connection)

    def names(self) -> dict[str, list[str]]:
        """Job → the names its files or screens gave it, in the order in which jobs began."""
        with self._reading() as connection:
            return queries.names(connection)

    def names_of(self, job: str) -> list[str]:
        """The names that a job's files or screens gave it, the oldest first."""
        with self._reading() as connection:
            return queries.names_of(connection, job)

    def called(self, job: str) -> str:
        """What a job is called: its latest name, or its id where that was forgotten."""
        return (self.names_of(job) or [job])[-1]

    def names_beginning(self, beginning: str) -> list[str]:
        """Every name of a job that begins with this."""
        with self._reading() as connection:
            return queries.names_beginning(connection, beginning)

    def job_called(self, name: str) -> str | None:
        """Id of the job that a file or a screen gave this name; None where there is none."""
        with self._reading() as connection:
            return queries.job_called(connection, name)

    def open_jobs(self, most: int, before: int | None = None) -> list[JobRow]:
        """Jobs that are open, the one that began last first; see `corekit.store.listing`.

        Args:
            most: So many of them at most.
            before: Of those that began before the one of this `began`.
        """
        with self._reading() as connection:
            return queries.open_jobs(connection, most, before)

    def closed_jobs(self, most: int, before: int | None = None) -> list[JobRow]:
        """Jobs that are on an invoice or over, the one that was closed last first; as `open_jobs`, by
        `closed`.
        """
        with self._reading() as connection:
            return queries.closed_jobs(connection, most, before)

    def due_jobs(self, until: str, most: int) -> list[JobRow]:
        """Open jobs with an appointment on or before a day (YYYY-MM-DD), the earliest first."""
        with self._reading() as connection:
            return queries.due_jobs(connection, until, most)

    def later_jobs(self, after: str, most: int) -> list[JobRow]:
        """Open jobs with an appointment after a day, the earliest first."""
        with self._reading() as connection:
            return queries.later_jobs(connection, after, most)

    def recalled_jobs(self, until: str, most: int) -> list[JobRow]:
        """Jobs whose vehicle is to be looked at again on or before a day, the earliest first."""
        with self._reading() as connection:
            return queries.recalled_jobs(connection, until, most)

    def jobs_without_part(self, most: int) -> list[JobRow]:
        """Open jobs that wait for a part."""
        with self._reading() as connection:
            return queries.jobs_without_part(connection, most)

    def owing_jobs(self, most: int) -> list[tuple[JobRow, InvoiceRow]]:
        """Invoices that are not paid, the one that was to be paid first at the top, each with a job of it."""
        with self._reading() as connection:
            return queries.owing_jobs(connection, most)

    def found_jobs(self, words: Sequence[str], most: int) -> list[JobRow]:
        """Jobs that are found by all of these words (`model.search_words`)."""
        with self._reading() as connection:
            return queries.found_jobs(connection, words, most)

    def jobs_of_vehicle(self, word: str, kind: str, most: int, before: str = "") -> list[JobRow]:
        """The jobs of the vehicle with this very plate or VIN, the one that began last first; those that
        began before the job of an id, where one is given.
        """
        with self._reading() as connection:
            return queries.jobs_of_vehicle(connection, word, kind, most, before)

    def jobs_of_same_customer(self, job: str) -> list[JobRow]:
        """The other jobs of a job's customer, by name and address, that something was approved in and that
        are on no invoice; the one that began first at the top.
        """
        with self._reading() as connection:
            return queries.jobs_of_same_customer(connection, job)

    # ── money ───────────────────────────────────────────────────────────────────────────────────────────────

    def money_between(self, first: str, last: str) -> list[MoneyRow]:
        """What moved money on these days (YYYY-MM-DD) and between them, in the order of writing; a day of the
        shop's own zone may be one before or after.
        """
        with self._reading() as connection:
            return movements.money_between(connection, first, last)

    def money_of_jobs(self, jobs: Sequence[str]) -> list[MoneyRow]:
        """What moved money in these jobs, what an invoice over several says once for each of them."""
        with self._reading() as connection:
            return movements.money_of_jobs(connection, jobs)

    def money_of_number(self, number: str) -> list[MoneyRow]:
        """The invoice or credit note of this number, and what was settled of it without money."""
        with self._reading() as connection:
            return movements.money_of_number(connection, number)

    def money_of_amount(self, minor: int, most: int) -> list[MoneyRow]:
        """What moved this amount, either way: the last so many."""
        with self._reading() as connection:
            return movements.money_of_amount(connection, minor, most)

    def drawer_between(self, currency: str, first: str, last: str) -> list[DrawerMove]:
        """The rows of the cash drawer of these UTC days and between them, the oldest first."""
        with self._reading() as connection:
            return movements.drawer_between(connection, currency, first, last)

    def drawer_last(self, currency: str, most: int, before: str = "") -> list[DrawerMove]:
        """The last rows of the cash drawer, the oldest first; those before an instant, where one is given."""
        with self._reading() as connection:
            return movements.drawer_last(connection, currency, most, before)

    def unsettled_invoices(self) -> list[InvoiceRow]:
        """Invoices of which something is to be paid or given back, in the order in which they were issued."""
        with self._reading() as connection:
            return queries.unsettled_invoices(connection)

    def jobs_with_deposit(self) -> list[JobRow]:
        """Jobs on no invoice for which money was taken, the one that began first at the top."""
        with self._reading() as connection:
            return queries.jobs_with_deposit(connection)

    def job_row(self, job: str) -> JobRow | None:
        """The row of a job of this van; None for any other."""
        with self._reading() as connection:
            return queries.job_row_of(connection, job)
