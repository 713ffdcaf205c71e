"""An invoice keeps within what was approved, to the cent, or is refused with one clear text.

The rule (nothing above the approved sum, nothing that was not approved) is our own choice of the strictest;
amounts are invented.
"""

from __future__ import annotations

from decimal import Decimal

import attrs
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from corekit.billing.approval import ApprovedWork, may_invoice, rounding_to_approved
from corekit.billing.book import PriceBook
from corekit.billing.errors import ConsentError
from corekit.billing.estimate import WorkItem, diagnosis_lines, repair_lines
from corekit.billing.line import Ground, GroundKind, Line, priced_line, to_data
from corekit.billing.price_file import read_price_book
from corekit.billing.totals import payable, totals
from corekit.model.money import Money
from corekit.model.records import Approved, Estimated


def prices(rate: str = "20", diagnosis: str = "50.00") -> PriceBook:
    return read_price_book(
        {
            "currency": "EUR",
            "tax": {"rates": {"standard": rate}, "default": "standard"},
            "labour": {"per_hour": "60.00"},
            "diagnosis": {"price": diagnosis},
            "operations": {
                "battery.replace": {
                    "hours": "0.5",
                    "parts": [{"name": "Battery", "price": "120.00", "quantity": 1, "condition": "new"}],
                },
                "battery.trace_draw": {"hours": "1.0"},
                "battery.clean": {"hours": "0.5"},
            },
        },
        "prices.toml",
    )


BOOK = prices()
GROUND = Ground(kind=GroundKind.CUSTOMER, text="asked for it")


def work(*keys: str) -> tuple[Line, ...]:
    return repair_lines(BOOK, [WorkItem(operation=key, title=key, ground=GROUND) for key in keys])


def estimate(name: str, lines: tuple[Line, ...], book: PriceBook = BOOK) -> Estimated:
    return Estimated(
        name=name,
        stage=name.partition(" ")[0],
        document_id="d",
        document={},
        document_hash=f"hash of {name}",
        total=totals(lines, book).gross.minor,
        currency="EUR",
        lines=[to_data(line) for line in lines],
        versions={},
        heads=[],
    )


def yes(to: Estimated, *declined: str) -> Approved:
    return Approved(
        estimate=to.name,
        document_hash=to.document_hash,
        total=to.total,
        currency=to.currency,
        by="customer",
        how="in person",
        declined=list(declined),
    )


LOOK, REPAIR = diagnosis_lines(BOOK), work("battery.replace", "battery.trace_draw")
DIAGNOSIS, REPAIRS = estimate("diagnosis 1", LOOK), estimate("repair 1", REPAIR)


def refusal(lines: tuple[Line, ...], standing: ApprovedWork) -> str:
    with pytest.raises(ConsentError) as caught:
        may_invoice(lines, standing)
    return str(caught.value)


def test_what_was_approved_may_be_invoiced_and_so_may_less() -> None:
    standing = ApprovedWork([DIAGNOSIS, REPAIRS], [yes(DIAGNOSIS), yes(REPAIRS)], BOOK)
    assert standing.lines == (*LOOK, *REPAIR)
    assert str(standing.total) == "312.00"  # 1.2 × (50 + 30 + 120 + 60)
    may_invoice((*LOOK, *REPAIR), standing)
    may_invoice(LOOK, standing)
    may_invoice(REPAIR[:2], standing)


def test_nothing_is_invoiced_without_an_approval() -> None:
    assert refusal(LOOK, ApprovedWork([DIAGNOSIS], [], BOOK)).startswith("Nothing was approved")


def test_a_line_that_is_on_no_estimate_is_refused() -> None:
    standing = ApprovedWork([DIAGNOSIS, REPAIRS], [yes(DIAGNOSIS)], BOOK)
    assert refusal((*LOOK, *work("battery.clean")), standing).startswith("battery.clean: is on no estimate.")


def test_a_line_that_was_estimated_but_not_approved_is_refused() -> None:
    standing = ApprovedWork([DIAGNOSIS, REPAIRS], [yes(DIAGNOSIS)], BOOK)
    assert refusal((*LOOK, *REPAIR), standing).startswith(
        'battery.replace: is on the estimate "repair 1", but nobody approved it.'
    )


def test_a_repair_approval_does_not_cover_a_diagnosis() -> None:
    assert refusal((*LOOK, *REPAIR), ApprovedWork([DIAGNOSIS, REPAIRS], [yes(REPAIRS)], BOOK)).startswith(
        'diagnosis: is on the estimate "diagnosis 1", but nobody'
    )


def test_a_declined_operation_is_refused_and_takes_its_sum_along() -> None:
    standing = ApprovedWork([REPAIRS], [yes(REPAIRS, "battery.trace_draw")], BOOK)
    assert standing.lines == REPAIR[:2]
    assert str(standing.total) == "180.00"  # 1.2 × 150
    may_invoice(REPAIR[:2], standing)
    assert refusal(REPAIR, standing).startswith('battery.trace_draw: was declined in "repair 1".')


def test_a_declined_operation_leaves_no_room_for_a_dearer_other_one() -> None:
    dearer = attrs.evolve(REPAIR[0], quantity=Decimal("0.6"), net=Money(3600, "EUR"))
    text = refusal((dearer, REPAIR[1]), ApprovedWork([REPAIRS], [yes(REPAIRS)], BOOK))
    assert text.startswith("battery.replace: comes to 156.00 EUR before tax, but 150.00 was approved.")


def test_one_cent_more_is_refused() -> None:
    extra = priced_line(
        kind=REPAIR[0].kind,
        text="x",
        operation="battery.replace",
        ground=GROUND,
        quantity=Decimal(1),
        unit="h",
        price=Decimal("0.01"),
        currency="EUR",
        tax="standard",
    )
    assert "150.01 EUR before tax, but 150.00 was approved" in refusal(
        (*REPAIR, extra), ApprovedWork([REPAIRS], [yes(REPAIRS)], BOOK)
    )


def test_an_approved_line_is_not_invoiced_twice() -> None:
    assert "diagnosis: comes to 100.00" in refusal(
        (*LOOK, *LOOK), ApprovedWork([DIAGNOSIS], [yes(DIAGNOSIS)], BOOK)
    )


def test_a_tax_rate_that_rose_since_needs_a_new_approval() -> None:
    text = refusal(REPAIR, ApprovedWork([REPAIRS], [yes(REPAIRS)], prices("21")))
    assert (
        text
        == "The invoice comes to 254.10 EUR, but 252.00 was approved. Make a new estimate and record a new"
        " approval."
    )
    text = refusal(REPAIR[:2], ApprovedWork([REPAIRS], [yes(REPAIRS, "battery.trace_draw")], prices("21")))
    assert "so what was not declined has no approved one" in text


def test_a_tax_rate_that_fell_since_does_not_stand_in_the_way() -> None:
    may_invoice(REPAIR, ApprovedWork([REPAIRS], [yes(REPAIRS)], prices("19")))


def test_an_approval_of_another_document_is_refused() -> None:
    text = refusal(
        REPAIR, ApprovedWork([REPAIRS], [attrs.evolve(yes(REPAIRS), document_hash="0" * 64)], BOOK)
    )
    assert text.startswith('The approval of "repair 1" is about another document than the estimate')


@pytest.mark.parametrize(("total", "currency"), [(25199, "EUR"), (25201, "EUR"), (25200, "USD")])
def test_an_approval_to_another_total_is_refused(total: int, currency: str) -> None:
    text = refusal(
        REPAIR, ApprovedWork([REPAIRS], [attrs.evolve(yes(REPAIRS), total=total, currency=currency)], BOOK)
    )
    assert "but the estimate says 252.00 EUR. Record the approval with the total" in text


def test_an_approval_to_no_estimate_at_all_is_refused() -> None:
    assert (
        refusal(REPAIR, ApprovedWork([DIAGNOSIS], [yes(REPAIRS)], BOOK))
        == 'An approval names the estimate "repair 1", which was never made; made are "diagnosis 1".'
    )


def test_declining_what_is_not_on_the_estimate_is_refused() -> None:
    assert refusal(REPAIR, ApprovedWork([REPAIRS], [yes(REPAIRS, "battery.clean")], BOOK)).startswith(
        'The approval of "repair 1" declines what is not on it.'
    )


def test_an_estimate_whose_lines_cannot_be_read_is_named() -> None:
    spoilt = attrs.evolve(REPAIRS, lines=[REPAIRS.lines[0] | {"price": "60.01"}])
    assert refusal(REPAIR, ApprovedWork([spoilt], [yes(spoilt)], BOOK)).startswith(
        'The lines of the estimate "repair 1" cannot be read:'
    )


def test_the_latest_word_on_an_estimate_counts_and_counts_once() -> None:
    approvals = [yes(REPAIRS, "battery.trace_draw"), yes(REPAIRS), yes(REPAIRS)]
    assert ApprovedWork([REPAIRS], approvals, BOOK).lines == REPAIR
    assert ApprovedWork([REPAIRS], approvals[::-1], BOOK).lines == REPAIR[:2]
    same = yes(REPAIRS)
    assert ApprovedWork([REPAIRS], [same, same], BOOK).total == Money(25200, "EUR")
    assert ApprovedWork([DIAGNOSIS], [yes(DIAGNOSIS), yes(DIAGNOSIS)], BOOK).total == Money(6000, "EUR")


def test_an_operation_estimated_again_is_not_owed_twice() -> None:
    again = work("battery.replace", "battery.clean")
    second = estimate("repair 2", again)
    standing = ApprovedWork([REPAIRS, second], [yes(REPAIRS), yes(second)], BOOK)
    assert [line.operation for line in standing.lines] == [
        "battery.trace_draw",
        "battery.replace",
        "battery.replace",
        "battery.clean",
    ]
    assert str(standing.total) == "288.00"  # 1.2 × (60 + 150 + 30)
    assert "battery.replace: comes to 300.00" in refusal((*REPAIR, *again), standing)


def test_an_operation_declined_in_a_later_estimate_is_declined() -> None:
    second = estimate("repair 2", work("battery.replace", "battery.clean"))
    standing = ApprovedWork([REPAIRS, second], [yes(REPAIRS), yes(second, "battery.replace")], BOOK)
    assert [line.operation for line in standing.lines] == ["battery.trace_draw", "battery.clean"]
    assert refusal(REPAIR, standing).startswith('battery.replace: was declined in "repair 2".')


def test_a_cent_of_tax_rounding_between_two_estimates_is_taken_off_openly() -> None:
    # At 20 %: 10.02 → 2.004 → 2.00 and 30.02 → 6.004 → 6.00, but 40.04 → 8.008 → 8.01.
    book = prices(diagnosis="10.02")
    look = diagnosis_lines(book)
    extra = priced_line(
        kind=REPAIR[0].kind,
        text="Find the drain",
        operation="battery.trace_draw",
        ground=GROUND,
        quantity=Decimal(1),
        unit="h",
        price=Decimal("30.02"),
        currency="EUR",
        tax="standard",
    )
    first, second = estimate("diagnosis 1", look, book), estimate("repair 1", (extra,), book)
    standing, lines = ApprovedWork([first, second], [yes(first), yes(second)], book), (*look, extra)
    assert str(standing.total) == "48.04"
    assert (
        refusal(lines, standing)
        == "The invoice comes to 48.05 EUR, but 48.04 was approved. Only rounding of the tax makes the"
        " difference; invoice it with a rounding amount of -0.01."
    )
    less = rounding_to_approved(lines, standing)
    may_invoice(lines, standing, less)
    assert str(payable(totals(lines, book), rounding=less).due) == "48.04"


def test_no_rounding_amount_hides_a_real_difference() -> None:
    standing = ApprovedWork([REPAIRS], [yes(REPAIRS)], prices("21"))
    assert rounding_to_approved(REPAIR, standing) == Money(0, "EUR")
    standing = ApprovedWork([REPAIRS], [yes(REPAIRS, "battery.trace_draw")], BOOK)
    assert rounding_to_approved(REPAIR, standing) == Money(0, "EUR")


def test_a_rounding_amount_upwards_counts_towards_the_approved_sum() -> None:
    with pytest.raises(ConsentError, match=r"comes to 252\.01 EUR, but 252\.00 was approved"):
        may_invoice(REPAIR, ApprovedWork([REPAIRS], [yes(REPAIRS)], BOOK), Money(1, "EUR"))


KEYS = ["battery.replace", "battery.trace_draw", "battery.clean"]


@given(
    estimated=st.lists(st.sets(st.sampled_from(KEYS), min_size=1), max_size=3),
    said=st.lists(st.tuples(st.integers(0, 2), st.sets(st.sampled_from(KEYS))), min_size=1, max_size=4),
    billed=st.lists(st.sampled_from(KEYS), unique=True, min_size=1),
)
def test_whatever_was_said_no_invoice_passes_with_work_that_the_last_word_does_not_cover(
    estimated: list[set[str]], said: list[tuple[int, set[str]]], billed: list[str]
) -> None:
    estimates = [estimate(f"repair {place}", work(*sorted(keys))) for place, keys in enumerate(estimated)]
    assume(all(place < len(estimates) for place, _ in said))
    approvals = [yes(estimates[place], *sorted(no & estimated[place])) for place, no in said]
    last_word: dict[str, bool] = {}
    # A later word on the same estimate takes the place of the earlier one.
    for n, (place, no) in enumerate(said):
        if not any(later == place for later, _ in said[n + 1 :]):
            last_word |= {key: key not in no for key in estimated[place]}
    standing, lines = ApprovedWork(estimates, approvals, BOOK), work(*billed)
    if all(last_word.get(key, False) for key in billed):
        may_invoice(lines, standing, rounding_to_approved(lines, standing))
        assert totals(lines, BOOK).gross + rounding_to_approved(lines, standing) <= standing.total
    else:
        with pytest.raises(ConsentError):
            may_invoice(lines, standing)
