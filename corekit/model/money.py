"""Money: whole minor units of one currency. No float touches it."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal, InvalidOperation

import attrs

from ..errors import InputError

#: Minor digits of the currencies that do not have two (ISO 4217, from memory).
_MINOR_DIGITS = {"JPY": 0, "KRW": 0, "BHD": 3, "KWD": 3, "TND": 3}


def minor_digits(currency: str) -> int:
    return _MINOR_DIGITS.get(currency, 2)


@attrs.frozen(order=False)
class Money:
    """An amount in minor units (cents) of a currency (ISO 4217 code).

    Raises:
        ValueError: `minor` is not a whole number.
    """

    minor: int
    currency: str

    def __attrs_post_init__(self) -> None:
        if type(self.minor) is not int:
            raise InputError(
                f"Money is counted in whole minor units; got {self.minor!r}. Use Money.of for an amount such"
                " as '12.50'."
            )

    @classmethod
    def of(cls, amount: Decimal | str, currency: str) -> Money:
        """Round half up, away from zero, to the currency's minor unit.

        Raises:
            ValueError: the amount is not a finite decimal number, or it is a float.
        """
        return cls.ratio(*_exact(amount).as_integer_ratio(), currency)

    @classmethod
    def ratio(cls, numerator: int, denominator: int, currency: str) -> Money:
        """The amount numerator / denominator, rounded half up on its magnitude to the currency's minor unit.

        In whole numbers, because Decimal works with 28 digits: a longer product would be rounded twice.
        """
        magnitude, below = abs(numerator) * 10 ** minor_digits(currency), abs(denominator)
        minor = (2 * magnitude + below) // (2 * below)
        return cls(-minor if (numerator < 0) != (denominator < 0) else minor, currency)

    @property
    def amount(self) -> Decimal:
        return Decimal(
            (
                int(self.minor < 0),
                tuple(int(digit) for digit in str(abs(self.minor))),
                -minor_digits(self.currency),
            )
        )

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

    def __le__(self, other: Money) -> bool:
        return not other < self

    def __ge__(self, other: Money) -> bool:
        return not self < other

    def times(self, factor: Decimal) -> Money:
        """Rounded half up, like `of`.

        Raises:
            ValueError: the factor is not a finite decimal number, or it is a float.
        """
        above, below = _exact(factor).as_integer_ratio()
        return Money.ratio(self.minor * above, below * 10 ** minor_digits(self.currency), self.currency)

    def _same(self, other: Money) -> None:
        if self.currency != other.currency:
            raise InputError(
                f"{self.currency} and {other.currency} cannot be added without a rate, and corekit keeps"
                " none."
            )


def total(amounts: Iterable[Money], currency: str) -> Money:
    return sum(amounts, Money(0, currency))


def _exact(number: Decimal | str | int) -> Decimal:
    if isinstance(number, float):
        raise InputError(f"No float touches money; write {str(number)!r} as text, not {number!r}.")
    try:
        exact = Decimal(number)
    except (InvalidOperation, TypeError) as error:
        raise InputError(f"An amount of money must be a plain number; got {number!r}.") from error
    # An exponent such as 1E+999999 would be spelled out in whole numbers.
    if not exact.is_finite() or exact.adjusted() > 40 or int(exact.as_tuple().exponent) < -40:
        raise InputError(f"An amount of money must be a plain number; got {number!r}.")
    return exact
