"""Issued invoices in other forms: what a plugin writes from the invoice's value and its paper."""

from __future__ import annotations

import re
from collections.abc import Sequence
from decimal import ROUND_HALF_UP, Decimal
from pathlib import Path

import attrs

from ..billing.line import Line, from_data
from ..billing.totals import BillTotals, out_of_gross, totals
from ..files import write_over
from ..languages import ENGLISH
from ..model.document import Document, Paragraph
from ..model.document import from_data as document_of
from ..model.entry import jobs_of
from ..model.export import Exporter, InvoiceLine, InvoiceParty, InvoiceRate, InvoiceValue
from ..model.job import Job
from ..model.money import Money, total
from ..model.personal import Personal
from ..model.records import InvoiceIssued
from ..plugin.guard import failure_words, guarded
from ..report.catalogue import catalogue
from . import paper
from .context import ShopContext
from .errors import DeskError
from .jobs import order_numbers, texts_of
from .payments import payments_of
from .publishing import link_of

__all__ = ["Exported", "Exporter", "export", "exporters", "invoice_value"]

SECONDS = 60.0  # that a plugin's writer may take
#: Countries whose letters in front of a tax number are others than those of ISO 3166.
_OTHER_LETTERS = {"EL": "GR", "XI": "GB"}
_UNIT_PRICE = Decimal("0.000001")  # decimals of a unit price that had tax in it
_NO_TAX = "No tax is shown: "  # as the paper says it


@attrs.frozen(kw_only=True)
class Exported:
    """What was written where; `remarks` says what was taken for granted."""

    number: str
    title: str
    path: Path
    remarks: tuple[str, ...] = ()


def exporters(shop: ShopContext) -> dict[str, Exporter]:
    """Name → what the installed plugins write invoices with."""
    return {exporter.name: exporter for _, exporter in shop.plugins.exporters}


def export(shop: ShopContext, number: str, name: str, out: Path | None = None) -> Exported:
    """Write an issued invoice or credit note in another form, beside the shop's papers if nobody says where.

    Raises:
        DeskError: there is no such exporter, or it refuses, with what is missing.
        StoreError: there is no such invoice.
    """
    found = next(((plugin, one) for plugin, one in shop.plugins.exporters if one.name == name), None)
    if found is None:
        there = ", ".join(exporters(shop)) or "none"
        raise DeskError(f"Nothing installed writes invoices as {name!r}; there is: {there}.")
    plugin, exporter = found
    entry = shop.store.invoice(number)
    record = InvoiceIssued(**entry.body)
    jobs = [shop.store.job(job) for job in jobs_of(entry)]
    value = invoice_value(shop, record, jobs)
    document = document_of(record.document)
    pdf = paper.pdf_of(shop, document, paper.invoice_name(record.number), jobs, link_of(shop, document.id, 1))
    where = f"{plugin} (exporter {exporter.name})"
    try:
        with guarded(plugin, f"writing {number} as {name}", SECONDS, where):
            content = exporter.write(value, pdf.read_bytes())
            if not isinstance(content, bytes):
                raise TypeError(f"an exporter gives bytes; it gave {type(content).__name__}")
    except ValueError as error:
        raise DeskError(
            f"{number} cannot be written as {exporter.title}: {error} Nothing was written."
        ) from error
    except KeyboardInterrupt:
        raise
    except BaseException as error:
        raise DeskError(f"Plugin {plugin}: {failure_words(error, where)}. Nothing was written.") from error
    path = out or pdf.with_name(f"{pdf.stem}.{exporter.name}{exporter.suffix}")
    path.parent.mkdir(parents=True, exist_ok=True)
    write_over(path, content)
    return Exported(number=number, title=exporter.title, path=path, remarks=tuple(_taken_for_granted(value)))


def _taken_for_granted(value: InvoiceValue) -> list[str]:
    if value.buyer.country and not _prefix(value.buyer.tax_number):
        return [f"The customer's country was taken to be the shop's, {value.buyer.country}."]
    return []


def invoice_value(shop: ShopContext, record: InvoiceIssued, jobs: Sequence[Job]) -> InvoiceValue:
    """An invoice as it stands in the books; nothing of it is worked out anew but what was paid before.

    Raises:
        DeskError: an older program kept no lines of it, or why it shows no tax is not known any more.
    """
    if not record.lines or record.net is None or record.tax is None:
        raise DeskError(
            f"{record.number} was issued by an older program, which kept no lines. Nothing was written."
        )
    currency = record.currency
    net, tax, whole = (Money(minor, currency) for minor in (record.net, record.tax, record.total))
    outside = _outside_tax(document_of(record.document))
    if outside and shop.prices.outside_tax != outside:
        raise DeskError(
            f"{record.number} shows no tax because {outside!r}, and prices.toml says otherwise by now, so"
            " whether the customer owes it is not known. Write it with the prices of that day."
        )
    paid = Money(0, currency)
    if not record.credits and record.paid is not None:
        paid = Money(record.paid, currency)
    elif not record.credits:
        shown = [one.amount for one in payments_of(shop, jobs) if one.on_invoice == record.number]
        paid = total(shown, currency)
    lines = tuple(from_data(data) for data in record.lines)
    rates = {name: Decimal(percent) for name, percent in (record.rates or {}).items()}
    sums = totals(lines, attrs.evolve(shop.prices.as_issued(rates, currency), outside_tax=outside))
    return InvoiceValue(
        number=record.number,
        day=record.day,
        due_on=record.due_on,
        supplied_on=_supplied_on(shop, jobs) or record.day,
        currency=currency,
        seller=_seller(shop),
        buyer=_buyer(shop, jobs[0]),
        lines=tuple(
            _line(line, amount, rates) for line, amount in zip(lines, _nets(lines, sums), strict=True)
        ),
        rates=tuple(
            InvoiceRate(percent=row.percent, base=row.base.amount, tax=row.tax.amount)
            for row in sums.per_rate
        ),
        net=net.amount,
        tax=tax.amount,
        gross=(net + tax).amount,
        rounding=(whole - net - tax).amount,
        paid=paid.amount,
        due=(whole - paid).amount,
        credits=record.credits,
        corrects=record.corrects,
        outside_tax=outside,
        reverse_charge=bool(outside) and shop.prices.reverse_charge,
        reference=record.job_name or ", ".join(job.name for job in jobs),
        order_number=numbers[0] if len(numbers := order_numbers(shop, jobs)) == 1 else "",
        pays_by=shop.settings.issuer.pays_by,
    )


def _outside_tax(document: Document) -> str:
    """Why the paper shows no tax, as it says it."""
    begins = _NO_TAX
    if document.language != ENGLISH:
        begins = catalogue(document.language).texts[f"{_NO_TAX}{{text}}"].removesuffix("{text}")
    for block in document.blocks:
        if isinstance(block, Paragraph):
            text = "".join(word for word in block.words if isinstance(word, str))
            if text.startswith(begins):
                return text.removeprefix(begins)
    return ""


def _supplied_on(shop: ShopContext, jobs: Sequence[Job]) -> str:
    done = [noted.entry.taken or noted.entry.recorded for job in jobs for noted in job.repairs]
    return max((shop.settings.day_of(moment) for moment in done), default="")


def _nets(lines: Sequence[Line], sums: BillTotals) -> list[Money]:
    """The net amount of each line. Where its price has tax in it, that is what the rate leaves of it; a cent
    by which these differ from the net of the whole rate stands with the largest.
    """
    nets = [line.net for line in lines]
    for row in sums.per_rate:
        of_rate = [n for n, line in enumerate(lines) if line.tax == row.rate]
        with_tax = [n for n in of_rate if lines[n].with_tax]
        for n in with_tax:
            nets[n] = out_of_gross(lines[n].net, row.percent)[0]
        if with_tax:
            largest = max(with_tax, key=lambda n: abs(nets[n].minor))
            nets[largest] += row.base - total((nets[n] for n in of_rate), row.base.currency)
    return nets


def _line(line: Line, net: Money, rates: dict[str, Decimal]) -> InvoiceLine:
    notes = (line.waived, line.off, line.changed, str(line.condition or ""))
    percent = rates.get(line.tax, Decimal(0))
    price = line.price
    if line.with_tax:  # unit prices may have more decimals than amounts (BT-146)
        price = (price * 100 / (100 + percent)).quantize(_UNIT_PRICE, ROUND_HALF_UP)
    return InvoiceLine(
        text=line.text,
        quantity=line.quantity,
        unit=line.unit,
        price=price,
        per=line.per,
        net=net.amount,
        percent=percent,
        note="; ".join(filter(None, notes)),
        number=line.number,
    )


def _seller(shop: ShopContext) -> InvoiceParty:
    issuer = shop.settings.issuer
    return InvoiceParty(
        name=issuer.name,
        address=issuer.address,
        contact=issuer.contact,
        tax_number=issuer.tax_id,
        country=shop.settings.jurisdiction[:2] or _prefix(issuer.tax_id),
    )


def _buyer(shop: ShopContext, job: Job) -> InvoiceParty:
    texts = texts_of(shop, job)

    def said(reference: object) -> str:
        return texts.get(reference.hash, "") if isinstance(reference, Personal) else ""

    number = said(job.customer.tax_number)
    return InvoiceParty(
        name=said(job.customer.name),
        address=tuple(
            line.strip() for line in re.split(r"[\n,]", said(job.customer.address)) if line.strip()
        ),
        tax_number=number,
        country=_prefix(number) or _seller(shop).country,
    )


def _prefix(tax_number: str) -> str:
    """The country that a tax number begins with; empty where it begins with none."""
    letters = tax_number.strip()[:2]
    return _OTHER_LETTERS.get(letters, letters) if re.fullmatch(r"[A-Z]{2}", letters) else ""
