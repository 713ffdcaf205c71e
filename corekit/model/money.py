"""Money: whole minor units of one currency. No float touches it."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import ROUND_HALF_UP, Decimal

import attrs

#: Minor digits of the currencies that do not have two (ISO 4217, from memory).
_MINOR_DIGITS = {"JPY": 0, "KRW": 0, "BHD": 3, "KWD": 3, "TND": 3}


def minor_digits(currency: str) -> int:
    return _MINOR_DIGITS.get(currency, 2)


@attrs.frozen(order=False)
class Money:
    """An amount in minor units (cents) of a currency (ISO 4217 code)."""

    minor: int
    currency: str

    @classmethod
    def of(cls, amount: Decimal | str, currency: str) -> Money:
        """Round half up, away from zero, to the currency's minor unit.

        Errors:
            ValueError: the amount is not a finite decimal number.
        """
        number = Decimal(amount)
        if not number.is_finite():
            raise ValueError(f"An amount of money must be a plain number; got {amount!r}.")
        step = Decimal(1).scaleb(-minor_digits(currency))
        return cls(int(number.quantize(step, ROUND_HALF_UP).scaleb(minor_digits(currency))), currency)

    @property
    def amount(self) -> Decimal:
        return Decimal(self.minor).scaleb(-minor_digits(self.currency))

    def __str__(self) -> str:
        return f"{self.amount:.{minor_digits(self.currency)}f}"

    def __add__(self, other: Money) -> Money:
        self._same(other)
        return Money(self.minor + other.minor, self.currency)

    def __sub__(self, other: Money) -> Money:
        self._same(other)
        return Money(self.minor - other.minor, self.currency)

    def __neg__(self) -> Money:
        return Money(-self.minor, self.currency)

    def __lt__(self, other: Money) -> bool:
        self._same(other)
        return self.minor < other.minor

    def __gt__(self, other: Money) -> bool:
        return other < self

    def times(self, factor: Decimal) -> Money:
        return Money.of(self.amount * factor, self.currency)

    def _same(self, other: Money) -> None:
        if self.currency != other.currency:
            raise ValueError(f"{self.currency} and {other.currency} cannot be added without a rate, and corekit keeps none.")


def total(amounts: Iterable[Money], currency: str) -> Money:
    return sum(amounts, Money(0, currency))
