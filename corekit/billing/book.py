"""The price book: what an hour, a drive, a diagnosis and each operation cost, and at which tax rate."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal

import attrs

from .line import Condition, LineKind

#: Rate name on the lines of a shop that is outside tax.
OUTSIDE_TAX = "none"


@attrs.frozen(kw_only=True)
class PricedPart:
    """What goes into a vehicle: its net unit price, how many, and in which condition it is.

    `unit` is what its quantity counts (`l`, `m`); empty for pieces. `number` is how maker or seller call it;
    `tax` names a rate of its own; `core` is the deposit on the old part, credited when that comes in.
    """

    name: str
    price: Decimal
    quantity: Decimal
    condition: Condition
    unit: str = ""
    number: str = ""
    tax: str = ""
    core: Decimal | None = None


@attrs.frozen(kw_only=True)
class PricedOperation:
    """What a piece of work takes: hours and parts. `tax` names a rate for its labour where that is not the
    usual one; `hazard` is a caution for the one who does it. `lump_sum` is the one price of work and parts,
    where neither has a price of its own.
    """

    hours: Decimal
    lump_sum: Decimal | None = None
    tax: str = ""
    parts: tuple[PricedPart, ...] = ()
    hazard: str = ""


@attrs.frozen(kw_only=True)
class SuppliesCharge:
    """A general charge for small supplies: so many percent of a work's labour, at most `cap` for each."""

    percent: Decimal
    cap: Decimal | None = None


@attrs.frozen(kw_only=True)
class Zone:
    """A flat price of the drive up to a distance in kilometres; None without an end."""

    up_to: Decimal | None
    price: Decimal


@attrs.frozen(kw_only=True)
class OutOfHours:
    """What an hour and coming at all cost at night, on Sundays: when the shop would be closed."""

    labour: Decimal
    call_out: Decimal | None


@attrs.frozen(kw_only=True)
class PriceBook:
    """All prices of a shop, as decimal numbers of its currency: net, or where it says so with tax in them.

    Attributes:
        where: What it was read from, for messages.
        currency: ISO 4217 code.
        rates: Tax rate name → percent; empty for a shop outside tax.
        tax_of: Kind of line → the name of its rate.
        with_parts: The name of the rate of everything but parts as soon as the shop supplies a part or
            supplies; empty where the rate does not hang on that.
        outside_tax: Why the shop shows no tax; empty when it does.
        reverse_charge: It shows none because the customer owes it.
        with_tax: The prices have the tax of their rate in them.
        labour: Price of an hour.
        call_out: Price of coming at all; None when there is none.
        per_km, travel: Price of a kilometre, or of the drive whatever its length; at most one of them is
            given.
        diagnosis: Flat price of looking for the fault.
        diagnosis_cap: The most that call-out, travel and diagnosis may come to together before tax; None
            without a cap.
        operations: Operation key, or the name of work of the shop's own → what it takes.
        least_hours: No work is charged with fewer hours. zones: Prices of the drive by distance.
        supplies: The general charge for small supplies; None without one.
        out_of_hours: Other prices when the shop would be closed; None without any.
    """

    where: str
    currency: str
    rates: Mapping[str, Decimal]
    tax_of: Mapping[LineKind, str]
    with_parts: str = ""
    outside_tax: str
    reverse_charge: bool = False
    with_tax: bool = False
    labour: Decimal
    call_out: Decimal | None
    per_km: Decimal | None
    travel: Decimal | None
    diagnosis: Decimal
    diagnosis_cap: Decimal | None
    operations: Mapping[str, PricedOperation]
    least_hours: Decimal = Decimal(0)
    zones: tuple[Zone, ...] = ()
    supplies: SuppliesCharge | None = None
    out_of_hours: OutOfHours | None = None

    def as_issued(self, rates: Mapping[str, Decimal], currency: str) -> PriceBook:
        """The book for the lines of an invoice: they name the rates that they were taxed at."""
        return attrs.evolve(self, rates=rates, currency=currency, with_parts="")
