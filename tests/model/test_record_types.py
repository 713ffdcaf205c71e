"""What a statement that another program wrote may hold."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import attrs
import pytest

from corekit.model.record_types import misfit
from corekit.model.records import RECORDS
from corekit.store.store import Store

from ..store.conftest import fill

NAME = {"personal": "name", "hash": "ab" * 32}


@pytest.mark.parametrize(
    ("kind", "body", "told"),
    [
        ("customer", {"name": NAME}, ""),
        ("customer", {"name": None}, ""),
        ("customer", {"name": "Plain"}, "name cannot be 'Plain'"),
        ("customer", {"name": {**NAME, "hash": 5}}, "name"),
        ("vehicle", {"odometer": 98_400}, ""),
        ("vehicle", {"odometer": 98_400.5}, ""),
        ("vehicle", {"odometer": True}, "odometer cannot be True"),
        ("vehicle", {"odometer": "far"}, "odometer"),
        ("paid", {"amount": 500, "currency": "EUR", "how": "cash"}, ""),
        ("paid", {"amount": 500, "currency": "EUR", "how": NAME}, ""),
        ("paid", {"amount": 500.5, "currency": "EUR", "how": "cash"}, "amount cannot be 500.5"),
        ("paid", {"amount": False, "currency": "EUR", "how": "cash"}, "amount"),
        ("paid", {"amount": 500, "currency": None, "how": "cash"}, "currency"),
        ("complaint", {"symptoms": ["clicks"]}, ""),
        ("complaint", {"symptoms": ["clicks", 5]}, "symptoms"),
        ("complaint", {"symptoms": "clicks"}, "symptoms"),
        ("opened", {"origin": "visit", "demo": "yes"}, "demo"),
        ("requested", {"operation": "a.b", "ground": "scheduled"}, ""),
        ("requested", {"operation": "a.b", "ground": "because"}, "ground cannot be 'because'"),
        ("left", {"because": "charging"}, ""),
        ("left", {"because": "tired"}, "because"),
        ("ended", {"how": "declined", "because": "x"}, ""),
        ("ended", {"how": "somehow", "because": "x"}, "how"),
        ("waived", {"because": "goodwill"}, ""),
        ("waived", {"because": "goodwill", "charge": "travel"}, ""),
        ("waived", {"because": "goodwill", "charge": "fuel"}, "charge"),
        ("waived", {"because": "mood"}, "because"),
        ("old_parts", {"choice": "given back"}, ""),
        ("old_parts", {"choice": "sold"}, "choice"),
        ("repaired", {"operation": "a.b", "stage": 0}, ""),
        ("repaired", {"operation": "a.b", "stage": -1}, "stage cannot be -1"),
        ("repaired", {"operation": "a.b", "stage": 1.0}, "stage cannot be 1.0"),
        ("seen", {"of": "a.b", "stage": -(2**53) + 1}, "stage"),
    ],
)
def test_a_field_that_holds_another_kind_of_thing_is_named(
    kind: str, body: dict[str, Any], told: str
) -> None:
    wrong = misfit(RECORDS[kind](**body))
    assert wrong.startswith(told) if told else wrong == ""


def test_no_statement_is_of_a_stage_before_the_first() -> None:
    staged = [kind for kind, record in RECORDS.items() if attrs.fields_dict(record).get("stage")]
    assert len(staged) > 10
    for kind in staged:
        fields = attrs.fields(RECORDS[kind])
        if next(field for field in fields if field.name == "stage").type in ("str", str):
            continue  # of an estimate: the word for what it is of
        needed = {field.name: "x" for field in fields if field.default is attrs.NOTHING}
        assert misfit(RECORDS[kind](**{**needed, "stage": -1})).startswith(("stage", *needed)), kind
        assert "Count" in str(next(field for field in fields if field.name == "stage").type), kind


def test_whatever_a_store_and_the_demo_write_fits(tmp_path: Path, demo_out: Path) -> None:
    with Store.create(tmp_path / "shop.corekit", demo=False) as store:
        fill(store)
        entries = list(store.parcel_behind({}).entries)
    with Store.open(demo_out / "journal.sqlite") as demo:
        while True:
            parcel = demo.parcel_behind({entry.chain: entry.n for entry in entries})
            entries += parcel.entries
            if parcel.is_last:
                break
    assert len({entry.kind for entry in entries}) > 20
    assert [
        (entry.kind, told) for entry in entries if (told := misfit(RECORDS[entry.kind](**entry.body)))
    ] == []
