"""Approving: what call-out and diagnosis costs, what the repair costs, the paper, and the approval or refusal
of it.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from decimal import Decimal, InvalidOperation
from urllib.parse import parse_qs, urlsplit

import attrs
import flask

from ..desk import jobs, quote
from ..desk.approving import approve as record_approval
from ..desk.errors import ConsentError, DataFault, VisitError
from ..desk.estimating import Estimate, Terms, estimate_named, may_charge_call_out
from ..desk.estimating import estimate as make_estimate
from ..desk.offerable import cap_of, requested_work
from ..desk.quote import Prospect, QuotePart
from ..desk.rows import add_rows
from ..desk.tax_base import contradictions
from ..errors import CorekitError
from ..model.document import document_hash
from ..model.job import Job, Noted
from ..model.job_state import estimate_comes_first
from ..model.money import Money
from ..model.personal import Personal
from ..model.records import Approved, Estimated
from ..report.sections import CANCELLATION
from ..report.sheet import WHO_APPROVES
from ..visit.guidance import open_tests
from . import forms
from .context import Van, note_own_texts
from .forms import form_with_faults, redirect
from .hand_over import paper_markup, run_action
from .page import job_page, vehicle_named
from .papers import paper_path
from .prices import unpriced_work
from .signature import Signature, SignatureError, read_signature
from .told import told_on

#: How an approval is given, as it is printed. A signature belongs to the first.
IN_PERSON, BY_PHONE, BY_MESSAGE = "in person", "by phone", "by message"
HOW = (IN_PERSON, BY_PHONE, BY_MESSAGE)
_SCREEN_OF = {"diagnosis": "diagnosis", "repair": "estimate"}
_LONGEST_WORDS = 2000
_FARTHEST = Decimal(2000)  # km of one drive; more is a slip of the finger

#: What stands on the invoice when nothing of an estimate was wanted and no other reason was typed.
DECLINED = "the estimated repair was declined"


@attrs.frozen(kw_only=True)
class Asking:
    """An estimate that waits for its answer, as the screen shows it.

    Attributes:
        mark: First letters of the paper's hash, which the approval is bound to; `paper` is the whole of it.
        parts: Its pieces of work; only those with an operation can be declined singly.
        pdf: Address of its PDF.
    """

    estimate: Estimate
    paper: str
    parts: Sequence[QuotePart]
    pdf: str

    @property
    def mark(self) -> str:
        return mark_of(self.paper)

    @property
    def pieces(self) -> list[QuotePart]:
        return [part for part in self.parts if part.operation]


@attrs.frozen(kw_only=True)
class Given:
    """A word on record: on which estimate, what it came to, who and how and what was declined, what was said,
    the signature's path, the PDF.
    """

    estimate: str
    text: str
    said: str
    signature: str
    pdf: str


def mark_of(paper: str) -> str:
    """The first letters of a paper's hash, in two groups, to be compared by eye.

    >>> mark_of("3f2a9c1b77")
    '3F2A 9C1B'
    """
    return f"{paper[:4]} {paper[4:8]}".upper()


def add(app: flask.Flask, van: Van) -> None:
    app.jinja_env.globals["tax_words"] = lambda: "with tax" if van.shop.prices.with_tax else "before tax"

    @app.get("/job/<job>/diagnosis")
    def diagnosis(job: str) -> str:
        """Call-out and diagnosis: what it costs, then the paper and the approval."""
        record = van.job(job)
        waits, said = open_question(van, record, "diagnosis"), answers_of(van, record, "diagnosis")
        ahead, error = (
            (None, "") if waits or said or _needs_km(van, record) else _prospect(van, record, "diagnosis")
        )
        return job_page(
            "diagnosis.html",
            record,
            van,
            asking=waits,
            answered=said,
            would=ahead,
            error=error,
            book=van.shop.prices,
            needs_km=_needs_km(van, record),
            cap=cap_of(van.shop.prices),
            pays_words=vehicle_named(record.same_trip_as, van),
            **_approval_form(van, record, waits),
        )

    @app.get("/job/<job>/estimate")
    def estimate(job: str) -> str:
        """The repair: what may be proposed and what not yet, then the paper and the approval."""
        record = van.job(job)
        assessment = van.assessed(record)
        waits = None if _is_changed() else open_question(van, record, "repair")
        approved = approved_to_do(van, record)
        call_out = _call_out(van, record, waits)
        ahead, error = ahead_of_repair(van, record, call_out)
        return job_page(
            "estimate.html",
            record,
            van,
            asking=waits,
            answered=answers_of(van, record, "repair"),
            would=ahead,
            error=error,
            unpriced=unpriced_work(van, record) if ahead is None else [],
            rates=list(van.shop.prices.rates),
            may_call_out=call_out.may,
            call_out=call_out.is_charged,
            call_out_net=next((part.net for part in ahead.parts if not part.operation), "") if ahead else "",
            call_out_km=call_out.km or "",
            needs_km=_needs_km(van, record),
            book_fault=van.shop.price_book.fault,
            taxed_otherwise=list(contradictions(van.shop.prices, van.shop.jurisdiction)),
            moved_on=waits is not None and (ahead is None or not _holds(waits, ahead)),
            more=_more(waits, ahead),
            approved=approved,
            taken=_proposed_work(ahead),
            looked=any(record.spoken_of(stage) or record.codes_read(stage) for stage in record.stages),
            not_yet=[call for call in assessment.calls_at(record.stage) if not call.met],
            operations=van.shop.plugins.operations,
            next_test=next(iter(open_tests(assessment, van.shop.plugins)), None),
            **_approval_form(van, record, waits),
        )

    @app.post("/job/<job>/offer")
    def offer(job: str) -> flask.Response:
        """Straight to the paper of the repair that the findings call for; where something is still to be
        said before there is one, to the screen that asks for it.
        """
        try:
            record = van.job(job)
            without = set(approved_to_do(van, record))
            make_estimate(van.shop, job, "repair", without=without, request_id=forms.request_id())
        except CorekitError:
            return redirect(f"/job/{job}/estimate?change=1")
        return redirect(f"/job/{job}/estimate")

    @app.post("/job/<job>/estimate-of/<stage>")
    def make(job: str, stage: str) -> flask.Response:
        """Make the estimate; its paper is shown next, for the approval."""
        if stage not in _SCREEN_OF:
            flask.abort(404)
        form = flask.request.form
        try:
            km = _km(form["km"]) if form.get("km", "").strip() else None
        except VisitError as error:
            return form_with_faults(error)
        # Everything from the form: sent again later, it still asks for the same.
        without = {*form.getlist("approved"), *(set(form.getlist("may")) - set(form.getlist("take")))}
        call_out = True if stage == "repair" and "call_out" in form else None
        if call_out and km is None and _needs_km(van, van.job(job)):
            km = Decimal(0)
        return run_action(
            lambda: make_estimate(
                van.shop,
                job,
                stage,
                km=km,
                call_out=call_out,
                without=without,
                request_id=forms.request_id(),
            ),
            f"/job/{job}/{_SCREEN_OF[stage]}",
        )

    @app.post("/job/<job>/approve-shown")
    def approve_shown(job: str) -> flask.Response:
        """The customer's word, in person, on call-out and diagnosis as the screen lists them: the estimate is
        made and approved in one tap. Where it would come to another total nothing is approved.
        """
        id_ = forms.request_id()
        try:
            record = van.job(job)
            if not answers_of(van, record, "diagnosis"):
                ahead, error = _prospect(van, record, "diagnosis")
                _as_shown(ahead.total if ahead is not None else error)
            made = make_estimate(van.shop, job, "diagnosis", request_id=f"{id_[:60]}-paper")
            _as_shown(made.total)
            record_approval(van.shop, made, by="customer", how=IN_PERSON, request_id=id_)
        except CorekitError as error:
            return form_with_faults(error)
        return redirect(f"/job/{job}")

    @app.post("/job/<job>/approve")
    def approve(job: str) -> flask.Response:
        """The customer's word on an estimate, bound to the paper that was shown."""
        try:
            record = van.job(job)
            said = said_of(van, record)
            signature = said.signature.text if said.signature else ""
            record_approval(
                van.shop,
                said.estimate,
                by=said.by,
                how=said.how,
                declined=said.declined,
                signature=signature,
                words=said.words,
                cancellation=said.cancellation,
                request_id=forms.request_id(),
            )
            if said.nothing and not record.works_done and not record.approval.open:
                _end_job(van, job, flask.request.form.get("because", ""))
        except CorekitError as error:
            return form_with_faults(error)
        return redirect(f"/job/{job}")

    @app.post("/job/<job>/approve/try")
    def trial(job: str) -> str:
        """What an approval comes to with what is declined so far; nothing is written."""
        record = van.job(job)
        try:
            estimate = _estimate_meant(van, record)
            declined = _declined_work(_operations(record, estimate))
            total = quote.approved_if(van.shop, estimate, declined)
        except CorekitError as error:
            return flask.render_template(
                "approve_preview.html", error=str(error), total=None, declined=(), nothing=False
            )
        nothing = bool(declined) and set(declined) == _operations(record, estimate)
        return flask.render_template(
            "approve_preview.html", error="", total=total, declined=declined, nothing=nothing
        )


def _approval_form(van: Van, record: Job, waits: Asking | None) -> dict[str, object]:
    """What the form of the approval needs."""
    if waits is not None:
        note_own_texts((), [waits.mark])
    came_back = flask.g.get("given")
    wanted = (
        came_back.getlist("want")
        if came_back is not None
        else [part.operation for part in waits.pieces]
        if waits
        else []
    )
    return {
        "who": WHO_APPROVES,
        "signs": van.shop.settings.signs,
        "cancellation": cancellation_answers(van),
        "paper": paper_markup(waits.estimate.document, van, record) if waits else None,
        "told": told_on(waits.estimate.document, van, [record], with_prices=True) if waits else "",
        "requested": wanted,
    }


def cancellation_answers(van: Van) -> list[tuple[str, str]]:
    """What the customer may say on the right to cancel, each with its line; none where there is no such
    right.
    """
    rule = van.shop.jurisdiction.cancellation
    return [(str(answer), CANCELLATION[answer][0]) for answer in rule.answers] if rule is not None else []


def _is_changed() -> bool:
    """Whether the address asks for the work of an estimate instead of the paper that waits."""
    address = urlsplit(str(flask.g.get("screen") or flask.request.full_path))
    return "change" in parse_qs(address.query)


def _proposed_work(ahead: Prospect | None) -> list[str]:
    """The pieces of work that are to be proposed: all, until somebody took one out."""
    came_back = flask.g.get("given")
    if came_back is not None:
        return list(came_back.getlist("take"))
    return [part.operation for part in ahead.parts] if ahead else []


# ---- what is shown


def open_question(van: Van, job: Job, stage: str) -> Asking | None:
    """The latest estimate of a stage, while nobody has answered it."""
    estimated = _latest(job, stage)
    if estimated is None or any(
        noted.record.document_hash == estimated.document_hash for noted in job.approvals
    ):
        return None
    estimate = estimate_named(van.shop, job, estimated.name)
    return Asking(
        estimate=estimate,
        paper=document_hash(estimate.document),
        parts=quote.estimated_parts(estimated),
        pdf=paper_path(estimate),
    )


def _latest(job: Job, stage: str) -> Estimated | None:
    made = [noted.record for noted in job.estimates if noted.record.stage == stage]
    return made[-1] if made else None


def answers_of(van: Van, job: Job, stage: str) -> list[Given]:
    """Every word on the estimates of a stage, in order."""
    estimates = {
        noted.record.document_hash: noted.record for noted in job.estimates if noted.record.stage == stage
    }
    return [
        _given_answer(van, job, noted, estimates[noted.record.document_hash])
        for noted in job.approvals
        if noted.record.document_hash in estimates
    ]


def _given_answer(van: Van, job: Job, noted: Noted[Approved], estimated: Estimated) -> Given:
    approved, estimate = noted.record, estimate_named(van.shop, job, estimated.name)
    try:
        come_to = str(quote.approved_if(van.shop, estimate, approved.declined))
    except (
        ConsentError
    ):  # today's tax rates give the estimate another total; what was said stands all the same
        come_to = f"part of {estimate.total}"
    titles = {part.operation: part.title for part in quote.estimated_parts(estimated)}
    declined = ", ".join(titles.get(key, key) for key in approved.declined)
    signed = ", signed" if approved.signature is not None else ""
    text = f"{come_to} {estimate.total.currency}, approved by the {approved.by}, {approved.how}{signed}" + (
        f"; declined: {declined}" if declined else ""
    )
    if set(titles) == set(approved.declined):
        text = f"Declined as a whole by the {approved.by}, {approved.how}{signed}"
    said = van.texts(job).get(approved.said.hash, "removed") if isinstance(approved.said, Personal) else ""
    return Given(
        estimate=approved.estimate,
        text=text,
        said=said,
        signature=_drawn_under(van, job, approved),
        pdf=paper_path(estimate),
    )


def _drawn_under(van: Van, job: Job, approved: Approved) -> str:
    """The signature as an SVG path; empty when there is none, when it was destroyed after retention, or when
    it is none of ours.
    """
    if not isinstance(approved.signature, Personal):
        return ""
    try:
        kept = read_signature(jobs.pictures_of(van.shop, job, "signature").get(approved.signature.hash, ""))
    except SignatureError:  # of another make, from a Python caller
        return ""
    return kept.path if kept else ""


def approved_to_do(van: Van, job: Job) -> dict[str, str]:
    """Work that was approved and is not done yet, key → title: it is not proposed again."""
    return {key: van.shop.plugins.title(key) for key in job.approval.open}


@attrs.frozen(kw_only=True)
class CallOut:
    """Whether an estimate of work may hold the call-out, whether this one does, and how far the drive was."""

    may: bool
    is_charged: bool
    km: Decimal | None = None


#: What an estimate is looked at with that speaks of no call-out.
NO_CALL_OUT = CallOut(may=False, is_charged=False)


def _call_out(van: Van, job: Job, waits: Asking | None) -> CallOut:
    """The call-out of work that nobody has to look for; as on the estimate that waits, where one does."""
    book = van.shop.prices
    may = may_charge_call_out(job) and any(
        price is not None for price in (book.call_out, book.travel, book.per_km, book.zones or None)
    )
    if waits is None:
        came_back = flask.g.get("given")
        # Who asked for an oil change asked somebody to come; a repair follows a diagnosis that has it.
        wanted = estimate_comes_first(job) if came_back is None else "call_out" in came_back
        return CallOut(may=may, is_charged=may and wanted)
    lines = [line for part in waits.parts if not part.operation for line in part.lines]
    km = next((line.quantity for line in lines if line.unit == "km"), None)
    return CallOut(may=may, is_charged=may and bool(lines), km=km)


def ahead_of_repair(van: Van, job: Job, call_out: CallOut = NO_CALL_OUT) -> tuple[Prospect | None, str]:
    """What an estimate of the repair would hold beside what is approved already; or why there is none."""
    return _prospect(van, job, "repair", approved_to_do(van, job), call_out)


def _prospect(
    van: Van, job: Job, stage: str, approved: Collection[str] = (), call_out: CallOut = NO_CALL_OUT
) -> tuple[Prospect | None, str]:
    """What would be proposed, without what is approved already; or why nothing can be."""
    assessment = van.assessed(job)
    may = (
        {asked.operation for asked in requested_work(job, assessment, van.shop.plugins)}
        if stage == "repair"
        else set()
    )
    if may and may <= set(approved):
        return None, ""
    try:
        terms = Terms(
            without=frozenset(approved) & may,
            call_out=True if call_out.is_charged else None,
            km=(call_out.km or Decimal(0)) if call_out.is_charged else None,
        )
        return quote.prospect(van.shop, job, assessment, stage, terms), ""
    except CorekitError as error:
        return None, str(error)


def _holds(waits: Asking, ahead: Prospect) -> bool:
    """The paper still says what would be proposed, or less, because something was left out on purpose."""
    return all(part in ahead.parts for part in waits.parts if part.operation)


def _more(waits: Asking | None, ahead: Prospect | None) -> list[QuotePart]:
    """What could be proposed and does not stand on the paper, because it came later or was left out."""
    on_it = {part.operation for part in waits.parts} if waits else set()
    more = [part for part in ahead.parts if part.operation not in on_it] if waits and ahead else []
    return [part for part in more if part.operation]


def _needs_km(van: Van, job: Job) -> bool:
    book = van.shop.prices
    return (book.per_km is not None or bool(book.zones)) and not job.same_trip_as


# ---- what comes in


@attrs.frozen(kw_only=True)
class ApprovalWords:
    """A word on an estimate, as the form brought it; `nothing`: all of its work is declined; `words`: what
    was said word for word.
    """

    estimate: Estimate
    by: str
    how: str
    declined: tuple[str, ...]
    nothing: bool
    signature: Signature | None
    words: str
    cancellation: str


def said_of(van: Van, job: Job) -> ApprovalWords:
    """What the form says.

    Raises:
        VisitError: a field of it is wrong; each with the field's name.
        DeskError: the paper is not the one that stands.
    """
    form = flask.request.form
    estimate = _estimate_meant(van, job)
    pieces = _operations(job, estimate)
    nothing = bool(form.get("no")) and bool(pieces)
    declined = tuple(sorted(pieces)) if nothing else _declined_work(pieces)
    faults = []
    how, by, words = form.get("no") or form.get("how", ""), form.get("by", ""), form.get("said", "").strip()
    if declined and set(declined) == pieces and not nothing:
        faults.append(
            DataFault(
                "want",
                "",
                "Nothing is left to approve. If nothing is wanted, decline below; else tick what is wanted.",
            )
        )
    if how not in HOW:
        faults.append(DataFault("how", "", "How was it approved? In person, by phone or by message."))
    if by not in WHO_APPROVES:
        faults.append(
            DataFault(
                "by", "", f"Who approved? One of {', '.join(WHO_APPROVES)}; a name belongs to the customer."
            )
        )
    signature = None
    try:
        signature = read_signature(form.get("signature", ""))
    except SignatureError as error:
        faults.append(DataFault("signature", "", str(error)))
    if signature is not None and how != IN_PERSON and how in HOW:
        faults.append(
            DataFault(
                "signature",
                "",
                f"A signature is drawn in person, not {how}. Clear it, or record the approval in person.",
            )
        )
    if words and how == IN_PERSON:
        faults.append(
            DataFault(
                "said",
                "",
                "Word for word is for what was said by phone or written; say which of the two it was.",
            )
        )
    if len(words) > _LONGEST_WORDS:
        faults.append(DataFault("said", "", f"That is longer than {_LONGEST_WORDS} characters; shorten it."))
    cancellation, answers = form.get("cancellation", ""), [answer for answer, _ in cancellation_answers(van)]
    if answers and not nothing and cancellation not in answers:
        faults.append(DataFault("cancellation", "", "What does the customer say on the right to cancel?"))
    if faults:
        raise VisitError(faults)
    return ApprovalWords(
        estimate=estimate,
        by=by,
        how=how,
        declined=declined,
        nothing=nothing,
        signature=signature,
        words=words,
        cancellation=cancellation,
    )


def _as_shown(total: Money | str) -> None:
    """Return when the total that the customer saw is what an estimate comes to.

    Args:
        total: What it comes to; or why there is none.

    Raises:
        VisitError: it is another one, or there is none.
    """
    if str(total) != flask.request.form.get("total", ""):
        changed = "The price has changed. Load the page again and show the customer that one."
        raise VisitError([DataFault("", "", total if isinstance(total, str) else changed)])


def _estimate_meant(van: Van, job: Job) -> Estimate:
    """The estimate whose paper was shown.

    Raises:
        VisitError: another paper stands by now, or none of that name.
    """
    form = flask.request.form
    named = form.get("estimate", "")
    if not any(noted.record.name == named for noted in job.estimates):
        raise VisitError(
            [
                DataFault(
                    "",
                    "",
                    "There is no such estimate in this job. Go back to the steps and open the estimate again;"
                    " nothing was recorded.",
                )
            ]
        )
    estimate = estimate_named(van.shop, job, named)
    if form.get("paper", "") != document_hash(estimate.document):
        raise VisitError(
            [
                DataFault(
                    "",
                    "",
                    "This is not the current estimate. Load the page again and show the customer that one.",
                )
            ]
        )
    return estimate


def _operations(job: Job, estimate: Estimate) -> set[str]:
    made = next(noted.record for noted in reversed(job.estimates) if noted.record.name == estimate.name)
    return {str(line["operation"]) for line in made.lines if line.get("operation")}


def _declined_work(pieces: set[str]) -> tuple[str, ...]:
    """Pieces of an estimate that the form does not want."""
    return tuple(sorted(pieces - set(flask.request.form.getlist("want"))))


def _end_job(van: Van, job: str, because: str) -> None:
    """Nothing of the only repair estimate is wanted: the job ends there.

    Its own request, known by the first one's id, so that sending twice adds nothing.
    """
    rows = {"step": [{"ended": {"how": "declined", "because": because.strip() or DECLINED}}]}
    add_rows(van.shop, job, rows, request_id=f"{forms.request_id()[:60]}-end")


def _km(text: str) -> Decimal:
    try:
        km = Decimal(text.strip().removesuffix("km").strip().replace(",", "."))
    except InvalidOperation:
        km = Decimal(-1)
    if not km.is_finite() or not 0 <= km <= _FARTHEST or len(text) > 12:
        raise VisitError(
            [
                DataFault(
                    "km",
                    "",
                    f"The drive in kilometres is a number from 0 to {_FARTHEST}; write 14.5, for example.",
                )
            ]
        )
    return km
