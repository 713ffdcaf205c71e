"""What papers need: the sheet they share, who approved and paid, their files, and how these are called."""

from __future__ import annotations

import glob
import hashlib
import re
from collections.abc import Callable, Mapping, Sequence
from datetime import datetime, timedelta
from pathlib import Path

from ..billing.approval import ApprovedWork
from ..files import sweep, write_over
from ..intake.visit import VisitFile
from ..model.document import Document, DocumentKind
from ..model.entry import Draft
from ..model.job import Job
from ..model.jurisdiction import ExceedKind, Jurisdiction
from ..model.money import Money
from ..model.records import Approved, Arrived, Instrument, Issued, Receipted, Reminded, body_of
from ..plugin.host import Plugins
from ..report.sheet import ApprovalRow, Sheet
from ..store.mark import random_id
from .errors import DeskError
from .settings import PAPERS, Settings, jurisdiction_of

TYPE_CHECKING = False  # the sheet of a draft is made without a shop
if TYPE_CHECKING:
    from .context import ShopContext


def sheet(
    document_id: str,
    settings: Settings,
    now: datetime,
    currency: str,
    plugins: Plugins,
    *,
    demo: bool,
    draft: bool = False,
) -> Sheet:
    today, rules = settings.local(now).date(), jurisdiction_of(settings, plugins)
    titles = {
        key: what.title
        for shelf in (plugins.measurands, plugins.records, plugins.observations)
        for key, what in shelf.items()
    }
    return Sheet(
        document_id=document_id,
        issuer=settings.issuer,
        issued=today.isoformat(),
        valid_until=(
            (today + timedelta(days=settings.estimate_days)).isoformat() if settings.estimate_days else ""
        ),
        due_on=((today + timedelta(days=settings.due_days)).isoformat() if settings.due_days else ""),
        statements=tuple(
            words
            for key, words in settings.statements.items()
            if rules.cancellation is None or key != rules.cancellation.statement
        ),
        cancellation=rules.cancellation,
        cancellation_words=(
            settings.statements.get(rules.cancellation.statement, "") if rules.cancellation else ""
        ),
        day_of=settings.day_of,
        exceeds=_exceeds(rules),
        units=settings.units,
        currency=currency,
        operations=plugins.operations,
        titles=titles,
        records=plugins.records,
        demo=demo,
        draft=draft,
    )


def _exceeds(rules: Jurisdiction) -> str:
    if rules.limit.kind is ExceedKind.NONE or rules.exceed_origin is None:
        return ""
    return f"{rules.limit} ({rules.exceed_origin.source})"


def sheet_of(shop: ShopContext, job: Job, *, draft: bool = False) -> Sheet:
    """What a new paper of a job shares with its other papers, under a document id drawn for it."""
    return sheet(
        random_id(16),
        shop.settings,
        shop.clock(),
        shop.prices.currency,
        shop.plugins,
        demo=job.demo or shop.demo,
        draft=draft or shop.practice,
    )


def pdf_of(shop: ShopContext, document: Document, name: str, jobs: Sequence[Job], address: str = "") -> Path:
    """Draw a paper of these jobs as a PDF into the shop's folder; its code holds `address`, if there is
    one.
    """
    from ..report.pdf import render_pdf
    from ..report.personal_text import resolver
    from .photos import texts_on

    path = path_of(shop, name)
    carried = f"{shop.settings.carried}#{document.carried}" if document.carried else None
    drawn = render_pdf(document, resolver(texts_on(shop, document, *jobs)), address or None, carried=carried)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        write_over(path, drawn)
    except OSError as error:
        raise PaperError(document, path, error, jobs[0].name) from error
    return path


class PaperError(DeskError):
    """A paper that is in the record and could not be written as a file; asked for again, it is drawn anew."""

    def __init__(self, document: Document, path: Path, error: OSError, job: str) -> None:
        made = "issued" if document.kind is DocumentKind.INVOICE else "made"
        super().__init__(
            f"{document.title} is {made} and stands in the record, but its paper could not be written to"
            f" {path}: {error.strerror or error}. Make room or mend the folder, then write it again with"
            f" `corekit {document.kind} {job}`."
        )


def path_of(shop: ShopContext, name: str) -> Path:
    """Where a paper is written: into the shop's folder, where `forget` reaches it; of a shop that may only be
    read, into the folder one stands in.
    """
    return (Path.cwd() if shop.store.is_read_only else shop.folder / PAPERS) / f"{name}.pdf"


#: Letters of a job's id in the names of its papers, and of a job's name.
_ID_LETTERS, _NAME_LETTERS = 12, 60


def estimate_name(job: Job, estimate: str) -> str:
    """Names of papers are made of our own words and numbers, the job's plain name for people, and its id:
    two jobs whose names look alike once everything else is taken out never share a file.
    """
    return _paper_name("estimate", job.name, _short(job.id), estimate)


def receipt_name(job: Job, record: Receipted) -> str:
    return _paper_name("receipt", job.name, _short(job.id), _short(record.payment))


def reminder_name(job: Job, record: Reminded) -> str:
    return _paper_name("reminder", job.name, _short(job.id), f"{record.number} {record.nth}")


def invoice_name(number: str) -> str:
    return _paper_name("invoice", number)


def draft_name(kind: str, origin: str) -> str:
    """Of the draft of a file or a job, by the name the file gives it: `forget` finds it by that."""
    return _paper_name("draft", kind, origin, _short(hashlib.sha256(origin.encode()).hexdigest()))


def draft_path(folder: Path, kind: str, origin: str) -> Path:
    """Where the draft of a paper is written when nobody says where: where `forget` can reach it."""
    return folder / PAPERS / f"{draft_name(kind, origin)}.pdf"


def _paper_name(kind: str, name: str, *rest: str) -> str:
    return file_name(" ".join([kind, file_name(name)[:_NAME_LETTERS], *rest]))


def _short(id_: str) -> str:
    return id_[:_ID_LETTERS]


def remove_papers(shop: ShopContext, job: Job) -> list[str]:
    """Delete every paper and draft of a job that is kept in the shop's folder; gives in sentences what could
    not be deleted.
    """
    folder = shop.folder / PAPERS
    named = [
        *(invoice_name(noted.record.number) for noted in job.all(Issued)),
        *(draft_name(kind, name) for kind in DRAFTS for name in shop.store.names_of(job.id)),
    ]
    # An invoice in another form lies beside its paper: `invoice-2026-A0001.form.pdf`.
    beside = [path for name in named for path in folder.glob(f"{glob.escape(name)}.*")]
    # What a job was called may have changed since its papers were made; its id has not.
    with_id = folder.glob(f"*-{_short(job.id)}-*.pdf")
    left = []
    for path in dict.fromkeys([*(path_of(shop, name) for name in named), *beside, *with_id]):
        try:
            path.unlink(missing_ok=True)
        except OSError as error:
            left.append(f"{path} could not be deleted ({error.strerror or error}). Ask again.")
    try:
        sweep(folder, older_than=0.0)
    except OSError as error:
        left.append(f"What was left behind in {folder} could not be deleted ({error.strerror or error}).")
    return left


#: Kinds of paper that can be drafted.
DRAFTS = ("estimate", "invoice")


def approvals_of(
    job: Job, work: ApprovedWork, plugins: Plugins, day_of: Callable[[str], str]
) -> list[ApprovalRow]:
    """Every approval with its day: when it was given if that is known, else when it
    was recorded. What was approved beyond the estimates comes last; what is on an invoice already is
    left out.
    """
    latest: dict[str, ApprovalRow] = {}
    for noted in job.approvals:
        if noted.record.estimate in work.on_invoices:
            continue
        approved = work.sums[noted.record.estimate]
        latest[noted.record.estimate] = ApprovalRow(
            approval=noted.record, day=day_of(noted.entry.taken or noted.entry.recorded), approved=approved
        )
    more = [
        ApprovalRow(
            approval=Approved(
                estimate=f"more for {plugins.title(noted.record.operation)}",
                document_hash="",
                total=noted.record.amount,
                currency=noted.record.currency,
                by=noted.record.by,
                how=noted.record.how,
            ),
            because=noted.record.because,
            day=day_of(noted.entry.taken or noted.entry.recorded),
            approved=Money(noted.record.amount, noted.record.currency),
        )
        for noted in job.approved_more
    ]
    return [*latest.values(), *more]


def payments_of(job: Job) -> list[tuple[str, Money]]:
    """How and how much, in order; what was paid before the work, or before the last visit, says so."""
    place = {noted.id: n for n, noted in enumerate(job.standing)}
    work = max(
        (
            place[one]
            for one in (
                *(noted.id for noted in job.repairs),
                *(noted.id for noted in job.serviced),
                *(noted.id for noted in job.all(Arrived)),
            )
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


def file_name(name: str) -> str:
    """A name that every file system takes."""
    return re.sub(r"[^A-Za-z0-9._-]+", "-", name).strip("-.")[:120] or "paper"


def instruments_for(
    visit: VisitFile, settings: Settings, job: Job | None = None, key: str = ""
) -> list[Draft]:
    """The shop's instruments that a file uses, to be copied into the journal: it must be readable without the
    shop's file.

    What the journal's readings were taken with by custom stays there, although another instrument may be the
    usual one today.

    Args:
        key: What the file's rows stand under in the journal.
    """
    used = visit.instruments_used - visit.instruments_declared
    found = {name: settings.instruments[name] for name in used if name in settings.instruments}
    if job is not None:
        once = _usual_once(job, key) - visit.instruments_declared
        kept = {
            noted.record.name: noted.record
            for noted in job.all(Instrument)
            if noted.entry.subject.startswith(f"{key}:")
        }
        found = {**{name: kept[name] for name in once if name in kept}, **found}
    return [
        Draft(kind="instrument", row=f"instrument/{name}", body=body_of(found[name]))
        for name in sorted(found)
    ]


def _usual_once(job: Job, key: str) -> set[str]:
    """Instruments that some reading of a file was taken with because they were the usual ones then."""
    said = [entry.body for entry in job.entries if entry.subject.startswith(f"{key}:")]
    bodies = [
        body
        for one in said
        for body in (one, *(one.get("values") or {}).values())
        if isinstance(body, Mapping)
    ]
    return {str(body["instrument"]) for body in bodies if body.get("usual")}
