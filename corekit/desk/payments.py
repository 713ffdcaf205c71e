"""Money that comes in: what is due, what may be taken, and the same in the job's journal and in the books."""

from __future__ import annotations

from collections.abc import Container, Iterator, Sequence
from typing import Any

import attrs

from ..billing.approval import ApprovedWork
from ..billing.payment import PaymentError, cash_amount, give_back, receive
from ..billing.totals import Payable
from ..model.entry import Draft
from ..model.job import Job, Noted
from ..model.money import Money, total
from ..model.movement import is_cash
from ..model.records import Approved, Paid, PaymentTaken
from .context import ShopContext
from .earlier import Dues, dues_of, invoiced_before, owed_on
from .errors import DeskError
from .jobs import billed_with
from .settings import SHOP_FILE


@attrs.frozen(kw_only=True)
class Payment:
    """One payment that stands.

    Attributes:
        id: Of the entry that says so. job: Id of the job whose journal holds it.
        day: When it was received, as far as known; else when it was written down.
        on_invoice: Number of the invoice that shows it and is its receipt; empty when it came later, or
            nothing is issued yet.
        has_receipt: A receipt was handed over for it.
        rounded: So much more of its invoice is settled by it, because it was paid in cash.
    """

    id: str
    job: str
    amount: Money
    how: str
    day: str
    on_invoice: str = ""
    has_receipt: bool = False
    rounded: Money

    @property
    def settled(self) -> Money:
        return self.amount + self.rounded


def payments_of(shop: ShopContext, jobs: Sequence[Job]) -> list[Payment]:
    """What was paid for these jobs, which share a sum, in the order in which it was written down."""
    payments = []
    for job in jobs:
        with_receipt = {noted.record.payment for noted in job.receipts}
        rounded = {noted.id: noted.record.rounded for noted, lapsed_by in job.rounded if lapsed_by is None}
        for noted in job.payments:
            shows = [one.record.number for one in job.issued if job.knew(one.entry, noted.entry)]
            payment = Payment(
                id=noted.id,
                job=job.id,
                amount=Money(noted.record.amount, noted.record.currency),
                how=noted.record.how,
                day=shop.settings.day_of(noted.entry.taken or noted.entry.recorded),
                on_invoice=shows[0] if shows else "",
                has_receipt=noted.id in with_receipt,
                rounded=Money(rounded.get(noted.id, 0), noted.record.currency),
            )
            payments.append((_place(noted), payment))
    return [payment for _, payment in sorted(payments, key=lambda placed: placed[0])]


def _place(noted: Noted[Any]) -> tuple[str, int]:
    """Later in the journal is later: chains of one store are named so that they sort in the order in which
    they were begun.
    """
    return noted.entry.chain, noted.entry.n


def to_pay(shop: ShopContext, job: Job | None, drafts: Sequence[Draft] = ()) -> Money:
    """What a job's invoices come to, less what was credited of them, and what was approved beside them, so
    far and by these drafts.

    Raises:
        ConsentError: an approval among the drafts does not fit its estimate.
    """
    more = [Approved(**draft.body) for draft in drafts if draft.kind == "approved"]
    added = total(
        (
            Money(draft.body["amount"], draft.body["currency"])
            for draft in drafts
            if draft.kind == "approved_more"
        ),
        shop.prices.currency,
    )
    if job is None:
        return ApprovedWork((), more, shop.prices).total + added
    charged = Money(0, shop.prices.currency)
    if job.issued:
        charged = invoiced_sum(shop, job)
        if not (more or added.minor or job.goes_on):
            return charged
    replaced = {entry for draft in drafts for entry in draft.replaces}
    before = invoiced_before(shop, job)
    return charged + ApprovedWork.of(job, shop.prices, more, instead_of=replaced, before=before).total + added


def invoiced_sum(shop: ShopContext, job: Job) -> Money:
    """What the invoices that a job is on come to, less what was credited of them."""
    numbers = [noted.record.number for noted in job.issued]
    notes = [noted.record.number for noted in job.credited if noted.record.credits in numbers]
    bodies = [shop.store.invoice(one).body for one in (*numbers, *notes)]
    return total((Money(body["total"], body["currency"]) for body in bodies), bodies[0]["currency"])


def dues(shop: ShopContext, jobs: Sequence[Job]) -> Dues:
    """What is due on each invoice that these jobs are on."""
    owed = owed_on(shop, jobs)
    currency = next(iter(owed.values())).currency
    paid = total((payment.settled for payment in payments_of(shop, jobs)), currency)
    return dues_of(owed, paid, keeps_rest=jobs[0].goes_on)


def due_of(shop: ShopContext, jobs: Sequence[Job]) -> Money:
    """What is still to be paid for these jobs, which are on one invoice, or for a single one: of its invoices
    without what was credited and written off, and of what was approved beside them.
    """
    whole = to_pay(shop, jobs[0])
    return (
        whole
        - total((payment.settled for payment in payments_of(shop, jobs)), whole.currency)
        - written_off(jobs, whole.currency)
    )


def written_off(jobs: Sequence[Job], currency: str, without: Container[str] = ()) -> Money:
    """What is not asked for any more of the invoices that these jobs are on, without these entries."""
    records = [noted.record for job in jobs for noted in job.written_off_now if noted.id not in without]
    return total((Money(record.amount, record.currency) for record in records), currency)


def due(shop: ShopContext, job: Job) -> Money:
    """As `due_of`, for a job and those that it shares its invoice with."""
    return due_of(shop, billed_with(shop, job))


def check(shop: ShopContext, job: Job | None, drafts: Sequence[Draft]) -> None:
    """Return when the payments among these drafts may be taken, be they new or corrections of one.

    Raises:
        PaymentError: one is no money, or more than is due; more is given back than was paid and is not owed;
            or more is written off than is due.
    """
    new, off = _payments(drafts), [draft for draft in drafts if draft.kind == "written_off"]
    if not new and not off:
        return
    replaced = {id_ for draft in drafts for id_ in draft.replaces}
    before = [
        payment
        for payment in payments_of(shop, billed_with(shop, job) if job is not None else ())
        if payment.id not in replaced
    ]
    whole = to_pay(shop, job, drafts)
    charged = whole
    if job is not None:
        less = written_off(billed_with(shop, job), whole.currency, without=replaced)
        charged = (invoiced_sum(shop, job) if job.issued else whole) - less
        whole -= less
    paid = total((payment.settled for payment in before), whole.currency)
    none = Money(0, whole.currency)
    for draft in new:
        amount = Money(draft.body["amount"], draft.body["currency"])
        rounded = Money(draft.body.get("rounded", 0), draft.body["currency"])
        if amount.minor < 0:
            most = paid - charged if job is not None and job.issued else paid
            give_back(-amount, Paid(**draft.body).how, most + rounded)
            paid = paid + amount + rounded
            continue
        due = Payable(gross=whole, paid=paid, rounding=none, due=whole - paid - rounded)
        try:
            receive(amount, Paid(**draft.body).how, due)
        except PaymentError as error:
            if (job is not None and job.issued) or amount <= due.due:
                raise
            raise PaymentError(f"{error} For more there must be an approved estimate first.") from error
        paid = paid + amount + rounded
    if off:
        owed = owed_on(shop, billed_with(shop, job), replaced) if job is not None and job.issued else {}
        for draft in off:
            _may_be_written_off(draft, owed, paid)


def _may_be_written_off(draft: Draft, owed: dict[str, Money], paid: Money) -> None:
    """Return when so much of an invoice is due; it is taken off what is owed on it.

    Raises:
        PaymentError: it is not, or there is no such invoice.
    """
    amount = Money(draft.body["amount"], draft.body["currency"])
    number = str(draft.body.get("invoice") or next(reversed(owed), ""))
    none = left = Money(0, amount.currency)
    if number in owed:
        left = dues_of(owed, paid, keeps_rest=False).by_number[number]
    if not none < amount <= left:
        which = f"of invoice {number}" if number in owed and len(owed) > 1 else "of an issued invoice"
        raise PaymentError(
            f"{amount} {amount.currency} cannot be written off: {which} {left} {left.currency} is due."
            " Nothing was recorded."
        )
    owed[number] -= amount


def with_cash_rounding(shop: ShopContext, job: Job | None, drafts: Sequence[Draft]) -> list[Draft]:
    """The same drafts, each payment of an issued invoice in cash with what it was rounded by: it is the whole
    of what is due, to the smallest coin.
    """
    if job is None or not job.issued or not _payments(drafts):
        return list(drafts)
    step = cash_step(shop)
    if step is None:
        return list(drafts)
    replaced = {id_ for draft in drafts for id_ in draft.replaces}
    billed, new = billed_with(shop, job), _payments(drafts)
    before = [payment.settled for payment in payments_of(shop, billed) if payment.id not in replaced]
    whole = to_pay(shop, job, drafts)
    due = whole - written_off(billed, whole.currency, without=replaced) - total(before, whole.currency)
    found = []
    for draft in drafts:
        if any(draft is one for one in new) and draft.body["currency"] == due.currency:
            amount = Money(draft.body["amount"], due.currency)
            if (
                is_cash(str(draft.body["how"]))
                and amount != due
                and amount.minor
                and amount == cash_amount(due, step)
            ):
                draft = attrs.evolve(draft, body={**draft.body, "rounded": (due - amount).minor})
                amount = due
            due -= amount
        found.append(draft)
    return found


def cash_step(shop: ShopContext) -> Money | None:
    """The smallest coin; None where cash is not rounded.

    Raises:
        DeskError: the shop's currency cannot say it.
    """
    coin, currency = shop.settings.cash_rounding, shop.prices.currency
    if coin is None:
        return None
    step = Money.of(coin, currency)
    if step.amount != coin:
        raise DeskError(f"cash_rounding in {SHOP_FILE} is {coin}, which is no amount of {currency}.")
    return step


def due_in_cash(shop: ShopContext, due: Money) -> Money:
    """What is paid in cash for what is due: to the smallest coin, where the shop rounds to it."""
    return cash_amount(due, cash_step(shop))


def payments_for_books(shop: ShopContext, job: Job | None, drafts: Sequence[Draft]) -> Iterator[PaymentTaken]:
    """What the books are told: each new payment, and for each one corrected or withdrawn the difference, so
    that both journals agree.
    """
    before = {noted.entry.subject: noted.record for noted in job.payments} if job is not None else {}
    after = dict(before)
    for draft in drafts:
        if draft.kind == "paid":
            after[draft.subject] = Paid(**draft.body)
        elif draft.kind == "withdrawn":
            after.pop(draft.subject, None)
    for subject in dict.fromkeys((*before, *after)):
        old, new = before.get(subject), after.get(subject)
        change = (new.amount if new else 0) - (old.amount if old else 0)
        if change:
            how = (
                new.how
                if new and not old
                else f"{'correction' if new else 'withdrawal'} of {old.how if old else ''}"
            )
            yield PaymentTaken(amount=change, currency=shop.prices.currency, how=str(how))


def _payments(drafts: Sequence[Draft]) -> list[Draft]:
    """The payments among these drafts, without those that come in withdrawn already."""
    withdrawn = {draft.subject for draft in drafts if draft.kind == "withdrawn"}
    return [draft for draft in drafts if draft.kind == "paid" and draft.subject not in withdrawn]
