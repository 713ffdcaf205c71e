"""The desk: the one place that strings the steps together. Command line, screens and Python callers use it and do nothing else."""

from __future__ import annotations

import hashlib
import threading
from collections.abc import Callable, Collection, Mapping, Sequence
from contextlib import suppress
from datetime import UTC, datetime
from decimal import Decimal
from enum import StrEnum
from functools import cached_property
from pathlib import Path
from types import TracebackType
from typing import Any

import attrs

from .._version import __version__
from ..assess.assessment import Assessment, Assessor, assess
from ..billing.consent import Standing
from ..billing.line import Line
from ..billing.line import to_data as line_data
from ..billing.offer import diagnosis_lines, repair_lines
from ..billing.payment import receive
from ..billing.totals import totals
from ..billing.waiver import charged, waive, waivers
from ..files import write_over
from ..intake.declared import Declared
from ..intake.visit import AgreedRow, VisitFile, read_visit
from ..model.document import Document, document_hash, from_data, to_data
from ..model.entry import Draft, Entry, jobs_of
from ..model.job import Job
from ..model.money import Money, total
from ..model.personal import PICTURE_KINDS, PersonalText
from ..model.records import Agreed, InvoiceIssued, Offered, Opened, Paid, PaymentTaken, Photographed, body_of
from ..plugin.host import Plugins, load
from ..report.papers import estimate
from ..report.sheet import WHO_AGREES, Sheet
from ..share import keys, link
from ..store.mark import drawn, record_mark
from ..store.statement import Statement, own_subject
from ..store.store import Store
from . import answering, paper, receipts, together
from .answering import Answer, Answered, Tried
from .bill import Bill
from .problem import DeskProblem, OfferAwaited
from .receipts import Payment, Receipt
from .settings import KEY_FILE, PAGE_KEY_FILE, PAPERS, PRICE_FILE, STORE_FILE, Settings, declared, read_prices, read_settings
from .work import asked_for, cap_of, left_in, not_ended


@attrs.frozen(kw_only=True)
class Imported:
    """What an import did."""

    job: str
    added: int
    corrected: int
    withdrawn: int


@attrs.frozen(kw_only=True)
class Offer:
    """An offer that was made: its printed name, the frozen Document and the PDF."""

    job: str
    name: str
    document: Document
    total: Money
    pdf: Path


@attrs.frozen(kw_only=True)
class Terms:
    """What somebody says of an offer before it is made; see `Shop.offer`."""

    km: Decimal | None = None
    call_out: bool | None = None
    without: frozenset[str] = frozenset()


class Page(StrEnum):
    """What the code of an issued invoice opens."""

    WAITS = "not published yet"
    OPEN = "published"
    DOWN = "taken down"


@attrs.frozen(kw_only=True)
class Invoice:
    """An invoice that was issued; `link` is empty for a shop without a page address, `page` says what the code opens by now.

    `jobs` are the ids of all the jobs it is over, `job` is the one that was asked for.
    """

    job: str
    number: str
    document: Document
    pdf: Path
    link: str
    due: Money
    page: Page | None = None
    jobs: tuple[str, ...] = ()


@attrs.frozen(kw_only=True)
class Drafted:
    """An invoice as it would be, and what would still be due."""

    document: Document
    due: Money


def open_shop(folder: str | Path, *, plugins: Plugins | None = None, assessor: Assessor = assess) -> Shop:
    """Open a shop that `corekit init` or `corekit demo` set up.

    Args:
        assessor: Assesses its jobs; without one this process does.

    Errors:
        DeskProblem: there is no shop, or its settings cannot be used.
        StoreProblem: its store cannot be opened.
    """
    return Shop(Path(folder), plugins=plugins, assessor=assessor)


class Shop:
    """A shop: its settings, price book, store and plugins. Use it as a context manager, or call `close`."""

    def __init__(
        self, folder: Path, *, plugins: Plugins | None = None, now: Callable[[], datetime] | None = None, assessor: Assessor = assess
    ) -> None:
        self.folder = folder
        self._plugins = plugins
        self._assessor = assessor
        self._now = now or (lambda: datetime.now(UTC))
        self._one_deed = threading.RLock()  # what is offered, agreed, paid and issued rests on what was read just before
        if not (folder / STORE_FILE).is_file():
            read_settings(folder, demo=True)  # says first what is missing
        self.store = Store.open(folder / STORE_FILE)
        self.settings: Settings = read_settings(folder, demo=self.store.demo)
        self.book = read_prices(folder)

    def __enter__(self) -> Shop:
        return self

    def __exit__(self, kind: type[BaseException] | None, problem: BaseException | None, trace: TracebackType | None) -> None:
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

        Errors:
            VisitProblem: everything that is wrong with the file, at once; nothing is added.
            OfferAwaited: it agrees to an offer that was not made; everything before that is kept.
            DeskProblem: it agrees to another total than was offered, or is a demo file in a real store.
        """
        return self.add(self.read(path), job).job

    def read(self, path: str | Path) -> VisitFile:
        """What a visit file says, with this shop's instruments and currency; nothing is added.

        Errors:
            VisitProblem: everything that is wrong with the file, at once.
        """
        return read_visit(Path(path), self.declared)

    def add(self, visit: VisitFile, job: str | None = None) -> Imported:
        """As `import_visit`, for a visit that was read already."""
        if visit.demo and not self.store.demo:
            raise DeskProblem(f"{visit.origin} is marked demo = true, and this store is a real one: nothing was added. Demo files belong to `corekit demo`.")
        known = self.find(job) if job else self._job_of(visit.origin)
        standing = self.store.job(known) if known else None
        drafts, awaited = self._bound(visit, standing)
        result = self.store.reconcile(known, visit.origin, [*paper.instruments_for(visit, self.settings, standing), *drafts])
        if result.faults:
            raise DeskProblem(f"{visit.origin} was not added:\n" + "\n".join(f"  {fault}" for fault in result.faults))
        self._payable(standing, result.statements)
        target = known or self.store.new_job()
        self.store.append(target, result.statements, books=self._for_the_books(standing, visit.origin, result.statements))
        if awaited is not None:
            raise OfferAwaited(target, visit.origin, awaited, [noted.record.name for noted in standing.offers] if standing else [])
        withdrawn = sum(statement.kind == "withdrawn" for statement in result.statements)
        corrected = sum(bool(statement.replaces) for statement in result.statements if statement.kind != "withdrawn")
        return Imported(job=target, added=len(result.statements) - corrected - withdrawn, corrected=corrected, withdrawn=withdrawn)

    def answer(self, job: str | None, given: Answer) -> Answered:
        """Take in an answer given on a screen: rows of a visit file, read at the job's present stage, all of them or none; see `desk.answering`.

        Args:
            job: The job by id or name; None, or an id of 12 letters that was drawn elsewhere, begins a new one with these rows.

        Errors:
            VisitProblem: every fault of the rows, each with its place.
            OtherAnswer: the same id came before with other rows.
        """
        return answering.answer(self, job, given)

    def withdraw_answer(self, job: str, answer: str, entry: str, because: str) -> Answered:
        """Withdraw an entry that stands, with the reason; `answer` is the id of this answer.

        Errors:
            DeskProblem: no reason was given, or the entry does not stand or is of a kind that is corrected instead.
            OtherAnswer: as `answer`.
        """
        return answering.withdraw(self, job, answer, entry, because)

    def tried(self, job: str | None, rows: Mapping[str, Any]) -> Tried:
        """The job as it would be with these rows; nothing is written.

        Errors:
            VisitProblem: as `answer`.
        """
        return answering.tried(self, job, rows)

    def _job_of(self, origin: str) -> str | None:
        """The job that a file of this name was added to, be it under the job's own name or as a further file of it."""
        for job in self.store.jobs():
            if origin in _names(self.store.job(job)):
                return job
        return None

    def _bound(self, visit: VisitFile, job: Job | None) -> tuple[list[Draft], str | None]:
        """The file's rows, each agreement bound to the hash of its offer; and the first offer that is still to be made."""
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
                raise DeskProblem(
                    f"{step.at}: the file says {Money.of(step.total, offered.currency)} was agreed for {step.offer!r}, "
                    f"but that offer comes to {total} {total.currency}. "
                    "Nothing was added. Write the total that is printed on the offer, or make a new offer."
                )
            _no_name(step.by, f"{step.at}.by: ")
            record = Agreed(
                offer=step.offer, document_hash=offered.document_hash, total=offered.total, currency=offered.currency, by=step.by, how=step.how,
                declined=list(step.declined),
            )  # fmt: skip
            drafts.append(Draft(kind="agreed", row=f"agreed/{step.offer}", body=body_of(record), taken=step.taken, at=step.at))
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
            agreed = self._agreed_total(job, [Agreed(**statement.body) for statement in statements if statement.kind == "agreed" and not statement.replaces])
        replaced = {entry for statement in statements for entry in statement.replaces}
        paid = [noted.record for one in self.jobs_billed_with(job) for noted in one.payments if noted.id not in replaced] if job else []
        due = sum(-payment.amount for payment in paid) + agreed.minor
        for payment in new:
            if payment.amount > due:
                raise DeskProblem(
                    f"A payment of {Money(payment.amount, payment.currency)} {payment.currency} is more than what was agreed and not yet paid "
                    f"({Money(max(0, due), agreed.currency)}). Nothing was added. Write what was paid; for more there must be a yes to an offer first."
                )
            due -= payment.amount

    def _agreed_total(self, job: Job | None, more: Sequence[Agreed]) -> Money:
        return Standing.of(job, self.book, more).total if job else Standing((), more, self.book).total

    def _for_the_books(self, job: Job | None, name: str, statements: Sequence[Statement]) -> Mapping[str, Sequence[PaymentTaken]]:
        """What the books are told: each new payment, and for each one corrected or withdrawn the difference, so that both journals agree."""
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
                how = new.how if new and not old else f"{'correction' if new else 'withdrawal'} of {old.how if old else ''}"
                taken.append(PaymentTaken(amount=change, currency=self.book.currency, how=how, job_name=name))
        return {self._books: taken} if taken else {}

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

    def assessed(self, job: Job, minutes_left: float | None = None, about: Collection[str] = ()) -> Assessment:
        """As `assess`, for a job that need not be in the store."""
        return self._assessor(job, self.plugins, minutes_left, about)

    def texts(self, job: str) -> dict[str, str]:
        """The personal texts of a job, by hash; pictures, which are long, only where `pictures` asks for them."""
        return self.store.texts(self.store.job(job).persons())

    def paper_texts(self, job: str) -> dict[str, str]:
        """The personal texts that a job's papers may show, by hash: its own, and those of the jobs that its invoice is over as well."""
        jobs = self.jobs_billed_with(self.store.job(self.find(job)))
        return {hash: text for one in jobs for hash, text in self.store.texts(one.persons()).items()}  # noqa: A001

    def pictures(self, job: str, *kinds: str) -> dict[str, str]:
        """The pictures of a job as they were kept, by hash: photos and signatures, or only one of these kinds."""
        return self.store.texts(self.store.job(self.find(job)).persons(*(kinds or PICTURE_KINDS)))

    def photograph(self, job: str, image: str, *, of: str = "", place: str = "", what: str = "", answer: str = "") -> Entry:
        """Keep a photo with the persons of a job, at its present stage.

        Args:
            image: The picture as base64 text, checked and re-encoded by whoever took it in.
            of, place: Key of the reading or observation that it shows, and where; empty for the vehicle.
            what: What it shows, in words.
            answer: Id of the answer that brings it; brought under it again, it adds nothing.

        Errors:
            DeskProblem: there is no picture, or no system knows what it shows. OtherAnswer: the id is another answer's.
        """
        if not image:
            raise DeskProblem("There is no picture in this photo. Nothing was kept.")
        if of and of not in {**self.plugins.measurands, **self.plugins.observations}:
            raise DeskProblem(f"No installed system knows {of!r}, which the photo is said to show. Nothing was kept.")
        record = self.store.job(self.find(job))
        photo = Photographed(
            image=PersonalText("photo", image), of=of, place=place, stage=record.stage, what=PersonalText("note", what) if what.strip() else None
        )
        said = Statement(kind="photo", subject=own_subject("photo", drawn(12)), body=body_of(photo))
        asked = {"photo": hashlib.sha256(image.encode()).hexdigest(), "job": record.id, "of": of, "place": place, "what": what}
        return self.store.append(record.id, [said], answer=answer, asked=asked)[0]

    # ---- money

    def offer(
        self, job: str, stage: str | None = None, *, km: Decimal | None = None, call_out: bool | None = None, without: Collection[str] = (), answer: str = ""
    ) -> Offer:
        """Make an offer and keep its Document: `diagnosis` (coming and looking) or `repair` (what the findings call for).

        Without a stage: the diagnosis while there is nothing to go by, else the repair. Asked again with nothing changed, it
        gives the offer that stands.

        Args:
            km: How far the drive was.
            call_out: Whether a diagnosis is charged with the coming; not said, it is unless the job came in the same drive as another one.
            without: Keys of work that could be offered and is not: it is agreed to already, or the customer does not want to hear of it.
            answer: Id of the answer that asks for it, where a screen does; asked under it again, it is the offer made then.

        Errors:
            OtherAnswer: the id is another answer's.
            DeskProblem: nothing calls for work, the price book prices none of it, the job has ended, its invoice is issued already, what is to
                be left out could not be offered, or the job that it shares its drive with is not one that pays for the coming.
            PriceProblem: the price book does not price what is called for.
        """
        job = self.find(job)
        terms = Terms(km=km, call_out=call_out, without=frozenset(without))
        asked = {"offer": stage, "job": job, "km": str(km), "call_out": call_out, "without": sorted(terms.without)}
        with self._one_deed:
            known = self.store.answered(answer, asked)
            if known is not None:
                return self._drawn(job, Offered(**known.entries[0].body))
            return self._drawn(job, self._offered(job, stage, terms, answer, asked))

    def _drawn(self, job: str, offered: Offered) -> Offer:
        """An offer with its paper, drawn from what is kept."""
        document = from_data(offered.document)
        pdf = self.written(document, f"estimate {self.store.job(job).name} {offered.name}", [job])
        return Offer(job=job, name=offered.name, document=document, total=Money(offered.total, offered.currency), pdf=pdf)

    def _offered(self, job: str, stage: str | None, terms: Terms, answer: str, asked: object) -> Offered:
        record = self.store.job(job)
        assessment = self.assessed(record)
        stage = stage or ("repair" if any(assessment.readings) or record.wanted else "diagnosis")
        lines = self.lines_of(record, assessment, stage, terms)
        standing = self._same_offer(record, stage, lines)
        if standing is None:
            self._still_open(record)
            not_ended(record)
            count = sum(noted.record.stage == stage for noted in record.offers)
            standing = self._offer(record, assessment, stage, f"{stage} {count + 1}", lines, answer, asked)
        else:
            self.store.keep_answer(job, answer, asked, [noted.entry for noted in record.offers if noted.record == standing][-1:])
        return standing

    def _still_open(self, job: Job) -> None:
        """Nothing is agreed to after the invoice: it is issued once, and what came later would never be billed."""
        if job.issued:
            number = job.issued[-1].record.number
            raise DeskProblem(f"Invoice {number} of {job.name} is issued, so nothing more can be priced in this job. Take further work into a job of its own.")

    def lines_of(self, job: Job, assessment: Assessment, stage: str, terms: Terms) -> tuple[Line, ...]:
        """What an offer would hold now; nothing is written.

        Errors:
            DeskProblem, PriceProblem: as `offer`.
        """
        if stage == "diagnosis":
            pays = self._pays_for_the_coming(job) if terms.call_out is None else terms.call_out
            return waive(diagnosis_lines(self.book, terms.km, call_out=pays), waivers(job))
        if stage != "repair":
            raise DeskProblem(f"An offer is for the stage diagnosis or repair; got {stage!r}.")
        asked = asked_for(job, assessment, self.plugins)
        if not asked:
            raise DeskProblem(
                f"Nothing in {job.name} calls for work that may be offered. See `corekit check {job.name}`: it names the next test. "
                "Work on the customer's wish or on your own judgement is written into the file as wanted = { … }."
            )
        return waive(repair_lines(self.book, left_in(asked, terms.without)), waivers(job))

    def _pays_for_the_coming(self, job: Job) -> bool:
        """False where another job does, which must be here and do so."""
        if not job.same_drive_as:
            return True
        other = self.store.job(self.find(job.same_drive_as))
        if other.id == job.id or other.same_drive_as:
            raise DeskProblem(
                f"{job.name} came in the same drive as {job.same_drive_as}, which does not pay for the coming itself. "
                "Name the job that does, or withdraw the row that says so."
            )
        return False

    def _same_offer(self, job: Job, stage: str, lines: Sequence[Line]) -> Offered | None:
        data = [line_data(line) for line in lines]
        agreed = {noted.record.document_hash for noted in job.agreements}
        for noted in reversed(job.offers):
            if noted.record.stage == stage and noted.record.lines == data and (noted.record.document_hash not in agreed or stage == "diagnosis"):
                return noted.record
        return None

    def _offer(self, job: Job, assessment: Assessment, stage: str, name: str, lines: tuple[Line, ...], answer: str, asked: object) -> Offered:
        sums = totals(lines, self.book)
        priced = charged(lines)
        if priced and not totals(priced, self.book).gross.minor:
            raise DeskProblem(f"This offer would come to {sums.gross} {sums.gross.currency}. Fill in {PRICE_FILE} in {self.folder.resolve()}, then ask again.")
        document = estimate(job, assessment, self.sheet(job), name=name, stage=stage, lines=lines, totals=sums, cap=cap_of(self.book))
        record = Offered(
            name=name, stage=stage, document_id=document.id, document=to_data(document), document_hash=document_hash(document), total=sums.gross.minor,
            currency=self.book.currency, lines=[line_data(line) for line in lines], versions=self._versions(assessment), heads=self.store.heads(),
        )  # fmt: skip
        said = Statement(kind="offered", subject=own_subject("offered", name), body=body_of(record))
        self.store.append(job.id, [said], answer=answer, asked=asked)
        return record

    def agree(
        self, offer: Offer, *, by: str, how: str, declined: Sequence[str] = (), total: Money | None = None, signature: str = "", words: str = "",
        answer: str = "",
    ) -> Entry:  # fmt: skip
        """Record who agreed to an offer, how, and what was declined in the same stroke.

        Args:
            total: What the customer saw on the paper, where somebody typed it: it must be the offer's.
            signature: A drawn one, as text; kept with the persons and on no paper.
            words: What was said or written word for word; kept like a signature.
            answer: Id of the answer that says so, where a screen does; said under it again, it adds nothing.

        Errors:
            OtherAnswer: the id is another answer's.
            DeskProblem: it is not said who or how, the total is another one, or the job's invoice is issued already.
            ConsentProblem: what was declined was not offered.
        """
        if not by.strip() or not how.strip():
            raise DeskProblem("An agreement says who agreed and how, e.g. the customer, in person. Nothing was recorded.")
        _no_name(by)
        if total not in (None, offer.total):
            raise DeskProblem(f"The offer {offer.name!r} comes to {offer.total} {offer.total.currency}, not {total}. Nothing was recorded.")
        agreed = Agreed(
            offer=offer.name, document_hash=document_hash(offer.document), total=offer.total.minor, currency=offer.total.currency, by=by, how=how,
            declined=list(declined), signature=PersonalText("signature", signature) if signature else None,
            said=PersonalText("words", words) if words else None,
        )  # fmt: skip
        asked = {"agree": body_of(agreed), "job": offer.job}
        with self._one_deed:
            known = self.store.answered(answer, asked)
            if known is not None:
                return known.entries[0]
            job = self.store.job(offer.job)
            self._still_open(job)
            self._agreed_total(job, [agreed])  # refuses what does not fit the offer before it is written
            subject = own_subject("agreed", offer.name)
            replaces = tuple(noted.id for noted in job.agreements if noted.entry.subject == subject)
            said = Statement(kind="agreed", subject=subject, body=body_of(agreed), replaces=replaces)
            return self.store.append(offer.job, [said], answer=answer, asked=asked)[0]

    def offer_named(self, job: str, name: str = "") -> Offer:
        """The offer of a printed name that was made, or the latest one."""
        job = self.find(job)
        record = self.store.job(job)
        named = [noted.record for noted in record.offers if not name or noted.record.name == name]
        if not named:
            made = ", ".join(repr(noted.record.name) for noted in record.offers) or "none"
            raise DeskProblem(f"{record.name} has no offer {name!r}; made were {made}. Make one with `corekit offer {record.name}`.")
        document = from_data(named[-1].document)
        return Offer(
            job=job, name=named[-1].name, document=document, total=Money(named[-1].total, named[-1].currency),
            pdf=self._paper_path(f"estimate {record.name} {named[-1].name}"),
        )  # fmt: skip

    def issue(self, job: str, *, answer: str = "") -> Invoice:
        """Take a number and issue the invoice of a job; asked again, the same invoice. `answer` is the id of the answer that asks, where a screen does.

        Errors:
            ConsentProblem: it would exceed what was agreed, or nothing was agreed.
            OtherAnswer: the id is another answer's.
        """
        job = self.find(job)
        asked = {"issue": job}
        with self._one_deed:
            self.store.answered(answer, asked)  # refuses an id that is another answer's
            record = self.store.job(job)
            while not record.issued:
                with suppress(_MovedOn):  # an answer came in from elsewhere while the paper was laid out
                    self._issue(Bill(record, self.assessed(record), self.book), answer, asked)
                record = self.store.job(job)
            self.store.keep_answer(job, answer, asked, [record.issued[-1].entry])
            return self._issued(record)

    def _issue(self, bill: Bill | together.CommonBill, answer: str, asked: object) -> None:
        sheet, heads, ids = self.sheet(bill.jobs[0]), self.store.heads(), [job.id for job in bill.jobs]

        def build(place: int) -> InvoiceIssued:
            if any(len(self.store.journal(job.id)) != len(job.entries) for job in bill.jobs):
                raise _MovedOn
            document = bill.document(sheet, self._number(place), record_mark(heads))
            return InvoiceIssued(
                place=place, number=document.number, document_id=document.id, document=to_data(document), document_hash=document_hash(document),
                total=bill.total.minor, currency=bill.total.currency, versions={"corekit": __version__, **bill.versions}, heads=heads,
                job_name=", ".join(job.name for job in bill.jobs), jobs=ids if len(ids) > 1 else (),
            )  # fmt: skip

        if len(ids) > 1:
            self.store.issue_together(ids, self._books, build, answer=answer, asked=asked)
        else:
            self.store.issue(ids[0], self._books, build, answer=answer, asked=asked)

    def drafted(self, job: Job) -> Drafted:
        """The invoice as it would be issued now, as a draft without a number; nothing is kept.

        Errors:
            ConsentProblem: it could not be issued.
        """
        bill = Bill(job, self.assessed(job), self.book)
        sheet = attrs.evolve(self.sheet(job), draft=True)
        return Drafted(document=bill.document(sheet, "", record_mark([job.entries[-1].id])), due=bill.payable.due)

    def drafted_together(self, jobs: Sequence[str]) -> Drafted:
        """As `drafted`, one invoice over several jobs.

        Errors:
            DeskProblem, ConsentProblem: as `issue_together`.
        """
        records = [self.store.job(job) for job in together.several(self, jobs)]
        if number := together.number_of(self, records):
            raise DeskProblem(f"Invoice {number} is over these jobs already; there is nothing to draft.")
        if len(records) == 1:
            return self.drafted(records[0])
        bill = together.CommonBill(self, records)
        sheet = attrs.evolve(self.sheet(records[0]), draft=True)
        return Drafted(document=bill.document(sheet, "", record_mark([job.entries[-1].id for job in records])), due=bill.payable.due)

    def _number(self, place: int) -> str:
        return self.settings.number.format(year=self._now().year, device=self.settings.device, place=place)

    def issue_together(self, jobs: Sequence[str], *, answer: str = "") -> Invoice:
        """Take one number and issue one invoice over several jobs of one customer; asked again, or for one of them, the same invoice.

        Each job keeps within what was agreed in it; tax is worked out once on the whole. All of them are issued, or none. `answer` is as of `issue`.

        Errors:
            DeskProblem: they are not one customer's, one is named twice, or one is on an invoice already.
            ConsentProblem: one of them would exceed what was agreed in it, or there is nothing of it to invoice.
            OtherAnswer: the id is another answer's.
        """
        ids = together.several(self, jobs)
        if len(ids) == 1:
            return self.issue(ids[0], answer=answer)
        asked = {"issue together": ids}
        with self._one_deed:
            self.store.answered(answer, asked)  # refuses an id that is another answer's
            records = [self.store.job(job) for job in ids]
            while not together.number_of(self, records):
                with suppress(_MovedOn):
                    self._issue(together.CommonBill(self, records), answer, asked)
                records = [self.store.job(job) for job in ids]
            self.store.keep_answer(ids[0], answer, asked, [records[0].issued[-1].entry])
            return self._issued(records[0])

    def _issued(self, job: Job) -> Invoice:
        """Draw the invoice again from what is kept; nothing is computed."""
        issued = job.issued[-1].record
        record = InvoiceIssued(**self.store.invoice(issued.number).body)
        document = from_data(record.document)
        address, page = self.link_of(document.id, 1), None
        if address:
            known = self.store.note_link(link.token_hash(self._token(document.id, 1)), document.id, 1)
            page = Page.DOWN if known.revoked else Page.OPEN if known.published_at else Page.WAITS
        jobs = tuple(record.jobs) or (job.id,)
        pdf = self.written(document, f"invoice {record.number}", jobs, address)
        return Invoice(job=job.id, number=record.number, document=document, pdf=pdf, link=address, due=self._due(job), page=page, jobs=jobs)

    def left_out(self, job: str) -> list[str]:
        """What the invoice of a job leaves out although somebody may expect it there, in sentences."""
        record = self.store.job(self.find(job))
        standing = Standing.of(record, self.book)
        agreed = dict.fromkeys(line.operation for line in standing.lines if line.operation)
        done = dict.fromkeys(noted.record.operation for noted in record.repairs)
        answered = {noted.record.offer for noted in record.agreements}
        lines = {line.what for line in standing.lines if not line.operation or line.operation in done}
        return [
            *(f"{self._titled(key)} was agreed to, but no repaired = … says that it was done." for key in agreed if key not in done),
            *(f"{self._titled(key)} was done, but nobody agreed to it." for key in done if key not in agreed),
            *(f"{self._titled(key)} is not charged, but stands on no line: it was not agreed to and done." for key in waivers(record) if key not in lines),
            *(f"the offer {noted.record.name!r} has no answer on record." for noted in record.offers if noted.record.name not in answered),
            *(f"{self._read(noted.record.of)}: a test with this reading was begun, and it was never read." for noted in record.waiting),
        ]

    def _read(self, measurand: str) -> str:
        declared = self.plugins.measurands.get(measurand)
        return f"{declared.title} ({measurand})" if declared else measurand

    def _titled(self, operation: str) -> str:
        declared = self.plugins.operations.get(operation)
        return f"{declared.title} ({operation})" if declared else operation

    def pay(self, job: str, amount: Money, how: str, *, answer: str = "") -> Money:
        """Take money for a job; gives what is still due. In the job's journal and in the books at once.

        Args:
            answer: Id of the answer that says so, where a screen does; said under it again, it takes nothing and gives what is due by now.

        Errors:
            PaymentProblem: it is more than is due, or no money.
            OtherAnswer: the id is another answer's.
        """
        job = self.find(job)
        asked = {"pay": [amount.minor, amount.currency, how], "job": job}
        with self._one_deed:
            record = self.store.job(job)
            due = self._due(record)
            if self.store.answered(answer, asked) is not None:
                return due
            receipt = receive(amount, how, paper.as_payable(due))
            paid = Paid(amount=amount.minor, currency=amount.currency, how=how)
            taken = PaymentTaken(amount=amount.minor, currency=amount.currency, how=how, job_name=record.name)
            self.store.payment(job, self._books, paid, taken, answer=answer, asked=asked)
            return receipt.due

    def payments(self, job: str) -> list[Payment]:
        """What was paid for a job, or for the invoice it is on, oldest first."""
        return receipts.payments(self.jobs_billed_with(self.store.job(self.find(job))))

    def receipt(self, job: str, payment: str = "") -> Receipt:
        """The receipt for a payment (`payments` gives their ids; without one, the last): as it was handed over, or made now and kept.

        Errors:
            DeskProblem: there is no such payment; or the invoice shows it, and so is its receipt.
        """
        return receipts.draw(self, job, payment)

    def jobs_billed_with(self, job: Job) -> list[Job]:
        """The jobs that share an invoice with this one, in the order in which it tells of them; the job alone where it has none, or one of its own."""
        named = self.store.invoice(job.issued[-1].record.number).body.get("jobs", ()) if job.issued else ()
        return [job if one == job.id else self.store.job(one) for one in named] or [job]

    def to_pay(self, job: Job) -> Money:
        """What a job's invoice comes to; before there is one, what was agreed to so far."""
        if not job.issued:
            return self._agreed_total(job, [])
        record = self.store.invoice(job.issued[-1].record.number).body
        return Money(record["total"], record["currency"])

    def due(self, job: str) -> Money:
        """What is still to be paid for a job: of its invoice, or before there is one, of what was agreed to so far."""
        return self._due(self.store.job(self.find(job)))

    def _due(self, job: Job) -> Money:
        whole = self.to_pay(job)
        return whole - total((payment.amount for payment in receipts.payments(self.jobs_billed_with(job))), whole.currency)

    # ---- sharing

    def link_of(self, document_id: str, number: int) -> str:
        """The link that the code of a document holds; empty for a shop without a page address."""
        return link.link(self.settings.page, self._token(document_id, number)) if self.settings.page else ""

    def _token(self, document_id: str, number: int) -> str:
        return link.token(self._key, document_id, number)

    @cached_property
    def _key(self) -> bytes:
        return keys.read_link_key(self.folder / KEY_FILE)

    def publish(self, job: str | None = None) -> list[str]:
        """Send the masked Documents of issued invoices, each once, to where the page server finds them; gives their numbers.

        Errors:
            PublishProblem: the target refuses or cannot be reached; what was sent before stays sent.
        """
        from ..share.published import publish_to, seal_envelope

        if not self.settings.page:
            return []
        only = self.find(job) if job is not None else None
        target, bearer = self._target()
        there = {known.token_hash for known in self.store.links() if known.published_at or known.revoked}
        sent = []
        for entry in self.store.books():
            if entry.kind != "invoice" or (only is not None and only not in jobs_of(entry)):
                continue
            record = InvoiceIssued(**entry.body)
            token_hash = link.token_hash(self._token(record.document_id, 1))
            if token_hash in there:
                continue
            self.store.note_link(token_hash, record.document_id, 1)
            publish_to(target, token_hash, seal_envelope(from_data(record.document), published=self._now()), bearer)
            self.store.mark_published(token_hash, *jobs_of(entry))
            sent.append(record.number)
        return sent

    def withdraw(self, number: str) -> None:
        """Take the page of an invoice down, for good: its code opens nothing any more, and publishing never sends it again.

        Errors:
            StoreProblem: there is no such invoice. PublishProblem: the page server cannot be reached; nothing is noted then.
        """
        from ..share.published import withdraw_from

        document = InvoiceIssued(**self.store.invoice(number).body).document_id
        if not self.settings.page:
            raise DeskProblem("This shop has no page address, so no page was ever published.")
        token_hash = link.token_hash(self._token(document, 1))
        target, bearer = self._target()
        withdraw_from(target, token_hash, bearer)
        self.store.note_link(token_hash, document, 1)
        self.store.revoke_link(token_hash)

    def restored(self) -> str:
        """Go on in a chain of a new name, because this store is a restored copy and the other one may still be written to; gives the name."""
        return self.store.rename_lineage()

    def _target(self) -> tuple[str | Path, str | None]:
        """Where published documents go, and the key that a page server asks for."""
        if "://" not in self.settings.publish:
            return self.folder / self.settings.publish, None
        key = self.folder / PAGE_KEY_FILE
        if not key.is_file():
            raise DeskProblem(f"{self.settings.publish} asks for its key; put a copy of the file that `corekit serve --published` drew there at {key}.")
        return self.settings.publish, key.read_text("utf-8").strip()

    def forget(self, job: str) -> dict[str, int]:
        """Destroy the persons of a job after retention, in the store and on the papers kept here; the chain still verifies."""
        job = self.find(job)
        for name in self._papers_of(self.store.job(job)):
            self._paper_path(name).unlink(missing_ok=True)
        return self.store.forget(job)

    def _papers_of(self, job: Job) -> list[str]:
        estimates = [f"estimate {name} {noted.record.name}" for name in _names(job) for noted in job.offers]
        given = [receipts.paper_name(noted.record) for noted in job.receipts]
        return [*estimates, *given, *(f"invoice {noted.record.number}" for noted in job.issued)]

    # ---- what papers share

    @property
    def _books(self) -> str:
        return f"books/{self.settings.device}/{self._now().year}"

    def sheet(self, job: Job) -> Sheet:
        """What a new paper of a job shares with its other papers, under a document id drawn for it."""
        return paper.sheet(drawn(16), self.settings.issuer, self._now(), self.book.currency, self.plugins, demo=job.demo or self.store.demo)

    def _versions(self, assessment: Assessment) -> dict[str, str]:
        return {"corekit": __version__, **assessment.versions}

    def written(self, document: Document, name: str, jobs: Sequence[str], address: str = "") -> Path:
        """Draw a paper of these jobs as a PDF into the shop's folder; its code holds `address`, if there is one."""
        from ..report.pdf import render_pdf
        from ..report.say import speaker

        path, texts = self._paper_path(name), {hash: text for job in jobs for hash, text in self.texts(job).items()}  # noqa: A001
        path.parent.mkdir(parents=True, exist_ok=True)
        write_over(path, render_pdf(document, speaker(texts), address or None))
        return path

    def _paper_path(self, name: str) -> Path:
        """File names are made of our own words and numbers and the job's plain name, never of what a customer is called."""
        return self.folder / PAPERS / f"{paper.file_name(name)}.pdf"


class _MovedOn(Exception):
    """The job's journal grew while something was made of it."""


def _names(job: Job) -> list[str]:
    """Every name that the job's files gave it, the oldest first."""
    return [noted.record.origin for noted in job.all(Opened)]


def _no_name(by: str, where: str = "") -> None:
    """Refuse a name where it could never be forgotten."""
    if by not in WHO_AGREES:
        raise DeskProblem(
            f"{where}{by!r} would stand in the record for good, so who agreed is never a name. Write one of {', '.join(WHO_AGREES)}; "
            "names belong to customer = { … }. Nothing was recorded."
        )


def _payments(statements: Sequence[Statement]) -> list[Statement]:
    """What is said of payments, without those that come in withdrawn already."""
    withdrawn = {statement.subject for statement in statements if statement.kind == "withdrawn"}
    return [statement for statement in statements if statement.kind == "paid" and statement.subject not in withdrawn]
