"""Small things that papers need, and drafts of papers from a file that is in no store."""

from __future__ import annotations

import os
import re
import tempfile
from datetime import datetime
from pathlib import Path

from ..billing.totals import Payable
from ..model.job import Job
from ..model.money import Money
from ..model.records import Agreed
from ..plugin.host import Plugins
from ..report.papers import Issuer, Sheet


def sheet(document_id: str, issuer: Issuer, now: datetime, currency: str, plugins: Plugins, *, demo: bool, draft: bool = False) -> Sheet:
    return Sheet(
        document_id=document_id, issuer=issuer, issued=now.date().isoformat(), currency=currency, operations=plugins.operations, demo=demo, draft=draft
    )


def agreements_of(job: Job) -> list[tuple[Agreed, str]]:
    """Every agreement with the day of the yes: when it was given if that is known, else when it was recorded."""
    latest: dict[str, tuple[Agreed, str]] = {}
    for noted in job.agreements:
        latest[noted.record.offer] = (noted.record, (noted.entry.taken or noted.entry.recorded)[:10])
    return list(latest.values())


def payments_of(job: Job) -> list[tuple[str, Money]]:
    return [(noted.record.how, Money(noted.record.amount, noted.record.currency)) for noted in job.payments]


def as_payable(due: Money) -> Payable:
    zero = Money(0, due.currency)
    return Payable(gross=due, paid=zero, rounding=zero, due=due)


def file_name(name: str) -> str:
    """A name that every file system takes."""
    return re.sub(r"[^A-Za-z0-9._-]+", "-", name).strip("-.")[:120] or "paper"


def write(path: Path, data: bytes) -> None:
    """Write a file whole or not at all: a full disk or a power cut leaves the old one."""
    handle, name = tempfile.mkstemp(prefix=".part-", dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        Path(name).replace(path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
