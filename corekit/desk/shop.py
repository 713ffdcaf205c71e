"""A shop for a Python caller: the steps of a visit as a dozen verbs.

Whatever else the command line and the screens do is a function of this package over the shop's context.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from datetime import datetime
from decimal import Decimal
from pathlib import Path
from types import TracebackType

from ..assess.assessment import Assessment, Assessor, assess
from ..model.entry import Entry
from ..model.money import Money
from ..plugin.host import Plugins
from ..store.store import Store
from . import (
    approving,
    estimating,
    forgetting,
    importing,
    issuing,
    paying,
    publishing,
    receipts,
    verify,
)
from .assessing import assessment_of
from .context import ShopContext, open_context
from .estimating import Estimate
from .issuing import Invoice
from .jobs import job_named
from .receipts import Receipt
from .verify import Verified


def open_shop(
    folder: str | Path,
    *,
    plugins: Plugins | None = None,
    assessor: Assessor = assess,
    is_restored: bool = False,
) -> Shop:
    """Open a shop that `corekit init` or `corekit demo` set up.

    Args:
        assessor: Assesses its jobs; without one this process does.
        is_restored: Somebody says that its store is an older copy of itself.

    Raises:
        DeskError: there is no shop, its settings cannot be used, or its store is an older copy of itself.
        StoreError: its store cannot be opened.
    """
    return Shop(Path(folder), plugins=plugins, assessor=assessor, is_restored=is_restored)


class Shop:
    """A shop that is open. Use it as a context manager, or call `close`.

    Wherever a job is asked for, its id, its name or the beginning of its id will do.

    Attributes:
        context: What the functions of `corekit.desk` take.
    """

    def __init__(
        self,
        folder: Path,
        *,
        plugins: Plugins | None = None,
        now: Callable[[], datetime] | None = None,
        assessor: Assessor = assess,
        is_restored: bool = False,
    ) -> None:
        self.context: ShopContext = open_context(
            folder, plugins=plugins, clock=now, assessor=assessor, is_restored=is_restored
        )

    def __enter__(self) -> Shop:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the store; what was acknowledged is kept."""
        self.context.store.close()

    @property
    def store(self) -> Store:
        """The record, for whoever wants to read it himself."""
        return self.context.store

    def import_visit(self, path: str | Path, job: str | None = None) -> str:
        """Add a visit file to the store, or what has changed in it since; gives the job's id.

        Raises:
            VisitError: everything that is wrong with the file, at once; nothing is added.
            OfferAwaitedError, DeskError, ConsentError, PaymentError: as `importing.add`.
        """
        return importing.add(self.context, importing.read(self.context, path), job).job

    def assess(self, job: str, minutes_left: float | None = None, about: Collection[str] = ()) -> Assessment:
        """What today's plugins make of a job; see `assessing.assessment_of`."""
        return assessment_of(self.context, job_named(self.context, job), minutes_left, about)

    def estimate(
        self,
        job: str,
        stage: str | None = None,
        *,
        km: Decimal | None = None,
        call_out: bool | None = None,
        without: Collection[str] = (),
        out_of_hours: bool = False,
        request_id: str = "",
    ) -> Estimate:
        """Make an estimate and keep its Document; see `estimating.estimate`."""
        return estimating.estimate(
            self.context,
            job,
            stage,
            km=km,
            call_out=call_out,
            without=without,
            out_of_hours=out_of_hours,
            request_id=request_id,
        )

    def approve(
        self,
        estimate: Estimate,
        *,
        by: str,
        how: str,
        declined: Sequence[str] = (),
        total: Money | None = None,
        signature: str = "",
        words: str = "",
        cancellation: str = "",
        request_id: str = "",
    ) -> Entry:
        """Record who approved an estimate, how, and what was declined with it; see
        `approving.approve`.
        """
        return approving.approve(
            self.context,
            estimate,
            by=by,
            how=how,
            declined=declined,
            total=total,
            signature=signature,
            words=words,
            cancellation=cancellation,
            request_id=request_id,
        )

    def issue(self, job: str, *, request_id: str = "", date_is_right: bool = False) -> Invoice:
        """Take a number and issue the invoice of a job; asked again, the same one. See `issuing.issue`."""
        return issuing.issue(self.context, job, request_id=request_id, date_is_right=date_is_right)

    def issue_together(
        self, jobs: Sequence[str], *, request_id: str = "", date_is_right: bool = False
    ) -> Invoice:
        """Take one number and issue one invoice over several jobs of one customer. See `issuing.issue`."""
        return issuing.issue(self.context, *jobs, request_id=request_id, date_is_right=date_is_right)

    def pay(self, job: str, amount: Money, how: str, *, request_id: str = "") -> Money:
        """Take money for a job; gives what is still due. See `paying.pay`."""
        return paying.pay(self.context, job, amount, how, request_id=request_id)

    def receipt(self, job: str, payment: str = "") -> Receipt:
        """The receipt for a payment; without one, for the last. See `receipts.receipt_for`."""
        return receipts.receipt_for(self.context, job, payment)

    def publish(self, job: str | None = None) -> list[str]:
        """Send the masked Documents of issued invoices, each once, to where the page server finds them; gives
        their numbers. See `publishing.publish`.
        """
        return publishing.publish(self.context, job)

    def withdraw(self, number: str) -> None:
        """Take the page of an invoice down, for good. See `publishing.withdraw`."""
        publishing.withdraw(self.context, number)

    def forget(self, job: str, *, because: str = "") -> forgetting.Forgot:
        """Destroy the persons of a job after retention. See `forgetting.forget`."""
        return forgetting.forget(self.context, job, because=because)

    def verify(self, mark: str = "") -> Verified:
        """Whether the store is as it was written, and holds what a paper was printed from. See
        `verify.verify`.
        """
        return verify.verify(self.context.store, mark)
