"""What all screens share: the shop, the jobs in it and what was last made of each."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Iterable
from datetime import UTC, datetime
from pathlib import Path

import attrs
import flask

from ..desk import jobs
from ..desk.assessing import Assessment, assessment_of
from ..desk.calculating import Calculator
from ..desk.context import ShopContext
from ..desk.jobs import JobRow
from ..desk.log_drafts import LogReader
from ..desk.speaking import own_names, published_titles
from ..desk.vehicle_history import earlier_jobs
from ..model.job import Job
from ..practice.folder import PracticeFolder
from ..report.tongue import Own, own_words

#: A longer text of a form, a photo, is shown on no screen as it came.
_LONG = 4000
_KEPT = 16  # assessments: more jobs than are open in one day


@attrs.define
class Van:
    """The shop as the screens see it. Safe to use from several threads.

    Attributes:
        shop: Opened with the worker as its assessor.
        calculator: The worker's too; without one this process calculates.
        log_reader: The worker's, which asks plugins' readers of files; without one this process asks them.
        practice: The practice cars behind the jobs; None in a shop of real ones.
    """

    shop: ShopContext
    calculator: Calculator | None = None
    log_reader: LogReader | None = None
    practice: PracticeFolder | None = None
    _assessed: OrderedDict[tuple[str, int, str, float | None, tuple[str, ...]], Assessment] = attrs.field(
        factory=OrderedDict, init=False
    )
    _lock: threading.Lock = attrs.field(factory=threading.Lock, init=False)

    @property
    def now(self) -> datetime:
        return datetime.now(UTC)

    @property
    def to_find_out(self) -> frozenset[str]:
        """Operations that are harmless and may be done as a test."""
        return frozenset(
            key for key, operation in self.shop.plugins.operations.items() if operation.as_test is not None
        )

    @property
    def folders(self) -> tuple[Path, ...]:
        """Where the systems keep their texts in other languages."""
        return tuple(system.folder for system in self.shop.plugins.systems.values())

    @property
    def titles(self) -> tuple[str, ...]:
        """The titles of the documents that systems cite, and of the law on what is taxed."""
        base = self.shop.jurisdiction.tax_base
        return (*published_titles(self.shop.plugins), *((base.origin.source,) if base is not None else ()))

    @property
    def names(self) -> tuple[str, ...]:
        """The shop's own name, and its currency."""
        return (self.shop.settings.issuer.name, self.shop.prices.currency)

    def job(self, job: str) -> Job:
        """The job of this id.

        Raises:
            StoreError: there is none.
        """
        return jobs.job_with_id(self.shop, job)

    def assessed(self, job: Job, minutes: float | None = None, about: tuple[str, ...] = ()) -> Assessment:
        """What is to be made of a job as it stands; asked again without a new entry, the same.

        `minutes` and `about` as `assessment_of` takes them.
        """
        key = (job.id, len(job.entries), job.entries[-1].id, minutes, about)
        with self._lock:
            if key in self._assessed:
                self._assessed.move_to_end(key)
                return self._assessed[key]
        assessment = assessment_of(self.shop, job, minutes, about)
        if assessment.failures != self.shop.plugins.failures:
            return assessment  # the worker lost a process over it; the next time it may have recovered
        with self._lock:
            self._assessed[key] = assessment
            while len(self._assessed) > _KEPT:
                self._assessed.popitem(last=False)
        return assessment

    def earlier(self, job: Job) -> list[JobRow]:
        """The jobs of this vehicle that began before, the latest first; looked up once for one request."""
        if not flask.has_request_context():
            return earlier_jobs(self.shop, job)
        read: dict[tuple[str, int], list[JobRow]] = flask.g.setdefault("earlier", {})
        key = (job.id, len(job.entries))
        if key not in read:
            read[key] = earlier_jobs(self.shop, job)
        return read[key]

    def texts(self, job: Job) -> dict[str, str]:
        """The personal texts of a job by hash, for the mechanic's own screens; read once for one request."""
        if not flask.has_request_context():
            return jobs.texts_of(self.shop, job)
        read: dict[tuple[str, int], dict[str, str]] = flask.g.setdefault("texts", {})
        key = (job.id, len(job.entries))
        if key not in read:
            read[key] = jobs.texts_of(self.shop, job)
            note_own_texts(read[key].values(), called=own_names(self.shop, [job]))
        return read[key]


def note_own_texts(texts: Iterable[str], names: Iterable[str] = (), called: Iterable[str] = ()) -> None:
    """What somebody typed is on this screen, or what the shop calls things by: nobody translates it."""
    if flask.has_request_context():
        flask.g.setdefault("own_texts", {}).update(dict.fromkeys(texts))
        flask.g.setdefault("own_names", {}).update(dict.fromkeys(names))
        flask.g.setdefault("own_things", {}).update(dict.fromkeys(called))


def own_texts_seen() -> Own:
    """What of this screen somebody typed, what was just sent among it."""
    typed = (text for text in flask.request.form.values() if len(text) < _LONG)
    return own_words(
        {*flask.g.get("own_texts", ()), *typed},
        flask.g.get("own_names", ()),
        flask.g.get("own_things", ()),
    )
