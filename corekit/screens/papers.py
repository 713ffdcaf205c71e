"""The papers of a job as files: any estimate that was made, the invoice, and receipts."""

from __future__ import annotations

import flask

from ..desk.estimating import Estimate, estimate_named
from ..desk.issuing import invoice_of
from ..desk.jobs import billed_with
from ..desk.payments import payments_of
from ..desk.photos import photos_on
from ..desk.receipts import receipt_for
from ..desk.reminding import reminder_drawn, reminders_of
from ..model.job import Job
from .context import Van

#: The invoice's name among the papers of a job, and how a receipt's and a reminder's begins; an estimate's is
#: its printed one with a hyphen.
INVOICE, RECEIPT, REMINDER = "invoice", "receipt-", "reminder-"
#: Of the invoices of a job, counted from 1, where there are several.
EARLIER = "invoice-"


def paper_name(estimate: str) -> str:
    """What an estimate's paper is called in an address.

    >>> paper_name("repair 1")
    'repair-1'
    """
    return estimate.replace(" ", "-")


def paper_path(estimate: Estimate) -> str:
    return f"/job/{estimate.job}/paper/{paper_name(estimate.name)}.pdf"


def add(app: flask.Flask, van: Van) -> None:
    @app.get("/job/<job>/paper/<name>.pdf")
    def paper(job: str, name: str) -> flask.Response:
        """A paper to keep or to send: drawn from the Document that was handed over, with what only the
        customer's copy shows.
        """
        record = van.job(job)
        if name == INVOICE and record.issued:
            invoice = invoice_of(van.shop, record)
            return _file(invoice.pdf.read_bytes(), f"invoice {invoice.number}")
        if name.startswith(EARLIER) and name.removeprefix(EARLIER).isdecimal() and record.issued:
            place = int(name.removeprefix(EARLIER))
            if 0 < place <= len(record.issued):
                number = record.issued[place - 1].record.number
                invoice = invoice_of(van.shop, record, number=number)
                return _file(invoice.pdf.read_bytes(), f"invoice {number}")
        if name.startswith(REMINDER) and name.removeprefix(REMINDER).isdecimal():
            nth = int(name.removeprefix(REMINDER))
            if 0 < nth <= len(reminders_of(van.shop, record)):
                made = reminder_drawn(van.shop, record, nth)
                return _file(made.pdf.read_bytes(), f"reminder {made.number} {nth}")
        handed_over = [
            payment.id
            for payment in payments_of(van.shop, billed_with(van.shop, record))
            if payment.has_receipt
        ]
        payment = next((one for one in handed_over if name == f"{RECEIPT}{one}"), None)
        if payment is not None:
            return _file(
                receipt_for(van.shop, record.id, payment).pdf.read_bytes(), f"receipt {payment[:12]}"
            )
        estimated = next(
            (noted.record.name for noted in record.estimates if paper_name(noted.record.name) == name), None
        )
        if estimated is None:
            flask.abort(404)
        return _file(
            _draw(van, record, estimate_named(van.shop, record, estimated)),
            f"estimate {record.name} {estimated}",
        )


def _draw(van: Van, job: Job, estimate: Estimate) -> bytes:
    from ..report.pdf import render_pdf
    from ..report.personal_text import resolver

    return render_pdf(
        estimate.document, resolver(van.texts(job) | photos_on(van.shop, estimate.document)), None
    )


def _file(data: bytes, name: str) -> flask.Response:
    from ..desk.paper import file_name

    reply = flask.Response(data, mimetype="application/pdf")
    reply.headers.set("Content-Disposition", "inline", filename=f"{file_name(name)}.pdf")
    reply.headers["Cache-Control"] = "no-store"
    return reply
