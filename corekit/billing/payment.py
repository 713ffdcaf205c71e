"""Taking money: what was paid so far, and a receipt as a value."""

from __future__ import annotations

from collections.abc import Iterable

import attrs

from ..errors import CorekitError
from ..model.money import Money, minor_digits, total
from ..model.records import Paid, PaymentTaken
from .totals import BillTotals, Payable, payable


class PaymentError(CorekitError, ValueError):
    """Why this money cannot be taken, and what to do."""


@attrs.frozen(kw_only=True)
class AmountReceived:
    """Money received: how much, how, what had been paid before, and what is left to pay (0: settled);
    `rounded` by how much more is settled, because cash has no smaller coins.
    """

    amount: Money
    how: str
    paid_before: Money
    due: Money
    rounded: Money | None = None

    @property
    def is_settled(self) -> bool:
        return self.due.minor == 0


def paid_so_far(payments: Iterable[Paid | PaymentTaken], currency: str) -> Money:
    """The sum of payments (BT-113). Give those of one journal: job and books tell of the same money.

    Raises:
        PaymentError: one of them is not in this currency.
    """
    payments = tuple(payments)
    for payment in payments:
        if payment.currency != currency:
            raise PaymentError(
                f"A payment of {Money(payment.amount, payment.currency)} {payment.currency} cannot be counted"
                f" towards a sum in {currency}."
            )
    return total((Money(payment.amount, payment.currency) for payment in payments), currency)


def payable_after(
    of: BillTotals, payments: Iterable[Paid | PaymentTaken], rounding: Money | None = None
) -> Payable:
    """What is due after these payments."""
    return payable(of, paid_so_far(payments, of.gross.currency), rounding)


def cash_amount(due: Money, step: Money | None) -> Money:
    """What is paid in cash for an amount where the smallest coin is `step`: the nearest multiple of it,
    halves away from zero (common practice; where a law says otherwise, it holds).

    >>> str(cash_amount(Money(1003, "CHF"), Money(5, "CHF"))), str(cash_amount(Money(1002, "CHF"), None))
    ('10.05', '10.02')
    """
    if step is None:
        return due
    units = Money.ratio(due.minor, step.minor * 10 ** minor_digits(due.currency), due.currency).minor
    return Money(units * step.minor, due.currency)


def give_back(amount: Money, how: str, most: Money) -> None:
    """Return when so much may be given back.

    Args:
        most: What was paid and is not owed.

    Raises:
        PaymentError: not above zero, another currency, more than that, or nobody said how.
    """
    if not how.strip():
        raise PaymentError('What is given back says how; write for instance how = "cash".')
    if amount.currency != most.currency:
        raise PaymentError(f"What was paid is in {most.currency}; {amount.currency} cannot be given back.")
    if amount.minor <= 0:
        raise PaymentError(f"What is given back is above zero; got {amount} {amount.currency}.")
    if amount > most:
        raise PaymentError(
            f"Only {max(most, Money(0, most.currency))} {most.currency} was paid and is not owed, so {amount}"
            " cannot be given back. To give back more, credit the invoice first: `corekit credit`."
        )


def receive(amount: Money, how: str, against: Payable) -> AmountReceived:
    """Take money against what is due; the receipt says what is left.

    Raises:
        PaymentError: not above zero, another currency, more than is due, or nobody said how.
    """
    due = against.due
    if not how.strip():
        raise PaymentError('A payment says how it was made; write for instance how = "cash".')
    if amount.currency != due.currency:
        raise PaymentError(
            f"{due} {due.currency} is due; a payment in {amount.currency} cannot be counted. Take it in"
            f" {due.currency}."
        )
    if amount.minor <= 0:
        raise PaymentError(
            f"A payment is above zero; got {amount} {amount.currency}. Money given back is no payment:"
            " `corekit refund`."
        )
    if amount > due:
        if due.minor <= 0:
            raise PaymentError(f"Nothing is due any more; do not take {amount} {amount.currency}.")
        raise PaymentError(
            f"Only {due} {due.currency} is due, and {amount} was given; give back {amount - due} and record"
            f" {due}."
        )
    return AmountReceived(amount=amount, how=how, paid_before=against.paid, due=due - amount)
