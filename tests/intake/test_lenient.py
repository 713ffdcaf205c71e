"""A visit file that is only looked at: what is odd is set aside with its question, and the rest is read."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import attrs
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from corekit import units
from corekit.intake.declared import Declared
from corekit.intake.lenient import read_for_check
from corekit.intake.visit import VisitError, VisitFile, read_visit
from corekit.model.limit import Span
from corekit.model.measurand import Measurand
from corekit.model.records import Instrument
from corekit.plugin.host import load

PLUGINS = load()
DECLARED = Declared.of(PLUGINS, currency="EUR")
VOLTS = "battery.open_circuit_voltage"
GOOD = {"of": VOLTS, "is": "12.6 V"}
SOUND = {"of": "battery.case", "is": "sound"}


def file(*steps: Any, **top: Any) -> bytes:
    return json.dumps({"job": "a", "reason": "b", "step": list(steps), **top}).encode()


def read(*steps: Any, declared: Declared = DECLARED, **top: Any) -> VisitFile:
    return read_for_check(file(*steps, **top), declared)


def places(visit: VisitFile) -> list[str]:
    return [fault.path for fault in visit.set_aside]


def said(visit: VisitFile) -> list[tuple[str, Any]]:
    """What stands of the readings and looks."""
    return [
        (draft.body["of"], draft.body.get("typed") or draft.body.get("answer") or draft.body.get("cannot"))
        for draft in visit.drafts
        if draft.kind in ("measured", "seen")
    ]


def test_a_file_without_faults_is_read_as_ever() -> None:
    content = file({"readings": [GOOD], "seen": [SOUND]}, vehicle={"plate": "DEMO-1"})
    assert read_for_check(content, DECLARED) == read_visit(content, DECLARED)


def test_neither_name_nor_vehicle_nor_complaint_is_needed(tmp_path: Path) -> None:
    path = tmp_path / "van-7.json"
    path.write_text(json.dumps({"step": [{"readings": [GOOD]}]}))
    visit = read_for_check(path, DECLARED)
    assert (visit.origin, visit.set_aside, said(visit)) == ("van-7", (), [(VOLTS, "12.6 V")])
    assert places(read(vehicle={}, job=" odd", reason=5)) == ["job", "reason"]
    with pytest.raises(VisitError):
        read_visit(path, DECLARED)


@pytest.mark.parametrize(
    ("odd", "place"),
    [
        ({"of": VOLTS, "is": "126 V"}, "step[0].readings[0].is"),
        ({"of": VOLTS, "is": "17 V"}, "step[0].readings[0].is"),
        ({"of": VOLTS, "is": "OL"}, "step[0].readings[0].is"),
        ({"of": VOLTS, "is": "12.6"}, "step[0].readings[0].is"),
        ({"of": VOLTS, "is": "12.1 V", "withdrwan": "read wrong"}, "step[0].readings[0].withdrwan"),
        ({"of": "battery.nothing", "is": "12.6 V"}, "step[0].readings[0].of"),
        ({"is": "12.6 V"}, "step[0].readings[0].of"),
        ({"of": VOLTS, "is": "12.6 V", "place": "left"}, "step[0].readings[0].place"),
        ({"of": VOLTS, "is": "12.6\u0007 V"}, "step[0].readings[0].is"),
        ({"of": VOLTS, "is": None}, "step[0].readings[0].is"),
        ("12.6 V", "step[0].readings[0]"),
    ],
)
def test_an_odd_reading_alone_is_set_aside(odd: Any, place: str) -> None:
    visit = read({"readings": [odd, GOOD], "seen": [SOUND]})
    assert places(visit) == [place]
    assert said(visit) == [(VOLTS, "12.6 V"), ("battery.case", "sound")]


def test_an_odd_answer_a_trait_and_a_key_are_each_set_aside_alone() -> None:
    visit = read(
        {"seen": [{"of": "battery.case", "is": "a bit cracked"}, SOUND]},
        {"readings": [GOOD]},
        traits={"battery.type": "jelly", "battery.capacity": "70 Ah"},
        odd=1,
    )
    assert places(visit) == ["step[0].seen[0].is", 'traits."battery.type"', "odd"]
    assert '"cracked"' in str(visit.set_aside[0]) and '"sound"' in str(visit.set_aside[0])
    assert [draft.body["of"] for draft in visit.drafts if draft.kind == "fitted"] == ["battery.capacity"]


def test_a_list_with_one_illegible_code_is_not_read_as_one_without_it() -> None:
    visit = read({"codes": {"stored": ["P0300", "PO401"], "pending": []}})
    assert places(visit) == ["step[0].codes.stored[1]"]
    assert [draft.body["state"] for draft in visit.drafts if draft.kind == "codes"] == ["pending"]
    assert places(read({"codes": {"stored": ["PO401"]}}, {"readings": [GOOD]})) == ["step[0].codes.stored[0]"]


def test_a_condition_that_cannot_be_read_leaves_the_reading_without_it() -> None:
    visit = read({"setup": {"battery.temperature": "900 °C"}, "readings": [GOOD]})
    assert places(visit) == ['step[0].setup."battery.temperature"']
    (reading,) = [draft for draft in visit.drafts if draft.kind == "measured"]
    assert reading.body["setup"] == ""


def test_an_instrument_that_is_set_aside_takes_no_reading_with_it() -> None:
    declared = attrs.evolve(DECLARED, instruments={"my meter": Instrument(name="my meter", accuracy="0.5 %")})
    visit = read(
        {"readings": [{**GOOD, "with": "its meter"}, {**GOOD, "is": "12.7 V", "with": "my meter"}]},
        instruments={"its meter": {"accuracy": "very good"}},
        declared=declared,
    )
    assert places(visit) == ['instruments."its meter".accuracy']
    assert [draft.body["instrument"] for draft in visit.drafts if draft.kind == "measured"] == [
        "",
        "my meter",
    ]
    unknown = read({"readings": [{**GOOD, "with": "his meter", "range": "20 V"}]}, declared=declared)
    assert places(unknown) == ["step[0].readings[0].with"]
    assert said(unknown) == [(VOLTS, "12.6 V")]


@pytest.mark.parametrize(
    ("repair", "operation"),
    [
        ({"repaired": {"operation": "brakes.bleed"}}, "brakes.bleed"),
        ({"repaired": {"operation": "battery.replace"}, "readings": [GOOD]}, "battery.replace"),
        ({"repaired": {"operation": "brakes.bleed"}, "readings": [GOOD], "odd": 1}, "brakes.bleed"),
        ({"repaired": "battery"}, "battery"),
        ({"repaired": {}}, "something"),
        ({"repaired": {"operation": 5, "battery.type": "AGM"}}, "something"),
    ],
)
def test_of_a_repair_that_cannot_be_read_stays_that_one_was_done(repair: Any, operation: str) -> None:
    after = {"readings": [{**GOOD, "is": "12.9 V"}]}
    visit = read({"readings": [GOOD]}, repair, after)
    assert said(visit) == [(VOLTS, "12.6 V"), (VOLTS, "12.9 V")]
    assert [draft.body["stage"] for draft in visit.drafts if draft.kind == "measured"] == [0, 1]
    assert [draft.body["operation"] for draft in visit.drafts if draft.kind == "repaired"] == [operation]
    assert visit.set_aside and all(place.startswith("step[1]") for place in places(visit))


def test_several_faults_of_one_row_take_nothing_else_with_them() -> None:
    visit = read(
        {
            "codes": {"stored": ["PO401"], "pending": ["P0300"], "stord": []},
            "readings": [{"of": VOLTS, "is": "126", "plcae": "", "with": 5}, GOOD],
        }
    )
    assert said(visit) == [(VOLTS, "12.6 V")]
    assert len(visit.set_aside) >= 3


def test_an_odd_trait_of_a_new_part_leaves_the_repair() -> None:
    visit = read(
        {"readings": [GOOD]},
        {"repaired": {"operation": "battery.replace", "battery.type": "jelly"}},
        {"readings": [{**GOOD, "is": "12.9 V"}]},
    )
    assert places(visit) == ['step[1].repaired."battery.type"']
    assert [draft.body["stage"] for draft in visit.drafts if draft.kind == "measured"] == [0, 1]


def test_a_key_given_twice_and_a_step_that_is_none_are_set_aside() -> None:
    rows = json.dumps([GOOD])
    content = f'{{"job": "a", "step": [{{"seen": [], "seen": []}}, 5, {{"readings": {rows}}}]}}'.encode()
    visit = read_for_check(content, DECLARED)
    assert said(visit) == [(VOLTS, "12.6 V")]
    assert len(visit.set_aside) >= 2


@pytest.mark.parametrize("content", [b"\xff\xfe", b"job = ", b"[1]\n[1]", b'{"job": '])
def test_a_file_that_cannot_be_read_at_all_is_refused(content: bytes) -> None:
    with pytest.raises(VisitError):
        read_for_check(content, DECLARED)


def test_importing_still_asks_to_settle_every_row() -> None:
    content = file({"readings": [{**GOOD, "is": "126 V"}, GOOD]}, vehicle={"plate": "DEMO-1"})
    assert read_for_check(content, DECLARED).set_aside
    with pytest.raises(VisitError):
        read_visit(content, DECLARED)


_SCALARS = st.sampled_from(
    ["12.6 V", "126 V", "sound", "", 5, None, True, "battery.case", VOLTS, "P0401", []]
)
_KEYS = st.sampled_from(
    f"of is with place codes stored readings seen setup repaired operation step traits vehicle job reason"
    f" instruments words cannot odd\u0007 {VOLTS}".split()
)
_DATA = st.recursive(
    _SCALARS,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(_KEYS, inner, max_size=4),
    max_leaves=25,
)


@example({"of": "12.6 V", "step": {"of": {"of": "12.6 V", "repaired": None}}})
@settings(max_examples=150, deadline=None)
@given(st.dictionaries(_KEYS, _DATA, max_size=5))
def test_whatever_stands_in_a_file_is_either_read_or_set_aside(data: dict[str, Any]) -> None:
    content = json.dumps(data).encode()
    visit = read_for_check(content, DECLARED)
    try:
        strict = read_visit(content, DECLARED)
    except VisitError as error:
        missing = {"job", "reason", "vehicle", "vehicle.no_vin"}
        assert visit.set_aside or {fault.path for fault in error.faults} <= missing
    else:
        assert visit == strict


def test_the_span_of_what_is_possible_stands_in_the_question() -> None:
    one = Measurand(
        key="van.volts",
        unit="V",
        kind="voltage",
        title="volts",
        possible=Span(0.0, 18.0),
        usual=Span(11.0, 14.0),
        accuracy=units.parse_accuracy("1 %", "V"),
    )
    declared = Declared(measurands={one.key: one}, systems=("van",))
    (fault,) = read({"readings": [{"of": one.key, "is": "19000 mV"}]}, declared=declared).set_aside
    assert "0 mV to 18000 mV" in str(fault)
