"""Small things that papers need: the sheet they share, who agreed and paid, how a file is called."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import datetime

from ..billing.approval import ApprovedWork
from ..billing.totals import Payable
from ..intake.visit import VisitFile
from ..model.entry import Draft
from ..model.job import Job
from ..model.money import Money
from ..model.records import Came, Instrument, body_of
from ..plugin.host import Plugins
from ..report.sheet import Issuer, Sheet, Yes
from .settings import Settings


def sheet(
    document_id: str,
    issuer: Issuer,
    now: datetime,
    currency: str,
    plugins: Plugins,
    *,
    demo: bool,
    draft: bool = False,
) -> Sheet:
    titles = {
        key: what.title for shelf in (plugins.measurands, plugins.observations) for key, what in shelf.items()
    }
    return Sheet(
        document_id=document_id,
        issuer=issuer,
        issued=now.date().isoformat(),
        currency=currency,
        operations=plugins.operations,
        titles=titles,
        demo=demo,
        draft=draft,
    )


def agreements_of(job: Job, work: ApprovedWork) -> list[Yes]:
    """Every agreement with the day of the yes: when it was given if that is known, else when it
    was recorded.
    """
    latest: dict[str, Yes] = {}
    for noted in job.agreements:
        agreed = work.sums[noted.record.offer]
        latest[noted.record.offer] = Yes(
            agreement=noted.record, day=(noted.entry.taken or noted.entry.recorded)[:10], agreed=agreed
        )
    return list(latest.values())


def payments_of(job: Job) -> list[tuple[str, Money]]:
    """How and how much, in order; what was paid before the work, or before the last visit, says so."""
    place = {noted.id: n for n, noted in enumerate(job.standing)}
    work = max(
        (
            place[one]
            for one in (*(noted.id for noted in job.repairs), *(noted.id for noted in job.all(Came)))
        ),
        default=-1,
    )
    return [
        (
            f"{noted.record.how}, in advance" if place[noted.id] < work else noted.record.how,
            Money(noted.record.amount, noted.record.currency),
        )
        for noted in job.payments
    ]


def as_payable(due: Money) -> Payable:
    zero = Money(0, due.currency)
    return Payable(gross=due, paid=zero, rounding=zero, due=due)


def file_name(name: str) -> str:
    """A name that every file system takes."""
    return re.sub(r"[^A-Za-z0-9._-]+", "-", name).strip("-.")[:120] or "paper"


def instruments_for(visit: VisitFile, settings: Settings, job: Job | None = None) -> list[Draft]:
    """The shop's instruments that a file uses, to be copied into the journal: it must be readable without the
    shop's file.

    What the journal's readings were taken with by custom stays there, although another instrument may be the
    usual one today.
    """
    used = visit.instruments_used - visit.instruments_declared
    found = {name: settings.instruments[name] for name in used if name in settings.instruments}
    if job is not None:
        once = _usual_once(job, visit.origin) - visit.instruments_declared
        kept = {
            noted.record.name: noted.record
            for noted in job.all(Instrument)
            if noted.entry.subject.startswith(f"{visit.origin}:")
        }
        found = {**{name: kept[name] for name in once if name in kept}, **found}
    return [
        Draft(kind="instrument", row=f"instrument/{name}", body=body_of(found[name]))
        for name in sorted(found)
    ]


def _usual_once(job: Job, origin: str) -> set[str]:
    """Instruments that some reading of a file was taken with because they were the usual ones then."""
    said = [entry.body for entry in job.entries if entry.subject.startswith(f"{origin}:")]
    bodies = [
        body
        for one in said
        for body in (one, *(one.get("values") or {}).values())
        if isinstance(body, Mapping)
    ]
    return {str(body["instrument"]) for body in bodies if body.get("usual")}
