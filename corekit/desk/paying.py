"""Taking money for a job, and giving it back."""

from __future__ import annotations

from ..billing.payment import PaymentError
from ..model.entry import Draft
from ..model.money import Money
from ..model.records import Paid, WrittenOff, body_of
from ..store.errors import refusal
from ..store.requests import Request
from . import recording
from .context import ShopContext, request_of
from .jobs import screen_origin
from .payments import due
from .rows import withdraw_entry


def pay(shop: ShopContext, job: str, amount: Money, how: str, *, request_id: str = "") -> Money:
    """Take money for a job; gives what is still due. In the job's journal and in the books at once.

    It becomes the very row that a screen would send.

    Args:
        request_id: Of what says so, where somebody gives one; said under it again, it takes nothing and gives
            what is due by now.

    Raises:
        PaymentError: it is more than is due, or no money.
        RequestConflictError: the id is another request's.
    """
    job = shop.store.find(job)
    request = request_of(request_id, {"pay": [amount.minor, amount.currency, how], "job": job})
    return _record(shop, job, Paid(amount=amount.minor, currency=amount.currency, how=how), request)


def arrived(shop: ShopContext, job: str, announced: str, *, request_id: str) -> Money:
    """Take money that was announced: it has arrived as it was said; gives what is still due.

    Args:
        announced: Id of the entry that announced it.

    Raises:
        PaymentError: it was not announced, or does not stand any more; it is more than is due.
        RequestConflictError: the id is another request's.
    """
    job = shop.store.find(job)
    request = request_of(request_id, {"arrived": announced, "job": job})
    if request is not None and shop.store.outcome(request) is not None:
        return due(shop, shop.store.job(job))
    found = next((noted for noted in shop.store.job(job).announced if noted.id == announced), None)
    if found is None:
        raise PaymentError("This payment is not announced any more. Look at the payments again.")
    record = Paid(amount=found.record.amount, currency=found.record.currency, how=found.record.how)
    left = _record(shop, job, record, request)
    withdraw_entry(shop, job, announced, "it has arrived", request_id=f"{request_id[:58]}-here")
    return left


def refund(shop: ShopContext, job: str, amount: Money, how: str, *, request_id: str = "") -> Money:
    """Give money back for a job: what was paid and is not owed; gives what is still due, below zero what is
    still to be given back.

    Raises:
        PaymentError: it is more than was paid and is not owed, or no money.
        RequestConflictError: the id is another request's.
    """
    job = shop.store.find(job)
    request = request_of(request_id, {"refund": [amount.minor, amount.currency, how], "job": job})
    if amount.minor <= 0:
        raise PaymentError(f"What is given back is above zero; got {amount} {amount.currency}.")
    return _record(shop, job, Paid(amount=-amount.minor, currency=amount.currency, how=how), request)


def write_off(
    shop: ShopContext, job: str, amount: Money, because: str, *, invoice: str = "", request_id: str = ""
) -> Money:
    """Ask no more for so much of an issued invoice; gives what is still due.

    Args:
        invoice: Its number, where the job is on several; the last one where nothing is said.

    Raises:
        PaymentError: it is more than is due, or no reason is given.
        RequestConflictError: the id is another request's.
    """
    job = shop.store.find(job)
    request = request_of(
        request_id, {"write off": [amount.minor, amount.currency, because, invoice], "job": job}
    )
    if not because.strip():
        raise PaymentError("Say why it is written off. Nothing was recorded.")
    record = WrittenOff(
        amount=amount.minor, currency=amount.currency, because=because.strip(), invoice=invoice
    )
    return _record(shop, job, record, request)


def _record(shop: ShopContext, job: str, record: Paid | WrittenOff, request: Request | None) -> Money:
    kind = "paid" if isinstance(record, Paid) else "written_off"
    with shop.lock:
        with shop.store.transaction(job, request=request) as transaction:
            if transaction.known is None:
                assert transaction.job is not None
                row = Draft(kind=kind, row=kind, body=body_of(record))
                origin = screen_origin(shop, transaction.job)
                result = shop.store.screen_additions(transaction.job, origin, [row])
                if result.faults:
                    raise refusal("\n".join(result.faults))
                recording.append(shop, transaction, result.drafts)
        return due(shop, shop.store.job(job))
