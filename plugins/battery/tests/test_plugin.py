"""The plugin as a whole: it loads through its entry point, every reference leads somewhere, and the fault
table keeps its promises.
"""

from __future__ import annotations

import itertools
import re
from pathlib import Path
from typing import Any

import corekit_battery
import pytest
from corekit_battery import battery

from corekit.testing import Shown, installed_plugins, shown

FOLDER = Path(corekit_battery.__file__).parent
TEXT = {path.name: path.read_text("utf-8") for path in FOLDER.glob("*.py")}
TABLE = battery.faults
assert TABLE is not None


def test_the_plugin_comes_through_its_entry_point() -> None:
    plugins = installed_plugins()
    assert not [failure for failure in plugins.failures if failure.plugin == "battery"]
    assert plugins.systems["battery"] is battery
    assert battery.loose_ends() == []


def test_a_plugin_imports_nothing_of_corekit_but_its_face() -> None:
    for name, text in TEXT.items():
        assert not re.findall(r"^\s*(?:from|import) corekit\.", text, re.MULTILINE), name
        assert not re.findall(r"^\s*from corekit import", text, re.MULTILINE), name


def test_every_source_is_used_and_every_used_source_exists() -> None:
    used = {limit.source.key for limit in battery.limits.values()}
    used |= {calculation.source for calculation in battery.calculations.values()}
    text = " ".join(TEXT.values())
    used |= set(re.findall(r"source: ([a-z0-9-]+)", text))
    used |= set(re.findall(r'computed_limit\(\s*"[^"]+",\s*"([a-z0-9-]+)"', text))
    assert used == set(battery.sources)


def test_every_source_says_what_it_is_and_how_we_know() -> None:
    for source in battery.sources.values():
        assert source.title and source.basis and source.status
        assert source.where or source.address


def test_every_limit_has_a_width_with_its_reason_and_the_weakest_only_advise() -> None:
    assert all(limit.why for limit in battery.limits.values())
    assert {key for key, limit in battery.limits.items() if not limit.decides} == {
        "battery.charge_for_load_by_type",
        "battery.deep_discharge",
        "battery.cranking_at_minus_10",
        "battery.cranking_at_minus_20",
        "battery.charging_voltage_managed",
        "battery.parasitic_draw",
        "battery.ripple",
        "battery.output",
        "battery.settled_charge",
    }


def test_every_measurand_says_how_and_has_an_accuracy() -> None:
    for measurand in battery.measurands.values():
        assert measurand.accuracy.percent or measurand.accuracy.amount
        assert measurand.how or measurand.key == "battery.engine_speed"


def test_the_keys_a_visit_file_uses_exist() -> None:
    for key in (
        "open_circuit_voltage",
        "rest_time",
        "temperature",
        "cranking_voltage",
        "load_current",
        "load_time",
        "load_voltage",
        "charging_voltage",
        "parasitic_draw",
    ):
        assert f"battery.{key}" in battery.measurands
    assert {"battery.case", "battery.level", "battery.terminals"} <= set(battery.observations)
    assert {"battery.type", "battery.rating", "battery.capacity"} <= set(battery.traits)
    done = ("replace", "trace_draw", "charge", "clean_contacts", "charging_repair", "repair_cable")
    assert {f"battery.{name}" for name in done} == set(battery.operations)
    assert [key for key, operation in battery.operations.items() if operation.replaces] == ["battery.replace"]


def test_a_new_battery_ends_all_that_was_known_of_the_old_one() -> None:
    of_the_battery = {
        "type",
        "caps",
        "acid",
        "rating",
        "capacity",
        "full_voltage",
        "label_voltage",
        "reserve",
    }
    assert {key for key, trait in battery.traits.items() if trait.part == "battery.battery"} == {
        f"battery.{name}" for name in of_the_battery
    }
    assert {trait.part for trait in battery.traits.values()} == {"battery.battery", ""}


@pytest.mark.parametrize("word", ["safe", "safely", "safety"])
def test_a_word_that_promises_too_much_is_printed_nowhere(word: str) -> None:
    everything = " ".join(
        [
            *TEXT.values(),
            *((FOLDER / name).read_text("utf-8") for name in ("limits.toml", "faults.toml", "sources.toml")),
        ]
    )
    assert not re.findall(rf"\b{word}\b", everything, re.IGNORECASE)


# ---- the fault table


def called(**results: str) -> bool:
    return shown(battery, **results).calls_for("replace")


def test_the_table_says_that_its_numbers_are_estimates() -> None:
    head = (FOLDER / "faults.toml").read_text("utf-8").split("[faults]")[0]
    assert "ESTIMATE" in head
    assert all(fault.why for fault in TABLE.faults.values())
    assert all(row.why for test in TABLE.tests.values() for row in test.given.values())


def test_a_charged_battery_that_sags_under_load_is_called_worn_whatever_single_number_is_wrong() -> None:
    results = shown(battery, open_circuit_voltage="charged", load="sags")
    assert results.chances["worn_out"] >= 0.80
    assert results.calls_for("replace")
    # also with a drain and a small loss at the clamps found in the same visit
    assert called(open_circuit_voltage="charged", load="sags", case="sound", contact="drop", drain="high")


@pytest.mark.parametrize("outcome", ["very low", "low", "charged"])
def test_one_voltage_alone_never_calls_for_a_battery(outcome: str) -> None:
    assert not called(open_circuit_voltage=outcome)
    assert not any(row.direct for row in TABLE.tests["open_circuit_voltage"].given.values())


def test_without_a_failed_direct_test_no_other_outcome_whatever_calls_for_a_battery() -> None:
    indirect = {
        key: test for key, test in TABLE.tests.items() if not any(row.direct for row in test.given.values())
    }
    assert {
        "open_circuit_voltage",
        "contact",
        "joint",
        "cables",
        "charging",
        "ripple",
        "drain",
        "terminals",
    } == set(indirect)
    for results in itertools.product(*(test.outcomes for test in indirect.values())):
        assert not called(**dict(zip(indirect, results, strict=True)), case="sound")


def test_a_discharged_battery_never_calls_for_a_battery_even_when_it_was_put_under_load(bench: Any) -> None:
    bench.fit("rating", "640 A SAE").fit("type", "flooded")
    for volts in ("11.6 V", "12.0 V", "12.3 V"):
        bench.read("open_circuit_voltage", volts, setup={"rest_time": "9 h", "temperature": "10 °C"})
        bench.read(
            "load_voltage",
            "7.9 V",
            setup={"load_current": "320 A", "load_time": "15 s", "temperature": "10 °C"},
        )
        made: Shown = bench.shown()
        assert "load" not in made.tests
        assert not made.calls_for("replace")


def test_the_worn_battery_of_a_visit_is_called_for(worn: Any) -> None:
    made: Shown = worn.shown()
    assert {"open_circuit_voltage", "load", "case"} <= set(made.tests)
    assert made.calls_for("replace")


@pytest.mark.parametrize("seen", ["cracked", "swollen", "leaking"])
def test_a_case_plainly_seen_to_be_broken_calls_for_a_battery_and_ice_does_not(seen: str) -> None:
    assert called(case=seen)
    assert not called(case="frozen")


def test_every_check_that_the_table_names_is_a_code_some_check_yields() -> None:
    text = " ".join(TEXT.values())
    for test in TABLE.tests.values():
        assert not test.code or re.search(rf'Claim\(\s*"{test.code}"', text)
