"""Handing over: what was done and whether it worked, the money, the invoice with its code, the paper as a
file.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence

import attrs
import flask
from markupsafe import Markup

from ..desk.clock import clock_jump, now_in_words
from ..desk.complaint import complaint_now
from ..desk.issuing import Invoice, Page, invoice_draft, invoice_of, left_out, transfer_of
from ..desk.issuing import issue as issue_over
from ..desk.jobs import billed_with, jobs_of_same_customer
from ..desk.paying import arrived as money_arrived
from ..desk.payments import due_in_cash, due_of, payments_of
from ..desk.photos import photos_on
from ..desk.publishing import publish as publish_pages
from ..desk.receipts import receipt_for
from ..desk.reminding import is_overdue, remind, reminders_of
from ..desk.rows import add_rows
from ..errors import CorekitError
from ..model.account_number import grouped
from ..model.document import Document
from ..model.job import Job
from ..model.measurand import answers_of
from ..model.money import Money
from ..report.code import symbol
from ..report.dates import day_words
from ..report.page import render_page
from ..report.personal_text import resolver
from ..visit.guidance import unsettled_after_repair
from ..web.address import own_path
from . import forms
from .context import Van
from .forms import form_with_faults, redirect
from .job_rows import Reach, texts_for
from .page import job_page, personal_words, vehicle_words
from .photos import choice_of, photos_of
from .told import told_on

#: Ways of paying that are one tap; any other can be typed. Payment means in words (UNTDID 4461: cash, card,
#: credit transfer).
WAYS = ("cash", "card", "bank transfer")


def add(app: flask.Flask, van: Van) -> None:
    @app.get("/job/<job>/hand")
    def hand(job: str) -> str:
        record = van.job(job)
        if record.issued and not record.goes_on:
            return _invoice_words(van, record)
        assessment = van.assessed(record)
        try:
            draft, error = invoice_draft(van.shop, record), ""
        except CorekitError as refusal:
            draft, error = None, str(refusal)
        paper = None if draft is None else paper_markup(draft.document, van, record)
        told = "" if draft is None else told_on(draft.document, van, [record])
        return job_page(
            "hand.html",
            record,
            van,
            paper=paper,
            told=told,
            error=error,
            due=draft.due if draft else None,
            left_out=left_out(van.shop, record),
            jump=clock_jump(van.shop),
            clock_now=now_in_words(van.shop),
            rounds_cash=van.shop.settings.cash_rounding is not None,
            now=complaint_now(record),
            unsettled=[
                (one.text, [(asked.key, asked.title, answers_of(asked.answers)) for asked in one.asks])
                for one in unsettled_after_repair(assessment, van.shop.plugins)
            ],
            ways=WAYS,
            repairs=assessment.repairs,
            failures=assessment.failures,
            others=[] if record.issued else same_customer(van, record),
            earlier=[noted.record.number for noted in record.issued],
            taken=photos_of(van, record),
            **choice_of(record),
            not_charged={noted.record.operation: noted.record.because for noted in record.waived},
        )

    @app.get("/job/<job>/deposit")
    def deposit(job: str) -> str | flask.Response:
        """Money that comes before the invoice; afterwards it is taken where the invoice is."""
        record = van.job(job)
        if record.issued and not record.goes_on:
            return redirect(f"/job/{job}/hand")
        leaving = flask.request.args.get("next") == "leave"
        return job_page(
            "deposit.html",
            record,
            van,
            due=due_of(van.shop, [record]),
            payments=payments_of(van.shop, [record]),
            ways=WAYS,
            here=f"/job/{job}/deposit" + ("?next=leave" if leaving else ""),
            next=f"/job/{job}/leave" if leaving else "",
        )

    @app.post("/job/<job>/issue")
    def issue(job: str) -> flask.Response:
        """Take a number and issue the invoice, over this job or over several of one customer; `paid` says
        how all that was due came in at that moment.
        """
        form = flask.request.form

        def do() -> None:
            id_ = forms.request_id()
            if form.get("paid"):
                rows = {"step": [{"paid": {"amount": form.get("due", ""), "how": form["paid"]}}]}
                add_rows(van.shop, job, rows, request_id=f"{id_[:59]}-paid")
            issue_over(
                van.shop,
                job,
                *form.getlist("with"),
                request_id=id_,
                date_is_right="date_is_right" in form,
            )

        return run_action(do, f"/job/{job}/hand")

    @app.post("/job/<job>/receipt/<payment>")
    def receipt(job: str, payment: str) -> flask.Response:
        """A receipt for a payment that the invoice does not show."""
        return run_action(
            lambda: receipt_for(van.shop, job, payment),
            own_path(flask.request.form.get("next", ""), f"/job/{job}/hand"),
        )

    @app.post("/job/<job>/arrived/<announced>")
    def arrived(job: str, announced: str) -> flask.Response:
        """Money that was announced is there."""
        return run_action(
            lambda: money_arrived(van.shop, job, announced, request_id=forms.request_id()),
            f"/job/{job}/hand",
        )

    @app.post("/job/<job>/remind")
    def make_reminder(job: str) -> flask.Response:
        """A reminder of an invoice that is overdue."""
        return run_action(
            lambda: remind(van.shop, job, request_id=forms.request_id()),
            f"/job/{job}/hand",
        )

    @app.post("/job/<job>/publish")
    def publish(job: str) -> flask.Response:
        return run_action(lambda: publish_pages(van.shop, job), f"/job/{job}/hand")


def run_action(do: Callable[[], object], path: str) -> flask.Response:
    """Do what was asked and lead on; what cannot be done comes back as the same screen with the reason."""
    try:
        do()
    except CorekitError as error:
        return form_with_faults(error)
    return redirect(path)


def paper_markup(document: Document, van: Van, *jobs: Job, link: str = "") -> Markup:
    """A paper on the mechanic's own screen, with everything that stands on the customer's copy; its headings
    are heard one level below the screen's own.
    """
    texts = {hash_: text for job in jobs for hash_, text in van.texts(job).items()}
    paper = render_page(document, resolver(texts | photos_on(van.shop, document)), link or None)
    return Markup(
        re.sub(
            r"<h([1-5])(?=[ >])", lambda heading: f'{heading[0]} aria-level="{int(heading[1]) + 1}"', paper
        )
    )


def _invoice_words(van: Van, job: Job) -> str:
    """The invoice as it is handed over; where it cannot be drawn just now, its number and the reason."""
    billed = billed_with(van.shop, job)
    try:
        invoice = invoice_of(van.shop, job, billed)
    except CorekitError as error:
        return job_page("not_drawn.html", job, van, number=job.issued[-1].record.number, error=str(error))
    return job_page(
        "handed.html",
        job,
        van,
        invoice=invoice,
        paper=paper_markup(invoice.document, van, *billed, link=invoice.link),
        told=told_on(invoice.document, van, billed),
        code=code_svg(invoice),
        waits=invoice.page is Page.WAITS,
        down=invoice.page is Page.DOWN,
        sent_away="://" in van.shop.settings.publish or van.shop.demo,
        folder=van.shop.settings.publish,
        page_at=van.shop.settings.page,
        ways=WAYS,
        payments=payments_of(van.shop, billed),
        announced=announced_of(van, billed),
        transfer=transfer_svg(van, invoice),
        account=grouped(van.shop.settings.issuer.iban),
        mail=_mail(van, job, invoice),
        in_cash=due_in_cash(van.shop, invoice.due),
        overdue=invoice.due.minor > 0 and is_overdue(van.shop, billed),
        reminders=[day_words(one.day) for one in reminders_of(van.shop, job)],
        earlier=[noted.record.number for noted in job.issued[:-1]],
        together=[vehicle_words(other, van.texts(other)) for other in billed if other.id != job.id],
    )


def announced_of(van: Van, jobs: Sequence[Job]) -> list[tuple[str, str, str, str]]:
    """Payments that are said to be on their way: job, entry, amount and how, the day."""
    return [
        (
            job.id,
            noted.id,
            f"{Money(noted.record.amount, noted.record.currency)} {noted.record.currency},"
            f" {noted.record.how}",
            day_words(van.shop.settings.day_of(noted.entry.recorded)),
        )
        for job in jobs
        for noted in job.announced
    ]


def _mail(van: Van, job: Job, invoice: Invoice) -> str:
    """The address of a mail to the customer about the invoice; empty where no e-mail address is known."""
    email = personal_words(job.customer.email, van.texts(job))
    words = f"Invoice {invoice.number} of {van.shop.settings.issuer.name}."
    return Reach.of("", email, "", f"Invoice {invoice.number}", f"{words} {invoice.link}".strip()).mail


@attrs.frozen(kw_only=True)
class Other:
    """Another open job of the same customer, which one invoice could be over as well."""

    id: str
    name: str
    vehicle: str


def same_customer(van: Van, job: Job) -> list[Other]:
    """The other jobs of this customer that something was approved in and that are on no invoice yet."""
    return [
        Other(id=other.id, name=other.name, vehicle=vehicle_words(other, texts_for(van, [other])))
        for other in jobs_of_same_customer(van.shop, job)
    ]


def code_svg(invoice: Invoice) -> Markup:
    """The invoice's code as a drawing, dark on white with its quiet zone; empty for a shop without a page
    address.
    """
    return _drawn(invoice.link, f"The code of invoice {invoice.number}")


def transfer_svg(van: Van, invoice: Invoice) -> Markup:
    """The code from which the customer's bank fills in the transfer of what is still to be paid; empty where
    there is none.
    """
    said_to = transfer_of(van.shop, invoice.number, invoice.due) if invoice.due.minor > 0 else ""
    return _drawn(said_to, f"The code of the transfer for invoice {invoice.number}")


def _drawn(text: str, label: str) -> Markup:
    if not text:
        return Markup()
    drawn = symbol(text)
    side, quiet = drawn.side, (drawn.side - len(drawn.rows)) // 2
    path = "".join(
        f"M{column + quiet} {row + quiet}h{count}v1h-{count}z" for row, column, count in drawn.runs()
    )
    return Markup(
        '<svg viewBox="0 0 {side} {side}" role="img" aria-label="{label}"'
        ' shape-rendering="crispEdges"><rect width="{side}" height="{side}" fill="#fff"/><path d="{path}"'
        ' fill="#000"/></svg>'
    ).format(side=side, label=label, path=path)
