"""What every row goes through on its way into the record, whoever says it: command, file or screen."""

from __future__ import annotations

from collections.abc import Sequence

from ..model.entry import Draft, Entry
from ..model.job import Job
from ..store.transaction import Transaction
from . import approvals, changes, payments, public_texts
from .context import ShopContext
from .errors import DeskError

#: Of a job, which is one reason to come: three of the longest files, twice the repairs of the longest visit.
MOST_STATEMENTS, MOST_REPAIRS = 6000, 50
#: What is judged.
_JUDGED = {
    "measured",
    "recorded",
    "seen",
    "codes",
    "tried",
    "complaint_again",
    "remarked",
    "repaired",
    "photo",
}


def check(shop: ShopContext, job: Job | None, drafts: Sequence[Draft]) -> None:
    """Return when these drafts may be written; see `approvals.check`, `changes.check`, `payments.check` and
    `public_texts.check`.

    Raises:
        DeskError: the job would be longer than any is. DeskError, ConsentError, PaymentError: as there.
    """
    _must_be_one_job(job, drafts)
    approvals.check(shop, job, drafts)
    changes.check(shop, job, drafts)
    payments.check(shop, job, drafts)
    public_texts.check(shop, job, drafts)


def _must_be_one_job(job: Job | None, drafts: Sequence[Draft]) -> None:
    """A file holds so much and no more (`intake.file`), and a job that many files are added to as well: all
    of it is judged each time. Whatever ends it, its money among that, may be said of the longest.
    """
    new = [draft for draft in drafts if draft.kind in _JUDGED and not draft.replaces]
    before: Sequence[Entry | Draft] = job.entries if job is not None else ()
    said = [one for one in (*before, *new) if one.kind in _JUDGED]
    repairs = [one for one in said if one.kind == "repaired" and not one.replaces]
    for these, most, what in ((said, MOST_STATEMENTS, "statements"), (repairs, MOST_REPAIRS, "repairs")):
        if new and len(these) > most:
            raise DeskError(
                f"This job would have {len(these)} {what}; one has at most {most}. Begin another job for the"
                " next visit. Nothing was recorded."
            )


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
