"""Taking down what approved work really took, and what more was approved for it."""

from __future__ import annotations

from decimal import Decimal

import attrs

from ..model.entry import Draft
from ..model.job import Job
from ..model.money import Money
from ..model.records import ApprovedMore, Charged, body_of
from ..store.errors import refusal
from . import recording
from .context import ShopContext, request_of
from .errors import DeskError
from .jobs import screen_origin


@attrs.frozen(kw_only=True)
class Change:
    """What a piece of approved work took, and what more was approved for it; either may be absent.

    Attributes:
        hours: Of labour. part, quantity: Of one of its parts.
        more: Approved beyond the estimate, tax included; `by` (never a name) and `how` then.
        because: What for; it is printed.
    """

    operation: str
    because: str
    hours: Decimal | None = None
    part: str = ""
    quantity: Decimal | None = None
    more: Money | None = None
    by: str = ""
    how: str = ""


def change(shop: ShopContext, job: str, said: Change, *, request_id: str = "") -> None:
    """Record what approved work really took, what more was approved for it, or both.

    Args:
        request_id: Of what says so, where somebody gives one; said under it again, it adds nothing.

    Raises:
        DeskError: no such work is approved, nothing is said of it, or the invoice is issued already.
        ApprovalError: it is not said who approved more, or how.
        RequestConflictError: the id is another request's.
    """
    job = shop.store.find(job)
    request = request_of(request_id, {"change": {key: str(v) for key, v in attrs.asdict(said).items()}})
    with shop.lock, shop.store.transaction(job, request=request) as transaction:
        if transaction.known is not None:
            return
        assert transaction.job is not None
        rows = list(_rows(transaction.job, said))
        result = shop.store.screen_additions(transaction.job, screen_origin(shop, transaction.job), rows)
        if result.faults:
            raise refusal("\n".join(result.faults))
        recording.append(shop, transaction, result.drafts)


def _rows(job: Job, said: Change) -> list[Draft]:
    if not said.because.strip():
        raise DeskError("Say why, in a few words: it is printed on the invoice. Nothing was recorded.")
    rows = []
    if said.hours is not None or said.quantity is not None:
        if (said.hours is None) == (said.quantity is None) or (said.quantity is None) != (not said.part):
            raise DeskError(
                "Say hours of labour, or a part and its quantity, one at a time. Nothing was recorded."
            )
        number = said.hours if said.hours is not None else said.quantity
        assert number is not None
        if not number.is_finite() or not 0 <= number < 100_000 or -int(number.as_tuple().exponent) > 3:
            raise DeskError(
                f"A quantity is from 0 to below 100000 with at most 3 decimals; got {number}. Nothing was"
                " recorded."
            )
        charged = Charged(
            operation=said.operation,
            because=said.because.strip(),
            hours=f"{said.hours:f}" if said.hours is not None else "",
            part=said.part,
            quantity=f"{said.quantity:f}" if said.quantity is not None else "",
        )
        what = f"charged/{said.operation}" + (f"/{said.part}" if said.part else "")
        rows.append(Draft(kind="charged", row=what, body=body_of(charged)))
    if said.more is not None:
        more = ApprovedMore(
            operation=said.operation,
            amount=said.more.minor,
            currency=said.more.currency,
            by=said.by,
            how=said.how.strip(),
            because=said.because.strip(),
        )
        rows.append(Draft(kind="approved_more", row=f"approved_more/{said.operation}", body=body_of(more)))
    if not rows:
        raise DeskError(
            "Nothing is said of the work: give hours, a part with its quantity, or what more was approved."
        )
    return rows
