"""The jobs of all vans, one after the other, for whoever reads the record through: the published tables."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import attrs
from psycopg import sql

from ..model.entry import BOOKS, Entry
from ..model.job import Job, fold
from ..model.personal import Personal
from ..store import rows
from . import record
from .app import Hub
from .errors import HubError
from .lists import journal


@attrs.frozen
class HubJobs:
    """What a hub holds, asked as a van's own store is."""

    hub: Hub

    def jobs(self) -> Sequence[str]:
        """Ids of the jobs, the first that came first."""
        with self.hub.database.line() as line:
            return [str(id_) for (id_,) in line.execute("SELECT id FROM job ORDER BY began")]

    def job(self, job: str) -> Job:
        """The job as its journal tells it.

        Raises:
            StoreError: an entry of it was changed after it was written.
        """
        with self.hub.database.line() as line:
            return fold(job, [entry for _, entry in journal(line, job)])

    def texts(self, refs: Iterable[Personal]) -> dict[str, str]:
        """Hash → text of those references whose text is here.

        Raises:
            HubError: one cannot be read with this hub's key.
        """
        with self.hub.database.line() as line:
            return record.texts(line, self.hub.key, {ref.hash for ref in refs}, None)

    def books_entry(self, id_: str) -> Entry:
        """An entry of the books, by its id.

        Raises:
            HubError: there is none. StoreError: it was changed after it was written.
        """
        with self.hub.database.line() as line:
            found = line.execute(
                record.SELECT + sql.SQL("WHERE id = %s AND journal = %s"), (id_, BOOKS)
            ).fetchone()
        if found is None:
            raise HubError(f"The books of this hub have no entry {id_[:12]}. Run `corekit hub --verify`.")
        return rows.entry_of(tuple(found))
