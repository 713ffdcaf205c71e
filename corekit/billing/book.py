"""The price book: what an hour, a drive, a diagnosis and each operation cost, and at which tax rate."""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any

import attrs

from ..errors import CorekitError
from ..model.money import minor_digits
from .line import Condition, LineKind

#: Rate name on the lines of a shop that is outside tax.
OUTSIDE_TAX = "none"

#: Key in [tax] that may name a rate of its own → the kinds of line that follow it.
_TAX_KEYS: dict[str, tuple[LineKind, ...]] = {
    "labour": (LineKind.LABOUR, LineKind.DIAGNOSIS),
    "parts": (LineKind.PART,),
    "call_out": (LineKind.CALL_OUT, LineKind.TRAVEL),
}


class PriceError(CorekitError, ValueError):
    """What is wrong with a price book, all of it; each fault begins with its key path."""

    def __init__(self, where: str, faults: Sequence[str]) -> None:
        self.where = where
        self.faults = tuple(faults)
        super().__init__("\n".join(f"{where}: {fault}" for fault in self.faults))


@attrs.frozen(kw_only=True)
class Part:
    """What goes into a vehicle: its net unit price, how many, and in which condition it is."""

    name: str
    price: Decimal
    quantity: Decimal
    condition: Condition


@attrs.frozen(kw_only=True)
class Operation:
    """What a piece of repair work takes: hours and parts. `hazard` is a caution for the one who does it."""

    hours: Decimal
    parts: tuple[Part, ...] = ()
    hazard: str = ""


@attrs.frozen(kw_only=True)
class PriceBook:
    """All prices of a shop, net, as decimal numbers of its currency.

    Attributes:
        where: What it was read from, for messages.
        currency: ISO 4217 code.
        rates: Tax rate name → percent; empty for a shop outside tax.
        tax_of: Kind of line → the name of its rate.
        outside_tax: Why the shop shows no tax; empty when it does.
        labour: Price of an hour.
        call_out: Price of coming at all; None when there is none.
        per_km, travel: Price of a kilometre, or of the drive whatever its length; at most one of them is
            given.
        diagnosis: Flat price of looking for the fault.
        diagnosis_cap: The most that call-out, travel and diagnosis may come to together before tax; None
            without a cap.
        operations: Operation key → what it takes.
    """

    where: str
    currency: str
    rates: Mapping[str, Decimal]
    tax_of: Mapping[LineKind, str]
    outside_tax: str
    labour: Decimal
    call_out: Decimal | None
    per_km: Decimal | None
    travel: Decimal | None
    diagnosis: Decimal
    diagnosis_cap: Decimal | None
    operations: Mapping[str, Operation]


def read_price_book(data: Mapping[str, Any], where: str) -> PriceBook:
    """The price book that a TOML file describes.

    ```toml
    currency  = "EUR"
    tax       = { rates = { standard = "20", reduced = "5" }, default = "standard", parts = "reduced" }   # or { none = "reason" }
    labour    = { per_hour = "62.50" }
    call_out  = "25.00"                                   # optional
    travel    = { per_km = "0.425" }                      # optional; or { flat = "12.00" }
    diagnosis = { price = "35.00", cap = "90.00" }        # cap optional
    [operations."brakes.bleed"]
    hours  = "0.6"
    parts  = [ { name = "Brake fluid, litre", price = "12.80", quantity = 1, condition = "new" } ]
    hazard = "…"                                          # optional
    ```
    In `tax`, `labour` (diagnosis follows it), `parts` and `call_out` (travel follows it) may each name a rate of their own.
    Amounts have no more decimals than the currency; only unit prices (hour, kilometre, part) may have more, up to six.

    Args:
        data: What the TOML parser gave.
        where: Name of the file, for messages.

    Raises:
        PriceError: everything that is wrong, at once.
    """
    return _Reader(where).book(data)


#: A number as we write it. ASCII digits only: `int` and `Decimal` would take any script's.
_PLAIN = re.compile(r"([0-9]+)(?:\.([0-9]+))?")
_OPERATION_KEY = re.compile(r"[a-z0-9_]+(\.[a-z0-9_]+)+")
_CURRENCY = re.compile(r"[A-Z]{3}")
_UNIT_PRICE_PLACES = 6


class _Reader:
    """Collects faults while it reads; where a value is at fault it goes on with a stand-in, which never
    leaves it.
    """

    def __init__(self, where: str) -> None:
        self.where = where
        self.faults: list[str] = []
        self.places = 2

    def book(self, data: Any) -> PriceBook:
        book = self.table(
            data, "", ("currency", "tax", "labour", "diagnosis", "operations"), ("call_out", "travel")
        )
        currency = self.currency(book)
        rates, tax_of, outside_tax = self.tax(book)
        labour = self.table(book.get("labour"), "labour", ("per_hour",)) if "labour" in book else {}
        travel = self.table(book.get("travel"), "travel", (), ("per_km", "flat")) if "travel" in book else {}
        if (
            "travel" in book
            and isinstance(book["travel"], Mapping)
            and len(travel.keys() & {"per_km", "flat"}) != 1
        ):
            self.fault("travel", 'gives one price, per kilometre or flat; write per_km = "…" or flat = "…"')
        diagnosis = (
            self.table(book.get("diagnosis"), "diagnosis", ("price",), ("cap",))
            if "diagnosis" in book
            else {}
        )
        price, cap = self.amount(diagnosis, "price", "diagnosis"), self.amount(diagnosis, "cap", "diagnosis")
        call_out, flat = self.amount(book, "call_out", ""), self.amount(travel, "flat", "travel")
        least = sum((part for part in (price, call_out, flat) if part is not None), Decimal(0))
        if cap is not None and cap < least:
            self.fault(
                "diagnosis.cap",
                f"is {cap}, but diagnosis, call-out and travel come to {least} already; raise the cap or"
                " lower a price",
            )
        per_hour, per_km = (
            self.unit_price(labour, "per_hour", "labour"),
            self.unit_price(travel, "per_km", "travel"),
        )
        operations = self.operations(book)
        if self.faults:
            raise PriceError(self.where, self.faults)
        assert per_hour is not None and price is not None
        return PriceBook(
            where=self.where,
            currency=currency,
            rates=rates,
            tax_of=tax_of,
            outside_tax=outside_tax,
            labour=per_hour,
            call_out=call_out,
            per_km=per_km,
            travel=flat,
            diagnosis=price,
            diagnosis_cap=cap,
            operations=operations,
        )

    def currency(self, book: Mapping[str, Any]) -> str:
        currency = self.text(book, "currency", "")
        if currency and not _CURRENCY.fullmatch(currency):
            self.fault(
                "currency",
                f'must be three capital letters as in ISO 4217; got "{currency}"; write for instance "EUR"',
            )
        self.places = minor_digits(currency)
        return currency

    def tax(self, book: Mapping[str, Any]) -> tuple[dict[str, Decimal], dict[LineKind, str], str]:
        if "tax" not in book:
            return {}, {}, ""
        tax = self.table(book["tax"], "tax", (), ("rates", "default", "none", *_TAX_KEYS))
        if "none" in tax:
            others = [key for key in tax if key in ("rates", "default", *_TAX_KEYS)]
            if others:
                self.fault(
                    "tax.none", f"a shop outside tax has no rates; remove {', '.join(others)}, or remove none"
                )
            return {}, dict.fromkeys(LineKind, OUTSIDE_TAX), self.text(tax, "none", "tax")
        if not isinstance(book["tax"], Mapping):
            return {}, {}, ""
        for key in ("rates", "default"):
            if key not in tax:
                self.fault(
                    f"tax.{key}",
                    'is missing; write rates = { standard = "20" } and default = "standard", or none = "the'
                    ' reason why no tax is shown"',
                )
        rates: dict[str, Decimal] = {}
        names: dict[str, str] = {}
        table = self.mapping(tax.get("rates", {}), "tax.rates")
        if "rates" in tax and isinstance(tax["rates"], Mapping) and not table:
            self.fault("tax.rates", 'names no rate; write for instance { standard = "20" }')
        for name in table:
            path = f"tax.rates.{_key_text(name)}"
            if not name.strip() or name.casefold() == OUTSIDE_TAX:
                self.fault(path, "is no name for a rate; choose a word such as standard or reduced")
            if (first := names.setdefault(name.strip().casefold(), name)) != name:
                self.fault(path, f'is the same name as "{first}"; keep one of them')
            percent = self.decimal(table[name], path, places=4, hint="20")
            if percent is not None and percent > 100:
                self.fault(path, f"a rate is at most 100 percent; got {percent}")
            rates[name] = percent if percent is not None else Decimal(0)
        default = self.rate(tax, "default", rates)
        tax_of = {
            kind: self.rate(tax, key, rates) if key in tax else default
            for key, kinds in _TAX_KEYS.items()
            for kind in kinds[:1]
        }
        for kinds in _TAX_KEYS.values():
            tax_of.update(dict.fromkeys(kinds, tax_of[kinds[0]]))
        return rates, tax_of, ""

    def rate(self, tax: Mapping[str, Any], key: str, rates: Mapping[str, Decimal]) -> str:
        name = self.text(tax, key, "tax")
        if name and name not in rates:
            self.fault(
                f"tax.{key}",
                f'"{name}" is not among the rates; write one of'
                f" {', '.join(rates) or 'those you add to tax.rates'}",
            )
        return name

    def operations(self, book: Mapping[str, Any]) -> dict[str, Operation]:
        table = self.mapping(book.get("operations", {}), "operations")
        read: dict[str, Operation] = {}
        for key in table:
            path = f'operations."{key}"'
            if not _OPERATION_KEY.fullmatch(key):
                self.fault(
                    path,
                    "is no operation key; write the key whole and in quotes, as in"
                    ' [operations."brakes.bleed"]',
                )
                continue
            entry = self.table(table[key], path, ("hours",), ("parts", "hazard"))
            hours = (
                self.decimal(entry["hours"], f"{path}.hours", places=3, hint="0.6")
                if "hours" in entry
                else None
            )
            parts = self.parts(entry.get("parts", []), f"{path}.parts")
            hazard = self.text(entry, "hazard", path)
            if hours is not None and hours == 0 and not entry.get("parts"):
                self.fault(path, "has neither hours nor parts; say what it takes")
            read[key] = Operation(
                hours=hours if hours is not None else Decimal(0), parts=parts, hazard=hazard
            )
        return read

    def parts(self, data: Any, path: str) -> tuple[Part, ...]:
        if not isinstance(data, (list, tuple)):
            self.fault(
                path,
                'must be a list; write [ { name = "…", price = "…", quantity = "1", condition = "new" } ]',
            )
            return ()
        read: list[Part] = []
        seen: dict[tuple[str, str], int] = {}
        for place, item in enumerate(data):
            here = f"{path}[{place}]"
            part = self.table(item, here, ("name", "price", "quantity", "condition"))
            name, condition = self.text(part, "name", here), self.text(part, "condition", here)
            price = self.unit_price(part, "price", here)
            quantity = self.quantity(part["quantity"], f"{here}.quantity") if "quantity" in part else None
            if condition and condition not in tuple(Condition):
                self.fault(
                    f"{here}.condition",
                    f'"{condition}" is not a condition of a part; write one of {", ".join(Condition)}',
                )
                continue
            if condition == Condition.CUSTOMERS_OWN and price:
                self.fault(
                    f"{here}.price", f'a part of the customer\'s own is not sold; got {price}, write "0.00"'
                )
            if name and condition:
                first = seen.setdefault((name.strip().casefold(), condition), place)
                if first != place:
                    self.fault(
                        here,
                        f'"{name}", {condition}, stands in parts[{first}] already; keep one and raise its'
                        " quantity",
                    )
            if name and condition and price is not None and quantity is not None:
                read.append(Part(name=name, price=price, quantity=quantity, condition=Condition(condition)))
        return tuple(read)

    # Values

    def quantity(self, raw: Any, path: str) -> Decimal | None:
        if isinstance(raw, int) and not isinstance(raw, bool):
            raw = str(raw)
        quantity = self.decimal(raw, path, places=3, hint="1", digits=5)
        if quantity is not None and quantity == 0:
            self.fault(path, "must be above zero; remove the row if nothing is used")
        return quantity

    def unit_price(self, table: Mapping[str, Any], key: str, path: str) -> Decimal | None:
        if key not in table:
            return None
        return self.decimal(
            table[key], _path(path, key), places=max(_UNIT_PRICE_PLACES, self.places), hint=self.example
        )

    def amount(self, table: Mapping[str, Any], key: str, path: str) -> Decimal | None:
        """A price that is charged as it stands, so it cannot be finer than the currency."""
        if key not in table:
            return None
        return self.decimal(table[key], _path(path, key), places=self.places, hint=self.example)

    @property
    def example(self) -> str:
        return f"{Decimal(25):.{self.places}f}"

    def decimal(self, raw: Any, path: str, *, places: int, hint: str, digits: int = 8) -> Decimal | None:
        """A number written as text, not negative; None when it is at fault."""
        if isinstance(raw, float):
            written = repr(raw)
            self.fault(
                path,
                "is a binary float, which is not exact; write"
                f' "{written if _PLAIN.fullmatch(written) else hint}" in quotes',
            )
            return None
        if not isinstance(raw, str):
            self.fault(
                path,
                f"must be a decimal number in quotes; got {_shown(raw)}, write"
                f' "{raw if type(raw) is int and raw >= 0 else hint}"',
            )
            return None
        if (found := _PLAIN.fullmatch(raw)) is None:
            likely = raw.strip().rstrip("%").strip().replace(",", ".")
            if likely.startswith("-") and _PLAIN.fullmatch(likely[1:]):
                self.fault(path, f"must not be negative; got {_shown(raw)}")
                return None
            self.fault(
                path,
                f"is not a plain decimal number; got {_shown(raw)}, write"
                f' "{likely if _PLAIN.fullmatch(likely) else hint}"',
            )
            return None
        if len(found[1]) > digits:
            self.fault(path, f"has more than {digits} digits before the point; got {_shown(raw)}")
            return None
        if len(found[2] or "") > places:
            self.fault(
                path,
                f"has more than {places} decimals; got {_shown(raw)}, write it with {places or 'none'} of"
                " them",
            )
            return None
        return Decimal(raw)

    def text(self, table: Mapping[str, Any], key: str, path: str) -> str:
        """Words under a key; "" when the key is not there, or at fault."""
        if key not in table:
            return ""
        raw = table[key]
        if not isinstance(raw, str) or not raw.strip():
            self.fault(_path(path, key), f"must be words; got {_shown(raw)}")
            return ""
        return raw

    def table(
        self, raw: Any, path: str, required: tuple[str, ...], optional: tuple[str, ...] = ()
    ) -> Mapping[str, Any]:
        """A table with these keys and no others; unknown and missing keys are faults."""
        table, known = self.mapping(raw, path), (*required, *optional)
        for key in table:
            if key not in known:
                near = difflib.get_close_matches(key, known, n=1)
                hint = f"did you mean {near[0]}?" if near else f"known are {', '.join(known)}"
                self.fault(_path(path, _key_text(key)), f"is not known here; {hint}")
        if isinstance(raw, Mapping):
            for key in required:
                if key not in table:
                    self.fault(_path(path, key), "is missing")
        return table

    def mapping(self, raw: Any, path: str) -> Mapping[str, Any]:
        if not isinstance(raw, Mapping):
            self.fault(path or "the file", f"must be a table; got {_shown(raw)}")
            return {}
        return {str(key): value for key, value in raw.items()}

    def fault(self, path: str, text: str) -> None:
        """One line each, so that a line break or an escape code in a key or value cannot pass for a message
        of ours.
        """
        self.faults.append(
            "".join(sign if sign.isprintable() else repr(sign)[1:-1] for sign in f"{path}: {text}")
        )


def _path(path: str, key: str) -> str:
    return f"{path}.{key}" if path else key


def _key_text(key: str) -> str:
    return key if re.fullmatch(r"[A-Za-z0-9_-]+", key) else f'"{key}"'


def _shown(raw: Any) -> str:
    text = f'"{raw}"' if isinstance(raw, str) else repr(raw)
    return text if len(text) <= 60 else f"{text[:57]}…"
