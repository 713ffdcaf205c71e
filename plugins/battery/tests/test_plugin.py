"""The plugin as a whole: it loads through its entry point, and every reference leads somewhere."""

from __future__ import annotations

import re
from pathlib import Path

import corekit_battery
import pytest
from corekit_battery import battery

from corekit.testing import installed_plugins

FOLDER = Path(corekit_battery.__file__).parent
TEXT = {path.name: path.read_text("utf-8") for path in FOLDER.glob("*.py")}


def test_the_plugin_comes_through_its_entry_point() -> None:
    plugins = installed_plugins()
    assert not [failure for failure in plugins.failures if failure.plugin == "battery"]
    assert plugins.systems["battery"] is battery
    assert battery.loose_ends() == []


def test_a_plugin_imports_nothing_of_corekit_but_its_face() -> None:
    for name, text in TEXT.items():
        assert not re.findall(r"^\s*(?:from|import) corekit\.(?!practice import)", text, re.MULTILINE), name
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
        "age",
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
