"""A state machine over a job's money: whatever is said in whatever order, nothing is billed beyond what was
approved, totals are those of their lines, the ledger closes, an issued invoice never changes, numbers have no
gap.
"""

from __future__ import annotations

import tempfile
from collections.abc import Mapping, Sequence
from decimal import Decimal
from fractions import Fraction
from itertools import count
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from corekit.billing.credit import CreditAsked
from corekit.desk.changing import Change, change
from corekit.desk.crediting import credit
from corekit.desk.ledger import ledger
from corekit.desk.paying import refund, write_off
from corekit.desk.rows import add_rows
from corekit.desk.shop import Shop
from corekit.errors import CorekitError
from corekit.model.money import Money
from corekit.model.movement import LedgerKind
from corekit.model.records import InvoiceIssued

from .test_changes import shop_in

PRICES = """
currency  = "USD"
tax       = { rates = { standard = "8.875" }, default = "standard" }
labour    = { per_hour = "99.99" }
call_out  = "0.00"
diagnosis = { price = "33.33" }

[operations."battery.charge"]
hours = "0.7"

[operations."battery.clean_contacts"]
hours = "0.3"
parts = [ { name = "Terminal", price = "3.333", quantity = "3", condition = "new" } ]
"""
WORKS = ("battery.charge", "battery.clean_contacts")
AMOUNTS = st.integers(1, 20_000).map(lambda minor: Money(minor, "USD"))
WORK = st.sampled_from(WORKS)
PLACE = st.integers(0, 3)  # of an invoice of several


def half_up(exact: Fraction) -> int:
    return int(exact + Fraction(1, 2)) if exact >= 0 else -int(-exact + Fraction(1, 2))


def tax_of(lines: Sequence[Mapping[str, Any]]) -> int:
    """Tax on all of it at one rate."""
    return half_up(Fraction(sum(line["net"]["minor"] for line in lines)) * Fraction(8875, 100_000))


def tax_with_parts(lines: Sequence[Mapping[str, Any]]) -> int:
    """The same as soon as a part is supplied, and none without."""
    return tax_of(lines) if any(line["kind"] == "part" for line in lines) else 0


class JobMoney(RuleBasedStateMachine):
    """One job, and all that can be said of its money; a refusal is as good an answer as any."""

    prices = PRICES

    def tax_of(self, record: InvoiceIssued) -> int:
        """What tax is due on an invoice or a credit note."""
        return tax_of(record.lines)

    def most_of(self, lines: Sequence[Mapping[str, Any]], on_earlier: int) -> int:
        """What is approved with these lines of an estimate."""
        return sum(line["net"]["minor"] for line in lines) + tax_of(lines)

    def __init__(self) -> None:
        super().__init__()
        self.folder = tempfile.TemporaryDirectory()
        self.shop = shop_in(Path(self.folder.name), prices=self.prices)
        self.job = self.shop.import_visit(Path(self.folder.name) / "visit.toml")
        self.issued: dict[str, InvoiceIssued] = {}
        self.ids = (f"a-request-of-the-machine-{n:04}" for n in count())

    def say(self, **step: object) -> None:
        add_rows(self.shop.context, self.job, {"step": [step]}, request_id=next(self.ids))

    @initialize(declined=st.none() | WORK, looked=st.booleans())
    def approved_at_first(self, declined: str | None, looked: bool) -> None:
        for work in WORKS:
            self.say(requested={"operation": work, "ground": "customer"})
        if looked:
            self.estimate_and_approve("diagnosis", None)
        self.estimate_and_approve("repair", declined)

    @rule(work=WORK)
    def request(self, work: str) -> None:
        self.attempt(lambda: self.say(requested={"operation": work, "ground": "customer"}))

    @rule(stage=st.sampled_from(("diagnosis", "repair")), declined=st.none() | WORK)
    def estimate_and_approve(self, stage: str, declined: str | None) -> None:
        def both() -> None:
            estimate = self.shop.estimate(self.job, stage)
            self.shop.approve(
                estimate, by="customer", how="in person", declined=[declined] if declined else []
            )

        self.attempt(both)

    @rule(work=WORK)
    def repair(self, work: str) -> None:
        self.attempt(lambda: self.say(repaired={"operation": work}))

    @rule(work=WORK, tenths=st.integers(0, 12), more=st.none() | AMOUNTS)
    def take_longer(self, work: str, tenths: int, more: Money | None) -> None:
        said = Change(
            operation=work,
            because="as it was",
            hours=Decimal(tenths) / 10,
            more=more,
            by="customer",
            how="by phone",
        )
        self.attempt(lambda: change(self.shop.context, self.job, said))

    @rule(amount=AMOUNTS)
    def pay(self, amount: Money) -> None:
        self.attempt(lambda: self.shop.pay(self.job, amount, "cash"))

    @rule()
    def settle(self) -> None:
        for one in ledger(self.shop.context).open:
            if one.due.minor > 0:
                self.shop.pay(self.job, one.due, "card")
            else:
                refund(self.shop.context, self.job, -one.due, "cash")
        assert ledger(self.shop.context).open == ()

    @rule(amount=AMOUNTS)
    def give_back(self, amount: Money) -> None:
        self.attempt(lambda: refund(self.shop.context, self.job, amount, "cash"))

    @rule(amount=AMOUNTS, which=PLACE)
    def write_off(self, amount: Money, which: int) -> None:
        number = self.standing(which)
        self.attempt(lambda: write_off(self.shop.context, self.job, amount, "gone", invoice=number))

    @rule(work=WORK)
    def repair_and_issue(self, work: str) -> None:
        self.repair(work)
        self.issue()

    @rule()
    def issue(self) -> None:
        self.attempt(lambda: self.shop.issue(self.job))

    @rule(what=st.sampled_from(("", *WORKS, "diagnosis")), which=PLACE)
    def credit(self, what: str, which: int) -> None:
        number, asked = self.standing(which), CreditAsked(what=what)
        self.attempt(lambda: credit(self.shop.context, self.job, "as asked", asked, invoice=number))

    def standing(self, which: int) -> str:
        """Number of one of the invoices that stand, the last one mostly; empty for the last."""
        issued = self.shop.store.job(self.job).issued
        return issued[which].record.number if which < len(issued) else ""

    @rule()
    def crash_and_open_again(self) -> None:
        folder = self.shop.context.folder
        self.shop.close()
        self.shop = Shop(folder)

    def attempt(self, act: object) -> None:
        before = len(self.shop.store.books())
        try:
            act()  # type: ignore[operator]
        except CorekitError:
            assert len(self.shop.store.books()) == before, "what was refused has left a trace in the books"

    def books(self) -> list[InvoiceIssued]:
        return [InvoiceIssued(**one.body) for one in self.shop.store.books() if one.kind == "invoice"]

    @invariant()
    def the_ledger_closes(self) -> None:
        books = ledger(self.shop.context)
        moved = sum(row.amount.minor for row in books.rows if row.kind is not LedgerKind.ANNOUNCED)
        assert moved == sum(one.due.minor for one in books.open)

    @invariant()
    def an_issued_invoice_never_changes_and_numbers_have_no_gap(self) -> None:
        found = {record.number: record for record in self.books()}
        assert [record.place for record in found.values()] == list(range(1, len(found) + 1))
        for number, record in self.issued.items():
            assert found[number] == record
        self.issued = found

    @invariant()
    def totals_are_those_of_the_lines(self) -> None:
        for record in self.books():
            net = sum(line["net"]["minor"] for line in record.lines)
            assert record.net == net
            assert record.tax == self.tax_of(record)
            rounding = record.total - record.net - record.tax
            assert abs(rounding) <= 2

    @invariant()
    def nothing_is_billed_beyond_what_was_approved(self) -> None:
        job = self.shop.store.job(self.job)
        approved = sum(noted.record.amount for noted in job.approved_more)
        estimates = {noted.record.document_hash: noted.record for noted in job.estimates}
        for noted in job.approvals:
            made = estimates[noted.record.document_hash]
            lines = [line for line in made.lines if line["operation"] not in noted.record.declined]
            approved += self.most_of(lines, made.tax_on_earlier)
        standing = {one.record.number for one in job.issued}
        assert sum(record.total for record in self.books() if record.number in standing) <= approved

    def teardown(self) -> None:
        assert self.shop.verify().faults == ()
        self.shop.close()
        self.folder.cleanup()


class JobMoneyWhereWorkIsTaxedForItsParts(JobMoney):
    """The same in a shop whose work is taxed as soon as a part is supplied with it."""

    prices = PRICES.replace(
        '{ rates = { standard = "8.875" }, default = "standard" }',
        '{ rates = { sales = "8.875", untaxed = "0" }, default = "sales", labour = "untaxed",'
        ' call_out = "untaxed", with_parts = "sales" }',
    )

    def tax_of(self, record: InvoiceIssued) -> int:
        """Of a credit note as of its invoice: what was taxed there for a part is credited with its tax."""
        if record.credits:
            whole = next(one for one in self.books() if one.number == record.credits)
            return tax_of(record.lines) if tax_with_parts(whole.lines) or _has_part(whole) else 0
        return tax_with_parts(record.lines)

    def most_of(self, lines: Sequence[Mapping[str, Any]], on_earlier: int) -> int:
        return sum(line["net"]["minor"] for line in lines) + tax_with_parts(lines) + on_earlier


def _has_part(record: InvoiceIssued) -> bool:
    return any(line["kind"] == "part" for line in record.lines)


SETTINGS = settings(
    max_examples=12,
    stateful_step_count=16,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
JobMoney.TestCase.settings = SETTINGS
JobMoneyWhereWorkIsTaxedForItsParts.TestCase.settings = SETTINGS
TestJobMoney = pytest.mark.filterwarnings("ignore")(JobMoney.TestCase)
TestJobMoneyWhereWorkIsTaxedForItsParts = pytest.mark.filterwarnings("ignore")(
    JobMoneyWhereWorkIsTaxedForItsParts.TestCase
)


def test_a_credit_note_on_all_of_an_invoice_takes_the_place_of_what_was_written_off_of_it() -> None:
    told = JobMoney()
    told.approved_at_first(declined=None, looked=True)
    told.issue()
    told.write_off(amount=Money(1, "USD"), which=0)
    told.the_ledger_closes()
    told.credit(what="", which=0)
    told.the_ledger_closes()
    told.issue()
    told.the_ledger_closes()
    told.teardown()
