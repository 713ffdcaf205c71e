"""Build a receipt: the paper for money received, when the invoice was issued before it or is
still to come.
"""

from __future__ import annotations

from collections.abc import Sequence

import attrs

from ..billing.payment import AmountReceived
from ..model.document import (
    FORM,
    Answer,
    Block,
    Document,
    DocumentKind,
    Heading,
    Pairs,
    Paragraph,
    Totals,
    Words,
)
from ..model.job import Job
from ..model.money import Money
from . import sections
from .cost import paid_row
from .dates import day_words
from .sheet import Sheet


@attrs.frozen(kw_only=True)
class PaidFor:
    """What money was paid for, and what that comes to: an issued invoice by its number, over so many
    vehicles, or (no number) what was approved so far.
    """

    total: Money
    number: str = ""
    vehicles: int = 1


def receipt(
    job: Job,
    sheet: Sheet,
    payment: AmountReceived,
    *,
    day: str,
    paid_for: PaidFor,
    before: Sequence[tuple[str, Money]] = (),
    record_mark: str,
) -> Document:
    """The paper of one payment.

    It takes no number: the payment stands in the books, and the record mark fixes it.

    Args:
        job: Where the payment was taken.
        payment: How much, how, and what was left to pay after it.
        day: When it was received, as printed.
        before: Earlier payments towards the same sum: how and how much.
        record_mark: Over the journal heads, the payment's own entry below them.
    """
    what = f"invoice {paid_for.number}" if paid_for.number else "approved work"
    is_refund = payment.amount.minor < 0
    given = "Given back" if is_refund else "Received"
    amount = f"{-payment.amount if is_refund else payment.amount} {payment.amount.currency}"
    blocks: list[Block] = [
        Pairs(
            rows=(
                *sections.parties(job, sheet),
                ("Paid for", (_what_for(paid_for),)),
                *_vehicle(job, paid_for),
            )
        ),
        Answer(
            said=(),
            symptoms="",
            text=f"{given} {amount}, {payment.how}, on {day_words(day)}.",
            proof=_remainder(payment, paid_for),
        ),
        Totals(rows=tuple(_rows(payment, paid_for, before)), currency=sheet.currency),
        Heading(text="How to check this"),
        Pairs(rows=(("Record mark", (record_mark,)),)),
        Paragraph(words=(_CHECK,), tone="small"),
    ]
    return Document(
        id=sheet.document_id,
        kind=DocumentKind.RECEIPT,
        title=f"{'Refund' if is_refund else 'Receipt'}, {what}",
        shop=sheet.issuer.name,
        issued=day_words(sheet.issued),
        currency=sheet.currency,
        total=str(payment.amount),
        blocks=tuple(blocks),
        draft=sheet.draft,
        demo=sheet.demo,
        form=FORM,
    )


_CHECK = (
    "A receipt has no number of its own: the payment is in the shop's books. The record mark was taken"
    " after the payment was recorded. Had the payment, or anything written before it, been changed or"
    " removed since, the shop's record would no longer give this mark."
)


def _what_for(paid_for: PaidFor) -> str:
    if not paid_for.number:
        return "approved work; no invoice has been issued yet, and the invoice will show this payment"
    return f"invoice {paid_for.number}" + (
        f", for {paid_for.vehicles} vehicles" if paid_for.vehicles > 1 else ""
    )


def _vehicle(job: Job, paid_for: PaidFor) -> list[tuple[str, Words]]:
    """The vehicle, where the money was paid for one alone."""
    return sections.vehicle(job)[:1] if paid_for.vehicles == 1 else []


def _remainder(payment: AmountReceived, paid_for: PaidFor) -> str:
    if payment.amount.minor < 0:
        left = payment.due.minor < 0
        return f"Refund due to you: {-payment.due} {payment.due.currency}." if left else ""
    if not payment.is_settled:
        return f"Still to pay: {payment.due} {payment.due.currency}."
    return (
        "With it the invoice is paid in full."
        if paid_for.number
        else "With it everything approved so far is paid."
    )


def _rows(
    payment: AmountReceived, paid_for: PaidFor, before: Sequence[tuple[str, Money]]
) -> list[tuple[str, str, bool]]:
    rows = [
        (
            f"Total of invoice {paid_for.number}" if paid_for.number else "Approved so far",
            str(paid_for.total),
            False,
        )
    ]
    rows += [paid_row(how, amount, " before") for how, amount in before]
    if payment.amount.minor < 0:
        rows.append((f"Given back, {payment.how}", str(-payment.amount), False))
    else:
        rows.append((f"Received, {payment.how}", f"-{payment.amount}", False))
    if payment.rounded is not None and payment.rounded.minor:
        rows.append(("Rounding, to the smallest coin", str(-payment.rounded), False))
    last = ("Still to pay", payment.due) if payment.due.minor >= 0 else ("Refund due to you", -payment.due)
    return [*rows, (last[0], str(last[1]), True)]
