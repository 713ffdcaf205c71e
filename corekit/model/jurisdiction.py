"""What the law of one place asks of estimates and invoices, each rule with where it is from.

It is no legal advice.
"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from enum import StrEnum

import attrs

from .cancellation import CancellationAnswer
from .money import Money
from .source import Basis, Status


@attrs.frozen(kw_only=True)
class Origin:
    """Where a rule was read: title and place, address, on which day, and how we know."""

    source: str
    date: str
    basis: Basis
    status: Status
    address: str = ""
    note: str = ""

    @property
    def is_read_in_the_law(self) -> bool:
        """True when the text of the law itself was read: only such a rule lets anybody charge more."""
        return self.basis is Basis.LAW and self.status in (Status.READ, Status.EXCERPT)


class ExceedKind(StrEnum):
    """How far an invoice may go beyond what was approved."""

    NONE = "none"
    AMOUNT = "amount"
    PERCENT = "percent"
    LESSER = "lesser"
    GREATER_WITH_CAP = "greater_with_cap"


@attrs.frozen(kw_only=True)
class ExceedRule:
    """The highest amount that may be charged without a new approval.

    Attributes:
        amount, percent, cap: What the kind needs; money in `currency`.
        with_tax: The approved sum and the charge are compared with tax; False: both before tax.
        of: What it is counted from, in words.
    """

    kind: ExceedKind
    amount: Decimal = Decimal(0)
    percent: Decimal = Decimal(0)
    cap: Decimal | None = None
    currency: str = ""
    with_tax: bool = True
    of: str = "what was approved"

    def highest(self, approved: Money) -> Money:
        """What may be charged where this sum was approved; a share of it is rounded down.

        An amount in another currency than the approved sum's lets nothing be added.
        """
        return approved + Money(max(0, self._more(approved)), approved.currency)

    def _more(self, approved: Money) -> int:
        if self.kind is ExceedKind.NONE:
            return 0
        above, below = self.percent.as_integer_ratio()
        share = approved.minor * above // (below * 100)
        if self.kind is ExceedKind.PERCENT:
            return share
        if self.currency != approved.currency:
            return 0
        amount = Money.of(self.amount, self.currency).minor
        if self.kind is ExceedKind.AMOUNT:
            return amount
        if self.kind is ExceedKind.LESSER:
            return min(amount, share)
        return min(max(amount, share), Money.of(self.cap or Decimal(0), self.currency).minor)

    def __str__(self) -> str:
        """What it allows, in words that stand after *at most* or *not above*."""
        if self.kind is ExceedKind.NONE:
            return "nothing above what was approved"
        amount, percent = f"{self.amount} {self.currency}", f"{self.percent} %"
        words = {
            ExceedKind.AMOUNT: amount,
            ExceedKind.PERCENT: percent,
            ExceedKind.LESSER: f"{amount} or {percent}, whichever is less",
            ExceedKind.GREATER_WITH_CAP: (
                f"{amount} or {percent}, whichever is more, and never more than {self.cap} {self.currency}"
            ),
        }[self.kind]
        return f"{words} above what was approved{'' if self.with_tax else ', before tax'}"


#: What holds where nobody has read a rule.
NOTHING_ABOVE = ExceedRule(kind=ExceedKind.NONE)


class RequiredItem(StrEnum):
    """What an invoice has to carry, as far as somebody must give it. Number, date, day of supply, every line
    with price and condition, sums of work and of parts, tax by rate with its base or why there is none,
    approvals, the terms of guarantee or that none are given, and what is due stand on every invoice.
    """

    ISSUER_CONTACT = "issuer_contact"
    ISSUER_TAX_NUMBER = "issuer_tax_number"
    REGISTRATION = "registration"
    MECHANIC = "mechanic"
    CUSTOMER_NAME = "customer_name"
    CUSTOMER_ADDRESS = "customer_address"
    CUSTOMER_PHONE = "customer_phone"
    CUSTOMER_TAX_NUMBER = "customer_tax_number"
    PLATE_OR_VIN = "plate_or_vin"
    VEHICLE_DESCRIPTION = "vehicle_description"
    ODOMETER = "odometer"
    COMPLAINT = "complaint"
    PART_NUMBERS = "part_numbers"
    OLD_PARTS = "old_parts"


@attrs.frozen(kw_only=True)
class Required:
    """One item that an invoice must carry."""

    item: RequiredItem
    origin: Origin


@attrs.frozen(kw_only=True)
class StatementAsked:
    """Words that the law prescribes; the shop supplies them under `key`, for they are not ours to write."""

    key: str
    about: str
    origin: Origin


@attrs.frozen(kw_only=True)
class Cancellation:
    """A contract made at the customer's home, or from afar, may be cancelled within `days`. The estimate
    carries the words on it that the shop supplies under `statement`, and whoever approves it says one of the
    `answers`.
    """

    days: int
    statement: str
    answers: tuple[CancellationAnswer, ...]
    origin: Origin


@attrs.frozen(kw_only=True)
class Simplified:
    """Up to this total, tax included, an invoice may leave these items out."""

    up_to: Decimal
    currency: str
    leaves_out: frozenset[RequiredItem]
    origin: Origin

    def holds_for(self, total: Money) -> bool:
        return total.currency == self.currency and total.amount <= self.up_to


class Supplies(StrEnum):
    """Whether a general charge for shop supplies may stand on an invoice."""

    ALLOWED = "allowed"
    WITH_STATEMENT = "with_statement"
    FORBIDDEN = "forbidden"


@attrs.frozen(kw_only=True)
class SuppliesRule:
    charge: Supplies
    origin: Origin


class Taxed(StrEnum):
    """Whether a kind of charge is taxed: always, never, or as soon as the repairer supplies a part."""

    YES = "taxed"
    NO = "untaxed"
    WITH_PARTS = "with_parts"


@attrs.frozen(kw_only=True)
class TaxBase:
    """What of a repair is taxed, beside its parts; None where nobody said it.

    Attributes:
        labour: Work that stands apart from the parts, diagnosis with it.
        call_out: Coming at all, and the drive.
        lump_sum: One price for work and parts.
    """

    labour: Taxed | None
    call_out: Taxed | None
    lump_sum: Taxed | None
    origin: Origin


@attrs.frozen(kw_only=True)
class Retention:
    """How many years the papers are kept."""

    years: int
    origin: Origin


@attrs.frozen(kw_only=True)
class Jurisdiction:
    """What a place asks; `code` is that of ISO 3166, or empty where nobody has described it."""

    code: str = ""
    exceed: ExceedRule | None = None
    exceed_origin: Origin | None = None
    required: tuple[Required, ...] = ()
    statements: tuple[StatementAsked, ...] = ()
    simplified: Simplified | None = None
    supplies: SuppliesRule | None = None
    tax_base: TaxBase | None = None
    retention: Retention | None = None
    cancellation: Cancellation | None = None

    @property
    def limit(self) -> ExceedRule:
        """The rule to go by: nothing above what was approved, unless another was read in the law's text."""
        if self.exceed is None or self.exceed_origin is None or not self.exceed_origin.is_read_in_the_law:
            return NOTHING_ABOVE
        return self.exceed

    def items(self, total: Money) -> tuple[RequiredItem, ...]:
        """What an invoice of this total must carry."""
        left_out: frozenset[RequiredItem] = frozenset()
        if self.simplified is not None and self.simplified.holds_for(total):
            left_out = self.simplified.leaves_out
        return tuple(one.item for one in self.required if one.item not in left_out)


def jurisdiction_for(code: str, known: Mapping[str, Jurisdiction], general: Jurisdiction) -> Jurisdiction:
    """The jurisdiction of a code; where nobody described it, what is general and nothing that allows more."""
    return known.get(code) or attrs.evolve(general, code=code)
