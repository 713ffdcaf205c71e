"""Engine cooling: steam and glycol tables, what each check says, and which cause the fault table names."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from corekit_cooling import cooling
from corekit_cooling.coolant import boils_at, glycol_by_frost, water_boils_at
from hypothesis import given
from hypothesis import strategies as st

import corekit as ck
from corekit.testing import Bench, Examples, assessed, conformance, expected, outcome, shown

EXAMPLES = Examples.beside(__file__)

test_conformance = conformance(cooling, examples=25)


@pytest.mark.parametrize(
    ("row", "source"), [pytest.param(row, source, id=key) for key, row, source in EXAMPLES.rows]
)
def test_a_worked_example_comes_out_as_its_source_says(row: dict[str, Any], source: str) -> None:
    number, within = expected(cooling, row)
    assert outcome(cooling, row) == pytest.approx(number, abs=within, rel=0), source


@given(st.floats(0, 4e5), st.floats(5e4, 1.1e5), st.floats(0, 0.6), st.floats(1.001, 1.2))
def test_more_pressure_never_boils_sooner(cap: float, air: float, glycol: float, more: float) -> None:
    rounding = 1e-9
    assert boils_at.si(min(cap * more, 4e5), air, glycol) >= boils_at.si(cap, air, glycol) - rounding
    assert boils_at.si(cap, air, glycol) >= water_boils_at.si(cap + air)


@given(st.floats(0, 0.6))
def test_antifreeze_delays_boiling_about_as_much_as_an_ideal_mixture_would(glycol: float) -> None:
    # Raoult's law: the water's share of molecules, 18.015 and 62.07 g/mol, 0.998 and 1.113 g/ml at 20 °C
    water, antifreeze = (1 - glycol) * 0.998 / 18.015, glycol * 1.113 / 62.07
    ideal = water_boils_at.si(101325 * (water + antifreeze) / water) - water_boils_at.si(101325)
    assert boils_at.si(0, 101325, glycol) - water_boils_at.si(101325) == pytest.approx(ideal, abs=2.0)


@given(st.floats(221.15, 273.15), st.floats(221.15, 273.15))
def test_more_frost_protection_is_more_antifreeze(one: float, other: float) -> None:
    low, high = sorted((one, other))
    assert glycol_by_frost.si(low) >= glycol_by_frost.si(high)


def warmed_up(*points: tuple[str, str]) -> Bench:
    return Bench(cooling).fit("thermostat_marking", "88 °C").record("warm_up", *points)


def ends_at(celsius: float) -> Bench:
    return warmed_up(
        ("0 s", "8 °C"), ("600 s", f"{celsius} °C"), ("720 s", f"{celsius} °C"), ("840 s", f"{celsius} °C")
    )


@pytest.mark.parametrize(
    ("celsius", "verdict"), [(61, "fail"), (72, "fail"), (79, "undecided"), (85, "pass"), (92, "pass")]
)
def test_an_engine_that_settles_far_below_the_marking_stays_cold(celsius: float, verdict: str) -> None:
    assert ends_at(celsius).finding("cooling.settled").verdict == verdict


def test_one_reading_does_in_place_of_a_record() -> None:
    made = Bench(cooling).fit("thermostat_marking", "88 °C").read("temperature", "61 °C")
    assert made.finding("cooling.settled").verdict is ck.Verdict.FAIL


def test_a_record_that_has_not_settled_says_so() -> None:
    gaps = warmed_up(("0 s", "8 °C"), ("300 s", "45 °C"), ("600 s", "80 °C")).gaps("settled")
    assert "not settled" in gaps[0].text


@pytest.mark.parametrize(
    ("celsius", "verdict"), [(100, "pass"), (115, "undecided"), (119, "undecided"), (130, "fail")]
)
def test_hot_coolant_is_told_before_driving(celsius: float, verdict: str) -> None:
    found = ends_at(celsius).finding("cooling.hottest")
    assert found.verdict == verdict
    assert (found.urgency is ck.Urgency.BEFORE_DRIVING) is (verdict != "pass")


@pytest.mark.parametrize(
    ("volts", "grade", "work"),
    [
        ("12.4 V", "stands with voltage", "cooling.replace_fan"),
        ("0.2 V", "no voltage", ""),
        ("9.1 V", "", ""),
    ],
)
def test_a_fan_that_stands_is_its_motor_only_with_its_voltage(volts: str, grade: str, work: str) -> None:
    made = Bench(cooling).see("fan", "stays off although the engine is hot").read("fan_supply", volts)
    found = made.finding("cooling.fan")
    assert (found.grade, found.calls_for) == (grade, work)


def test_without_the_voltage_at_the_fan_nothing_is_said_of_its_motor() -> None:
    made = Bench(cooling).see("fan", "stays off although the engine is hot")
    assert made.finding("cooling.fan").next_test == "cooling.fan_supply"
    assert not made.shown().calls_for("replace_fan")


@pytest.mark.parametrize(
    ("opened", "verdict"), [("0.5 bar", "fail"), ("0.87 bar", "undecided"), ("1.0 bar", "pass")]
)
def test_a_cap_that_opens_early_is_weak(opened: str, verdict: str) -> None:
    made = Bench(cooling).fit("cap_marking", "1.0 bar").read("cap_opens", opened)
    assert made.finding("cooling.cap").verdict == verdict


def at_its_hottest(celsius: float, cap: str) -> Bench:
    made = ends_at(celsius).read("cap_opens", cap).read("frost_protection", "-37 °C")
    return made.read("air_pressure", "1013 mbar")


@pytest.mark.parametrize(("cap", "verdict"), [("0.05 bar", "fail"), ("1.0 bar", "pass")])
def test_a_cap_that_holds_nothing_brings_the_coolant_near_boiling(cap: str, verdict: str) -> None:
    # water at 1.063 bar 101.3 °C (steam tables), and 7.2 K more for half antifreeze: 108.5 °C
    assert at_its_hottest(107, cap).finding("cooling.margin").verdict == verdict


def test_the_margin_to_boiling_means_nothing_while_the_engine_stays_cold() -> None:
    gaps = at_its_hottest(61, "1.0 bar").gaps("margin")
    assert ["while this stands: Warmed up, the coolant stays" in gap.text for gap in gaps] == [True]


def test_an_air_pressure_that_nobody_read_takes_both_ends_of_what_is_usual() -> None:
    made = ends_at(90).read("cap_opens", "1.0 bar").read("frost_protection", "-37 °C")
    assert made.finding("cooling.margin").verdict is ck.Verdict.PASS


@pytest.mark.parametrize(
    ("down_to", "verdict"), [("-5 °C", "fail"), ("-25 °C", "undecided"), ("-37 °C", "pass")]
)
def test_thin_coolant_freezes(down_to: str, verdict: str) -> None:
    assert Bench(cooling).read("frost_protection", down_to).finding("cooling.frost").verdict == verdict


@pytest.mark.parametrize(
    ("fall", "verdict"), [("0.02 bar", "pass"), ("0.12 bar", "undecided"), ("0.4 bar", "fail")]
)
def test_lost_pressure_is_a_leak(fall: str, verdict: str) -> None:
    assert Bench(cooling).read("pressure_fall", fall).finding("cooling.kept").verdict == verdict


def test_a_drip_at_the_radiator_says_nothing_of_the_pump() -> None:
    made = Bench(cooling).see("wet", "drips", "radiator").see("wet", "dry", "water pump")
    made.see("level", "below the lower mark").read("pressure_fall", "0.4 bar")
    chances = made.shown().chances
    assert chances["radiator_leak"] > 0.86
    assert chances["pump_leak"] < 0.05
    assert made.shown().calls_for("replace_radiator") and not made.shown().calls_for("replace_pump")


def test_the_hose_speaks_directly_against_the_thermostat() -> None:
    told = shown(cooling, None, ["uses_more_fuel"], hose="from the start", settled="well below")
    assert told.calls_for("replace_thermostat")
    assert max(told.chances, key=lambda fault: told.chances[fault]) == "thermostat_open"


def test_a_cold_engine_alone_calls_for_no_part() -> None:
    assert not shown(cooling, None, ["uses_more_fuel"], settled="well below").calls_for("replace_thermostat")


def test_gas_in_the_coolant_is_referred_and_not_sold() -> None:
    table = cooling.faults
    assert table is not None
    assert table.faults["head_gasket"].refer and not table.faults["head_gasket"].calls_for
    told = shown(cooling, None, ["overheats"], block_test="turns colour", hottest="too hot")
    assert max(told.chances, key=lambda fault: told.chances[fault]) == "head_gasket"


def test_an_engine_without_coolant_is_not_run() -> None:
    table = cooling.faults
    assert table is not None
    seen = {"cooling.level": "none to be seen"}
    assert table.barred(seen) >= {"hose", "settled", "hottest", "fan", "block_test"}
    assert "kept" not in table.barred(seen)


def test_whatever_is_done_at_the_cap_says_never_to_open_it_hot() -> None:
    at_the_cap = ("cap_opens", "pressure_fall", "frost_protection")
    for key in at_the_cap:
        assert "Never open a hot cap" in cooling.measurands[f"cooling.{key}"].hazard
    for key in ("level", "wet", "block_test"):
        assert "Never open a hot cap" in cooling.observations[f"cooling.{key}"].hazard
    for key, work in cooling.operations.items():
        assert ("Never open a hot cap" in work.hazard) is (key != "cooling.replace_fan"), key


def test_a_visit_finds_the_thermostat_that_does_not_close() -> None:
    made = assessed((Path(__file__).parent / "visit.toml").read_text("utf-8"))
    assert made.suspects[0].fault == "thermostat_open"
    assert [call.operation for call in made.calls if call.met] == ["cooling.replace_thermostat"]
