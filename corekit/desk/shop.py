"""The desk: the one place that strings the steps together.

Command line, screens and Python callers use it and do nothing else.
"""

from __future__ import annotations

import hashlib
import threading
from collections.abc import Callable, Collection, Mapping, Sequence
from datetime import UTC, datetime
from decimal import Decimal
from functools import cached_property
from pathlib import Path
from types import TracebackType
from typing import Any

import attrs

from ..assess.assessment import Assessment, Assessor, assess
from ..billing.approval import ApprovedWork
from ..billing.line import Line
from ..billing.payment import receive
from ..files import write_over
from ..intake.declared import Declared
from ..intake.visit import AgreedRow, VisitFile, read_visit
from ..model.document import Document
from ..model.entry import Draft, Entry
from ..model.job import Job
from ..model.money import Money, total
from ..model.personal import PICTURE_KINDS, PersonalText
from ..model.records import Agreed, Offered, Opened, Paid, PaymentTaken, Photographed, body_of
from ..plugin.host import Plugins, load
from ..report.sheet import Sheet
from ..share import keys
from ..store.mark import drawn
from ..store.statement import Statement, own_subject
from ..store.store import Store
from . import answering, issuing, offering, paper, publishing, receipts
from .answering import Answer, Answered, Tried
from .issuing import Drafted, Invoice
from .offering import Offer, Terms, no_name
from .problem import DeskError, OfferAwaited
from .receipts import Payment, Receipt
from .settings import KEY_FILE, PAPERS, STORE_FILE, Settings, declared, read_prices, read_settings


@attrs.frozen(kw_only=True)
class Imported:
    """What an import did."""

    job: str
    added: int
    corrected: int
    withdrawn: int


def open_shop(folder: str | Path, *, plugins: Plugins | None = None, assessor: Assessor = assess) -> Shop:
    """Open a shop that `corekit init` or `corekit demo` set up.

    Args:
        assessor: Assesses its jobs; without one this process does.

    Raises:
        DeskError: there is no shop, or its settings cannot be used.
        StoreError: its store cannot be opened.
    """
    return Shop(Path(folder), plugins=plugins, assessor=assessor)


class Shop:
    """A shop: its settings, price book, store and plugins. Use it as a context manager, or call `close`."""

    def __init__(
        self,
        folder: Path,
        *,
        plugins: Plugins | None = None,
        now: Callable[[], datetime] | None = None,
        assessor: Assessor = assess,
    ) -> None:
        self.folder = folder
        self._plugins = plugins
        self._assessor = assessor
        self.now = now or (lambda: datetime.now(UTC))
        self.one_deed = (
            threading.RLock()
        )  # what is offered, agreed, paid and issued rests on what was read just before
        if not (folder / STORE_FILE).is_file():
            read_settings(folder, demo=True)  # says first what is missing
        self.store = Store.open(folder / STORE_FILE)
        self.settings: Settings = read_settings(folder, demo=self.store.demo)
        self.book = read_prices(folder)

    def __enter__(self) -> Shop:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the store; what was acknowledged is kept."""
        self.store.close()

    @cached_property
    def plugins(self) -> Plugins:
        return self._plugins if self._plugins is not None else load()

    @cached_property
    def declared(self) -> Declared:
        return declared(self.plugins, self.settings, self.book.currency)

    # ---- the record

    def import_visit(self, path: str | Path, job: str | None = None) -> str:
        """Add a visit file to the store, or what has changed in it since; gives the job's id.

        Raises:
            VisitError: everything that is wrong with the file, at once; nothing is added.
            OfferAwaited: it agrees to an offer that was not made; everything before that is kept.
            DeskError: it agrees to another total than was offered, or is a demo file in a real store.
        """
        return self.add(self.read(path), job).job

    def read(self, path: str | Path) -> VisitFile:
        """What a visit file says, with this shop's instruments and currency; nothing is added.

        Raises:
            VisitError: everything that is wrong with the file, at once.
        """
        return read_visit(Path(path), self.declared)

    def add(self, visit: VisitFile, job: str | None = None) -> Imported:
        """As `import_visit`, for a visit that was read already."""
        if visit.demo and not self.store.demo:
            raise DeskError(
                f"{visit.origin} is marked demo = true, and this store is a real one: nothing was added. Demo"
                " files belong to `corekit demo`."
            )
        known = self.find(job) if job else self._job_of(visit.origin)
        standing = self.store.job(known) if known else None
        drafts, awaited = self._bound(visit, standing)
        result = self.store.reconcile(
            known, visit.origin, [*paper.instruments_for(visit, self.settings, standing), *drafts]
        )
        if result.faults:
            raise DeskError(
                f"{visit.origin} was not added:\n" + "\n".join(f"  {fault}" for fault in result.faults)
            )
        self._payable(standing, result.statements)
        target = known or self.store.new_job()
        self.store.append(
            target, result.statements, books=self._for_the_books(standing, visit.origin, result.statements)
        )
        if awaited is not None:
            raise OfferAwaited(
                target,
                visit.origin,
                awaited,
                [noted.record.name for noted in standing.offers] if standing else [],
            )
        withdrawn = sum(statement.kind == "withdrawn" for statement in result.statements)
        corrected = sum(
            bool(statement.replaces) for statement in result.statements if statement.kind != "withdrawn"
        )
        return Imported(
            job=target,
            added=len(result.statements) - corrected - withdrawn,
            corrected=corrected,
            withdrawn=withdrawn,
        )

    def answer(self, job: str | None, given: Answer) -> Answered:
        """Take in an answer given on a screen: rows of a visit file, read at the job's present stage, all of
        them or none; see `desk.answering`.

        Args:
            job: The job by id or name; None, or an id of 12 letters that was drawn elsewhere, begins a new
                one with these rows.

        Raises:
            VisitError: every fault of the rows, each with its place.
            OtherAnswer: the same id came before with other rows.
        """
        return answering.answer(self, job, given)

    def withdraw_answer(self, job: str, answer: str, entry: str, because: str) -> Answered:
        """Withdraw an entry that stands, with the reason; `answer` is the id of this answer.

        Raises:
            DeskError: no reason was given, or the entry does not stand or is of a kind that is corrected
                instead.
            OtherAnswer: as `answer`.
        """
        return answering.withdraw(self, job, answer, entry, because)

    def tried(self, job: str | None, rows: Mapping[str, Any]) -> Tried:
        """The job as it would be with these rows; nothing is written.

        Raises:
            VisitError: as `answer`.
        """
        return answering.tried(self, job, rows)

    def _job_of(self, origin: str) -> str | None:
        """The job that a file of this name was added to, be it under the job's own name or as a further file
        of it.
        """
        for job in self.store.jobs():
            if origin in _names(self.store.job(job)):
                return job
        return None

    def _bound(self, visit: VisitFile, job: Job | None) -> tuple[list[Draft], str | None]:
        """The file's rows, each agreement bound to the hash of its offer; and the first offer that is still
        to be made.
        """
        drafts: list[Draft] = []
        for step in visit.steps:
            if not isinstance(step, AgreedRow):
                drafts.append(step)
                continue
            offered = self._offer_named(job, step.offer)
            if offered is None:
                return drafts, step.offer
            total = Money(offered.total, offered.currency)
            if step.total != total.amount:
                raise DeskError(
                    f"{step.at}: the file says {Money.of(step.total, offered.currency)} was agreed for"
                    f" {step.offer!r}, but that offer comes to {total} {total.currency}. Nothing was added."
                    " Write the total that is printed on the offer, or make a new offer."
                )
            no_name(step.by, f"{step.at}.by: ")
            record = Agreed(
                offer=step.offer,
                document_hash=offered.document_hash,
                total=offered.total,
                currency=offered.currency,
                by=step.by,
                how=step.how,
                declined=list(step.declined),
            )
            drafts.append(
                Draft(
                    kind="agreed",
                    row=f"agreed/{step.offer}",
                    body=body_of(record),
                    taken=step.taken,
                    at=step.at,
                )
            )
        return drafts, None

    def _offer_named(self, job: Job | None, name: str) -> Offered | None:
        named = [noted.record for noted in job.offers if noted.record.name == name] if job else []
        return named[-1] if named else None

    def _payable(self, job: Job | None, statements: Sequence[Statement]) -> None:
        """Refuse money beyond what was agreed, be it a new payment or the correction of one."""
        new = [Paid(**statement.body) for statement in _payments(statements)]
        if not new:
            return
        if job is not None and job.issued:
            agreed = self.to_pay(job)
        else:
            agreed = self.agreed_total(
                job,
                [
                    Agreed(**statement.body)
                    for statement in statements
                    if statement.kind == "agreed" and not statement.replaces
                ],
            )
        replaced = {entry for statement in statements for entry in statement.replaces}
        paid = (
            [
                noted.record
                for one in self.jobs_billed_with(job)
                for noted in one.payments
                if noted.id not in replaced
            ]
            if job
            else []
        )
        due = sum(-payment.amount for payment in paid) + agreed.minor
        for payment in new:
            if payment.amount > due:
                raise DeskError(
                    f"A payment of {Money(payment.amount, payment.currency)} {payment.currency} is more than"
                    f" what was agreed and not yet paid ({Money(max(0, due), agreed.currency)}). Nothing was"
                    " added. Write what was paid; for more there must be a yes to an offer first."
                )
            due -= payment.amount

    def agreed_total(self, job: Job | None, more: Sequence[Agreed]) -> Money:
        return ApprovedWork.of(job, self.book, more).total if job else ApprovedWork((), more, self.book).total

    def _for_the_books(
        self, job: Job | None, name: str, statements: Sequence[Statement]
    ) -> Mapping[str, Sequence[PaymentTaken]]:
        """What the books are told: each new payment, and for each one corrected or withdrawn the difference,
        so that both journals agree.
        """
        before = {noted.entry.subject: noted.record for noted in job.payments} if job else {}
        after = dict(before)
        for statement in statements:
            if statement.kind == "paid":
                after[statement.subject] = Paid(**statement.body)
            elif statement.kind == "withdrawn":
                after.pop(statement.subject, None)
        taken = []
        for subject in dict.fromkeys((*before, *after)):
            old, new = before.get(subject), after.get(subject)
            change = (new.amount if new else 0) - (old.amount if old else 0)
            if change:
                how = (
                    new.how
                    if new and not old
                    else f"{'correction' if new else 'withdrawal'} of {old.how if old else ''}"
                )
                taken.append(PaymentTaken(amount=change, currency=self.book.currency, how=how, job_name=name))
        return {self.books_chain: taken} if taken else {}

    # ---- judgement

    def find(self, job: str) -> str:
        """The id of the job that a name or the beginning of an id means."""
        return self.store.find(job)

    def assess(self, job: str, minutes_left: float | None = None, about: Collection[str] = ()) -> Assessment:
        """What today's plugins make of a job.

        Args:
            minutes_left: Of a visit; next tests that take longer are set apart.
            about: Keys of systems whose next tests are asked for although nothing of them was read yet.
        """
        return self.assessed(self.store.job(self.find(job)), minutes_left, about)

    def assessed(
        self, job: Job, minutes_left: float | None = None, about: Collection[str] = ()
    ) -> Assessment:
        """As `assess`, for a job that need not be in the store."""
        return self._assessor(job, self.plugins, minutes_left, about)

    def texts(self, job: str) -> dict[str, str]:
        """The personal texts of a job, by hash; pictures, which are long, only where `pictures` asks for
        them.
        """
        return self.store.texts(self.store.job(job).persons())

    def paper_texts(self, job: str) -> dict[str, str]:
        """The personal texts that a job's papers may show, by hash: its own, and those of the jobs that its
        invoice is over as well.
        """
        jobs = self.jobs_billed_with(self.store.job(self.find(job)))
        return {hash: text for one in jobs for hash, text in self.store.texts(one.persons()).items()}  # noqa: A001

    def pictures(self, job: str, *kinds: str) -> dict[str, str]:
        """The pictures of a job as they were kept, by hash: photos and signatures, or only one of these
        kinds.
        """
        return self.store.texts(self.store.job(self.find(job)).persons(*(kinds or PICTURE_KINDS)))

    def photograph(
        self, job: str, image: str, *, of: str = "", place: str = "", what: str = "", answer: str = ""
    ) -> Entry:
        """Keep a photo with the persons of a job, at its present stage.

        Args:
            image: The picture as base64 text, checked and re-encoded by whoever took it in.
            of, place: Key of the reading or observation that it shows, and where; empty for the vehicle.
            what: What it shows, in words.
            answer: Id of the answer that brings it; brought under it again, it adds nothing.

        Raises:
            DeskError: there is no picture, or no system knows what it shows. OtherAnswer: the id is another
                answer's.
        """
        if not image:
            raise DeskError("There is no picture in this photo. Nothing was kept.")
        if of and of not in {**self.plugins.measurands, **self.plugins.observations}:
            raise DeskError(
                f"No installed system knows {of!r}, which the photo is said to show. Nothing was kept."
            )
        record = self.store.job(self.find(job))
        photo = Photographed(
            image=PersonalText("photo", image),
            of=of,
            place=place,
            stage=record.stage,
            what=PersonalText("note", what) if what.strip() else None,
        )
        said = Statement(kind="photo", subject=own_subject("photo", drawn(12)), body=body_of(photo))
        asked = {
            "photo": hashlib.sha256(image.encode()).hexdigest(),
            "job": record.id,
            "of": of,
            "place": place,
            "what": what,
        }
        return self.store.append(record.id, [said], answer=answer, asked=asked)[0]

    # ---- money

    def offer(
        self,
        job: str,
        stage: str | None = None,
        *,
        km: Decimal | None = None,
        call_out: bool | None = None,
        without: Collection[str] = (),
        answer: str = "",
    ) -> Offer:
        """Make an offer and keep its Document; see `desk.offering`.

        Raises:
            DeskError, PriceError, OtherAnswer: as there.
        """
        return offering.offer(self, job, stage, km=km, call_out=call_out, without=without, answer=answer)

    def lines_of(self, job: Job, assessment: Assessment, stage: str, terms: Terms) -> tuple[Line, ...]:
        """What an offer would hold now; nothing is written."""
        return offering.lines_of(self, job, assessment, stage, terms)

    def agree(
        self,
        offer: Offer,
        *,
        by: str,
        how: str,
        declined: Sequence[str] = (),
        total: Money | None = None,
        signature: str = "",
        words: str = "",
        answer: str = "",
    ) -> Entry:
        """Record who agreed to an offer, how, and what was declined in the same stroke; see `desk.offering`.

        Raises:
            DeskError, ConsentError, OtherAnswer: as there.
        """
        return offering.agree(
            self,
            offer,
            by=by,
            how=how,
            declined=declined,
            total=total,
            signature=signature,
            words=words,
            answer=answer,
        )

    def offer_named(self, job: str, name: str = "") -> Offer:
        """The offer of a printed name that was made, or the latest one."""
        return offering.offer_named(self, job, name)

    def issue(self, job: str, *, answer: str = "") -> Invoice:
        """Take a number and issue the invoice of a job; asked again, the same invoice. See `desk.issuing`.

        Raises:
            ConsentError, OtherAnswer: as there.
        """
        return issuing.issue(self, job, answer=answer)

    def issue_together(self, jobs: Sequence[str], *, answer: str = "") -> Invoice:
        """Take one number and issue one invoice over several jobs of one customer. See `desk.issuing`.

        Raises:
            DeskError, ConsentError, OtherAnswer: as there.
        """
        return issuing.issue_together(self, jobs, answer=answer)

    def drafted(self, job: Job) -> Drafted:
        """The invoice as it would be issued now, as a draft without a number; nothing is kept.

        Raises:
            ConsentError: it could not be issued.
        """
        return issuing.drafted(self, job)

    def drafted_together(self, jobs: Sequence[str]) -> Drafted:
        """As `drafted`, one invoice over several jobs."""
        return issuing.drafted_together(self, jobs)

    def left_out(self, job: str) -> list[str]:
        """What the invoice of a job leaves out although somebody may expect it there, in sentences."""
        return issuing.left_out(self, job)

    def pay(self, job: str, amount: Money, how: str, *, answer: str = "") -> Money:
        """Take money for a job; gives what is still due. In the job's journal and in the books at once.

        Args:
            answer: Id of the answer that says so, where a screen does; said under it again, it takes nothing
                and gives what is due by now.

        Raises:
            PaymentError: it is more than is due, or no money.
            OtherAnswer: the id is another answer's.
        """
        job = self.find(job)
        asked = {"pay": [amount.minor, amount.currency, how], "job": job}
        with self.one_deed:
            record = self.store.job(job)
            due = self.due_of(record)
            if self.store.answered(answer, asked) is not None:
                return due
            receipt = receive(amount, how, paper.as_payable(due))
            paid = Paid(amount=amount.minor, currency=amount.currency, how=how)
            taken = PaymentTaken(amount=amount.minor, currency=amount.currency, how=how, job_name=record.name)
            self.store.payment(job, self.books_chain, paid, taken, answer=answer, asked=asked)
            return receipt.due

    def payments(self, job: str) -> list[Payment]:
        """What was paid for a job, or for the invoice it is on, oldest first."""
        return receipts.payments(self.jobs_billed_with(self.store.job(self.find(job))))

    def receipt(self, job: str, payment: str = "") -> Receipt:
        """The receipt for a payment (`payments` gives their ids; without one, the last): as it was handed
        over, or made now and kept.

        Raises:
            DeskError: there is no such payment; or the invoice shows it, and so is its receipt.
        """
        return receipts.draw(self, job, payment)

    def jobs_billed_with(self, job: Job) -> list[Job]:
        """The jobs that share an invoice with this one, in the order in which it tells of them; the job alone
        where it has none, or one of its own.
        """
        named = self.store.invoice(job.issued[-1].record.number).body.get("jobs", ()) if job.issued else ()
        return [job if one == job.id else self.store.job(one) for one in named] or [job]

    def to_pay(self, job: Job) -> Money:
        """What a job's invoice comes to; before there is one, what was agreed to so far."""
        if not job.issued:
            return self.agreed_total(job, [])
        record = self.store.invoice(job.issued[-1].record.number).body
        return Money(record["total"], record["currency"])

    def due(self, job: str) -> Money:
        """What is still to be paid for a job: of its invoice, or before there is one, of what was agreed to
        so far.
        """
        return self.due_of(self.store.job(self.find(job)))

    def due_of(self, job: Job) -> Money:
        whole = self.to_pay(job)
        return whole - total(
            (payment.amount for payment in receipts.payments(self.jobs_billed_with(job))), whole.currency
        )

    # ---- sharing

    def link_of(self, document_id: str, number: int) -> str:
        """The link that the code of a document holds; empty for a shop without a page address."""
        return publishing.link_of(self, document_id, number)

    @cached_property
    def link_key(self) -> bytes:
        return keys.read_link_key(self.folder / KEY_FILE)

    def publish(self, job: str | None = None) -> list[str]:
        """Send the masked Documents of issued invoices, each once, to where the page server finds them; gives
        their numbers. See `desk.publishing`.

        Raises:
            PublishError: the target refuses or cannot be reached; what was sent before stays sent.
        """
        return publishing.publish(self, job)

    def withdraw(self, number: str) -> None:
        """Take the page of an invoice down, for good. See `desk.publishing`.

        Raises:
            StoreError: there is no such invoice. PublishError: the page server cannot be reached; nothing
                is noted then.
        """
        publishing.withdraw(self, number)

    def restored(self) -> str:
        """Go on in a chain of a new name, because this store is a restored copy and the other one may still
        be written to; gives the name.
        """
        return self.store.rename_lineage()

    def forget(self, job: str) -> dict[str, int]:
        """Destroy the persons of a job after retention, in the store and on the papers kept here; the chain
        still verifies.
        """
        job = self.find(job)
        for name in self._papers_of(self.store.job(job)):
            self.paper_path(name).unlink(missing_ok=True)
        return self.store.forget(job)

    def _papers_of(self, job: Job) -> list[str]:
        estimates = [f"estimate {name} {noted.record.name}" for name in _names(job) for noted in job.offers]
        given = [receipts.paper_name(noted.record) for noted in job.receipts]
        return [*estimates, *given, *(f"invoice {noted.record.number}" for noted in job.issued)]

    # ---- what papers share

    @property
    def books_chain(self) -> str:
        return f"books/{self.settings.device}/{self.now().year}"

    def sheet(self, job: Job) -> Sheet:
        """What a new paper of a job shares with its other papers, under a document id drawn for it."""
        return paper.sheet(
            drawn(16),
            self.settings.issuer,
            self.now(),
            self.book.currency,
            self.plugins,
            demo=job.demo or self.store.demo,
        )

    def written(self, document: Document, name: str, jobs: Sequence[str], address: str = "") -> Path:
        """Draw a paper of these jobs as a PDF into the shop's folder; its code holds `address`, if there is
        one.
        """
        from ..report.pdf import render_pdf
        from ..report.personal_text import resolver

        path, texts = (
            self.paper_path(name),
            {hash: text for job in jobs for hash, text in self.texts(job).items()},
        )
        path.parent.mkdir(parents=True, exist_ok=True)
        write_over(path, render_pdf(document, resolver(texts), address or None))
        return path

    def paper_path(self, name: str) -> Path:
        """File names are made of our own words and numbers and the job's plain name, never of what a customer
        is called.
        """
        return self.folder / PAPERS / f"{paper.file_name(name)}.pdf"


def _names(job: Job) -> list[str]:
    """Every name that the job's files gave it, the oldest first."""
    return [noted.record.origin for noted in job.all(Opened)]


def _payments(statements: Sequence[Statement]) -> list[Statement]:
    """What is said of payments, without those that come in withdrawn already."""
    withdrawn = {statement.subject for statement in statements if statement.kind == "withdrawn"}
    return [
        statement
        for statement in statements
        if statement.kind == "paid" and statement.subject not in withdrawn
    ]
