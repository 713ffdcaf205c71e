"""What a piece of work costs in one job alone, as a step of a visit file says it."""

from __future__ import annotations

from decimal import Decimal, InvalidOperation

from ..fault import Faults, Place, any_of, quotation
from ..model.records import Priced
from .form import PricedPartRow, PricedStep

#: What a part may be before it goes in; `billing.line.Condition` in words, which stands above this module.
CONDITIONS = ("new", "used", "rebuilt", "reconditioned", "customer's own")
_LONGEST_TEXT, _LONGEST_UNIT = 120, 12
_PRICE_PLACES, _COUNT_PLACES = 6, 3
_MOST = Decimal(100_000)
_MOST_PARTS = 50


class PriceRows:
    """Reads hours and parts; a decimal comma is read as a point."""

    def __init__(self, faults: Faults, rates: tuple[str, ...] | None) -> None:
        self.faults, self.rates = faults, rates

    def read(self, path: Place, row: PricedStep, key: str) -> Priced:
        """The record of the step; what is wrong with it is among the faults."""
        hours = self._number((*path, "hours"), row.hours, _COUNT_PLACES) if row.hours is not None else None
        parts = [part for part in row.parts or [] if part is not None]
        if len(parts) > _MOST_PARTS:
            self.faults.add((*path, "parts"), f"has {len(parts)} rows", f"at most {_MOST_PARTS}")
        if not hours and not parts and not self.faults.below(path):
            self.faults.add(path, "has neither hours nor parts", "what the work takes", 'hours = "0.5"')
        rows = [self._part((*path, "parts", n), part) for n, part in enumerate(row.parts or []) if part]
        return Priced(
            operation=key,
            hours=f"{hours:f}" if hours is not None else "",
            tax=self._rate((*path, "tax"), row.tax),
            parts=rows,
        )

    def _part(self, path: Place, row: PricedPartRow) -> dict[str, str]:
        name = " ".join((row.name or "").split())
        if not name or len(name) > _LONGEST_TEXT:
            got = "is missing" if not name else f"has {len(name)} characters"
            self.faults.add(
                (*path, "name"), got, f"what the part is called, at most {_LONGEST_TEXT} characters"
            )
        price = self._number((*path, "price"), row.price, _PRICE_PLACES)
        quantity = self._number((*path, "quantity"), row.quantity or "1", _COUNT_PLACES)
        if quantity == 0:
            self.faults.add((*path, "quantity"), "is zero", "more than zero", "the step without the part")
        condition = row.condition or ""
        if condition not in CONDITIONS:
            got = f"{quotation(condition)} is no condition" if condition else "is missing"
            self.faults.add((*path, "condition"), got, any_of(CONDITIONS), quotation("new"))
        if condition == "customer's own" and price:
            got = f"is {price}, and a part of the customer's own is not sold"
            self.faults.add((*path, "price"), got, "no price", '"0.00"')
        unit = (row.unit or "").strip()
        if len(unit) > _LONGEST_UNIT:
            self.faults.add(
                (*path, "unit"), f"{quotation(unit)} is no unit", f"at most {_LONGEST_UNIT} characters"
            )
        number = " ".join((row.number or "").split())
        if len(number) > _LONGEST_TEXT:
            self.faults.add((*path, "number"), f"has {len(number)} characters", f"at most {_LONGEST_TEXT}")
        texts = {
            "name": name,
            "price": f"{price or 0:f}",
            "quantity": f"{quantity or 0:f}",
            "condition": condition,
            "unit": unit,
            "number": number,
            "tax": self._rate((*path, "tax"), row.tax),
        }
        return {field: text for field, text in texts.items() if text}

    def _number(self, path: Place, text: str | None, places: int) -> Decimal | None:
        if text is None or not text.strip():
            self.faults.add(path, "is missing", "a number", '"12.80"')
            return None
        try:
            number = Decimal(text.strip().replace(",", "."))
        except InvalidOperation:
            number = Decimal(-1)
        if not number.is_finite() or not 0 <= number < _MOST:
            self.faults.add(
                path, f"{quotation(text)} is not a number", f"a number from 0 to below {_MOST}", '"12.80"'
            )
            return None
        if -int(number.as_tuple().exponent) > places:
            self.faults.add(path, f"{quotation(text)} has more than {places} decimals", f"at most {places}")
            return None
        return number

    def _rate(self, path: Place, name: str | None) -> str:
        if name and self.rates is not None and name not in self.rates:
            known = any_of(map(quotation, self.rates)) or "no rate, where no tax is shown"
            self.faults.add(path, f"{quotation(name)} is not among the tax rates", known)
        return name or ""
