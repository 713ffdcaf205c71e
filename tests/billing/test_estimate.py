"""What is proposed, line by line."""

from __future__ import annotations

import json
from decimal import Decimal
from typing import Any

import attrs
import pytest
from hypothesis import given
from hypothesis import strategies as st

from corekit.billing.book import PriceBook
from corekit.billing.estimate import PriceError, WorkItem, diagnosis_lines, repair_lines, without_declined
from corekit.billing.line import (
    Condition,
    Ground,
    GroundKind,
    Line,
    LineKind,
    from_data,
    priced_line,
    to_data,
)
from corekit.billing.price_file import read_price_book
from corekit.model.canonical import canonical
from corekit.model.money import Money

FOUND = Ground(
    kind=GroundKind.FINDING,
    text="The battery does not hold its voltage under load.",
    finding_code="battery.load",
    evidence=("e1", "e2"),
)
WANTED = Ground(kind=GroundKind.CUSTOMER, text="asked to find the drain")
REPLACE = WorkItem(
    operation="battery.replace", title="Replace the battery", ground=FOUND, shown_by="load test voltage"
)
DRAIN = WorkItem(operation="battery.trace_draw", title="Find the drain", ground=WANTED)


def book(**changes: Any) -> PriceBook:
    data = {
        "currency": "EUR",
        "tax": {
            "rates": {"standard": "20", "reduced": "5"},
            "default": "standard",
            "parts": "reduced",
            "call_out": "reduced",
        },
        "labour": {"per_hour": "62.50"},
        "call_out": "25.00",
        "travel": {"flat": "12.00"},
        "diagnosis": {"price": "35.00"},
        "operations": {
            "battery.replace": {
                "hours": "0.6",
                "parts": [{"name": "Battery", "price": "128.00", "quantity": 1, "condition": "new"}],
            },
            "battery.trace_draw": {"hours": "1.0"},
        },
    }
    return read_price_book(
        {key: value for key, value in (data | changes).items() if value is not None}, "prices.toml"
    )


def shown(lines: tuple[Line, ...]) -> list[tuple[str, str, str, str, str]]:
    return [(line.kind, line.text, f"{line.quantity} {line.unit}", str(line.net), line.tax) for line in lines]


def test_a_diagnosis_is_call_out_travel_and_a_flat_price_because_the_customer_asked() -> None:
    lines = diagnosis_lines(book())
    assert shown(lines) == [
        ("call-out", "Call-out", "1 flat", "25.00", "reduced"),
        ("travel", "Travel", "1 flat", "12.00", "reduced"),
        ("diagnosis", "Diagnosis, flat price", "1 flat", "35.00", "standard"),
    ]
    assert {(line.ground.kind, line.ground.text, line.operation) for line in lines} == {
        (GroundKind.CUSTOMER, "asked for a diagnosis", "")
    }


def test_a_book_without_call_out_and_travel_estimates_the_diagnosis_alone() -> None:
    assert [line.kind for line in diagnosis_lines(book(call_out=None, travel=None))] == [LineKind.DIAGNOSIS]


def test_a_drive_priced_by_the_kilometre_needs_its_length() -> None:
    by_km = book(travel={"per_km": "0.425"})
    with pytest.raises(
        PriceError,
        match=r"prices\.toml does not price this: one fault\.\n  travel\.per_km: a distance is needed",
    ):
        diagnosis_lines(by_km)
    # 0.425 × 17 = 7.225, half up 7.23.
    assert shown(diagnosis_lines(by_km, Decimal(17)))[1] == ("travel", "Travel", "17 km", "7.23", "reduced")
    with pytest.raises(ValueError, match="negative"):
        diagnosis_lines(by_km, Decimal(-1))


def test_a_diagnosis_is_not_estimated_above_its_cap() -> None:
    capped = book(travel={"per_km": "0.50"}, diagnosis={"price": "35.00", "cap": "70.00"})
    assert len(diagnosis_lines(capped, Decimal(20))) == 3
    with pytest.raises(PriceError, match=r"diagnosis\.cap: .* 70\.50 EUR, above the cap of 70\.00"):
        diagnosis_lines(capped, Decimal(21))


def test_an_operation_becomes_labour_and_parts_on_its_one_ground() -> None:
    lines = repair_lines(book(), [REPLACE, DRAIN])
    assert shown(lines) == [
        ("labour", "Replace the battery", "0.6 h", "37.50", "standard"),
        ("part", "Battery", "1 piece", "128.00", "reduced"),
        ("labour", "Find the drain", "1.0 h", "62.50", "standard"),
    ]
    assert [line.ground for line in lines] == [FOUND, FOUND, WANTED]
    assert [line.condition for line in lines] == [None, Condition.NEW, None]
    assert [line.shown_by for line in lines] == ["load test voltage", "load test voltage", ""]


def test_every_operation_without_a_price_is_named_with_the_key_to_add() -> None:
    strange = [attrs.evolve(DRAIN, operation=key) for key in ("egr.clean", "ignition.coil")]
    with pytest.raises(PriceError) as caught:
        repair_lines(book(), [REPLACE, *strange])
    assert [str(fault) for fault in caught.value.faults] == [
        'operations."egr.clean": is not priced; write [operations."egr.clean"] with hours = "…"'
        " and its parts",
        (
            'operations."ignition.coil": is not priced; write [operations."ignition.coil"] with hours'
            ' = "…" and'
            " its parts"
        ),
    ]


def test_an_operation_asked_for_twice_is_refused_because_a_line_has_one_ground() -> None:
    with pytest.raises(ValueError, match=r"battery\.replace: asked for more than once"):
        repair_lines(book(), [REPLACE, attrs.evolve(REPLACE, ground=WANTED)])


def test_a_declined_operation_takes_all_its_lines_along() -> None:
    lines = repair_lines(book(), [REPLACE, DRAIN])
    assert without_declined(lines, ["battery.replace"]) == lines[2:]
    assert without_declined(lines, []) == lines


@pytest.mark.parametrize("key", ["battery.charge", ""])
def test_what_is_not_on_the_estimate_cannot_be_declined(key: str) -> None:
    with pytest.raises(ValueError, match=r"on it are battery\.trace_draw"):
        without_declined((*diagnosis_lines(book()), *repair_lines(book(), [DRAIN])), [key])


# Grounds and lines


def test_judgement_without_a_reason_is_no_ground() -> None:
    with pytest.raises(ValueError, match="needs a reason"):
        Ground(kind=GroundKind.JUDGEMENT, text="  ")
    assert Ground(kind=GroundKind.JUDGEMENT, text="the clamp crumbled when it was taken off")


@pytest.mark.parametrize(
    ("kind", "code"),
    [
        ("finding", ""),
        ("customer", "battery.load"),
        ("scheduled", "battery.load"),
        ("judgement", "battery.load"),
    ],
)
def test_a_finding_names_its_code_and_no_other_ground_does(kind: str, code: str) -> None:
    with pytest.raises(ValueError, match="A finding as ground names its code"):
        Ground(kind=GroundKind(kind), text="words", finding_code=code)


def test_a_line_that_does_not_add_up_cannot_be() -> None:
    line = repair_lines(book(), [DRAIN])[0]
    with pytest.raises(ValueError, match=r"1\.0 × 62\.50 comes to 62\.50 EUR, not 62\.51"):
        attrs.evolve(line, net=Money(6251, "EUR"))
    with pytest.raises(ValueError, match="finite decimal"):
        attrs.evolve(line, price=62.5)  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="above zero"):
        attrs.evolve(line, per=Decimal(0))
    with pytest.raises(ValueError, match="in which condition"):
        attrs.evolve(line, kind=LineKind.PART)
    with pytest.raises(ValueError, match="in which condition"):
        attrs.evolve(line, condition=Condition.NEW)


NUMBERS = st.decimals(-99999, 99999, allow_nan=False, allow_infinity=False, places=5)


@given(
    quantity=NUMBERS,
    price=NUMBERS,
    per=st.sampled_from(["1", "12", "1E+2"]),
    words=st.text(st.characters(codec="utf-8"), min_size=1),
    part=st.booleans(),
)
def test_a_line_survives_being_written_down(
    quantity: Decimal, price: Decimal, per: str, words: str, part: bool
) -> None:
    line = priced_line(
        kind=LineKind.PART if part else LineKind.LABOUR,
        text=words,
        operation="battery.replace",
        ground=FOUND,
        quantity=quantity,
        unit="piece",
        price=price,
        currency="EUR",
        tax=words,
        condition=Condition.USED if part else None,
        shown_by=words,
        per=Decimal(per),
    )
    data = to_data(line)
    assert from_data(json.loads(json.dumps(data))) == line
    assert canonical(data)  # an estimate's lines are hashed


@pytest.mark.parametrize(
    ("key", "value", "complaint"),
    [
        ("kind", "gift", "LineKind"),
        ("text", 5, "text: must be text"),
        ("quantity", 0.6, "quantity: must be text"),
        ("price", "dear", "price: must be a decimal number"),
        ("price", "NaN", "price: must be a plain"),
        ("price", "1E+999999999", "price: must be a plain"),
        ("net", {"minor": 62.5, "currency": "EUR"}, "whole minor units"),
        ("net", {"minor": True, "currency": "EUR"}, "whole minor units"),
        ("net", {"minor": 1, "currency": "EUR"}, "comes to"),
        ("net", [], "net: must be an object"),
        ("ground", {"kind": "judgement", "text": "", "finding_code": "", "evidence": []}, "needs a reason"),
        (
            "ground",
            {"kind": "customer", "text": "x", "finding_code": "", "evidence": "e1"},
            "list of entry ids",
        ),
        ("ground", {"kind": "customer", "text": "x"}, "ground: missing keys: finding_code, evidence"),
        ("extra", 1, "unknown keys: extra"),
    ],
)
def test_data_that_is_no_line_is_refused_with_what_is_wrong(key: str, value: object, complaint: str) -> None:
    data = to_data(repair_lines(book(), [DRAIN])[0])
    with pytest.raises(ValueError, match=complaint):
        from_data(data | {key: value})


def test_a_missing_key_is_named() -> None:
    data = to_data(repair_lines(book(), [DRAIN])[0])
    del data["tax"]
    with pytest.raises(ValueError, match="missing keys: tax"):
        from_data(data)
