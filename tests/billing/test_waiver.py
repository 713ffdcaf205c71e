"""What is not charged costs nothing, says why, and never stands in the way of an invoice.

Amounts are invented, sums done by hand.
"""

from __future__ import annotations

from decimal import Decimal

import attrs
import pytest
from hypothesis import given
from hypothesis import strategies as st

from corekit.billing.approval import ApprovedWork, may_invoice, rounding_to_approved
from corekit.billing.errors import ConsentError
from corekit.billing.line import from_data, to_data
from corekit.billing.totals import totals
from corekit.billing.waiver import charged_lines, waive
from corekit.model.money import Money

from .test_approval import BOOK, DIAGNOSIS, KEYS, LOOK, REPAIR, REPAIRS, estimate, work, yes

NOTE = "goodwill; not charged"


def test_a_waived_line_keeps_its_quantity_and_has_no_price() -> None:
    labour, part, drain = waive(REPAIR, {"battery.replace": NOTE})
    assert (labour.quantity, labour.price, labour.net, labour.waived) == (
        Decimal("0.5"),
        Decimal(0),
        Money(0, "EUR"),
        NOTE,
    )
    assert (part.net, part.waived) == (Money(0, "EUR"), NOTE)
    assert drain == REPAIR[2]
    assert charged_lines((labour, part, drain)) == (drain,)
    assert str(totals((labour, part, drain), BOOK).gross) == "72.00"  # 60.00 × 1.2


def test_coming_and_looking_are_waived_by_their_kind() -> None:
    assert [line.waived for line in waive(LOOK, {"diagnosis": NOTE})] == [NOTE]
    assert waive(LOOK, {"call-out": NOTE}) == LOOK


def test_a_waived_line_is_read_back_as_it_was_written() -> None:
    for line in waive(REPAIR, {"battery.replace": NOTE}):
        assert from_data(to_data(line)) == line


def test_a_charged_line_is_written_as_it_always_was() -> None:
    assert "waived" not in to_data(REPAIR[0])
    assert from_data(to_data(REPAIR[0])) == REPAIR[0]


def test_a_line_with_a_price_is_not_waived() -> None:
    with pytest.raises(ValueError, match="is not charged"):
        attrs.evolve(REPAIR[0], waived=NOTE)


def test_work_waived_after_the_approval_may_be_invoiced_below_what_was_approved() -> None:
    standing = ApprovedWork([DIAGNOSIS, REPAIRS], [yes(DIAGNOSIS), yes(REPAIRS)], BOOK)
    lines = waive((*LOOK, *REPAIR), {"battery.replace": NOTE, "diagnosis": NOTE})
    may_invoice(lines, standing)
    assert rounding_to_approved(lines, standing) == Money(0, "EUR")


def test_work_that_was_approved_at_nothing_is_not_charged_later() -> None:
    free = estimate("repair 1", waive(REPAIR, {"battery.replace": NOTE, "battery.trace_draw": NOTE}))
    assert free.total == 0
    standing = ApprovedWork([free], [yes(free)], BOOK)
    may_invoice(standing.lines, standing)
    with pytest.raises(
        ConsentError, match=r"battery\.replace: comes to 150\.00 EUR before tax, but 0\.00 was approved"
    ):
        may_invoice(REPAIR[:2], standing)


@given(st.sets(st.sampled_from([*KEYS, "diagnosis"])))
def test_waiving_never_makes_an_invoice_dearer_and_never_bars_it(waived: set[str]) -> None:
    everything = (*LOOK, *work(*KEYS))
    made = estimate("repair 1", everything)
    standing = ApprovedWork([made], [yes(made)], BOOK)
    lines = waive(everything, dict.fromkeys(waived, NOTE))
    may_invoice(lines, standing)
    left_to_pay = totals(lines, BOOK).gross
    assert left_to_pay <= totals(everything, BOOK).gross
    assert (left_to_pay.minor == 0) == (waived == {*KEYS, "diagnosis"})


def test_a_later_approval_of_another_price_of_looking_takes_the_place_of_the_first_one() -> None:
    cheaper = waive(LOOK, {"diagnosis": NOTE})
    second = estimate("diagnosis 2", cheaper)
    standing = ApprovedWork([DIAGNOSIS, second], [yes(DIAGNOSIS), yes(second)], BOOK)
    assert standing.lines == cheaper
    assert standing.total == Money(0, "EUR")
    with pytest.raises(ConsentError, match="diagnosis: comes to"):
        may_invoice(LOOK, standing)
