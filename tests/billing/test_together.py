"""Several jobs on one invoice: lines rounded each, tax once on the whole, never dearer than apart.

Expected sums are worked out by hand with EN 16931-1's rules: BR-CO-10 (sum of rounded lines), BR-CO-17 (tax
per rate on the document, rounded half up), BT-114 (rounding amount). The prices are invented.
"""

from __future__ import annotations

from decimal import Decimal
from itertools import permutations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from corekit.billing.approval import ApprovedWork
from corekit.billing.book import PriceBook
from corekit.billing.errors import ConsentError
from corekit.billing.line import Ground, GroundKind, Line, LineKind, priced_line, to_data
from corekit.billing.price_file import read_price_book
from corekit.billing.together import JobShare, together
from corekit.billing.totals import payable, totals
from corekit.model.money import Money
from corekit.model.records import Approved, Estimated

GROUND = Ground(kind=GroundKind.CUSTOMER, text="asked for it")


def book(rate: str = "19") -> PriceBook:
    return read_price_book(
        {
            "currency": "EUR",
            "tax": {"rates": {"standard": rate, "reduced": "7"}, "default": "standard"},
            "labour": {"per_hour": "60.00"},
            "diagnosis": {"price": "1.00"},
            "operations": {},
        },
        "prices.toml",
    )


BOOK = book()


def line(price: str, rate: str = "standard") -> Line:
    return priced_line(
        kind=LineKind.DIAGNOSIS,
        text="Looking",
        ground=GROUND,
        quantity=Decimal(1),
        unit="flat",
        price=Decimal(price),
        currency="EUR",
        tax=rate,
    )


def share(*prices: str, of: PriceBook = BOOK, approved: bool = True) -> JobShare:
    """A job over lines at these prices (`12.00` at the first rate, `12.00 reduced` at the second), all in one
    estimate.
    """
    lines = tuple(line(*price.split()) for price in prices)
    estimate = Estimated(
        name="diagnosis 1",
        stage="diagnosis",
        document_id="d",
        document={},
        document_hash="h",
        total=totals(lines, of).gross.minor,
        currency="EUR",
        lines=[to_data(one) for one in lines],
        versions={},
        heads=[],
    )
    yes = Approved(
        estimate=estimate.name,
        document_hash="h",
        total=estimate.total,
        currency="EUR",
        by="customer",
        how="in person",
    )
    return JobShare(lines=lines, work=ApprovedWork([estimate], [yes] if approved else [], of))


def euros(text: str) -> Money:
    return Money.of(text, "EUR")


def test_tax_is_rounded_once_on_the_whole_and_what_that_adds_is_taken_off_again() -> None:
    # Apart: 0.19 × 50.02 = 9.5038, so 9.50 each and 59.52 each, 119.04. Together: 0.19 × 100.04 = 19.0076, so
    # 19.01 and 119.05.
    whole, rounding = together([share("50.02"), share("50.02")], BOOK)
    assert (whole.net, whole.tax, whole.gross) == (euros("100.04"), euros("19.01"), euros("119.05"))
    assert rounding == Money(-1, "EUR")
    assert payable(whole, None, rounding).due == euros("119.04")  # BR-CO-16


def test_where_together_is_cheaper_it_stays_so() -> None:
    # Apart: 0.19 × 50.03 = 9.5057, so 9.51 each and 119.08. Together: 0.19 × 100.06 = 19.0114, so 19.01 and
    # 119.07.
    whole, rounding = together([share("50.03"), share("50.03")], BOOK)
    assert (whole.gross, rounding) == (euros("119.07"), euros("0"))


def test_each_rate_has_its_own_tax_on_the_whole() -> None:
    # Standard 19 % on 10.02 + 20.02 = 30.04: 5.7076, so 5.71. Reduced 7 % on 3.03: 0.2121, so 0.21. Gross
    # 33.07 + 5.92 = 38.99. Apart: 10.02 + 1.90 + 3.03 + 0.21 = 15.16, and 20.02 + 3.80 = 23.82; together
    # 38.98, so one cent is taken off.
    whole, rounding = together([share("10.02", "3.03 reduced"), share("20.02")], BOOK)
    assert [(row.rate, row.base, row.tax) for row in whole.per_rate] == [
        ("standard", euros("30.04"), euros("5.71")),
        ("reduced", euros("3.03"), euros("0.21")),
    ]
    assert (whole.gross, rounding) == (euros("38.99"), Money(-1, "EUR"))


def test_the_order_of_the_jobs_changes_nothing() -> None:
    shares = [share("50.02"), share("10.02", "3.03 reduced"), share("7.77", "0.01")]
    assert (
        len(
            {
                (whole.gross, whole.tax, rounding)
                for whole, rounding in (together(order, BOOK) for order in permutations(shares))
            }
        )
        == 1
    )


def test_a_job_that_nobody_approved_is_not_carried_by_the_others() -> None:
    with pytest.raises(ConsentError, match="Nothing was approved"):
        together([share("50.02"), share("10.00", approved=False)], BOOK)


def test_a_job_above_its_own_approval_is_not_carried_by_what_others_left_unused() -> None:
    dear = share("10.00")
    dearer = JobShare(lines=(*dear.lines, line("1.00")), work=dear.work)
    unused = share("100.00", "50.00")
    with pytest.raises(ConsentError, match=r"11\.00 EUR before tax, but 10\.00 was approved"):
        together([JobShare(lines=unused.lines[:1], work=unused.work), dearer], BOOK)


CENTS = st.integers(1, 10**7).map(lambda cents: f"{cents / 100:.2f}")
PRICES = st.lists(st.tuples(CENTS, st.sampled_from(["", " reduced"])).map("".join), min_size=1, max_size=4)


@given(jobs=st.lists(PRICES, min_size=2, max_size=6), rate=st.sampled_from(["7.7", "19", "20", "25.5"]))
def test_together_is_never_dearer_than_apart_and_the_rounding_never_more_than_cents(
    jobs: list[list[str]], rate: str
) -> None:
    of = book(rate)
    shares = [share(*prices, of=of) for prices in jobs]
    whole, rounding = together(shares, of)
    apart = sum(one.alone.minor for one in shares)
    assert whole.net.minor == sum(one.net.minor for part in shares for one in part.lines)
    assert (whole.gross + rounding).minor <= apart
    assert rounding.minor <= 0
    # Each rate's tax is off by at most half a cent, on each of the papers and on the whole.
    assert abs(whole.gross.minor - apart) <= 2 * (len(shares) + 1) / 2
    assert apart <= sum(one.work.total.minor for one in shares)
