"""What all screens share: the shop, the jobs in it and what was last made of each."""

from __future__ import annotations

import threading
from collections import OrderedDict
from datetime import UTC, datetime

import attrs
import flask

from ..desk import jobs
from ..desk.assessing import Assessment, assessment_of
from ..desk.calculating import Calculator
from ..desk.context import ShopContext
from ..desk.jobs import JobRow
from ..desk.vehicle_history import earlier_jobs
from ..model.job import Job
from ..practice.folder import PracticeFolder

_KEPT = 16  # assessments: more jobs than are open in one day


@attrs.define
class Van:
    """The shop as the screens see it. Safe to use from several threads.

    Attributes:
        shop: Opened with the worker as its assessor.
        calculator: The worker's too; without one this process calculates.
        practice: The practice cars behind the jobs; None in a shop of real ones.
    """

    shop: ShopContext
    calculator: Calculator | None = None
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
        return read[key]
