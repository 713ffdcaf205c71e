"""The price book as a shop writes it: prices.toml."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from decimal import ROUND_HALF_UP, Decimal
from typing import Any

import attrs

from ..datafile import Count, required_field, structured, table
from ..errors import InputError
from ..fault import Faults, Place, quotation
from ..model.money import minor_digits
from ..model.own_work import LONGEST_NAME, OPERATION_KEY, own_work_name
from .book import OUTSIDE_TAX, OutOfHours, PriceBook, PricedOperation, PricedPart, SuppliesCharge, Zone
from .line import Condition, LineKind

_ZERO = Decimal(0)


@table
class TaxTable:
    rates: dict[str, Decimal | None] = attrs.field(factory=dict)
    default: str = ""
    none: str | None = None
    reverse_charge: str | None = None
    included: bool = False
    labour: str | None = None
    parts: str | None = None
    call_out: str | None = None
    lump_sum: str | None = None
    with_parts: str | None = None


@table
class LabourTable:
    per_hour: Decimal = required_field("the price of an hour", '"62.50"', default=_ZERO)
    least: Decimal | None = None


@table
class ZoneRow:
    up_to: Decimal | None = None
    price: Decimal = required_field("the price of the drive", '"12.00"', default=_ZERO)


@table
class TravelTable:
    per_km: Decimal | None = None
    flat: Decimal | None = None
    zones: list[ZoneRow | None] | None = None


@table
class MarkupRow:
    up_to: Decimal | None = None
    percent: Decimal = required_field("the percent on the cost", '"40"', default=_ZERO)


@table
class SuppliesTable:
    percent: Decimal = required_field("the percent of a work's labour", '"5"', default=_ZERO)
    cap: Decimal | None = None


@table
class OutOfHoursTable:
    per_hour: Decimal = required_field("the price of an hour then", '"95.00"', default=_ZERO)
    call_out: Decimal | None = None


@table
class DiagnosisTable:
    price: Decimal = required_field("the flat price of looking for the fault", '"35.00"', default=_ZERO)
    cap: Decimal | None = None


@table
class PartRow:
    name: str = required_field("what the part is called", default="")
    price: Decimal | None = None
    cost: Decimal | None = None
    tax: str = ""
    core: Decimal | None = None
    quantity: Count = required_field("how many", '"1"', default=Count(Decimal(1)))
    unit: str | None = None
    number: str = ""
    condition: Condition | None = required_field(f"one of {', '.join(map(quotation, Condition))}")


@table
class OperationTable:
    hours: Decimal | None = required_field("the hours it takes", '"0.6"')
    lump_sum: Decimal | None = None
    parts: list[PartRow | None] = attrs.field(factory=list)
    tax: str = ""
    hazard: str = ""


@table
class PriceFile:
    currency: str = required_field("three capital letters as in ISO 4217", '"EUR"', default="")
    tax: TaxTable | None = required_field(
        "the tax rates, or why there are none", '{ rates = { standard = "20" }, default = "standard" }'
    )
    labour: LabourTable = required_field(
        "the price of an hour", '{ per_hour = "62.50" }', factory=LabourTable
    )
    call_out: Decimal | None = None
    travel: TravelTable | None = None
    diagnosis: DiagnosisTable = required_field(
        "the price of a diagnosis", '{ price = "35.00" }', factory=DiagnosisTable
    )
    markup: list[MarkupRow | None] = attrs.field(factory=list)
    supplies: SuppliesTable | None = None
    out_of_hours: OutOfHoursTable | None = None
    operations: dict[str, OperationTable | None] = required_field(
        "what each operation takes", '[operations."brakes.bleed"] with hours = "0.6" in it', factory=dict
    )


def read_price_book(data: Mapping[str, Any], where: str) -> PriceBook:
    """The price book that a TOML file describes.

    ```toml
    currency  = "EUR"
    tax       = { rates = { standard = "20", reduced = "5" }, default = "standard", parts = "reduced" }
    labour    = { per_hour = "62.50" }
    call_out  = "25.00"                                   # optional
    travel    = { per_km = "0.425" }                      # optional; or { flat = "12.00" }
    diagnosis = { price = "35.00", cap = "90.00" }        # cap optional
    [operations."brakes.bleed"]
    hours  = "0.6"
    parts  = [ { name = "Brake fluid", price = "12.80", quantity = "0.8", unit = "l", condition = "new" } ]
    hazard = "…"                                          # optional
    ```
    `[operations."Oil change"]` prices work of the shop's own, which no system declares. An operation may name
    its own `tax` rate for the labour. A part may have, in place of its `price`, a `cost`, and then
    `markup = [{ up_to = "20.00", percent = "60" }, { percent = "30" }]` makes the price of it. It may name
    its `tax` rate, its `number`, and a `core` deposit.
    With `labour = { …, least = "0.5" }` no work is charged with fewer hours; `travel = { zones = [{ up_to =
    "10", price = "12.00" }, …] }` prices the drive by its kilometres; `out_of_hours = { per_hour = "95.00",
    call_out = "60.00" }` are the prices of an estimate that is made for such an hour; `supplies = { percent =
    "5", cap = "10.00" }` is charged on each work's labour, where the law allows it. An operation's `lump_sum
    = "79.00"` is its one price for work and parts, which have none of their own then.

    In `tax`, `labour` (diagnosis follows it), `parts`, `call_out` (travel follows it) and `lump_sum` may each
    name a rate of their own. With `with_parts = "standard"` everything but the parts has that rate as soon as
    the shop supplies a part or supplies in the same job's invoice: for places where work alone is taxed
    otherwise. A shop outside tax writes `tax = { none = "reason" }`, one whose customers owe the tax `tax = {
    reverse_charge = "reason" }`. With `included = true` beside the rates all prices of the file have tax in
    them: what is charged is the sum of the prices, and tax is taken out of it once for each rate.

    Amounts have no more decimals than the currency; only unit prices (hour, kilometre, part) may have more,
    up to six.

    Args:
        data: What the TOML parser gave.
        where: Name of the file, for messages.

    Raises:
        DataFileError: everything that is wrong, at once.
    """
    faults = Faults()
    form = structured(data, PriceFile, faults)
    rates, tax_of = _tax(form.tax, faults) if form.tax is not None else ({}, {})
    places = _currency_places(form, faults)
    _prices(form, places, faults)
    operations = {
        key: _operation(("operations", key), key, table, max(_UNIT_PRICE_PLACES, places), form, faults)
        for key, table in form.operations.items()
        if table is not None
    }
    faults.refuse(data, where)
    travel = form.travel or TravelTable()
    reverse = (form.tax.reverse_charge or "") if form.tax else ""
    return PriceBook(
        where=where,
        currency=form.currency,
        rates=rates,
        tax_of=tax_of,
        with_parts=(form.tax.with_parts or "") if form.tax else "",
        outside_tax=reverse or ((form.tax.none or "") if form.tax else ""),
        reverse_charge=bool(reverse),
        with_tax=bool(form.tax and form.tax.included),
        labour=form.labour.per_hour,
        call_out=form.call_out,
        per_km=travel.per_km,
        travel=travel.flat,
        diagnosis=form.diagnosis.price,
        diagnosis_cap=form.diagnosis.cap,
        operations=operations,
        least_hours=form.labour.least or _ZERO,
        zones=tuple(Zone(up_to=row.up_to, price=row.price) for row in travel.zones or () if row is not None),
        supplies=(
            SuppliesCharge(percent=form.supplies.percent, cap=form.supplies.cap) if form.supplies else None
        ),
        out_of_hours=(
            OutOfHours(labour=form.out_of_hours.per_hour, call_out=form.out_of_hours.call_out)
            if form.out_of_hours
            else None
        ),
    )


#: Key in [tax] that may name a rate of its own → the kinds of line that follow it.
_TAX_KEYS: dict[str, tuple[LineKind, ...]] = {
    "labour": (LineKind.LABOUR, LineKind.DIAGNOSIS),
    "parts": (LineKind.PART, LineKind.SUPPLIES),
    "call_out": (LineKind.CALL_OUT, LineKind.TRAVEL),
    "lump_sum": (LineKind.LUMP_SUM,),
}
#: Keys in [tax] that name a rate beside the usual one.
_NAMING = (*_TAX_KEYS, "with_parts")
_NO_RATES = {
    "none": "a shop outside tax has no rates",
    "reverse_charge": "a shop whose customers owe the tax has no rates",
}
_CURRENCY = re.compile(r"[A-Z]{3}")
_UNIT_PRICE_PLACES = 6
_LONGEST_UNIT = 12


def _currency_places(form: PriceFile, faults: Faults) -> int:
    if not _CURRENCY.fullmatch(form.currency) and not faults.at(("currency",)):
        got = f"{quotation(form.currency)} is no currency"
        faults.add(("currency",), got, "three capital letters as in ISO 4217", '"EUR"')
    return minor_digits(form.currency)


def _prices(form: PriceFile, places: int, faults: Faults) -> None:
    travel, diagnosis = form.travel or TravelTable(), form.diagnosis
    for path, amount in (
        (("call_out",), form.call_out),
        (("travel", "flat"), travel.flat),
        (("diagnosis", "price"), diagnosis.price),
        (("diagnosis", "cap"), diagnosis.cap),
        (("out_of_hours", "call_out"), form.out_of_hours.call_out if form.out_of_hours else None),
    ):
        _fine(path, amount, places, faults)
    for path, amount in (
        (("labour", "per_hour"), form.labour.per_hour),
        (("travel", "per_km"), travel.per_km),
        (("out_of_hours", "per_hour"), form.out_of_hours.per_hour if form.out_of_hours else None),
    ):
        _fine(path, amount, max(_UNIT_PRICE_PLACES, places), faults)
    prices = [
        key
        for key in ("per_km", "flat", "zones")
        if getattr(travel, key) is not None or faults.below(("travel", key))
    ]
    if form.travel is not None and len(prices) != 1:
        got = "has several prices" if prices else "has no price"
        faults.add(("travel",), got, "one of them", 'per_km = "…", flat = "…" or zones = […]')
    _in_steps(("travel", "zones"), travel.zones or [], faults)
    _in_steps(("markup",), form.markup, faults)
    for n, zone in enumerate(travel.zones or []):
        _fine(("travel", "zones", n, "price"), zone.price if zone is not None else None, places, faults)
    _fine(("labour", "least"), form.labour.least, 3, faults)
    if form.supplies is not None:
        _fine(("supplies", "cap"), form.supplies.cap, places, faults)
        if form.supplies.percent > 100:
            faults.add(("supplies", "percent"), f"is {form.supplies.percent}", "at most 100 percent")
    least = diagnosis.price + (form.call_out or _ZERO) + (travel.flat or _ZERO)
    if diagnosis.cap is not None and diagnosis.cap < least:
        got = f"is {diagnosis.cap}, but diagnosis, call-out and travel come to {least} already"
        faults.add(("diagnosis", "cap"), got, "", "a higher cap, or a lower price")


def _in_steps(path: Place, rows: Sequence[ZoneRow | MarkupRow | None], faults: Faults) -> None:
    """Each row reaches farther than the one before, and the last has no end or is an end for good."""
    ends = [row.up_to if row is not None else None for row in rows]
    for n, end in enumerate(ends[:-1]):
        after = ends[n + 1]
        if end is None or (after is not None and after <= end):
            got = "has no end, and another row follows" if end is None else f"{end} is not below the next"
            faults.add((*path, n, "up_to"), got, "rows in rising order, the last one without up_to")


def _tax(tax: TaxTable, faults: Faults) -> tuple[dict[str, Decimal], dict[LineKind, str]]:
    named = {key: name for key in _NAMING if (name := getattr(tax, key)) is not None}
    if tax.none is not None or tax.reverse_charge is not None:
        key = "none" if tax.none is not None else "reverse_charge"
        others = [one for one in ("rates", "default", "included") if getattr(tax, one)] + [*named]
        others += ["reverse_charge"] if key == "none" and tax.reverse_charge is not None else []
        if others:
            write = f"{key} without {', '.join(others)}, or omit {key}"
            faults.add(("tax", key), _NO_RATES[key], f"{key} alone", write)
        elif not getattr(tax, key).strip():
            faults.add(("tax", key), "is empty", "the reason why no tax is shown")
        return {}, dict.fromkeys(LineKind, OUTSIDE_TAX)
    example = 'rates = { standard = "20" } and default = "standard", or none = "why no tax is shown"'
    for key in ("rates", "default"):
        if not getattr(tax, key) and not faults.below(("tax", key)):
            faults.add(("tax", key), "is missing", "the tax rates by name, and the usual one", example)
    first: dict[str, str] = {}
    for name, percent in tax.rates.items():
        path: Place = ("tax", "rates", name)
        if not name.strip() or name.casefold() == OUTSIDE_TAX:
            faults.add(path, "is no name for a rate", "a word", "a word such as standard or reduced")
        if (same := first.setdefault(name.strip().casefold(), name)) != name:
            faults.add(path, f"is the same name as {quotation(same)}", "each name once", "one of them")
        if percent is not None and percent > 100:
            faults.add(path, f"is {percent}", "a rate of at most 100 percent")
        _fine(path, percent, 4, faults)
    for key, name in {"default": tax.default, **named}.items():
        if name not in tax.rates and not faults.below(("tax", key)):
            known = f"one of {', '.join(map(quotation, tax.rates))}" if tax.rates else "a name of tax.rates"
            faults.add(("tax", key), f"{quotation(name)} is not among the rates", known)
    tax_of = {kind: named.get(key, tax.default) for key, kinds in _TAX_KEYS.items() for kind in kinds}
    return {name: percent or _ZERO for name, percent in tax.rates.items()}, tax_of


def _operation(
    path: Place, key: str, table: OperationTable, places: int, form: PriceFile, faults: Faults
) -> PricedOperation:
    if not OPERATION_KEY.fullmatch(key) and not _is_own_name(key):
        example = 'the key whole and in quotes, as in [operations."brakes.bleed"]'
        expected = f"system.name, or own work in words of at most {LONGEST_NAME} characters"
        faults.add(path, "is no operation key", expected, example)
    hours = table.hours or _ZERO
    _fine((*path, "hours"), hours, 3, faults)
    _fine((*path, "lump_sum"), table.lump_sum, minor_digits(form.currency), faults)
    if table.lump_sum is not None and not table.parts and not faults.below((*path, "parts")):
        got = "is one price for work and parts, and there are no parts"
        faults.add((*path, "lump_sum"), got, "parts beside it", "the hours alone, or name the parts")
    _rate((*path, "tax"), table.tax, form, faults)
    if not hours and not table.parts and not faults.below(path):
        faults.add(path, "has neither hours nor parts", "what it takes")
    first: dict[tuple[str, str], int] = {}
    parts = []
    for n, row in enumerate(table.parts):
        if row is not None:
            if table.lump_sum is not None:
                row = _without_price((*path, "parts", n), row, faults)
            parts.append(_part((*path, "parts", n), row, places, form, faults))
            same = first.setdefault((row.name.strip().casefold(), str(row.condition)), n)
            if same != n and row.name and row.condition:
                got = f"{quotation(row.name)}, {row.condition}, stands in parts[{same}] already"
                faults.add((*path, "parts", n), got, "each part once", "one row with the whole quantity")
    return PricedOperation(
        hours=hours, lump_sum=table.lump_sum, tax=table.tax, parts=tuple(parts), hazard=table.hazard
    )


def _without_price(path: Place, row: PartRow, faults: Faults) -> PartRow:
    """A part of work that has one price for work and parts: it has none of its own."""
    for key in ("price", "cost", "tax"):
        if getattr(row, key):
            got = f"is {getattr(row, key)}, and the work has a lump_sum"
            faults.add((*path, key), got, "one price for work and parts", f"the part without {key}")
    return PartRow(
        name=row.name,
        price=_ZERO,
        core=row.core,
        quantity=row.quantity,
        unit=row.unit,
        number=row.number,
        condition=row.condition,
    )


def _is_own_name(key: str) -> bool:
    try:
        return own_work_name(key) == key
    except InputError:
        return False


def _rate(path: Place, name: str, form: PriceFile, faults: Faults) -> None:
    """A tax rate that is named is one of the book's."""
    rates = form.tax.rates if form.tax else {}
    if name and name not in rates:
        known = f"one of {', '.join(map(quotation, rates))}" if rates else "no rate, where no tax is shown"
        faults.add(path, f"{quotation(name)} is not among the rates", known)


def _part(path: Place, row: PartRow, places: int, form: PriceFile, faults: Faults) -> PricedPart:
    if not row.name.strip() and not faults.at((*path, "name")):
        faults.add((*path, "name"), "is empty", "what the part is called")
    price = _price(path, row, form, faults)
    _fine((*path, "price"), row.price, places, faults)
    _fine((*path, "core"), row.core, places, faults)
    _rate((*path, "tax"), row.tax, form, faults)
    _fine((*path, "quantity"), row.quantity, 3, faults)
    if row.quantity == 0:
        cure = "the list without the row if nothing is used"
        faults.add((*path, "quantity"), "is zero", "more than zero", cure)
    elif row.quantity >= 100_000:
        faults.add((*path, "quantity"), f"is {row.quantity}", "fewer than 100000")
    if row.condition == Condition.CUSTOMERS_OWN and price:
        got = f"is {price}, and a part of the customer's own is not sold"
        faults.add((*path, "price"), got, "no price", '"0.00"')
    condition = row.condition or Condition.NEW
    unit = (row.unit or "").strip()
    if row.unit is not None and not 0 < len(unit) <= _LONGEST_UNIT:
        expected = f"what the quantity counts, at most {_LONGEST_UNIT} characters"
        faults.add(
            (*path, "unit"), f"{quotation(row.unit)} is no unit", expected, '"l", or the row without unit'
        )
    return PricedPart(
        name=row.name,
        price=price,
        quantity=row.quantity,
        condition=condition,
        unit=unit,
        number=row.number.strip(),
        tax=row.tax,
        core=row.core,
    )


def _price(path: Place, row: PartRow, form: PriceFile, faults: Faults) -> Decimal:
    """A part's price: as it stands, or its cost with the markup on it."""
    if row.cost is None:
        if row.price is None and not faults.at((*path, "price")) and not faults.at((*path, "cost")):
            faults.add((*path, "price"), "is missing", "its net price, or its cost with a markup", '"12.80"')
        return row.price or _ZERO
    if row.price is not None:
        faults.add((*path, "cost"), "there is a price beside it", "one of the two", "price or cost")
        return row.price
    step = next(
        (one for one in form.markup if one is not None and (one.up_to is None or row.cost <= one.up_to)), None
    )
    if step is None:
        if not faults.below(("markup",)):
            got = f"is {row.cost}, and no markup is for that"
            faults.add((*path, "cost"), got, "a row of markup without up_to", 'markup = [{ percent = "40" }]')
        return row.cost
    return (row.cost * (100 + step.percent) / 100).quantize(
        Decimal(1).scaleb(-minor_digits(form.currency)), ROUND_HALF_UP
    )


def _fine(path: Place, number: Decimal | None, places: int, faults: Faults) -> None:
    """No more decimals than can be charged."""
    if number is not None and -int(number.as_tuple().exponent) > places:
        got = f"{number} has more than {places} decimals"
        faults.add(path, got, f"at most {places}", f"it with {places or 'none'} of them")
