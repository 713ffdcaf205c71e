"""What every row goes through on its way into the record, whoever says it: command, file or screen."""

from __future__ import annotations

from collections.abc import Sequence

from ..model.entry import Draft, Entry
from ..model.job import Job
from ..store.transaction import Transaction
from . import approvals, changes, payments, public_texts
from .context import ShopContext


def check(shop: ShopContext, job: Job | None, drafts: Sequence[Draft]) -> None:
    """Return when these drafts may be written; see `approvals.check`, `changes.check`, `payments.check` and
    `public_texts.check`.

    Raises:
        DeskError, ConsentError, PaymentError: as there.
    """
    approvals.check(shop, job, drafts)
    changes.check(shop, job, drafts)
    payments.check(shop, job, drafts)
    public_texts.check(shop, job, drafts)


def append(shop: ShopContext, transaction: Transaction, drafts: Sequence[Draft]) -> list[Entry]:
    """Write drafts into a job's journal, and the money among them into the books.

    Raises:
        DeskError, ConsentError, PaymentError: as `check`.
        StoreError: as `Transaction.append`.
    """
    job = transaction.job
    drafts = payments.with_cash_rounding(shop, job, drafts)
    check(shop, job, drafts)
    entries = transaction.append(drafts)
    for taken in payments.payments_for_books(shop, job, drafts):
        transaction.append_payment(shop.books_chain, taken)
    return entries
