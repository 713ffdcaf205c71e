"""An issued invoice as a plain value, for whatever writes it in another form."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal

import attrs


@attrs.frozen(kw_only=True)
class InvoiceParty:
    """Seller or buyer; `country` is its code by ISO 3166-1, empty where nobody says it."""

    name: str
    address: tuple[str, ...] = ()
    contact: str = ""
    tax_number: str = ""
    country: str = ""


@attrs.frozen(kw_only=True)
class InvoiceLine:
    """One line. `net` is what `quantity` at `price` for `per` units comes to, rounded; `unit` is what is
    counted: h, km, piece, flat …; `percent` its tax rate.
    """

    text: str
    quantity: Decimal
    unit: str
    price: Decimal
    per: Decimal
    net: Decimal
    percent: Decimal
    note: str = ""
    number: str = ""


@attrs.frozen(kw_only=True)
class InvoiceRate:
    """One rate of tax: on what, and how much."""

    percent: Decimal
    base: Decimal
    tax: Decimal


@attrs.frozen(kw_only=True)
class InvoiceValue:
    """An invoice, or a credit note, as it stands in the books. Amounts are in `currency`, with its decimals.

    Attributes:
        credits: Number of the invoice that a credit note answers; its quantities and amounts are below zero.
        corrects: Number of the invoice that was credited whole and that this one replaces.
        day: Of issue; due_on: until when it is to be paid, or empty. Both YYYY-MM-DD.
        supplied_on: Day of the last work, or of issue where none is known.
        gross: net and tax together. rounding: What was added to it. paid: Before it was issued.
        due: gross, rounding and less what was paid.
        outside_tax: Why no tax is shown; empty when it is. reverse_charge: Because the customer owes it.
        reference: What the customer or the shop calls it: the job.
        order_number: The customer's own, where one holds for all of it.
    """

    number: str
    day: str
    currency: str
    seller: InvoiceParty
    buyer: InvoiceParty
    lines: tuple[InvoiceLine, ...]
    rates: tuple[InvoiceRate, ...]
    net: Decimal
    tax: Decimal
    gross: Decimal
    rounding: Decimal
    paid: Decimal
    due: Decimal
    credits: str = ""
    corrects: str = ""
    due_on: str = ""
    supplied_on: str = ""
    outside_tax: str = ""
    reverse_charge: bool = False
    reference: str = ""
    order_number: str = ""
    pays_by: str = ""

    @property
    def is_credit_note(self) -> bool:
        return bool(self.credits)


@attrs.frozen
class Exporter:
    """What a plugin writes invoices with.

    Attributes:
        name: Short and lower case, for the command line. title: What it writes, in words.
        suffix: Of the file that it writes, such as `.pdf`.
        write: Gives the file's content from the invoice and its paper as PDF; raises ValueError with what is
            missing and what to do.
    """

    name: str
    title: str
    suffix: str
    write: Callable[[InvoiceValue, bytes], bytes]
