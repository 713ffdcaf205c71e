"""Rows of an answer are read by the visit file's reader, as few of them as there is to say, each fault with
its place.
"""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corekit.intake.declared import Declared
from corekit.intake.fault import VisitError
from corekit.intake.rows import read_rows
from corekit.intake.visit import VisitFile, read_visit
from corekit.model.entry import JOB, Entry, seal
from corekit.model.job import Job, fold
from corekit.model.measurand import Measurand
from corekit.model.records import Measured, Opened, Repaired, Vehicle, body_of
from corekit.plugin.host import load

DECLARED = Declared.of(load(), currency="EUR")
REST = "battery.open_circuit_voltage"


def job(*records: Any) -> Job:
    entries: list[Entry] = []
    for n, (kind, record) in enumerate([("opened", Opened(origin="day")), *records]):
        entry = Entry(
            journal=JOB,
            job="j",
            chain="c",
            n=n,
            prev=entries[-1].id if entries else "",
            kind=kind,
            subject=f"day:{kind}#{n}",
            body=body_of(record),
            recorded="2026-03-01T08:00:00Z",
        )
        entries.append(seal(entry))
    return fold("j", entries)


def read(rows: Any, standing: Job | None = None, corrects: Entry | None = None) -> VisitFile:
    return read_rows(rows, DECLARED, name="day", demo=False, job=standing, corrects=corrects)


def faults(rows: Any, standing: Job | None = None) -> dict[str, str]:
    with pytest.raises(VisitError) as error:
        read(rows, standing)
    return {fault.path: fault.text for fault in error.value.faults}


def reading(typed: str, **more: Any) -> dict[str, Any]:
    return {"step": [{"readings": [{"of": REST, "is": typed, **more}]}]}


def test_rows_are_read_at_the_jobs_present_stage() -> None:
    repaired = ("repaired", Repaired(operation="battery.charge", stage=1))
    assert [draft.body["stage"] for draft in read(reading("12.5 V"), job(repaired)).drafts] == [1]
    after = read(
        {
            "step": [
                {"repaired": {"operation": "battery.replace", "battery.type": "flooded"}},
                *reading("12.5 V")["step"],
            ]
        },
        job(repaired),
    )
    assert [(draft.kind, draft.body["stage"]) for draft in after.drafts] == [
        ("repaired", 2),
        ("fitted", 2),
        ("measured", 2),
    ]


def test_a_correction_is_read_at_the_stage_of_what_it_corrects() -> None:
    standing = job(
        ("measured", Measured(of=REST, typed="12.5 V", kind="voltage", number=12.5)),
        ("repaired", Repaired(operation="battery.charge", stage=1)),
    )
    old, repaired = (noted.entry for noted in standing.standing[1:])
    assert read(reading("12.6 V"), standing, old).drafts[0].body["stage"] == 0
    assert (
        read({"step": [{"repaired": {"operation": "battery.replace"}}]}, standing, repaired)
        .drafts[0]
        .body["stage"]
        == 1
    )


def test_each_fault_has_the_place_of_its_field() -> None:
    rows = {
        "traits": {"battery.type": "wooden"},
        "step": [
            {
                "setup": {"battery.temperature": "400 °C"},
                "readings": [{"of": REST, "is": "12.5"}, {"of": REST, "is": "1.1 V"}, {"is": "1 V"}],
            }
        ],
    }
    assert list(faults(rows, job())) == [
        'traits."battery.type"',
        'step[0].setup."battery.temperature"',
        "step[0].readings[0].is",
        "step[0].readings[1].is",
        "step[0].readings[2].of",
    ]


def test_what_is_only_odd_is_asked_with_its_guesses_as_data() -> None:
    with pytest.raises(VisitError) as error:
        read({"step": [{"readings": [{"of": REST, "is": "1.26 V"}, {"of": REST, "is": "126 V"}]}]}, job())
    odd, impossible = error.value.faults
    assert odd.asked and "12.6 V" in odd.guesses
    assert not impossible.asked and impossible.guesses == ()
    assert str(odd) == f"{odd.path}: {odd.text}" and all(guess in odd.text for guess in odd.guesses)
    assert read(reading(odd.guesses[odd.guesses.index("12.6 V")]), job()).drafts
    assert read(reading("1.26 V", confirmed=True), job()).drafts


@pytest.mark.parametrize(
    "rows", [{}, {"step": []}, {"traits": {}}, {"customer": {}}, {"step": [{}]}, {"step": [{"readings": []}]}]
)
def test_an_answer_that_says_nothing_is_a_fault(rows: dict[str, Any]) -> None:
    assert faults(rows, job())


@pytest.mark.parametrize(
    "rows",
    [
        None,
        [],
        "step",
        7,
        {"step": 7},
        {"stepp": []},
        {"step": [{"readings": None}]},
        {7: "step"},
        {"step": float("nan")},
    ],
)
def test_what_is_no_table_of_rows_is_refused(rows: Any) -> None:
    assert faults(rows, job())


def test_the_job_and_the_demo_are_not_said_by_an_answer() -> None:
    assert set(faults({"job": "mine", "demo": False, **reading("12.5 V")}, job())) == {"job", "demo"}


def test_a_text_that_is_too_long_or_cannot_be_printed_is_refused() -> None:
    assert set(faults({"reason": "x" * 5000, "vehicle": {"description": "a\x00b"}})) == {
        "reason",
        "vehicle.description",
    }
    many = {"step": [{"seen": [{"of": "battery.case", "words": "x" * 3900}]}] * 300}
    assert "1 MiB" in faults(many, job())["file"]


def test_a_new_job_begins_with_a_complaint_or_a_vehicle() -> None:
    assert set(faults(reading("12.5 V"))) == {"reason"}
    assert [draft.kind for draft in read({"reason": "Does not crank."}).drafts] == ["opened"]
    assert [draft.kind for draft in read({"vehicle": {"plate": "DEMO-1"}}).drafts] == ["opened", "vehicle"]


def test_a_vehicle_that_is_known_by_name_needs_no_second_naming() -> None:
    assert faults({"vehicle": {"odometer": "98400 km"}}, job())["vehicle"]
    read(
        {"vehicle": {"odometer": "98400 km"}},
        job(("vehicle", Vehicle(why_no_vin="dirty", description={"personal": "description", "hash": "ab"}))),
    )  # type: ignore[arg-type]


def test_what_a_file_says_an_answer_says_alike() -> None:
    """One reader: the drafts of a file's rows are those of the same rows answered, but for the name of the
    job.
    """
    rows = {
        "reason": "Does not crank.",
        "vehicle": {"plate": "DEMO-1"},
        "customer": {"name": "Example Customer"},
        "traits": {"battery.type": "flooded"},
        "instruments": {"mine": {"accuracy": "0.5 % + 2 digits"}},
        "step": [
            {
                "setup": {"battery.temperature": "4 °C"},
                "readings": [{"of": REST, "is": "12.5 V", "with": "mine"}],
            },
            {"repaired": {"operation": "battery.charge"}},
            {"seen": [{"of": "battery.case", "is": "sound"}]},
        ],
    }
    assert read(rows).steps == read_visit(json.dumps({"job": "day", **rows}).encode(), DECLARED).steps


JSON = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats()
    | st.text(max_size=12)
    | st.sampled_from(["12.5 V", REST, "battery.type", "flooded"]),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(
            st.sampled_from(
                ["step", "readings", "of", "is", "setup", "traits", "seen", "vehicle", "plate", "codes", REST]
            ),
            inner,
            max_size=4,
        )
    ),
    max_leaves=12,
)


@settings(deadline=None)
@given(JSON)
def test_any_rows_are_read_or_refused(rows: Any) -> None:
    try:
        assert read(rows, job()).steps
    except VisitError as error:
        assert error.faults


def test_every_measurand_can_be_answered_alone() -> None:
    """The screens ask what is declared; each declaration must be a row of its own that comes through."""
    from corekit import units

    def usual(measurand: Measurand) -> str:
        low, high = measurand.usual.low, measurand.usual.high
        middle = (
            (low + high) / 2
            if low is not None and high is not None
            else low
            if low is not None
            else high
            if high is not None
            else 1.0
        )
        number = f"{units.from_coherent(middle, measurand.unit):.6g}"
        return number if measurand.unit == "1" else f"{number} {units.declared_text(measurand.unit)}"

    for key, measurand in DECLARED.measurands.items():
        place = {"place": measurand.places[0]} if measurand.places else {}
        (draft,) = read(
            {"step": [{"readings": [{"of": key, "is": usual(measurand), **place}]}]}, job()
        ).drafts
        assert draft.body["of"] == key
