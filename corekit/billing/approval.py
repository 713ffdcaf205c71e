"""What was approved in lines and money, and whether an invoice keeps within it.

Nothing that was not approved is invoiced, and nothing above the approved sum, unless the law's own text
allows so much more without a new approval (`model.jurisdiction`). Local law may ask more than this (a written
estimate, a certain form of consent, a statement on the paper); it never makes an invoice that is refused here
a good idea.
"""

from __future__ import annotations

from collections.abc import Container, Iterable, Sequence
from decimal import Decimal
from fractions import Fraction
from functools import cached_property

import attrs

from ..model.approval import Approval, Decision, estimate_of
from ..model.job import Job
from ..model.jurisdiction import NOTHING_ABOVE, ExceedRule
from ..model.money import Money, total
from ..model.records import Approved, ApprovedMore, Estimated, Repaired, Serviced
from .book import PriceBook
from .errors import ConsentError
from .estimate import without_declined
from .invoice_lines import Invoiced, LineKey, line_key
from .line import Line, from_data
from .totals import BillTotals, is_supplied, out_of_gross, percent_of, taxed, totals


@attrs.frozen
class _Priced:
    """One decision in lines: all on the estimate, those that stand approved, those to charge for, and those
    on an invoice already, which are none of these two.
    """

    decision: Decision
    estimated: tuple[Line, ...]
    approved: tuple[Line, ...]
    done: tuple[Line, ...]
    invoiced: tuple[Line, ...]


def _estimates(given: Iterable[Estimated]) -> tuple[Estimated, ...]:
    return tuple(given)


#: What changes what is approved, open or done.
Act = Approved | Repaired | Serviced


def _acts(given: Iterable[Act]) -> tuple[Act, ...]:
    return tuple(given)


@attrs.frozen
class ApprovedWork:
    """`model.approval.Approval` in lines and money: every estimate, every approval and work done in the
    journal's order, the price book, what was approved beyond the estimates since, how far an invoice may go
    without a new approval, and what is on an invoice already: then everything here is of the rest.

    Each estimate's lines are read once, whatever is asked.
    """

    estimates: tuple[Estimated, ...] = attrs.field(converter=_estimates)
    acts: tuple[Act, ...] = attrs.field(converter=_acts)
    book: PriceBook
    additions: tuple[ApprovedMore, ...] = ()
    rule: ExceedRule = NOTHING_ABOVE
    before: Invoiced | None = None

    @classmethod
    def of(
        cls,
        job: Job,
        book: PriceBook,
        more: Iterable[Approved] = (),
        instead_of: Container[str] = (),
        rule: ExceedRule = NOTHING_ABOVE,
        before: Invoiced | None = None,
    ) -> ApprovedWork:
        """What stands in a job's journal.

        Args:
            more: Approvals that are about to be written. instead_of: Ids of the entries that they take the
                place of. rule: The jurisdiction's. before: What is on an invoice already.
        """
        acts: list[Act] = []
        new = list(more)
        for noted in job.standing:
            if noted.id in instead_of:
                acts += new
                new = []
            elif isinstance(noted.record, (Approved, Repaired, Serviced)):
                acts.append(noted.record)
        spent = before.spent if before is not None else ()
        additions = tuple(noted.record for noted in job.approved_more if noted.id not in spent)
        return cls((noted.record for noted in job.estimates), (*acts, *new), book, additions, rule, before)

    @cached_property
    def approval(self) -> Approval:
        """What is approved, declined, done and open."""
        return Approval.of(self.estimates, self.acts)

    @property
    def approvals(self) -> tuple[Approved, ...]:
        return tuple(act for act in self.acts if isinstance(act, Approved))

    @property
    def lines(self) -> tuple[Line, ...]:
        """The lines that stand approved, in the order of the approvals.

        Raises:
            ConsentError: an approval names no estimate, or its hash, total or currency is not the estimate's,
                or it declines what is not on it; or an estimate's lines cannot be read.
        """
        return tuple(line for priced in self._priced for line in priced.approved)

    @property
    def done(self) -> tuple[Line, ...]:
        """The approved lines whose work was done under that approval; call-out, travel and diagnosis always.

        Raises:
            ConsentError: as `lines`.
        """
        return tuple(line for _, line in self.done_by_estimate)

    @property
    def done_by_estimate(self) -> tuple[tuple[str, Line], ...]:
        """As `done`, each with the printed name of its estimate."""
        return tuple((priced.decision.estimate.name, line) for priced in self._priced for line in priced.done)

    @property
    def on_invoices(self) -> frozenset[str]:
        """Printed names of the estimates of which nothing is left that an invoice could take."""
        return frozenset(
            priced.decision.estimate.name
            for priced in self._priced
            if priced.invoiced and not priced.approved
        )

    @cached_property
    def total(self) -> Money:
        """The sum approved, tax included: each estimate's total, less what was declined, and what was
        approved beyond them.

        Raises:
            ConsentError: as `lines`; or part of an estimate was declined and today's tax rates no longer give
                the total that it was estimated at, so that nobody can say what the rest was approved at.
        """
        left = total((*self.sums.values(), *self.more_for.values()), self.book.currency)
        return left if self.before is None else min(left, self._whole - self.before.total)

    @property
    def _whole(self) -> Money:
        """What was approved in all, with what is on an invoice already."""
        sums = (self._full_sum(priced) for priced in self._priced)
        return total((*sums, *self.more_for.values()), self.book.currency)

    @cached_property
    def more_for(self) -> dict[str, Money]:
        """Key of work → what was approved for it beyond its estimate, tax included.

        Raises:
            ConsentError: it was approved in another currency.
        """
        more: dict[str, Money] = {}
        for one in self.additions:
            if one.currency != self.book.currency:
                raise ConsentError(
                    f"{one.operation}: more was approved in {one.currency}, the price book is in"
                    f" {self.book.currency}. Withdraw it and have it approved again."
                )
            before = more.get(one.operation, Money(0, one.currency))
            more[one.operation] = before + Money(one.amount, one.currency)
        return more

    @cached_property
    def sums(self) -> dict[str, Money]:
        """Printed name of each estimate that has an answer → the sum approved of it, after what was declined.

        Raises:
            ConsentError: as `total`.
        """
        return {priced.decision.estimate.name: self._sum(priced) for priced in self._priced}

    @cached_property
    def _priced(self) -> tuple[_Priced, ...]:
        latest = {approval.estimate: approval for approval in self.approvals}
        for approval in latest.values():
            _refuse_unbound(approval, self.estimates)
        keys = self.before.lines if self.before is not None else frozenset()
        return tuple(_priced(decision, keys) for decision in self.approval.decisions)

    def _sum(self, priced: _Priced) -> Money:
        if not priced.invoiced:
            return self._full_sum(priced)
        if not priced.approved:
            return Money(0, self.book.currency)
        return self._full_sum(priced) - totals(priced.invoiced, self.book).gross

    def _full_sum(self, priced: _Priced) -> Money:
        estimate = priced.decision.estimate
        if estimate.currency != self.book.currency:
            raise ConsentError(
                f'Estimate "{estimate.name}" is in {estimate.currency}, the price book in'
                f" {self.book.currency}; make a new estimate."
            )
        both = (*priced.approved, *priced.invoiced)
        if len(both) == len(priced.estimated):
            return Money(estimate.total, estimate.currency)
        if not both:
            return Money(0, estimate.currency)
        hangs_on_parts = any(map(is_supplied, both)) or not any(map(is_supplied, priced.estimated))
        if not self._still_comes_to_its_total(priced):
            raise ConsentError(
                f'Estimate "{estimate.name}" was made at {Money(estimate.total, estimate.currency)}'
                f" {estimate.currency}; with the tax rates of {self.book.where} its lines come to another"
                " sum, so what was not declined has no approved one. Make a new estimate and record a new"
                " approval."
            )
        on_earlier = estimate.tax_on_earlier if hangs_on_parts else 0
        return totals(both, self.book).gross + Money(on_earlier, estimate.currency)

    @property
    def exact_total(self) -> Fraction:
        """What the lines that stand approved come to in minor units, tax unrounded: each estimate by itself,
        as it was approved.
        """
        exact = (_exact_total(priced.approved, self.book) for priced in self._priced)
        on_earlier = sum(priced.decision.estimate.tax_on_earlier for priced in self._priced)
        return sum(exact, Fraction(on_earlier))

    @property
    def keeps_its_totals(self) -> bool:
        """True while today's tax rates give every answered estimate the total that it was made at."""
        return all(map(self._still_comes_to_its_total, self._priced))

    def _still_comes_to_its_total(self, priced: _Priced) -> bool:
        estimate = priced.decision.estimate
        of_lines = Money(estimate.total - estimate.tax_on_earlier, estimate.currency)
        return totals(priced.estimated, self.book).gross == of_lines


def may_invoice(
    lines: Sequence[Line],
    work: ApprovedWork,
    rounding: Money | None = None,
    come_to: BillTotals | None = None,
) -> None:
    """Return when these lines may be invoiced; else say why not.

    Every line belongs to something that was approved. Where the rule adds nothing, no operation comes to more
    than approved for it, and the total (tax and rounding amount included) is not above the approved total;
    else the whole is not above the highest amount of the rule. Local law may ask more.

    Args:
        lines: What is to be invoiced.
        work: What was approved.
        rounding: The invoice's rounding amount (BT-114); see `rounding_to_approved`.
        come_to: What the lines come to, where that is worked out already.

    Raises:
        ConsentError: one clear text.
        ValueError: a line names a tax rate that the price book does not have.
    """
    if not work.approvals:
        raise ConsentError(
            "Nothing was approved, so nothing can be invoiced. Make an estimate and record the customer's"
            " approval."
        )
    allowed = work.total
    approved = _nets(work.lines)
    for line in lines:
        if line.net.currency != work.book.currency:
            raise ConsentError(
                f"{line.text}: is priced in {line.net.currency}, but {work.book.currency} was approved."
            )
        if line.what not in approved:
            raise ConsentError(_not_approved(line, work))
    come_to = come_to or totals(lines, work.book)
    gross = come_to.gross + (rounding or Money(0, work.book.currency))
    base, highest = highest_chargeable(lines, work)
    if highest > base:
        _keep_within(highest, base, come_to.net if not work.rule.with_tax else gross, lines, work)
        return
    before = "" if any(line.with_tax for line in lines) else " before tax"
    for what, net in _nets(lines).items():
        if net > approved[what] and (over := _over(what, lines, work)) > Money(0, net.currency):
            raise ConsentError(
                f"{what}: comes to {net} {net.currency}{before}, but {approved[what]} was approved."
                f" Ask for {over} {over.currency} more, tax included: {_why_more([what], lines)}. Invoice"
                " what was approved, or record what the customer says to it."
            )
    if gross > allowed:
        cure = "Make a new estimate and record a new approval."
        if rounding is None and (less := rounding_to_approved(lines, work, come_to)).minor:
            cure = (
                f"Only rounding of the tax makes the difference; invoice it with a rounding amount of {less}."
            )
        raise ConsentError(
            f"The invoice comes to {gross} {gross.currency}, but {allowed} was approved. {cure}"
        )


def highest_chargeable(lines: Iterable[Line], work: ApprovedWork) -> tuple[Money, Money]:
    """What was approved of the work of these lines, and the highest amount that may be charged for it without
    a new approval; both with tax or both before it, as the rule compares.

    It is counted from the work that is on the lines: what was approved and is not done makes no room.

    Raises:
        ConsentError: as `ApprovedWork.total`.
    """
    done = {line.what for line in lines}
    sums = totals([line for line in work.lines if line.what in done], work.book)
    added = total((more for what, more in work.more_for.items() if what in done), work.book.currency)
    if work.rule.with_tax:
        base = min(sums.gross + added, work.total)
    else:  # what was added was approved with tax: before it, it is at least what the highest rate leaves
        percent = max((row.percent for row in sums.per_rate), default=Decimal(0))
        base = sums.net + out_of_gross(added, percent)[0]
    return base, work.rule.highest(base)


def _keep_within(
    highest: Money, base: Money, charged: Money, lines: Sequence[Line], work: ApprovedWork
) -> None:
    if charged <= highest:
        return
    approved = _nets(work.lines)
    dearer = [what for what, net in _nets(lines).items() if net > approved[what]]
    before = "" if work.rule.with_tax else " before tax"
    raise ConsentError(
        f"The invoice comes to {charged} {charged.currency}{before}, and without a new approval at most"
        f" {highest} may be charged ({work.rule}; {base} was approved). Ask for {charged - base}"
        f" more{before}: {_why_more(dearer, lines)}. Invoice less, or record what the customer says to it."
    )


def _over(what: str, lines: Iterable[Line], work: ApprovedWork) -> Money:
    """By how much, tax included, a piece of work comes to more than was approved for it."""
    now, then = (
        totals([line for line in taxed(some, work.book) if line.what == what], work.book).gross
        for some in (tuple(lines), work.lines)
    )
    return now - then - work.more_for.get(what, Money(0, work.book.currency))


def _why_more(dearer: Sequence[str], lines: Iterable[Line]) -> str:
    reasons = [line.changed and f"{line.text}, {line.changed}" for line in lines if line.what in dearer]
    return "; ".join(filter(None, reasons)) or ", ".join(dearer) or "the whole"


def rounding_to_approved(
    lines: Sequence[Line], work: ApprovedWork, come_to: BillTotals | None = None
) -> Money:
    """The rounding amount (BT-114, zero or negative) that keeps an invoice within the sum of several
    estimates.

    Tax is rounded once on each document, so one invoice over two estimates can come out a cent above their
    sum. That cent was never approved. It is zero whenever something other than rounding makes the difference.
    """
    zero = Money(0, work.book.currency)
    excess = (come_to or totals(lines, work.book)).gross - work.total
    only_rounding = _exact_total(lines, work.book) <= work.exact_total
    if excess > zero and only_rounding and work.keeps_its_totals:
        return -excess
    return zero


def tax_on_earlier(lines: Sequence[Line], work: ApprovedWork) -> Money:
    """How much more tax is due because new lines and work that was approved before come on one invoice: work
    of the one is taxed for the parts of the other. An estimate asks for it with what is on it.

    Raises:
        ConsentError: as `ApprovedWork.lines`.
    """
    zero = Money(0, work.book.currency)
    if not work.book.with_parts or not work.lines:
        return zero
    whole = (*work.lines, *lines)
    then, now = (*taxed(work.lines, work.book), *taxed(lines, work.book)), taxed(whole, work.book)
    other = [pair for pair in zip(then, now, strict=True) if pair[0] != pair[1]]
    issued = work.book.as_issued(work.book.rates, work.book.currency)
    before, after = (totals([pair[n] for pair in other], issued).gross for n in (0, 1))
    return after - before


def more_tax_on_earlier(
    job: Job, book: PriceBook, lines: Sequence[Line], before: Invoiced | None = None
) -> Money:
    """How much more tax is due on new lines of a job beside what is approved in it. Zero where nobody can say
    any more what that is: the invoice refuses it by name.

    Args:
        before: What is on invoices already.
    """
    try:
        return tax_on_earlier(lines, ApprovedWork.of(job, book, before=before))
    except ConsentError:
        return Money(0, book.currency)


def _priced(decision: Decision, on_invoices: Container[LineKey]) -> _Priced:
    estimate = decision.estimate
    estimated = _lines_of(estimate)
    try:
        without_declined(estimated, decision.approval.declined)
    except ValueError as error:
        raise ConsentError(
            f'The approval of "{estimate.name}" declines what is not on it. {error}'
        ) from error
    invoiced = tuple(line for line in estimated if line_key(estimate.name, line) in on_invoices)
    approved = tuple(
        line
        for line in estimated
        if (line.operation in decision.approved if line.operation else decision.has_diagnosis)
        and line_key(estimate.name, line) not in on_invoices
    )
    done = tuple(line for line in approved if not line.operation or line.operation in decision.done)
    return _Priced(decision, estimated, approved, done, invoiced)


def _refuse_unbound(approval: Approved, estimates: Sequence[Estimated]) -> None:
    named = [estimate for estimate in estimates if estimate.name == approval.estimate]
    if not named:
        raise ConsentError(
            f'An approval names the estimate "{approval.estimate}", which was never made; made are'
            f" {_list(estimate.name for estimate in estimates)}."
        )
    estimate = estimate_of(approval, estimates)
    if estimate is None:
        raise ConsentError(
            f'The approval of "{approval.estimate}" is about another document than the estimate'
            f" that was made (hash {approval.document_hash[:12]}, the estimate's"
            f" {named[-1].document_hash[:12]}). Show the customer the estimate as it stands and record a new"
            " approval."
        )
    if (approval.total, approval.currency) != (estimate.total, estimate.currency):
        raise ConsentError(
            f'The approval of "{approval.estimate}" says {Money(approval.total, approval.currency)}'
            f" {approval.currency}, but the estimate says {Money(estimate.total, estimate.currency)}"
            f" {estimate.currency}. Record the approval with the total that is printed on the estimate."
        )


def _lines_of(estimate: Estimated) -> tuple[Line, ...]:
    try:
        return tuple(from_data(data) for data in estimate.lines)
    except ValueError as error:
        raise ConsentError(f'The lines of the estimate "{estimate.name}" cannot be read: {error}') from error


def _not_approved(line: Line, work: ApprovedWork) -> str:
    what, cure = line.what, "Leave it off, or make a new estimate and record a new approval."
    refused = [
        decision.estimate.name
        for decision in work.approval.decisions
        if line.operation in decision.approval.declined
    ]
    if line.operation and refused:
        return f'{what}: was declined in "{refused[-1]}". {cure}'
    estimated = [
        estimate.name
        for estimate in work.estimates
        if any(other.what == what for other in _lines_of(estimate))
    ]
    if estimated:
        return f'{what}: is on the estimate "{estimated[-1]}", but nobody approved it. {cure}'
    return f"{what}: is on no estimate. {cure}"


def _nets(lines: Iterable[Line]) -> dict[str, Money]:
    nets: dict[str, Money] = {}
    for line in lines:
        nets[line.what] = nets[line.what] + line.net if line.what in nets else line.net
    return nets


def _exact_total(lines: Sequence[Line], book: PriceBook) -> Fraction:
    lines = taxed(lines, book)
    shares = (Fraction(0) if line.with_tax else Fraction(percent_of(line.tax, book)) / 100 for line in lines)
    return sum((line.net.minor * (1 + share) for line, share in zip(lines, shares, strict=True)), Fraction(0))


def _list(names: Iterable[str]) -> str:
    return ", ".join(f'"{name}"' for name in names) or "none"
