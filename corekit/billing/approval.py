"""What was approved in lines and money, and whether an invoice keeps within it.

The rule is the strictest there is: nothing above the agreed sum, and nothing that was not agreed to, without
a new yes. Local law may ask more than this (a written estimate, a certain form of consent, a statement on the
paper); it never makes an invoice that is refused here a good idea.
"""

from __future__ import annotations

from collections.abc import Container, Iterable, Sequence
from fractions import Fraction
from functools import cached_property

import attrs

from ..errors import CorekitError
from ..model.approval import Approval, Decision, estimate_of
from ..model.job import Job
from ..model.money import Money, total
from ..model.records import Approved, Estimated, Repaired
from .book import PriceBook
from .estimate import without_declined
from .line import Line, from_data
from .totals import Totals, percent_of, totals


class ConsentError(CorekitError, ValueError):
    """Why this may not be invoiced, and what to do, in one text."""


@attrs.frozen
class _Priced:
    """One decision in lines: all that were offered, those that stand approved, those to charge for."""

    decision: Decision
    estimated: tuple[Line, ...]
    approved: tuple[Line, ...]
    done: tuple[Line, ...]


def _estimates(given: Iterable[Estimated]) -> tuple[Estimated, ...]:
    return tuple(given)


def _acts(given: Iterable[Approved | Repaired]) -> tuple[Approved | Repaired, ...]:
    return tuple(given)


@attrs.frozen
class ApprovedWork:
    """`model.approval.Approval` in lines and money: everything offered, every agreement and repair in the
    journal's order, and the price book.

    Each offer's lines are read once, whatever is asked.
    """

    estimates: tuple[Estimated, ...] = attrs.field(converter=_estimates)
    acts: tuple[Approved | Repaired, ...] = attrs.field(converter=_acts)
    book: PriceBook

    @classmethod
    def of(
        cls, job: Job, book: PriceBook, more: Iterable[Approved] = (), instead_of: Container[str] = ()
    ) -> ApprovedWork:
        """What stands in a job's journal.

        Args:
            more: Agreements that are about to be written. instead_of: Ids of the entries that they take the
                place of.
        """
        acts: list[Approved | Repaired] = []
        new = list(more)
        for noted in job.standing:
            if noted.id in instead_of:
                acts += new
                new = []
            elif isinstance(noted.record, (Approved, Repaired)):
                acts.append(noted.record)
        return cls((noted.record for noted in job.estimates), (*acts, *new), book)

    @cached_property
    def approval(self) -> Approval:
        """What is approved, declined, done and open."""
        return Approval.of(self.estimates, self.acts)

    @property
    def approvals(self) -> tuple[Approved, ...]:
        return tuple(act for act in self.acts if isinstance(act, Approved))

    @property
    def lines(self) -> tuple[Line, ...]:
        """The lines that stand approved, in the order of the agreements.

        Raises:
            ConsentError: an agreement names no offer, or its hash, total or currency is not the offer's, or
                it declines what was not offered; or an offer's lines cannot be read.
        """
        return tuple(line for priced in self._priced for line in priced.approved)

    @property
    def done(self) -> tuple[Line, ...]:
        """The approved lines whose work was done under that approval; call-out, travel and diagnosis always.

        Raises:
            ConsentError: as `lines`.
        """
        return tuple(line for priced in self._priced for line in priced.done)

    @cached_property
    def total(self) -> Money:
        """The sum agreed to, tax included: each offer's total, less what was declined.

        Raises:
            ConsentError: as `lines`; or part of an offer was declined and today's tax rates no longer give
                the total that it was offered at, so that nobody can say what the rest was agreed at.
        """
        return total(self.sums.values(), self.book.currency)

    @cached_property
    def sums(self) -> dict[str, Money]:
        """Printed name of each offer that has an answer → the sum agreed to of it, after what was declined.

        Raises:
            ConsentError: as `total`.
        """
        return {priced.decision.estimate.name: self._sum(priced) for priced in self._priced}

    @cached_property
    def _priced(self) -> tuple[_Priced, ...]:
        latest = {approval.estimate: approval for approval in self.approvals}
        for approval in latest.values():
            _refuse_unbound(approval, self.estimates)
        return tuple(_priced(decision) for decision in self.approval.decisions)

    def _sum(self, priced: _Priced) -> Money:
        estimate = priced.decision.estimate
        if estimate.currency != self.book.currency:
            raise ConsentError(
                f'Offer "{estimate.name}" is in {estimate.currency}, the price book in {self.book.currency}; make a'
                " new offer."
            )
        if priced.approved == priced.estimated:
            return Money(estimate.total, estimate.currency)
        if not priced.approved:
            return Money(0, estimate.currency)
        if not self._still_comes_to_its_total(priced):
            raise ConsentError(
                f'Offer "{estimate.name}" was made at {Money(estimate.total, estimate.currency)}'
                f" {estimate.currency}; with the tax rates of {self.book.where} its lines come to another"
                " sum, so what was not declined has no agreed one. Make a new offer and record a new"
                " agreement."
            )
        return totals(priced.approved, self.book).gross

    @property
    def keeps_its_totals(self) -> bool:
        """True while today's tax rates give every answered offer the total that it was made at."""
        return all(map(self._still_comes_to_its_total, self._priced))

    def _still_comes_to_its_total(self, priced: _Priced) -> bool:
        estimate = priced.decision.estimate
        return totals(priced.estimated, self.book).gross == Money(estimate.total, estimate.currency)


def may_invoice(
    lines: Sequence[Line], work: ApprovedWork, rounding: Money | None = None, come_to: Totals | None = None
) -> None:
    """Return when these lines may be invoiced; else say why not.

    Every line belongs to something that was agreed to; no operation comes to more (before tax) than agreed
    for it; the total (tax and rounding amount included) is not above the agreed total. Local law may ask
    more.

    Args:
        lines: What is to be invoiced.
        work: What was approved.
        rounding: The invoice's rounding amount (BT-114); see `rounding_to_agreed`.
        come_to: What the lines come to, where that is worked out already.

    Raises:
        ConsentError: one clear text.
        ValueError: a line names a tax rate that the price book does not have.
    """
    if not work.approvals:
        raise ConsentError(
            "Nothing was agreed to, so nothing can be invoiced. Make an offer and record the customer's yes."
        )
    allowed = work.total
    approved = _nets(work.lines)
    for line in lines:
        if line.net.currency != work.book.currency:
            raise ConsentError(
                f"{line.text}: is priced in {line.net.currency}, but {work.book.currency} was agreed."
            )
        if line.what not in approved:
            raise ConsentError(_not_approved(line, work))
    for what, net in _nets(lines).items():
        if net > approved[what]:
            raise ConsentError(
                f"{what}: comes to {net} {net.currency} before tax, but {approved[what]} was agreed. "
                "Invoice what was agreed, or make a new offer and record a new agreement."
            )
    come_to = come_to or totals(lines, work.book)
    gross = come_to.gross + (rounding or Money(0, work.book.currency))
    if gross > allowed:
        cure = "Make a new offer and record a new agreement."
        if rounding is None and (less := rounding_to_approved(lines, work, come_to)).minor:
            cure = (
                f"Only rounding of the tax makes the difference; invoice it with a rounding amount of {less}."
            )
        raise ConsentError(f"The invoice comes to {gross} {gross.currency}, but {allowed} was agreed. {cure}")


def rounding_to_approved(lines: Sequence[Line], work: ApprovedWork, come_to: Totals | None = None) -> Money:
    """The rounding amount (BT-114, zero or negative) that keeps an invoice within the sum of several offers.

    Tax is rounded once on each document, so one invoice over two offers can come out a cent above their sum.
    That cent was never agreed to. It is zero whenever something other than rounding makes the difference.
    """
    zero = Money(0, work.book.currency)
    excess = (come_to or totals(lines, work.book)).gross - work.total
    only_rounding = _unrounded(lines, work.book) <= _unrounded(work.lines, work.book)
    if excess > zero and only_rounding and work.keeps_its_totals:
        return -excess
    return zero


def _priced(decision: Decision) -> _Priced:
    estimate = decision.estimate
    estimated = _lines_of(estimate)
    try:
        without_declined(estimated, decision.approval.declined)
    except ValueError as error:
        raise ConsentError(
            f'The agreement to "{estimate.name}" declines what was not in it. {error}'
        ) from error
    approved = tuple(
        line
        for line in estimated
        if (line.operation in decision.approved if line.operation else decision.has_diagnosis)
    )
    done = tuple(line for line in approved if not line.operation or line.operation in decision.done)
    return _Priced(decision, estimated, approved, done)


def _refuse_unbound(approval: Approved, estimates: Sequence[Estimated]) -> None:
    named = [estimate for estimate in estimates if estimate.name == approval.estimate]
    if not named:
        raise ConsentError(
            f'An agreement names the offer "{approval.estimate}", which was never made; made are'
            f" {_list(estimate.name for estimate in estimates)}."
        )
    estimate = estimate_of(approval, estimates)
    if estimate is None:
        raise ConsentError(
            f'The agreement to "{approval.estimate}" is about another paper than the one that was offered (hash'
            f" {approval.document_hash[:12]}, offered {named[-1].document_hash[:12]}). Show the customer the"
            " offer as it stands and record a new agreement."
        )
    if (approval.total, approval.currency) != (estimate.total, estimate.currency):
        raise ConsentError(
            f'The agreement to "{approval.estimate}" says {Money(approval.total, approval.currency)}'
            f" {approval.currency}, but the offer says {Money(estimate.total, estimate.currency)}"
            f" {estimate.currency}. Record the agreement with the total that is printed on the offer."
        )


def _lines_of(estimate: Estimated) -> tuple[Line, ...]:
    try:
        return tuple(from_data(data) for data in estimate.lines)
    except ValueError as error:
        raise ConsentError(f'The lines of the offer "{estimate.name}" cannot be read: {error}') from error


def _not_approved(line: Line, work: ApprovedWork) -> str:
    what, cure = line.what, "Leave it off, or make a new offer and record a new agreement."
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
        return f'{what}: was offered in "{estimated[-1]}", but nobody agreed to it. {cure}'
    return f"{what}: was never offered. {cure}"


def _nets(lines: Iterable[Line]) -> dict[str, Money]:
    nets: dict[str, Money] = {}
    for line in lines:
        nets[line.what] = nets[line.what] + line.net if line.what in nets else line.net
    return nets


def _unrounded(lines: Iterable[Line], book: PriceBook) -> Fraction:
    return sum(
        (line.net.minor * (1 + Fraction(percent_of(line.tax, book)) / 100) for line in lines), Fraction(0)
    )


def _list(names: Iterable[str]) -> str:
    return ", ".join(f'"{name}"' for name in names) or "none"
