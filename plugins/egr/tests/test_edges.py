"""Named thresholds of the EGR system's checks, just inside and just outside."""

from __future__ import annotations

from typing import Any

import pytest

import corekit as ck

# ---- a regulator that is hardly commanded gives next to nothing on purpose: below 20 % (source: regulator)


@pytest.mark.parametrize("duty", ["5 %", "19 %"])
def test_below_a_fifth_of_duty_the_regulator_is_excused(car: Any, duty: str) -> None:
    found = car.read("vacuum_on", "0.6 inHg", setup={"duty": duty}).finding("egr.vacuum_on")
    assert (found.verdict, found.probability, found.calls_for) == (ck.Verdict.UNDECIDED, None, "")
    assert found.next_test == "egr.vacuum_on"


@pytest.mark.parametrize("duty", ["80 %", "90 %"])
def test_from_much_duty_the_regulator_answers_for_its_vacuum_where_its_outlet_lacks_it_too(
    car: Any, duty: str
) -> None:
    car.read("vacuum_outlet", "0.7 inHg", setup={"duty": duty}).read("supply_vacuum", "19.5 inHg")
    found = car.read("vacuum_on", "0.6 inHg", setup={"duty": duty}).finding("egr.vacuum_on")
    assert found.probability is not None and found.probability < 0.05
    assert found.calls_for == "egr.replace_regulator"


@pytest.mark.parametrize(("source", "calls"), [("19.5 inHg", True), ("3 inHg", False), ("", False)])
@pytest.mark.parametrize("code", ["egr.vacuum_on", "egr.vacuum_outlet"])
def test_a_regulator_is_not_blamed_for_giving_little_before_it_is_known_to_get_enough(
    car: Any, source: str, calls: bool, code: str
) -> None:
    if source:
        car.read("supply_vacuum", source)
    car.read("vacuum_outlet", "0.7 inHg", setup={"duty": "90 %"})
    found = car.read("vacuum_on", "0.6 inHg", setup={"duty": "90 %"}).finding(code)
    assert found.verdict is ck.Verdict.FAIL
    assert (found.calls_for == "egr.replace_regulator") is calls


@pytest.mark.parametrize("outlet", ["", "12 inHg"])
def test_little_vacuum_at_the_valve_alone_is_a_fault_and_no_regulator_s_yet(car: Any, outlet: str) -> None:
    """A leak behind the regulator does the same: its outlet is read first."""
    if outlet:
        car.read("vacuum_outlet", outlet, setup={"duty": "90 %"})
    found = car.read("vacuum_on", "0.6 inHg", setup={"duty": "90 %"}).finding("egr.vacuum_on")
    assert found.verdict is ck.Verdict.FAIL and found.calls_for == ""


@pytest.mark.parametrize(
    ("hose", "valve", "calls"),
    [("0.2 inHg", "0.2 inHg", True), ("8 inHg", "0.2 inHg", False), ("0.2 inHg", "8 inHg", False)],
)
def test_where_nothing_behind_it_leaks_the_regulator_answers_without_its_outlet(
    car: Any, hose: str, valve: str, calls: bool
) -> None:
    car.read("hose_loss", hose).read("hold_loss", valve).read("supply_vacuum", "19.5 inHg")
    found = car.read("vacuum_on", "0.6 inHg", setup={"duty": "90 %"}).finding("egr.vacuum_on")
    assert (found.calls_for == "egr.replace_regulator") is calls


@pytest.mark.parametrize("duty", ["20 %", "33 %"])
def test_little_vacuum_at_little_duty_condemns_no_regulator(car: Any, duty: str) -> None:
    # one remembered design gives 0.55 to 2.05 inHg at 33 %
    found = car.read("vacuum_on", "0.6 inHg", setup={"duty": duty}).finding("egr.vacuum_on")
    assert found.probability is not None and found.probability > 0.05


@pytest.mark.parametrize("duty", ["19 %", "21 %"])
def test_enough_vacuum_passes_on_either_side_of_a_fifth_of_duty(car: Any, duty: str) -> None:
    found = car.read("vacuum_on", "12 inHg", setup={"duty": duty}).finding("egr.vacuum_on")
    assert found.probability is not None and found.probability > 0.95


# ---- a back-pressure valve stays shut below 1500 rpm (source: valve-by-hand)


def no_rise(bench: Any, speed: str) -> ck.Finding:
    bench.fit("valve", "vacuum, back-pressure type")
    for of in ("manifold_shut", "manifold_open"):
        bench.read(of, "33 kPa", using="tester", setup={"engine_speed": speed})
    found: ck.Finding = bench.finding("egr.manifold_rise")
    return found


@pytest.mark.parametrize("speed", ["800 rpm", "1450 rpm"])
def test_a_back_pressure_valve_that_stays_shut_below_1500_rpm_is_left_open(car: Any, speed: str) -> None:
    found = no_rise(car, speed)
    assert (found.verdict, found.probability) == (ck.Verdict.UNDECIDED, None)
    assert found.next_test == "egr.manifold_open"


@pytest.mark.parametrize("speed", ["1550 rpm", "2500 rpm"])
def test_a_back_pressure_valve_that_stays_shut_above_1500_rpm_lets_too_little_through(
    car: Any, speed: str
) -> None:
    found = no_rise(car, speed)
    assert found.probability is not None and found.probability < 0.05


def test_a_plain_valve_has_no_such_excuse(car: Any) -> None:
    no_rise(car, "1450 rpm")
    found = car.fit("valve", "vacuum, with regulator").finding("egr.manifold_rise")
    assert found.probability is not None and found.probability < 0.05


# ---- below 1 kPa across the orifice the zero of the gauge outweighs the flow (source: sensor-rails)


@pytest.mark.parametrize(("read", "judged"), [("0.95 kPa", False), ("1.05 kPa", True), ("1.9 kPa", True)])
def test_a_flow_is_judged_from_1_kpa_across_the_orifice_on(car: Any, read: str, judged: bool) -> None:
    found = (
        car.specify("pressure_open", low="10 kPa").read("pressure_open", read).finding("egr.relative_flow")
    )
    assert found.verdict is (ck.Verdict.FAIL if judged else ck.Verdict.UNDECIDED)
    assert (found.next_test == "egr.pressure_open") is not judged


def test_hoses_are_called_exchanged_from_less_than_200_pa_below_nothing_on(car: Any) -> None:
    def says(read: str) -> str:
        found = car.read("pressure_open", read).finding("egr.relative_flow")
        assert found.verdict is ck.Verdict.UNDECIDED
        template: str = found.text.template
        return template

    assert says("-0.25 kPa") == says("-3 kPa") != says("0.6 kPa") == says("-0.15 kPa")


# ---- a signal below 0.10 V or above 4.90 V is electrical and no pressure (source: sensor-rails)


@pytest.mark.parametrize(
    ("volts", "electrical"),
    [("0.06 V", True), ("0.09 V", True), ("0.11 V", False), ("4.89 V", False), ("4.91 V", True)],
)
def test_a_signal_is_electrical_from_a_tenth_of_a_volt_from_either_end_on(
    car: Any, volts: str, electrical: bool
) -> None:
    car.read("sensor_supply", "5.00 V", using="meter").read("signal_zero", volts, using="meter")
    assert len(car.findings("egr.signal_rail")) == electrical
    assert len(car.findings("egr.zero")) == (not electrical)


# ---- a coil is open above 200 Ω and shorted below 5 Ω, whatever the design (source: coil-limits)


@pytest.mark.parametrize("ohms", ["3.9 Ω", "4.9 Ω", "201 Ω", "390 Ω"])
def test_beyond_5_and_200_ohm_a_coil_needs_no_temperature(car: Any, ohms: str) -> None:
    assert not car.read("coil", ohms, using="meter").gaps("coil_checked")
    assert car.finding("egr.coil").limits[0].key == "egr.coil_any"


@pytest.mark.parametrize("ohms", ["5.1 Ω", "9 Ω", "110 Ω", "199 Ω"])
def test_between_5_and_200_ohm_a_coil_only_advises_where_no_temperature_brings_it_within_the_usual(
    car: Any, ohms: str
) -> None:
    found = car.read("coil", ohms, using="meter").finding("egr.coil")
    assert found.verdict is ck.Verdict.ADVICE and found.probability < 0.05 and found.next_test == ""


# ---- a vehicle's own figure may lie beyond what holds for any design


def own_coil(car: Any, ohms: str, temperature: str = "", **ends: str) -> Any:
    car.describe("meter", "0.5 % + 2 digits", **{"200 Ω": "0.1 Ω", "2 kΩ": "1 Ω"}).specify("coil", **ends)
    setup = {"coil_temperature": temperature} if temperature else {}
    return car.read("coil", ohms, using="meter", setup=setup)


@pytest.mark.parametrize(
    ("ohms", "ends"),
    [("260 Ω", {"low": "240 Ω", "high": "280 Ω"}), ("4.0 Ω", {"low": "3.0 Ω", "high": "6.0 Ω"})],
    ids=["above 200 ohm", "below 5 ohm"],
)
def test_a_coil_within_its_own_figure_passes_at_20_degrees_and_waits_for_its_temperature(
    car: Any, ohms: str, ends: dict[str, str]
) -> None:
    open_yet = own_coil(car, ohms, **ends).finding("egr.coil")
    assert (open_yet.verdict, open_yet.next_test) == (ck.Verdict.UNDECIDED, "egr.coil_temperature")
    found = own_coil(car, ohms, "20 °C", **ends).finding("egr.coil")
    assert (found.verdict, found.calls_for) == (ck.Verdict.PASS, "")
    assert found.text.template


def test_a_hot_coil_above_200_ohm_is_held_cold_against_its_own_figure(car: Any) -> None:
    # copper, 0.393 % for each kelvin from 20 °C: 310 Ω at 80 °C are 310 / 1.2358 = 250.9 Ω
    found = own_coil(car, "310 Ω", "80 °C", low="240 Ω", high="280 Ω").finding("egr.coil")
    assert found.verdict is ck.Verdict.PASS
    assert found.value is not None and found.value.number == pytest.approx(250.9, abs=0.1)


@pytest.mark.parametrize("temperature", ["", "20 °C"])
@pytest.mark.parametrize(
    ("ohms", "ends", "verdict", "limit"),
    [
        ("5 MΩ", {"low": "240 Ω", "high": "280 Ω"}, ck.Verdict.FAIL, "egr.coil"),
        ("450 Ω", {"high": "280 Ω"}, ck.Verdict.FAIL, "egr.coil"),  # 290 Ω even if it had 160 °C
        ("0.8 Ω", {"low": "240 Ω"}, ck.Verdict.FAIL, "egr.coil"),
        ("5 MΩ", {"low": "20 Ω"}, ck.Verdict.FAIL, "egr.coil_any"),
        ("0.8 Ω", {"high": "40 Ω"}, ck.Verdict.FAIL, "egr.coil_any"),
    ],
)
def test_an_open_or_shorted_coil_never_passes_by_its_own_figure(
    car: Any, ohms: str, ends: dict[str, str], verdict: ck.Verdict, limit: str, temperature: str
) -> None:
    found = own_coil(car, ohms, temperature, **ends).finding("egr.coil")
    assert (found.verdict, found.limits[0].key) == (verdict, limit)
    assert found.calls_for == "egr.replace_regulator"


# ---- a supply that is not right bars every judgement of a signal, whichever check makes it (4 to 6 V)

SIGNALS = {
    "egr.idle_signal": ("signal_idle", "0.6 V"),
    "egr.vented": ("signal_vented", "0.5 V"),
    "egr.answer_upstream": ("signal_upstream", "0.5 V"),
    "egr.free_rise": ("signal_free", "0.5 V"),
    "egr.signal_rise": ("signal_open", "0.5 V"),
}


@pytest.mark.parametrize("supply", ["0.2 V", "2.9 V", "3.9 V", "6.1 V", "12 V"])
@pytest.mark.parametrize("code", SIGNALS)
def test_no_signal_is_judged_with_a_supply_that_is_not_right(car: Any, code: str, supply: str) -> None:
    key, typed = SIGNALS[code]
    car.fit("sensor", "differential pressure, earlier type").see("reaction", "runs rough")
    car.read("signal_zero", "0.5 V").read("hand_pressure", "10 kPa diff").read(key, typed)
    car.read("sensor_supply", supply)
    assert code not in {finding.code for finding in car.findings()}
    assert any("repair the supply" in gap.text for gap in car.gaps())


@pytest.mark.parametrize("supply", ["4.1 V", "5.0 V", "5.9 V"])
@pytest.mark.parametrize("code", SIGNALS)
def test_with_a_supply_just_inside_what_is_right_each_signal_is_judged(
    car: Any, code: str, supply: str
) -> None:
    key, typed = SIGNALS[code]
    car.fit("sensor", "differential pressure, earlier type").see("reaction", "runs rough")
    car.read("signal_zero", "0.5 V").read("hand_pressure", "10 kPa diff").read(key, typed)
    car.read("sensor_supply", supply)
    assert code in {finding.code for finding in car.findings()}
    assert not any("repair the supply" in gap.text for gap in car.gaps())
