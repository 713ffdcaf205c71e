"""Taking money for a job."""

from __future__ import annotations

from ..model.entry import Draft
from ..model.money import Money
from ..model.records import Paid, body_of
from ..store.errors import refusal
from . import recording
from .context import ShopContext, request_of
from .jobs import screen_origin
from .payments import due


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
    with shop.lock:
        with shop.store.transaction(job, request=request) as transaction:
            if transaction.known is None:
                assert transaction.job is not None
                record = Paid(amount=amount.minor, currency=amount.currency, how=how)
                row = Draft(kind="paid", row="paid", body=body_of(record))
                origin = screen_origin(shop, transaction.job)
                result = shop.store.screen_additions(transaction.job, origin, [row])
                if result.faults:
                    raise refusal("\n".join(result.faults))
                recording.append(shop, transaction, transaction.job.name, result.drafts)
        return due(shop, shop.store.job(job))
