"""Jurisdictions: how far an invoice may go, what falls back to nothing, and what a file must say.

The amounts are worked by hand from the rules as their sources state them.
"""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import attrs
import pytest
from hypothesis import given
from hypothesis import strategies as st

from corekit.fault import DataFileError
from corekit.jurisdictions import CODE, general, jurisdictions, read_jurisdiction
from corekit.model.jurisdiction import NOTHING_ABOVE, ExceedKind, ExceedRule, RequiredItem, jurisdiction_for
from corekit.model.money import Money
from corekit.model.source import Basis, Status

ESTIMATES = ("80.00", "100.00", "101.00", "250.00", "500.00", "600.00")


def rule_of(code: str) -> ExceedRule:
    rule = jurisdictions()[code].exceed
    assert rule is not None
    return rule


@pytest.mark.parametrize(
    ("code", "highest"),
    [
        pytest.param("US-NY", ESTIMATES, id="core-law-01-US-NY"),
        pytest.param("US-CA", ESTIMATES, id="core-law-01-US-CA"),
        pytest.param(
            "US-FL", ("90.00", "110.00", "111.10", "275.00", "550.00", "650.00"), id="core-law-01-US-FL"
        ),
        pytest.param(
            "US-MI", ("88.00", "110.00", "111.00", "260.00", "510.00", "610.00"), id="core-law-01-US-MI"
        ),
        pytest.param(
            "US-MA", ("90.00", "110.00", "111.00", "260.00", "510.00", "610.00"), id="core-law-01-US-MA"
        ),
        pytest.param(
            "US-WA", ("88.00", "110.00", "111.10", "275.00", "550.00", "660.00"), id="core-law-01-US-WA"
        ),
        pytest.param(
            "CA-ON", ("88.00", "110.00", "111.10", "275.00", "550.00", "660.00"), id="core-law-01-CA-ON"
        ),
    ],
)
def test_the_highest_amount_without_a_new_approval(code: str, highest: tuple[str, ...]) -> None:
    currency = "CAD" if code.startswith("CA") else "USD"
    found = tuple(str(rule_of(code).highest(Money.of(amount, currency))) for amount in ESTIMATES)
    assert found == highest


def test_one_rule_alone_compares_before_tax() -> None:
    assert [
        code for code in jurisdictions() if jurisdictions()[code].exceed and not rule_of(code).with_tax
    ] == ["US-WA"]


@pytest.mark.parametrize(
    ("gross", "code", "currency", "allowed"),
    [
        pytest.param("250.00", "GB", "GBP", True, id="core-law-02-GB-at"),
        pytest.param("250.01", "GB", "GBP", False, id="core-law-02-GB-above"),
        pytest.param("250.00", "DE", "EUR", True, id="core-law-02-DE-at"),
        pytest.param("250.01", "DE", "EUR", False, id="core-law-02-DE-above"),
        pytest.param("250.00", "DE", "USD", False, id="another-currency"),
    ],
)
def test_a_simplified_invoice_leaves_the_customer_out(
    gross: str, code: str, currency: str, allowed: bool
) -> None:
    items = jurisdictions()[code].items(Money.of(gross, currency))
    assert (RequiredItem.CUSTOMER_NAME not in items) is allowed


@pytest.mark.parametrize("code", ["US-MI", "US-MA", "US-WA", "CA-ON"])
def test_a_rule_that_nobody_read_in_the_laws_text_allows_nothing_above(code: str) -> None:
    assert rule_of(code).highest(Money(25000, "USD")).minor > 25000 or code == "US-MI"
    assert jurisdictions()[code].limit is NOTHING_ABOVE


@pytest.mark.parametrize(
    "status", [Status.READ, Status.EXCERPT, Status.SECONDHAND, Status.MEMORY, Status.NONE]
)
def test_only_the_laws_own_text_lets_an_invoice_go_above(status: Status) -> None:
    place = jurisdictions()["US-FL"]
    assert place.exceed_origin is not None
    read = attrs.evolve(place, exceed_origin=attrs.evolve(place.exceed_origin, status=status))
    assert (read.limit is place.exceed) is (status in (Status.READ, Status.EXCERPT))
    practice = attrs.evolve(
        place, exceed_origin=attrs.evolve(place.exceed_origin, basis=Basis.PRACTICE, status=status)
    )
    assert practice.limit is NOTHING_ABOVE


@pytest.mark.parametrize("code", ["", "US-XX", "FR", "US-NC", "US-MD", "EU", "GB", "DE"])
def test_where_nobody_described_a_rule_nothing_goes_above(code: str) -> None:
    place = jurisdiction_for(code, jurisdictions(), general())
    assert place.code == code
    assert place.limit.highest(Money(25000, "EUR")) == Money(25000, "EUR")


@given(
    kind=st.sampled_from(ExceedKind),
    approved=st.integers(0, 10**8),
    amount=st.integers(0, 10**5),
    percent=st.integers(0, 100),
    cap=st.integers(0, 10**5),
)
def test_no_rule_goes_below_what_was_approved_nor_above_its_own_numbers(
    kind: ExceedKind, approved: int, amount: int, percent: int, cap: int
) -> None:
    rule = ExceedRule(
        kind=kind,
        amount=Decimal(amount) / 100,
        percent=Decimal(percent),
        cap=Decimal(cap) / 100,
        currency="USD",
    )
    more = rule.highest(Money(approved, "USD")).minor - approved
    share = approved * percent // 100
    assert (
        more
        == {
            ExceedKind.NONE: 0,
            ExceedKind.AMOUNT: amount,
            ExceedKind.PERCENT: share,
            ExceedKind.LESSER: min(amount, share),
            ExceedKind.GREATER_WITH_CAP: min(max(amount, share), cap),
        }[kind]
    )


def test_an_amount_in_another_currency_adds_nothing() -> None:
    assert rule_of("US-FL").highest(Money(25000, "EUR")) == Money(25000, "EUR")


def test_every_rule_names_source_day_basis_and_status() -> None:
    assert len(jurisdictions()) >= 12
    for code, place in {**jurisdictions(), "general": general()}.items():
        assert code == "general" or CODE.fullmatch(code)
        origins = [one.origin for one in (*place.required, *place.statements)]
        origins += [
            one.origin for one in (place.simplified, place.supplies, place.retention) if one is not None
        ]
        origins += [place.exceed_origin] if place.exceed_origin is not None else []
        assert origins, code
        for origin in origins:
            assert origin.source.strip(), code
            assert len(origin.date) == 10, code


FILE = """code = "US-XX"
[exceed]
kind = "lesser"
amount = "10.00"
percent = "10"
currency = "USD"
of = "written estimate"
source = "invented"
date = "2026-11-24"
basis = "law"
status = "read"
"""


@pytest.mark.parametrize(
    ("old", "new", "place"),
    [
        ('"US-XX"', '"Utopia"', "code"),
        ('amount = "10.00"\n', "", "exceed.amount"),
        ('percent = "10"', 'percent = "10"\ncap = "50.00"', "exceed.cap"),
        ('currency = "USD"\n', "", "exceed.currency"),
        ('source = "invented"\n', "", "exceed.source"),
        ('date = "2026-11-24"', 'date = "lately"', "exceed.date"),
        ('status = "read"', 'status = "sure"', "exceed.status"),
        ('kind = "lesser"', 'kind = "generous"', "exceed.kind"),
        ('of = "written', 'tax = "perhaps"\nof = "written', "exceed.tax"),
    ],
)
def test_a_file_with_a_fault_is_refused_with_its_place(
    tmp_path: Path, old: str, new: str, place: str
) -> None:
    path = tmp_path / "xx.toml"
    assert old in FILE
    path.write_text(FILE, "utf-8")
    assert read_jurisdiction(path).limit.highest(Money(8000, "USD")) == Money(8800, "USD")
    path.write_text(FILE.replace(old, new, 1), "utf-8")
    with pytest.raises(DataFileError) as caught:
        read_jurisdiction(path)
    assert place in [fault.path for fault in caught.value.faults]
