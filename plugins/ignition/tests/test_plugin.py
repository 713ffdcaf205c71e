"""The plugin as a whole: what it declares, where its figures come from, and when its fault table calls for a
part.
"""

from __future__ import annotations

import itertools
import re
from pathlib import Path
from typing import Any

import corekit_ignition
import pytest
from corekit_ignition import ignition

import corekit as ck
from corekit.testing import Assessment, Proof, assessed, shown

HERE = Path(__file__).parent
FOLDER = Path(corekit_ignition.__file__).parent
TEXT = {path.name: path.read_text("utf-8") for path in FOLDER.glob("*.py")}
assert ignition.faults is not None
TABLE = ignition.faults
PARTS = [key for key, operation in ignition.operations.items() if operation.replaces]


def test_the_system_has_no_loose_ends() -> None:
    assert ignition.loose_ends() == []


def test_it_imports_only_what_corekit_exports() -> None:
    for name, text in TEXT.items():
        beyond = r"^\s*(?:from|import) corekit(?:\.(?!practice )|_battery|_egr)"
        assert not re.findall(beyond, text, re.MULTILINE), name


def test_every_source_is_used_and_every_used_source_exists() -> None:
    used = {limit.source.key for limit in ignition.limits.values()}
    used |= {calculation.source for calculation in ignition.calculations.values()}
    text = " ".join(TEXT.values())
    used |= set(re.findall(r"source: ([a-z0-9-]+)", text))
    used |= set(re.findall(r'computed_limit\(\s*"[^"]+",\s*"([a-z0-9-]+)"', text))
    assert used == set(ignition.sources)


def test_every_source_says_what_it_is_and_how_we_know() -> None:
    for source in ignition.sources.values():
        assert source.title and source.basis and source.status and source.where


def test_no_resistance_decides_anything_because_no_figure_on_file_is_citable() -> None:
    assert {key for key, limit in ignition.limits.items() if limit.decides} == {
        "ignition.feed_drop",
        "ignition.ground_drop",
        "ignition.supply_cranking",
        "ignition.supply_there",
        "ignition.supply_high",
        # like places held against each other
        "ignition.firing_apart",
        "ignition.current_apart",
        "ignition.compression_apart",
    }
    assert all(limit.why for limit in ignition.limits.values())


def test_every_measurand_says_how_has_an_accuracy_and_where_work_can_hurt_a_hazard() -> None:
    harmless = {f"ignition.{key}" for key in ("engine_speed", "revolutions", "lead_length", "plug_distance")}
    for measurand in ignition.measurands.values():
        assert measurand.accuracy.percent or measurand.accuracy.amount
        assert measurand.how, measurand.key
        assert bool(measurand.hazard) != (measurand.key in harmless), measurand.key


@pytest.mark.parametrize(
    "key",
    ["supply_cranking", "supply_running", "feed_drop", "firing_voltage", "available_voltage", "peak_current"],
)
def test_whoever_works_at_a_live_ignition_is_told_that_it_can_kill(key: str) -> None:
    assert "kill" in ignition.measurands[f"ignition.{key}"].hazard


def test_a_spark_test_says_fuel_tester_and_implant_first() -> None:
    hazard = ignition.observations["ignition.spark"].hazard
    assert all(word in hazard for word in ("pacemaker", "disabled first", "Never crank with a lead", "belts"))


def test_every_operation_can_be_priced_and_says_what_shows_that_it_worked() -> None:
    assert set(PARTS) == {
        "ignition.replace_plugs",
        "ignition.replace_coil",
        "ignition.replace_leads",
        "ignition.replace_boots",
        "ignition.replace_cap",
    }
    assert all(operation.shown_by in ignition.measurands for operation in ignition.operations.values())


def test_a_new_coil_ends_what_was_known_of_the_old_one() -> None:
    ended = {key for key, trait in ignition.traits.items() if trait.part == "ignition.coil"}
    assert ended == {
        "ignition.coil_type",
        "ignition.diode",
        "ignition.inductance",
        "ignition.coil_resistance",
    }


@pytest.mark.parametrize("word", ["safe", "safely", "safety"])
def test_a_word_that_promises_too_much_is_printed_nowhere(word: str) -> None:
    everything = " ".join(
        [
            *TEXT.values(),
            *((FOLDER / name).read_text("utf-8") for name in ("limits.toml", "faults.toml", "sources.toml")),
        ]
    )
    assert not re.findall(rf"\b{word}\b", everything, re.IGNORECASE)


@pytest.mark.parametrize("key", ["replace_plugs", "set_gaps"])
def test_whoever_fits_plugs_is_told_how_tight_by_published_ranges_and_that_the_engines_own_data_win(
    key: str,
) -> None:
    # of plug makers, lbf ft in an aluminium head
    charts = {
        "M10": (7.2, 8.7),
        "M12": (10.8, 14.5),
        "M14 with a gasket": (18.0, 21.6),
        "M14 with a cone": (7.2, 14.5),
    }
    hazard = ignition.operations[f"ignition.{key}"].hazard
    assert "as this engine's data say" in hazard and "started by hand" in hazard and "cold" in hazard
    for thread, (low, high) in charts.items():
        found = re.search(rf"{thread} (\d+) to (\d+) Nm", hazard)
        assert found is not None, thread
        assert [int(one) for one in found.groups()] == pytest.approx([low * 1.35582, high * 1.35582], abs=0.8)


@pytest.mark.parametrize("key", ["inject", "pressure"])
def test_no_line_of_direct_injection_is_opened(key: str) -> None:
    assert "2500 bar" in (hazard := ignition.observations[f"ignition.{key}"].hazard) and "no line" in hazard


def test_leaks_are_sought_with_smoke_and_never_with_a_spray_that_burns() -> None:
    assert "never with a spray that burns" in ignition.observations["ignition.intake_smoke"].hazard


@pytest.mark.parametrize("key", ["spark", "switching", "rpm", "ripplecrank"])
def test_whoever_cranks_rests_the_starter_and_keeps_the_key_away(key: str) -> None:
    hazard = ignition.observations[f"ignition.{key}"].hazard
    assert "10 s at most, then rest 60 s" in hazard and "key well away" in hazard


def test_water_mist_is_sprayed_hands_off() -> None:
    hazard = ignition.observations["ignition.mist"].hazard
    assert "Hands off" in hazard and "pacemaker" in hazard


# ---- the fault table


def test_every_answer_of_an_observation_is_an_outcome_or_speaks_of_something_new() -> None:
    for test in TABLE.tests.values():
        if test.seen:
            answers = {answer.value for answer in ignition.observations[test.seen].answers}
            left = answers - {word for words in test.answers for word in words}
            assert left <= {"not reached", "new"}, test.key


def test_the_table_says_that_its_numbers_are_estimates() -> None:
    assert "ESTIMATE" in (FOLDER / "faults.toml").read_text("utf-8").split("[faults]")[0]
    assert all(fault.why for fault in TABLE.faults.values())
    assert all(row.why for test in TABLE.tests.values() for row in test.given.values())


@pytest.mark.parametrize(
    ("told", "results", "operation"),
    [
        ("misses_under_load", {"coil_swap": "followed"}, "replace_coil"),
        ("misses_under_load", {"plug_swap": "followed"}, "replace_plugs"),
        ("misses_under_load", {"lead_swap": "followed"}, "replace_leads"),
        ("misses_under_load", {"plug_face": "cracked"}, "replace_plugs"),
        ("misses_under_load", {"plug_face": "worn", "plug_gap": "wide"}, "replace_plugs"),
        ("misses_under_load", {"lead_look": "tracked", "lead": "open"}, "replace_leads"),
        ("misses_in_the_wet", {"cap_look": "tracked"}, "replace_cap"),
    ],
)
def test_what_speaks_plainly_against_a_part_calls_for_it_and_for_no_other(
    told: str, results: dict[str, str], operation: str
) -> None:
    made = shown(ignition, None, [told], **results)
    assert [part for part in PARTS if made.calls_for(part)] == [f"ignition.{operation}"]


def test_a_winding_off_its_figure_calls_for_no_coil_and_an_open_one_does_once_the_supply_was_found_good() -> (
    None
):
    good = {"spark": "none", "feed": "within", "ground": "within", "switching": "pulses"}
    assert not shown(ignition, secondary="outside", **good).calls_for("replace_coil")
    assert not shown(ignition, primary="off its figure", **good).calls_for("replace_coil")
    assert not shown(ignition, primary="open or shorted").calls_for("replace_coil")
    assert shown(ignition, primary="open or shorted", **good).calls_for("replace_coil")


def test_no_ohm_reading_is_direct_unless_it_is_beyond_any_design() -> None:
    ohms = {"primary", "secondary", "secondary_path", "lead"}
    direct = {outcome for key in ohms for row in TABLE.tests[key].given.values() for outcome in row.direct}
    assert direct == {"open or shorted", "open"}


def test_no_outcomes_without_a_failed_direct_test_ever_call_for_a_part() -> None:
    indirect = {
        key: test for key, test in TABLE.tests.items() if not any(row.direct for row in test.given.values())
    }
    assert {"feed", "ground", "switching", "spark", "current", "misfire_code", "coil_code", "where"} < set(
        indirect
    )
    first = ("feed", "switching", "spark", "current", "coil_code", "where")
    for results in itertools.product(*(indirect[key].outcomes for key in first)):
        made = shown(ignition, **dict(zip(first, results, strict=True)))
        assert not any(made.calls_for(part) for part in PARTS)


def test_what_looks_like_ignition_is_found_and_referred_and_no_part_of_it_is_called_for() -> None:
    for results, fault in (
        ({"where": "one", "inject": "moves or differs"}, "injector"),
        ({"where": "several", "trims": "lean at idle only", "intake_smoke": "leaks"}, "air_leak"),
        ({"where": "one", "ripplecrank": "one low"}, "compression"),
        ({"where": "all", "trims": "lean under load", "pressure": "low"}, "fuel"),
        ({"spark": "none", "switching": "does not", "rpm": "none"}, "no_crank_signal"),
    ):
        made = shown(ignition, **results)
        assert max(made.chances, key=made.chances.__getitem__) == fault
        assert TABLE.faults[fault].refer and not TABLE.faults[fault].calls_for
        assert not any(made.calls_for(part) for part in PARTS)


def test_what_harms_the_coil_counts_where_it_was_found_and_is_never_proposed() -> None:
    told = ["cranks_no_start"]
    before = shown(ignition, None, told)
    assert "tower_gap" not in [test.key for test in before.next_tests]
    found = shown(ignition, None, told, tower_gap="fires with the gap alone")
    assert found.chances["bad_cap"] > before.chances["bad_cap"]


def test_a_coil_on_plug_is_offered_boots_and_neither_leads_nor_a_distributor() -> None:
    only = {key: fault.only.get("ignition.kind", ()) for key, fault in TABLE.faults.items()}
    assert "coil on plug" not in (*only["bad_lead"], *only["bad_cap"]) and only["bad_boot"] == (
        "coil on plug",
    )
    for key in ("lead", "lead_look", "lead_swap", "cap_look", "spark_at_coil"):
        assert "coil on plug" not in TABLE.tests[key].only["ignition.kind"], key
    assert shown(ignition, None, ["misses_in_the_wet"], boot_look="tracked", boot="goes").calls_for(
        "replace_boots"
    )


def test_a_distributors_cap_is_asked_for_only_where_there_is_a_distributor() -> None:
    for only in (TABLE.faults["bad_cap"].only, TABLE.tests["cap_look"].only):
        assert only["ignition.kind"] == ("distributor",)


def test_what_belongs_to_the_spark_is_left_out_on_a_diesel_and_nothing_else() -> None:
    spark = {key for key, fault in TABLE.faults.items() if fault.only.get("egr.engine") == ("petrol",)}
    assert set(TABLE.faults) - spark == {
        "no_crank_signal",
        "injector",
        "air_leak",
        "compression",
        "valve_timing",
        "fuel",
    }


def test_breaker_points_have_no_sensor_no_scan_tool_and_no_counter() -> None:
    electronic = {"ignition.coil_type": ("electronic",)}
    assert electronic.items() <= TABLE.faults["no_crank_signal"].only.items()
    assert {key for key, test in TABLE.tests.items() if electronic.items() <= test.only.items()} == {
        "rpm",
        "where",
        "where_code",
    }


@pytest.mark.parametrize("key", ["supply_key_on", "switching"])
def test_no_test_lamp_is_held_to_a_coil(key: str) -> None:
    declared = {**ignition.measurands, **ignition.observations}[f"ignition.{key}"]
    assert "No test lamp" in declared.hazard and "5 V logic" in declared.hazard
    assert "test light" not in declared.how


def test_whoever_reads_the_switched_terminal_is_told_how_high_it_kicks() -> None:
    assert "200 to 450 V" in ignition.observations["ignition.switching"].hazard
    assert "200 to 450 V" in ignition.measurands["ignition.dwell"].hazard


def test_a_cylinder_is_found_by_cutting_its_injector_and_never_its_coil() -> None:
    for how in (ignition.measurands["ignition.misfires"].how, ignition.observations["ignition.where"].how):
        assert "injector" in how and "ever" in how and "coil" in how


def test_a_weak_supply_explains_a_weak_spark_and_clears_the_coil() -> None:
    weak = shown(ignition, spark="weak").chances
    explained = shown(ignition, spark="weak", feed="too high").chances
    assert explained["weak_supply"] > 0.8
    assert explained["bad_coil"] < weak["bad_coil"] / 3


def test_after_a_weak_spark_the_supply_is_tested_before_any_part_is_touched() -> None:
    assert shown(ignition, None, ["cranks_no_start"], spark="weak").next_tests[0].key == "feed"
    order = [test.key for test in shown(ignition, spark="weak").next_tests]
    assert all(
        order.index("feed") < order.index(part)
        for part in ("coil_swap", "plug_swap", "lead", "primary", "plug_face")
    )


def test_no_misfire_count_however_bad_calls_for_a_coil(four: Any) -> None:
    for place in range(1, 5):
        four.read(
            "misfires", "500" if place == 2 else "0", place=f"cylinder {place}", setup={"revolutions": "1000"}
        )
    made = four.shown()
    assert made.tests == ["where"]
    assert not any(made.calls_for(part) for part in PARTS)


def test_what_is_only_usual_never_reaches_the_table(four: Any) -> None:
    four.read(
        "primary_resistance", "40 Ω", place="coil 1", using="meter", setup={"winding_temperature": "20 °C"}
    )
    four.read(
        "secondary_resistance", "90 kΩ", place="coil 1", using="meter", setup={"winding_temperature": "20 °C"}
    )
    four.read("lead_resistance", "400 kΩ", place="lead 1", using="meter")
    assert {finding.code for finding in four.findings()} == {
        "ignition.primary_usual",
        "ignition.secondary_usual",
        "ignition.lead_usual",
    }
    assert four.shown().tests == []


def test_every_check_that_the_table_names_is_a_code_some_check_yields() -> None:
    text = " ".join(TEXT.values())
    for test in TABLE.tests.values():
        assert not test.code or f'"{test.code}"' in text


# ---- whole visits


def visit(name: str, *changes: tuple[str, str]) -> Assessment:
    text = (HERE / name).read_text("utf-8")
    for old, new in changes:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return assessed(text)


def test_a_lossy_feed_is_found_beside_the_battery_repaired_and_shown() -> None:
    made = visit("visit.toml")
    assert made.may_propose("ignition.repair_supply") and not [
        part for part in PARTS if made.may_propose(part)
    ]
    (repair,) = made.repairs
    assert (
        repair.proof is Proof.SHOWN
        and repair.finding is not None
        and repair.finding.of == "ignition.feed_drop"
    )
    assert "coil supply is weak, which explains it" in " ".join(str(finding) for finding in made.findings)
    assert not [
        finding
        for finding in made.current
        if finding.system == "ignition" and finding.urgency is ck.Urgency.BEFORE_DRIVING
    ]


def test_a_feed_that_is_as_bad_after_the_repair_is_not_repaired_yet() -> None:
    made = visit("visit.toml", ('is = "13.78 V"', 'is = "9.6 V"'))
    assert made.repairs[0].proof is Proof.NOT_YET


def test_without_the_batterys_reading_the_feed_stays_open_and_the_weak_spark_asks_for_it() -> None:
    battery = '  { of = "battery.charging_voltage", is = "13.9 V", with = "meter" },\n'
    coil = '  { of = "ignition.supply_running", is = "9.4 V"'
    made = visit("visit.toml", (battery + coil, coil))
    assert not made.may_propose("ignition.repair_supply")
    arrival = [
        finding for finding in made.findings if finding.stage == 0 and finding.code == "ignition.spark"
    ]
    assert [finding.next_test for finding in arrival] == ["ignition.feed_drop"]


def test_a_second_fault_leaves_new_plugs_not_repaired_yet_and_names_the_next_test() -> None:
    made = visit("second_fault.toml")
    assert made.may_propose("ignition.replace_plugs") and not made.may_propose("ignition.replace_coil")
    (repair,) = made.repairs
    assert (repair.operation, repair.proof) == ("ignition.replace_plugs", Proof.NOT_YET)
    assert "ignition.coil_swap" in [test.wants for test in made.next_tests]


def test_a_misfire_that_follows_the_coil_lets_the_coil_be_offered() -> None:
    spark = 'place = "cylinder 3", is = "weak or intermittent" }'
    made = visit("second_fault.toml", (spark, spark + ', { of = "ignition.coil_swap", is = "followed it" }'))
    assert made.may_propose("ignition.replace_coil")
    assert made.suspects[0].fault == "bad_coil"


def test_a_code_brings_the_ignition_in_and_calls_for_nothing() -> None:
    head = 'job = "a-job"\nreason = "Lamp."\nvehicle = { plate = "DEMO-1" }\n[[step]]\n'
    for code, there in (("P0303", True), ("P0353", True), ("P0128", False)):
        made = assessed(f'{head}codes = {{ stored = ["{code}"] }}\n')
        assert bool([test for test in made.next_tests if test.system == "ignition"]) is there
        assert not [part for part in PARTS if made.may_propose(part)]
