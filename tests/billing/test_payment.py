"""Money is taken up to what is due and no further."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from corekit.billing.payment import PaymentError, paid_so_far, payable_after, receive
from corekit.billing.totals import BillTotals, Payable, payable
from corekit.model.money import Money
from corekit.model.records import Paid, PaymentTaken


def document(gross: int) -> BillTotals:
    money, none = Money(gross, "EUR"), Money(0, "EUR")
    return BillTotals(
        sum_of_lines=money,
        allowances=none,
        charges=none,
        net=money,
        per_rate=(),
        tax=none,
        gross=money,
        outside_tax="small business",
    )


def due(gross: int, paid: int = 0) -> Payable:
    return payable(document(gross), Money(paid, "EUR"))


def test_a_receipt_says_what_was_paid_before_and_what_is_left() -> None:
    # The published example 2 of EN 16931 artefacts v1.3.16: 1801.78 gross, 1000.00 prepaid, 801.78 due.
    receipt = receive(Money.of("801.78", "EUR"), "cash", due(180178, 100000))
    assert (str(receipt.paid_before), str(receipt.due), receipt.is_settled) == ("1000.00", "0.00", True)
    part = receive(Money.of("800", "EUR"), "cash", due(180178, 100000))
    assert (str(part.due), part.is_settled) == ("1.78", False)


def test_more_than_is_due_is_refused_with_the_change_to_give() -> None:
    with pytest.raises(
        PaymentError,
        match=r"Only 12\.00 EUR is due, and 20\.00 was given; give back 8\.00 and record 12\.00",
    ):
        receive(Money(2000, "EUR"), "cash", due(1200))


@pytest.mark.parametrize("gross", [0, -500])
def test_nothing_is_taken_when_nothing_is_due(gross: int) -> None:
    with pytest.raises(PaymentError, match="Nothing is due"):
        receive(Money(1, "EUR"), "cash", due(gross))


@pytest.mark.parametrize("minor", [0, -1])
def test_a_payment_is_above_zero(minor: int) -> None:
    with pytest.raises(PaymentError, match="above zero"):
        receive(Money(minor, "EUR"), "cash", due(1200))


def test_another_currency_is_refused() -> None:
    with pytest.raises(PaymentError, match=r"Take it in EUR"):
        receive(Money(1200, "USD"), "cash", due(1200))
    with pytest.raises(PaymentError, match="cannot be counted towards a sum in EUR"):
        paid_so_far([Paid(amount=1, currency="USD", how="cash")], "EUR")


def test_a_payment_says_how() -> None:
    with pytest.raises(PaymentError, match="how it was made"):
        receive(Money(1, "EUR"), " ", due(1200))


def test_the_rounding_amount_counts_towards_what_is_due() -> None:
    # BR-CO-16: due = gross - paid + rounding.
    left = payable_after(
        document(1202), [Paid(amount=500, currency="EUR", how="cash")], rounding=Money(-2, "EUR")
    )
    assert str(left.due) == "7.00"
    assert receive(Money(700, "EUR"), "cash", left).is_settled


@given(gross=st.integers(1, 10**9), cuts=st.lists(st.integers(1, 10**9), max_size=6))
def test_payments_in_any_portions_settle_the_sum_and_never_pass_it(gross: int, cuts: list[int]) -> None:
    taken: list[PaymentTaken] = []
    for cut in [*cuts, gross]:
        left = payable_after(document(gross), taken)
        assert left.due.minor == gross - sum(payment.amount for payment in taken)
        if 0 < cut <= left.due.minor:
            receipt = receive(Money(cut, "EUR"), "cash", left)
            taken.append(PaymentTaken(amount=cut, currency="EUR", how="cash", job_name="job"))
            assert receipt.due == payable_after(document(gross), taken).due
        else:
            with pytest.raises(PaymentError):
                receive(Money(cut, "EUR"), "cash", left)
    assert paid_so_far(taken, "EUR").minor <= gross
