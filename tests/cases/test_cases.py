"""Every field case is a test: what has to be said is said, what must not be said is not, and the whole comes
to what it should.

The cases come from outside: forum threads, owners' reports, teaching material, open data, and computed ones
(their data name the kind of source). What may be claimed was decided by people who reviewed each case, not by
what this program answers.
"""

from __future__ import annotations

import re
from typing import Any

import attrs
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corekit import units

from .claims import overall, said, stronger
from .loader import FieldCase, cases, installed, table, tried

BATTERY = cases("bat-")
ALL = [pytest.param(case, id=case.id) for case in BATTERY]
OTHERS = [*cases("egr-"), *cases("ign-")]
ARGUED: dict[str, str] = table("argued.toml")
WAITING: dict[str, str] = table("waiting.toml")


def words(case: FieldCase) -> str:
    made = tried(case)
    lines = [
        *map(str, made.faults),
        *(f"{finding.code} {finding}" for finding in made.assessment.findings),
        *map(str, made.assessment.gaps),
    ]
    return "\n".join(lines)


def faults_of(case: FieldCase) -> list[str]:
    """Everything that a case asks for and does not get."""
    made = tried(case)
    expected = case.expected
    wrong = [f"not said: {code}" for code in expected["must_appear"] if not said(code, made)]
    wrong += [
        f"said none of: {', '.join(codes)}"
        for codes in expected.get("any_of", ())
        if not any(said(code, made) for code in codes)
    ]
    wrong += [f"said, and must not be: {code}" for code in expected["must_not_appear"] if said(code, made)]
    came_to, right = overall(made), [expected["overall"], *expected.get("may_overall", ())]
    wrong += [f"comes to {came_to}, not {' or '.join(right)}"] if came_to not in right else []
    return wrong


@pytest.mark.parametrize("case", ALL)
def test_a_case_is_judged_as_a_careful_specialist_would(case: FieldCase) -> None:
    wrong = faults_of(case)
    if case.id in ARGUED:
        assert wrong, f"{case.id} no longer needs its argument; take it out of argued.toml."
    else:
        assert not wrong, "\n".join([case.id, *wrong, "", words(case)])


@pytest.mark.parametrize("case", [pytest.param(case, id=case.id) for case in OTHERS])
def test_a_case_of_another_system_comes_right_or_says_what_it_waits_for(case: FieldCase) -> None:
    wrong = faults_of(case)
    assert not [line for line in wrong if line.startswith("said, and must not be")], "\n".join(
        [case.id, *wrong, "", words(case)]
    )
    if case.id in WAITING:
        assert wrong, f"{case.id} has come right; take it out of waiting.toml."
    else:
        assert not wrong, "\n".join([case.id, *wrong, "", words(case)])


def test_no_battery_case_waits() -> None:
    assert set(WAITING) <= {case.id for case in OTHERS}
    assert all(len(reason) > 40 for reason in WAITING.values())


def test_no_case_that_any_competent_tool_gets_right_is_argued_away() -> None:
    priorities = {case.id: case.must for case in BATTERY}
    assert all(not priorities[key] for key in ARGUED)
    assert all(len(reason) > 40 for reason in ARGUED.values())


NUMBERS = [
    pytest.param(case, row, id=f"{case.id}-{row['name']}")
    for case in BATTERY
    for row in case.expected.get("numbers", ())
]


@pytest.mark.parametrize(("case", "row"), NUMBERS)
def test_a_number_of_a_computed_case_comes_out(case: FieldCase, row: dict[str, Any]) -> None:
    where = table("mapping.toml")["numbers"][row["name"]]
    found = [
        finding
        for finding in tried(case).assessment.findings
        if finding.code == where["finding"]
        and where.get("place", finding.place) == finding.place
        and where.get("stage", 0) == finding.stage
    ]
    assert len(found) == 1, words(case)
    unit = {"mohm": "mΩ"}.get(str(row["unit"]), str(row["unit"]))
    if "shown" in where:
        got = units.from_coherent(
            units.read_quantity(found[0].text.values[where["shown"]], [unit]).number, unit
        )
    else:
        assert found[0].value is not None
        got = units.from_coherent(found[0].value.number, unit)
    assert got == pytest.approx(row["value"], abs=row["tolerance"])


# ---- the tables themselves


@pytest.mark.parametrize("case", [*ALL, *(pytest.param(case, id=case.id) for case in OTHERS)])
def test_every_number_of_a_case_is_typed_or_left_out_with_a_reason(case: FieldCase) -> None:
    counts: dict[str, int] = {}
    for row in case.data.get("readings", ()):
        counts[row["name"]] = counts.get(row["name"], 0) + 1
    there = {
        name if nth == 1 else f"{name}#{nth}"
        for name, several in counts.items()
        for nth in range(1, several + 1)
    }
    typed = set(case.taken())
    assert typed <= there
    assert {name for name in there - typed if name.partition("#")[0] not in case.left_out} == set()
    assert not {name.partition("#")[0] for name in typed} & set(case.left_out)


def test_every_code_that_a_case_asks_for_is_known_and_has_a_sign() -> None:
    known = table("claims.toml")
    signs = table("mapping.toml")["claims"]
    for case in BATTERY:
        expected = case.expected
        choices = [code for codes in expected.get("any_of", ()) for code in codes]
        asked = [
            *expected["must_appear"],
            *expected["must_not_appear"],
            *expected.get("may_appear", ()),
            *choices,
        ]
        for code in asked:
            assert code in known, code
            assert any(one in signs for one in stronger(code)), code
    assert set(signs) <= set(known)


def test_every_sign_names_things_that_exist() -> None:
    systems = installed().systems.values()
    text = "".join(path.read_text("utf-8") for system in systems for path in system.folder.glob("*.py"))
    things = {key for system in systems for key in (*system.measurands, *system.observations, *system.traits)}
    mapping = table("mapping.toml")
    for signs in [*mapping["claims"].values(), *mapping["overall"].values(), [*mapping["numbers"].values()]]:
        for sign in signs:
            if "finding" in sign:
                assert f'"{sign["finding"]}"' in text, sign
            for kind, tables in (("suspect", "faults"), ("test", "tests")):
                system, _, key = sign.get(kind, "").partition(".")
                assert not key or key in getattr(installed().systems[system].faults, tables), sign
            for key in ("gap", "next", "of"):
                assert sign.get(key, next(iter(things))) in things, sign
            if "says" in sign:
                re.compile(sign["says"])


def test_every_claim_that_must_or_must_not_appear_is_made_somewhere_and_missing_somewhere() -> None:
    """A sign that every case bears, or that must be borne and is borne by none, would prove nothing."""
    made = [tried(case) for case in BATTERY]
    asked = {code for case in BATTERY for code in case.expected["must_appear"]}
    for code in sorted(asked):
        says_so = [one.case.id for one in made if said(code, one)]
        assert 0 < len(says_so) < len(made), f"{code}: {says_so}"


@pytest.mark.parametrize("case", [param for param in ALL if param.id != "syn-bat-1"])
def test_a_case_fails_when_nothing_is_checked(case: FieldCase, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(installed().systems["battery"], "checks", {})
    monkeypatch.setattr(installed().systems["battery"], "relations", {})
    assert faults_of(case)


def test_the_case_of_a_slip_of_unit_fails_when_nothing_slipped() -> None:
    (case,) = [case for case in BATTERY if case.id == "syn-bat-1"]
    rows = [{**row, "value": 0.095} if row["name"] == "drop_ground" else row for row in case.data["readings"]]
    assert "not said: measurement.unit_suspect" in faults_of(
        attrs.evolve(case, data={**case.data, "readings": rows})
    )


# ---- the law over all cases


@pytest.mark.parametrize("case", ALL)
def test_no_case_calls_for_a_battery(case: FieldCase) -> None:
    """Not one of them holds a charged battery that failed a load test."""
    made = tried(case).assessment
    assert not any(call.operation == "battery.replace" and call.met for call in made.calls)
    assert not any(finding.calls_for == "battery.replace" for finding in made.findings)


MORE = [
    pytest.param({"readings": [{"of": "battery.open_circuit_voltage", "is": "11.6 V"}]}, id="one voltage"),
    pytest.param({"readings": [{"of": "battery.tester_figure", "is": "120 A"}]}, id="one conductance figure"),
    pytest.param(
        {
            "setup": {
                "battery.rest_time": "9 h",
                "battery.temperature": "15 °C",
                "battery.load_current": "300 A",
                "battery.load_time": "15 s",
            },
            "readings": [
                {"of": "battery.open_circuit_voltage", "is": "11.9 V"},
                {"of": "battery.load_voltage", "is": "7.2 V"},
            ],
        },
        id="a load test of a discharged battery",
    ),
]


@pytest.mark.parametrize("case", ALL)
@pytest.mark.parametrize("more", MORE)
def test_no_voltage_no_tester_and_no_load_test_of_a_discharged_battery_calls_for_a_new_one(
    case: FieldCase, more: dict[str, object]
) -> None:
    visit = case.visit
    if "battery.open_circuit_voltage" in str(more):
        visit["step"] = [step for step in visit["step"] if "battery.open_circuit_voltage" not in str(step)]
    visit["traits"] = {"battery.rating": "600 A SAE", **visit.get("traits", {})}
    visit["step"] = [*visit["step"], more]
    made = tried(case, visit).assessment
    assert {reading.measurand.key for stage in made.readings for reading in stage} & {
        "battery.open_circuit_voltage",
        "battery.tester_figure",
    }
    assert not any(call.operation == "battery.replace" and call.met for call in made.calls)


@settings(max_examples=60, deadline=None)
@given(
    kind=st.sampled_from(["flooded", "EFB", "AGM", "gel", "don't know"]),
    rest=st.floats(10.5, 12.2),
    loaded=st.floats(5.0, 9.0),
    tester=st.floats(30.0, 400.0),
    rested=st.floats(0.0, 100.0),
)
def test_whatever_a_discharged_battery_shows_it_is_charged_and_not_exchanged(
    kind: str, rest: float, loaded: float, tester: float, rested: float
) -> None:
    setup = {
        "battery.rest_time": f"{rested:.1f} h",
        "battery.temperature": "10 °C",
        "battery.load_current": "320 A",
        "battery.load_time": "15 s",
    }
    readings = [
        {"of": "battery.open_circuit_voltage", "is": f"{rest:.2f} V"},
        {"of": "battery.load_voltage", "is": f"{loaded:.2f} V"},
        {"of": "battery.tester_figure", "is": f"{tester:.0f} A"},
    ]
    visit = {
        **BATTERY[0].visit,
        "traits": {"battery.type": kind, "battery.rating": "640 A SAE"},
        "step": [{"setup": setup, "readings": readings}],
    }
    made = tried(BATTERY[0], visit).assessment
    assert not any(call.operation == "battery.replace" and call.met for call in made.calls)
    assert any("harge it" in str(finding.text) for finding in made.findings)
