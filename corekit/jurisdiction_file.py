"""Reads the TOML file of a jurisdiction."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import attrs

from .datafile import Day, read_toml, required_field, structured, table
from .fault import Faults, Place, any_of, quotation
from .jurisdictions import CODE, GENERAL
from .model.cancellation import CancellationAnswer
from .model.jurisdiction import (
    Cancellation,
    ExceedKind,
    ExceedRule,
    Jurisdiction,
    Origin,
    Required,
    RequiredItem,
    Retention,
    Simplified,
    StatementAsked,
    Supplies,
    SuppliesRule,
    TaxBase,
    Taxed,
)
from .model.source import Basis, Status

_LONGEST = 100  # years that papers are kept, or days in which a contract may be cancelled, at most


@table
class _Origin:
    source: str = required_field("where the rule is read", '"16 CCR 3354"', default="")
    date: Day = required_field("the day it was read", '"2026-11-24"', default=Day(""))
    basis: Basis = required_field("what authority stands behind it", '"law"', default=Basis.PRACTICE)
    status: Status = required_field("how we know what it says", '"read"', default=Status.NONE)
    address: str = ""
    note: str = ""

    def origin(self) -> Origin:
        return Origin(
            source=self.source,
            date=self.date,
            basis=self.basis,
            status=self.status,
            address=self.address,
            note=self.note,
        )


@table
class _Exceed(_Origin):
    kind: ExceedKind = required_field("how far an invoice may go", '"none"', default=ExceedKind.NONE)
    amount: Decimal | None = None
    percent: Decimal | None = None
    cap: Decimal | None = None
    currency: str = ""
    tax: str = "included"
    of: str = required_field("what it is counted from", '"written estimate"', default="")


@table
class _Required(_Origin):
    items: list[RequiredItem | None] = required_field("the items", '["customer_name"]', factory=list)


@table
class _Statement(_Origin):
    key: str = required_field("a name for the statement", '"supplies"', default="")
    about: str = required_field("what it is about", '"the charge for shop supplies"', default="")


@table
class _Simplified(_Origin):
    up_to: Decimal = required_field("the total up to which it holds", '"250.00"', default=Decimal(0))
    currency: str = required_field("of which currency", '"EUR"', default="")
    leaves_out: list[RequiredItem | None] = required_field(
        "what it leaves out", '["customer_name"]', factory=list
    )


@table
class _Supplies(_Origin):
    charge: Supplies = required_field(
        "whether a general charge may stand", '"forbidden"', default=Supplies.ALLOWED
    )


@table
class _TaxBase(_Origin):
    labour: Taxed | None = None
    call_out: Taxed | None = None
    lump_sum: Taxed | None = None


@table
class _Retention(_Origin):
    years: int = required_field("for how many years", "3", default=0)


@table
class _Cancellation(_Origin):
    days: int = required_field("for how many days", "14", default=0)
    statement: str = required_field("a name for the shop's words on it", '"cancellation"', default="")
    answers: list[CancellationAnswer | None] = required_field(
        "what the customer may say", '["urgent repair", "begin at once"]', factory=list
    )


@table
class _File:
    code: str = required_field("the place as in ISO 3166", '"US-CA"', default="")
    exceed: _Exceed | None = None
    required: list[_Required | None] = attrs.field(factory=list)
    statements: list[_Statement | None] = attrs.field(factory=list)
    simplified: _Simplified | None = None
    supplies: _Supplies | None = None
    tax_base: _TaxBase | None = None
    retention: _Retention | None = None
    cancellation: _Cancellation | None = None


def read(path: Path) -> Jurisdiction:
    """The jurisdiction that a TOML file describes.

    Raises:
        DataFileError: everything that is wrong, at once.
    """
    faults = Faults()
    data = read_toml(path)
    form = structured(data, _File, faults)
    if not CODE.fullmatch(form.code) and form.code != GENERAL and not faults.at(("code",)):
        faults.add(("code",), f"{quotation(form.code)} is no place", "a code of ISO 3166", '"US-CA" or "DE"')
    exceed = _exceed_rule(form.exceed, faults) if form.exceed is not None else None
    if form.retention is not None and not 0 < form.retention.years <= _LONGEST:
        faults.add(
            ("retention", "years"),
            f"{form.retention.years} is no time to keep papers",
            f"years from 1 to {_LONGEST}",
        )
    if form.cancellation is not None and not 0 < form.cancellation.days <= _LONGEST:
        got = f"{form.cancellation.days} is no time to cancel a contract"
        faults.add(("cancellation", "days"), got, f"days from 1 to {_LONGEST}")
    if form.cancellation is not None and not form.cancellation.answers:
        got, wanted = "is empty", any_of(map(quotation, CancellationAnswer))
        if not faults.below(("cancellation", "answers")):
            faults.add(("cancellation", "answers"), got, wanted)
    if (base := form.tax_base) is not None and base.labour is base.call_out is base.lump_sum is None:
        got = "does not say of anything whether it is taxed"
        if not faults.below(("tax_base",)):
            faults.add(("tax_base",), got, any_of(map(quotation, Taxed)), 'labour = "taxed"')
    faults.refuse(data, str(path))
    return Jurisdiction(
        code="" if form.code == GENERAL else form.code,
        exceed=exceed,
        exceed_origin=form.exceed.origin() if form.exceed is not None else None,
        required=tuple(
            Required(item=item, origin=row.origin())
            for row in form.required
            if row is not None
            for item in row.items
            if item is not None
        ),
        statements=tuple(
            StatementAsked(key=row.key, about=row.about, origin=row.origin())
            for row in form.statements
            if row is not None
        ),
        simplified=_simplified_invoice(form.simplified),
        supplies=(
            SuppliesRule(charge=form.supplies.charge, origin=form.supplies.origin())
            if form.supplies
            else None
        ),
        tax_base=_tax_base(form.tax_base),
        cancellation=_cancellation_of(form.cancellation),
        retention=(
            Retention(years=form.retention.years, origin=form.retention.origin()) if form.retention else None
        ),
    )


#: Kind → what it needs.
_NEEDS: dict[ExceedKind, tuple[str, ...]] = {
    ExceedKind.NONE: (),
    ExceedKind.AMOUNT: ("amount",),
    ExceedKind.PERCENT: ("percent",),
    ExceedKind.LESSER: ("amount", "percent"),
    ExceedKind.GREATER_WITH_CAP: ("amount", "percent", "cap"),
}


def _exceed_rule(row: _Exceed, faults: Faults) -> ExceedRule:
    path: Place = ("exceed",)
    needs = _NEEDS[row.kind]
    for key in ("amount", "percent", "cap"):
        given = getattr(row, key) is not None or bool(faults.at((*path, key)))
        if given != (key in needs):
            got = f"a rule of the kind {row.kind} has {'no' if given else 'a'} {key}"
            faults.add((*path, key), got, f"{', '.join(needs) or 'neither amount, percent nor cap'}")
    if bool(row.currency) != ("amount" in needs):
        faults.add((*path, "currency"), "belongs to an amount and to nothing else", "the amount's currency")
    if row.tax not in ("included", "excluded"):
        faults.add((*path, "tax"), f"is {quotation(row.tax)}", '"included" or "excluded"')
    return ExceedRule(
        kind=row.kind,
        amount=row.amount or Decimal(0),
        percent=row.percent or Decimal(0),
        cap=row.cap,
        currency=row.currency,
        with_tax=row.tax == "included",
        of=row.of,
    )


def _simplified_invoice(row: _Simplified | None) -> Simplified | None:
    if row is None:
        return None
    return Simplified(
        up_to=row.up_to,
        currency=row.currency,
        leaves_out=frozenset(item for item in row.leaves_out if item is not None),
        origin=row.origin(),
    )


def _tax_base(row: _TaxBase | None) -> TaxBase | None:
    if row is None:
        return None
    return TaxBase(labour=row.labour, call_out=row.call_out, lump_sum=row.lump_sum, origin=row.origin())


def _cancellation_of(row: _Cancellation | None) -> Cancellation | None:
    if row is None:
        return None
    return Cancellation(
        days=row.days,
        statement=row.statement,
        answers=tuple(answer for answer in row.answers if answer is not None),
        origin=row.origin(),
    )
