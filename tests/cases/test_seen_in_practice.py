"""Dead ends and needless work that practice cars led to, each as a visit of its own kind."""

from __future__ import annotations

import json
from typing import Any

import pytest

from corekit.assess.assessment import Assessment
from corekit.plugin.host import load
from corekit.reference import data_path
from corekit.testing import assessed, shown

PLUGINS = load()
BATTERY = {"battery.type": "AGM", "battery.capacity": "60 Ah", "battery.drive": "combustion engine"}


def visit(symptom: str, *steps: dict[str, Any], traits: dict[str, str] | None = None) -> Assessment:
    data = {
        "job": "a",
        "reason": "as told",
        "vehicle": {"description": "a car", "no_vin": "not told"},
        "complaint": {"symptoms": [symptom]},
        "traits": traits or {},
        "step": list(steps),
    }
    return assessed(json.dumps(data), PLUGINS)


def read(of: str, value: str, place: str = "", **more: Any) -> dict[str, Any]:
    return {"of": of, "is": value, **({"place": place} if place else {}), **more}


# ---- a label that a test hangs on


def loaded(**rating: str) -> Assessment:
    setup = {"battery.load_current": "310 A", "battery.load_time": "15 s", "battery.temperature": "23 °C"}
    step = {"setup": setup, "readings": [read("battery.load_voltage", "5.77 V")]}
    return visit(
        "cranks_slowly", step, traits=BATTERY | {f"battery.{key}": one for key, one in rating.items()}
    )


def test_a_load_test_without_the_rating_asks_for_the_rating() -> None:
    assert "battery.rating" in [test.wants for test in loaded().next_tests]
    assert "battery.rating" not in [test.wants for test in loaded(rating="620 A SAE").next_tests]


# ---- a side of the starting circuit, and the joint that is in it


def drops(side: str, joint: str) -> dict[str, str]:
    """What the positive side comes to: verdict → the work that it calls for."""
    step = {
        "setup": {"battery.starter_current": "150 A", "battery.temperature": "20 °C"},
        "readings": [
            read("battery.voltage_drop", side, "positive side", confirmed=True),
            read("battery.voltage_drop", joint, "positive post to clamp", confirmed=True),
        ],
    }
    found = visit("cranks_slowly", step, traits=BATTERY).findings
    return {
        str(one.verdict): one.calls_for
        for one in found
        if one.code == "battery.voltage_drop" and one.place == "positive side"
    }


def test_what_a_joint_loses_is_not_held_against_its_cable() -> None:
    """2.0 V on the side at 150 A: 1.9 V at the joint leave 0.1 V to the cable; 0.02 V leave nearly all."""
    assert drops("2.0 V", "1.9 V") == {"pass": ""}
    assert drops("2.0 V", "0.02 V") == {"fail": "battery.repair_cable"}


def test_a_joint_that_reads_more_than_its_whole_side_leaves_nothing_to_the_cable() -> None:
    assert list(drops("0.10 V", "0.15 V")) == ["pass"]


# ---- of which kind a system is


def first_step(**traits: str) -> str:
    made = visit("engine_lamp", {"codes": {"stored": ["P0401"]}}, traits=traits)
    return made.next_tests[0].wants


def test_no_test_of_a_system_comes_before_somebody_looked_of_which_kind_it_is() -> None:
    petrol = {"egr.engine": "petrol"}
    assert first_step(**petrol) == "egr.valve"
    assert first_step(**petrol, **{"egr.valve": "electric motor"}) != "egr.valve"
    assert first_step(**petrol, **{"egr.valve": "don't know"}) != "egr.valve"


def test_a_trait_that_only_some_tests_hang_on_is_not_asked_before_them() -> None:
    made = assessed((data_path("demo") / "jobs" / "5-undecided.toml").read_text("utf-8"), PLUGINS)
    assert made.next_tests and "battery.drive" not in [test.wants for test in made.next_tests]


# ---- a reading between two outcomes, and a part that no finding names


@pytest.mark.parametrize(
    ("weights", "called"),
    [
        ((0.0, 0.5, 0.5), True),  # little or nothing: either speaks against the regulator
        ((0.04, 0.46, 0.5), True),  # plain from 0.95 on
        ((0.06, 0.44, 0.5), False),
        ((0.5, 0.5, 0.0), False),  # enough or little
    ],
)
def test_a_reading_between_two_outcomes_that_both_condemn_condemns(
    weights: tuple[float, ...], called: bool
) -> None:
    beside = {"source": "enough", "duty": "present", "vacuum_hoses": "sound", "hose_loss": "holds"}
    beside |= {"hold": "holds", "reaction": "rough or stalls", "coil_path": "reads a value"}
    beside |= {"vent_filter": "clean", "code_little": "set", "error": "less", "drive": "never any"}
    made = shown(PLUGINS.systems["egr"], None, ["engine_lamp"], outlet=weights, **beside)
    assert made.calls_for("replace_regulator") is called


def test_a_part_that_a_test_shows_directly_is_called_for_though_no_finding_names_the_work() -> None:
    """Coil 1 of two reaches 5 kV into a wide gap, with supply, ground and switching good."""
    traits = {
        "ignition.kind": "wasted spark",
        "ignition.cylinders": "4",
        "ignition.coil_pairs": "1 with 4, 2 with 3",
        "ignition.coil_type": "electronic",
        "ignition.drop_meter": "peak hold, scope or record",
    }
    speed = {"ignition.engine_speed": "2500 rpm"}
    weak = [
        {
            "of": "ignition.spark",
            "place": f"cylinder {n}",
            "is": "weak or intermittent" if n in (1, 4) else "every time",
        }
        for n in range(1, 5)
    ]
    made = visit(
        "misses_under_load",
        {"codes": {"stored": ["P0301", "P0304"]}},
        {
            "setup": speed,
            "readings": [read("ignition.feed_drop", "0.14 V"), read("ignition.ground_drop", "0.05 V")],
        },
        {"seen": [{"of": "ignition.switching", "is": "pulses"}, *weak]},
        {
            "readings": [
                read("ignition.available_voltage", "5.2 kV", "coil 1", confirmed=True),
                read("ignition.available_voltage", "31 kV", "coil 2"),
            ]
        },
        traits=traits,
    )
    assert not [one for one in made.findings if one.calls_for == "ignition.replace_coil"]
    assert made.may_propose("ignition.replace_coil")


# ---- a charge that takes the complaint away and leaves the fault


def charged_and_loaded(volts: str) -> Assessment:
    """Slow, charged, and quick again; full by its open-circuit voltage, half its rating drawn for 15 s."""
    rested = {"battery.rest_time": "12 h", "battery.temperature": "7 °C"}
    under = {"battery.load_current": "260 A", "battery.load_time": "15 s", "battery.temperature": "7 °C"}
    return visit(
        "cranks_slowly",
        {"seen": [{"of": "battery.cranks", "is": "slow"}]},
        {"setup": rested, "readings": [read("battery.open_circuit_voltage", "12.3 V")]},
        {"repaired": {"operation": "battery.charge"}},
        {"complaint_again": {"is": "gone"}, "seen": [{"of": "battery.cranks", "is": "normal"}]},
        {"setup": rested, "readings": [read("battery.open_circuit_voltage", "12.72 V")]},
        {"setup": under, "readings": [read("battery.load_voltage", volts, confirmed=True)]},
        traits={
            "battery.type": "EFB",
            "battery.rating": "520 A SAE",
            "battery.capacity": "60 Ah",
            "battery.drive": "combustion engine",
        },
    )


@pytest.mark.parametrize(("volts", "worn"), [("6.9 V", True), ("10.4 V", False)])
def test_a_battery_that_cranks_after_a_charge_and_sags_far_under_load_is_worn_all_the_same(
    volts: str, worn: bool
) -> None:
    """At 7 °C a lead-acid battery that is good holds 9.3 to 9.4 V at this load (from memory)."""
    assert charged_and_loaded(volts).may_propose("battery.replace") is worn


# ---- what stands in a plug's well


def chance_of_wet_well(stands: str) -> float:
    traits = {"ignition.kind": "coil on plug", "ignition.cylinders": "4", "egr.engine": "petrol"}
    wells = [
        {"of": "ignition.wells", "place": f"cylinder {n}", "is": stands if n == 4 else "dry"}
        for n in range(1, 5)
    ]
    made = visit("misses_under_load", {"codes": {"stored": ["P0304"]}}, {"seen": wells}, traits=traits)
    return next((one.probability for one in made.suspects if one.fault == "wet_well"), 0.0)


def test_water_in_a_plug_s_well_says_more_than_oil_does_and_a_dry_one_speaks_against_both() -> None:
    water, oil, dry = map(chance_of_wet_well, ("water in it", "oil in it", "dry"))
    assert water > 1.25 * oil > 1.25 * 4.0 * dry


# ---- a code of a circuit that few sound vehicles have


@pytest.mark.parametrize("code", ["P0403", "P0406"])
def test_a_code_of_a_circuit_leaves_little_room_for_a_system_without_a_fault(code: str) -> None:
    traits = {"egr.engine": "petrol", "egr.valve": "vacuum, with regulator"}
    made = visit("engine_lamp", {"codes": {"stored": [code]}}, traits=traits)
    sound = {one.fault: one.probability for one in made.suspects if not one.system}
    assert sound.get("none", 0.0) < 0.05
    assert sound.get("outside", 0.0) < 0.2
