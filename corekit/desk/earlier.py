"""The invoices of a job that stand, where another is to follow: what they are over, what is due on each."""

from __future__ import annotations

from collections.abc import Container, Sequence

import attrs

from ..billing.approval import ApprovedWork
from ..billing.invoice_lines import Invoiced
from ..billing.invoiced import invoiced, is_charged
from ..model.job import Job
from ..model.money import Money, total
from .context import ShopContext


@attrs.frozen(kw_only=True)
class Dues:
    """What is still to be paid of each invoice, by number and in their order; `held`: money that was paid and
    is kept for what is approved and not invoiced yet.
    """

    by_number: dict[str, Money]
    held: Money

    @property
    def balance(self) -> Money:
        """What is to be paid in all, below zero what was paid too much."""
        return total(self.by_number.values(), self.held.currency) - self.held


def invoiced_before(shop: ShopContext, job: Job) -> Invoiced | None:
    """What the invoices of a job are over; None where it is on none."""
    bodies = [shop.store.invoice(noted.record.number).body for noted in job.issued]
    come_to = total((Money(body["total"], body["currency"]) for body in bodies), shop.prices.currency)
    return invoiced(job, shop.prices, come_to)


def has_more(shop: ShopContext, job: Job) -> bool:
    """True where something is approved and done that is on no invoice yet."""
    work = ApprovedWork.of(job, shop.prices, before=invoiced_before(shop, job))
    return any(line.operation or is_charged(line, job) for line in work.done)


def owed_on(shop: ShopContext, jobs: Sequence[Job], without: Container[str] = ()) -> dict[str, Money]:
    """Number of each invoice that these jobs are on → what it comes to, less what was credited and what is
    not asked for any more.

    Args:
        without: Ids of entries that are replaced.
    """
    owed: dict[str, Money] = {}
    for number in dict.fromkeys(noted.record.number for job in jobs for noted in job.issued):
        notes = [noted.record.number for noted in jobs[0].credited if noted.record.credits == number]
        bodies = [shop.store.invoice(one).body for one in (number, *notes)]
        owed[number] = total(
            (Money(body["total"], body["currency"]) for body in bodies), bodies[0]["currency"]
        )
    for job in jobs:
        for noted in job.written_off_now:
            number = job.settles[noted.id]
            if noted.id not in without and number in owed:
                owed[number] -= Money(noted.record.amount, noted.record.currency)
    return owed


def dues_of(owed: dict[str, Money], paid: Money, *, keeps_rest: bool) -> Dues:
    """What is due on each invoice when what was paid settles the oldest first.

    Args:
        keeps_rest: What was paid too much is kept for what is approved and not invoiced yet; else it is to be
            given back of the last invoice.
    """
    left, dues = paid, dict[str, Money]()
    *earlier, last = owed
    for number in earlier:
        taken = min(left, owed[number])
        dues[number], left = owed[number] - taken, left - taken
    dues[last] = owed[last] - left
    held = Money(0, paid.currency)
    if keeps_rest and dues[last] < held:
        dues[last], held = held, -dues[last]
    return Dues(by_number=dues, held=held)
