"""A receipt in print: every letter in the papers' face, one page, and sums that a reader can follow down to
what is due.
"""

from __future__ import annotations

import io
from decimal import Decimal

import pypdf
import pytest
from hypothesis import given
from hypothesis import strategies as st

from corekit.billing.payment import AmountReceived
from corekit.model.document import Document, DocumentKind, Totals, from_data, to_data
from corekit.model.job import Job
from corekit.model.money import Money
from corekit.report.pdf import check_glyphs, render_pdf
from corekit.report.personal_text import mask
from corekit.report.receipt import PaidFor, receipt
from corekit.report.sheet import Issuer, Sheet
from corekit.report.terminal import render_text

JOB = Job(id="j", entries=(), standing=(), disputes=())
SHEET = Sheet(
    document_id="d",
    issuer=Issuer(name="Test Repairs", address=("2 Invented Lane",)),
    issued="2026-03-05",
    currency="EUR",
    operations={},
)


def euros(minor: int) -> Money:
    return Money(minor, "EUR")


def receipt_of(
    total: int, before: list[int], amount: int, number: str = "2026-A0001", vehicles: int = 1
) -> Document:
    paid = sum(before)
    payment = AmountReceived(
        amount=euros(amount), how="cash", paid_before=euros(paid), due=euros(total - paid - amount)
    )
    return receipt(
        JOB,
        SHEET,
        payment,
        day="2026-03-04",
        paid_for=PaidFor(total=euros(total), number=number, vehicles=vehicles),
        before=[("card", euros(amount_before)) for amount_before in before],
        record_mark="AAAA-BBBB-CCCC-DDDD",
    )


@pytest.mark.parametrize("number", ["", "2026-A0001"])
@pytest.mark.parametrize("vehicles", [1, 3])
@pytest.mark.parametrize("amount", [100, 500])
def test_every_letter_is_in_the_face_and_it_fits_one_page(number: str, vehicles: int, amount: int) -> None:
    document = receipt_of(1000, [500], amount, number, vehicles)
    check_glyphs(document)
    assert len(pypdf.PdfReader(io.BytesIO(render_pdf(document, mask, None))).pages) == 1
    assert max(map(len, render_text(document, mask, None, width=60).splitlines())) <= 60


def test_what_is_received_stands_where_an_invoice_has_its_total() -> None:
    document = receipt_of(1000, [500], 100)
    assert document.kind is DocumentKind.RECEIPT
    text = render_text(document, mask, None)
    assert "Received EUR 1.00" in text
    assert "Total EUR" not in text
    assert from_data(to_data(document)) == document


@given(cuts=st.lists(st.integers(1, 10**8), min_size=1, max_size=8), left=st.integers(0, 10**8))
def test_the_rows_add_up_from_the_total_to_what_is_due(cuts: list[int], left: int) -> None:
    *before, amount = cuts
    document = receipt_of(sum(cuts) + left, before, amount)
    (rows,) = [block.rows for block in document.blocks if isinstance(block, Totals)]
    *parts, (_, due, strong) = rows
    assert sum(Decimal(value) for _, value, _ in parts) == Decimal(due) == Decimal(left).scaleb(-2)
    assert strong
