"""What was agreed, and whether an invoice keeps within it.

The rule is the strictest there is: nothing above the agreed sum, and nothing that was not agreed to, without
a new yes. Local law may ask more than this (a written estimate, a certain form of consent, a statement on the
paper); it never makes an invoice that is refused here a good idea.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from fractions import Fraction

import attrs

from ..errors import CorekitError
from ..model.job import Job
from ..model.money import Money, total
from ..model.records import Agreed, Offered
from .book import PriceBook
from .line import Line, LineKind, from_data
from .offer import declined
from .totals import percent_of, totals


class ConsentError(CorekitError, ValueError):
    """Why this may not be invoiced, and what to do, in one text."""


@attrs.frozen
class _Word:
    """One agreement with the offer it is about: all lines offered, and those that stand agreed."""

    offer: Offered
    agreement: Agreed
    offered: tuple[Line, ...]
    agreed: tuple[Line, ...]


def _offers(given: Iterable[Offered]) -> tuple[Offered, ...]:
    return tuple(given)


def _agreements(given: Iterable[Agreed]) -> tuple[Agreed, ...]:
    return tuple(given)


@attrs.frozen
class Standing:
    """What has been agreed, as it stands: everything offered, every agreement in the journal's order, and the
    price book.

    The latest word on an offer counts; and where an operation, or coming and looking, was offered again
    later, the latest word on that counts, so that nothing is owed twice because it was offered twice.
    """

    offers: tuple[Offered, ...] = attrs.field(converter=_offers)
    agreements: tuple[Agreed, ...] = attrs.field(converter=_agreements)
    book: PriceBook

    @classmethod
    def of(cls, job: Job, book: PriceBook, more: Iterable[Agreed] = ()) -> Standing:
        """What stands in a job's journal; `more` are agreements that are about to be written."""
        return cls(
            (noted.record for noted in job.offers), (*(noted.record for noted in job.agreements), *more), book
        )

    @property
    def lines(self) -> tuple[Line, ...]:
        """The lines agreed to.

        Raises:
            ConsentError: as `agreed_lines`.
        """
        return agreed_lines(self.offers, self.agreements)

    @property
    def total(self) -> Money:
        """The sum agreed to, tax included: each offer's total, less what was declined.

        Raises:
            ConsentError: as `agreed_lines`; or part of an offer was declined and today's tax rates no
                longer give the total that it was
            offered at, so that nobody can say what the rest was agreed at.
        """
        return total((self._sum(word) for word in _words(self.offers, self.agreements)), self.book.currency)

    @property
    def sums(self) -> dict[str, Money]:
        """Printed name of each offer that has an answer → the sum agreed to of it, after what was declined.

        Raises:
            ConsentError: as `total`.
        """
        return {word.offer.name: self._sum(word) for word in _words(self.offers, self.agreements)}

    def _sum(self, word: _Word) -> Money:
        if word.offer.currency != self.book.currency:
            raise ConsentError(
                f'Offer "{word.offer.name}" is in {word.offer.currency}, the price book in'
                f" {self.book.currency}; make a new offer."
            )
        if word.agreed == word.offered:
            return Money(word.offer.total, word.offer.currency)
        if not word.agreed:
            return Money(0, word.offer.currency)
        if not self._still_comes_to_its_total(word):
            raise ConsentError(
                f'Offer "{word.offer.name}" was made at {Money(word.offer.total, word.offer.currency)}'
                f" {word.offer.currency}; with the tax rates of {self.book.where} its lines come to another"
                " sum, so what was not declined has no agreed one. Make a new offer and record a new"
                " agreement."
            )
        return totals(word.agreed, self.book).gross

    def _still_comes_to_its_total(self, word: _Word) -> bool:
        return totals(word.offered, self.book).gross == Money(word.offer.total, word.offer.currency)


def agreed_lines(offers: Sequence[Offered], agreements: Sequence[Agreed]) -> tuple[Line, ...]:
    """The lines that the customer said yes to, in the order of the agreements.

    Raises:
        ConsentError: an agreement names no offer, or its hash, total or currency is not the offer's, or it
            declines what was not offered; or an offer's lines cannot be read.
    """
    return tuple(line for word in _words(offers, agreements) for line in word.agreed)


def may_invoice(lines: Sequence[Line], standing: Standing, rounding: Money | None = None) -> None:
    """Return when these lines may be invoiced; else say why not.

    Every line belongs to something that was agreed to; no operation comes to more (before tax) than agreed
    for it; the total (tax and rounding amount included) is not above the agreed total. Local law may ask
    more.

    Args:
        lines: What is to be invoiced.
        standing: What was agreed.
        rounding: The invoice's rounding amount (BT-114); see `rounding_to_agreed`.

    Raises:
        ConsentError: one clear text.
        ValueError: a line names a tax rate that the price book does not have.
    """
    if not standing.agreements:
        raise ConsentError(
            "Nothing was agreed to, so nothing can be invoiced. Make an offer and record the customer's yes."
        )
    allowed = standing.total
    agreed = _nets(standing.lines)
    for line in lines:
        if line.net.currency != standing.book.currency:
            raise ConsentError(
                f"{line.text}: is priced in {line.net.currency}, but {standing.book.currency} was agreed."
            )
        if line.what not in agreed:
            raise ConsentError(_not_agreed(line, standing))
    for what, net in _nets(lines).items():
        if net > agreed[what]:
            raise ConsentError(
                f"{what}: comes to {net} {net.currency} before tax, but {agreed[what]} was agreed. "
                "Invoice what was agreed, or make a new offer and record a new agreement."
            )
    gross = totals(lines, standing.book).gross + (rounding or Money(0, standing.book.currency))
    if gross > allowed:
        cure = "Make a new offer and record a new agreement."
        if rounding is None and (less := rounding_to_agreed(lines, standing)).minor:
            cure = (
                f"Only rounding of the tax makes the difference; invoice it with a rounding amount of {less}."
            )
        raise ConsentError(f"The invoice comes to {gross} {gross.currency}, but {allowed} was agreed. {cure}")


def rounding_to_agreed(lines: Sequence[Line], standing: Standing) -> Money:
    """The rounding amount (BT-114, zero or negative) that keeps an invoice within the sum of several offers.

    Tax is rounded once on each document, so one invoice over two offers can come out a cent above their sum.
    That cent was never agreed to. It is zero whenever something other than rounding makes the difference.
    """
    zero = Money(0, standing.book.currency)
    excess = totals(lines, standing.book).gross - standing.total
    words = _words(standing.offers, standing.agreements)
    only_rounding = _unrounded(lines, standing.book) <= _unrounded(standing.lines, standing.book)
    if excess > zero and only_rounding and all(standing._still_comes_to_its_total(word) for word in words):
        return -excess
    return zero


def _words(offers: Sequence[Offered], agreements: Sequence[Agreed]) -> list[_Word]:
    latest = {agreement.offer: place for place, agreement in enumerate(agreements)}
    standing = [agreements[place] for place in sorted(latest.values())]
    read = [(agreement, _offer_of(agreement, offers)) for agreement in standing]
    lines = [_lines_of(offer) for _, offer in read]
    words: list[_Word] = []
    for place, (agreement, offer) in enumerate(read):
        later = {line.operation for others in lines[place + 1 :] for line in others if line.operation}
        # Coming and looking stand together: a later yes to another price of it takes the place of all of an
        # earlier one.
        looked = any(line.kind is LineKind.DIAGNOSIS for others in lines[place + 1 :] for line in others)
        try:
            kept = declined(lines[place], agreement.declined)
        except ValueError as error:
            raise ConsentError(
                f'The agreement to "{offer.name}" declines what was not in it. {error}'
            ) from error
        stands = tuple(
            line for line in kept if (line.operation not in later if line.operation else not looked)
        )
        words.append(_Word(offer, agreement, lines[place], stands))
    return words


def _offer_of(agreement: Agreed, offers: Sequence[Offered]) -> Offered:
    named = [offer for offer in offers if offer.name == agreement.offer]
    if not named:
        raise ConsentError(
            f'An agreement names the offer "{agreement.offer}", which was never made; made are'
            f" {_list(offer.name for offer in offers)}."
        )
    offer = next((offer for offer in named if offer.document_hash == agreement.document_hash), None)
    if offer is None:
        raise ConsentError(
            f'The agreement to "{agreement.offer}" is about another paper than the one that was offered (hash'
            f" {agreement.document_hash[:12]}, offered {named[-1].document_hash[:12]}). Show the customer the"
            " offer as it stands and record a new agreement."
        )
    if (agreement.total, agreement.currency) != (offer.total, offer.currency):
        raise ConsentError(
            f'The agreement to "{agreement.offer}" says {Money(agreement.total, agreement.currency)}'
            f" {agreement.currency}, but the offer says {Money(offer.total, offer.currency)}"
            f" {offer.currency}. Record the agreement with the total that is printed on the offer."
        )
    return offer


def _lines_of(offer: Offered) -> tuple[Line, ...]:
    try:
        return tuple(from_data(data) for data in offer.lines)
    except ValueError as error:
        raise ConsentError(f'The lines of the offer "{offer.name}" cannot be read: {error}') from error


def _not_agreed(line: Line, standing: Standing) -> str:
    what, cure = line.what, "Leave it off, or make a new offer and record a new agreement."
    words = _words(standing.offers, standing.agreements)
    refused = [word.offer.name for word in words if line.operation in word.agreement.declined]
    if line.operation and refused:
        return f'{what}: was declined in "{refused[-1]}". {cure}'
    offered = [
        offer.name for offer in standing.offers if any(other.what == what for other in _lines_of(offer))
    ]
    if offered:
        return f'{what}: was offered in "{offered[-1]}", but nobody agreed to it. {cure}'
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
