"""Visits with exhaust gas recirculation as people meet them: each kind of system, each group of codes, trials
in vain, two faults at once, nothing wrong, and causes that lie elsewhere.

What is expected is the trade's judgement: what leads, what may be proposed, and that nothing else is sold.
"""

from __future__ import annotations

from typing import Any

import attrs
import pytest

from .test_sequences import Step, assessed, called, chances, leads, repaired, seen, tried

PETROL = {"egr.engine": "petrol", "egr.cooler": "not fitted"}
VACUUM = {**PETROL, "egr.valve": "vacuum, with regulator", "egr.sensor": "differential pressure, later type"}
BEFORE = {**VACUUM, "egr.layout": "before the valve"}
NO_FEEDBACK = {**VACUUM, "egr.sensor": "no sensor"}
BACK_PRESSURE = {**PETROL, "egr.valve": "vacuum, back-pressure type", "egr.sensor": "no sensor"}
SOLENOID = {**PETROL, "egr.valve": "electric solenoid", "egr.sensor": "valve position"}
MOTOR = {**SOLENOID, "egr.valve": "electric motor"}
DIESEL = {**MOTOR, "egr.engine": "diesel", "egr.cooler": "fitted"}
LAMP = ("engine_lamp",)


def codes(*stored: str) -> Step:
    return {"codes": {"stored": list(stored)}}


def read(under: dict[str, str] | None = None, **values: str) -> Step:
    """Readings with the conditions they were read under."""
    rows = [{"of": f"egr.{key}", "is": value} for key, value in values.items()]
    setup = {f"egr.{key}": value for key, value in (under or {}).items()}
    return {"readings": rows, **({"setup": setup} if setup else {})}


def in_vain(*parts: str) -> list[Step]:
    return [tried(f"egr.{part}", "renewed", "stayed", before=True) for part in parts]


FED = {"sensor_supply": "5.00 V"}
IDLE = {"barometer": "100 kPa", "engine_speed": "750 rpm"}
ASKED = {"duty": "90 %"}
GONE = {"complaint_again": {"is": "gone"}}


@attrs.frozen(kw_only=True)
class Visit:
    """A visit, what leads at its end, and the work that may be proposed then.

    `also`: what may lead as well. `least`: the chance that what leads has at least.
    """

    told: tuple[str, ...] = LAMP
    fitted: dict[str, str]
    steps: list[Step]
    leads: str
    also: tuple[str, ...] = ()
    calls: frozenset[str] = frozenset()
    least: float = 0.0


CLEAN, HOSES, VACUUM_HOSE = "egr.clean", "egr.replace_sensing_hoses", "egr.replace_vacuum_hose"
WIRING, SENSOR, VALVE = "egr.repair_wiring", "egr.replace_sensor", "egr.replace_valve"
REGULATOR, FILTER = "egr.replace_regulator", "egr.clean_filter"

VISITS = {
    # ---- a valve with a regulator and a differential-pressure sensor
    "two sensors in vain, too much flow, and smoke from the downstream hose": Visit(
        fitted=BEFORE,
        steps=[
            *in_vain("sensor"),
            codes("P0402"),
            read(FED, signal_zero="0.98 V", sensor_supply="5.01 V", sensor_ground="0.02 V"),
            read({**FED, "engine_speed": "780 rpm"}, signal_idle="1.62 V"),
            seen(egr__intake_smoke="from the downstream sensor hose"),
        ],
        leads="egr.downstream_hose",
        calls=frozenset({HOSES}),
        least=0.6,
    ),
    "little supply, a regulator in vain, and hoses that look sound": Visit(
        fitted=VACUUM,
        steps=[
            *in_vain("regulator"),
            codes("P0401"),
            read(IDLE, supply_vacuum="4 inHg"),
            seen(egr__vacuum_hoses="sound"),
        ],
        leads="egr.vacuum_hose",
    ),
    "the same, and the manifold has its vacuum": Visit(
        fitted=VACUUM,
        steps=[
            codes("P0401"),
            read(IDLE, supply_vacuum="4 inHg", manifold_shut="33 kPa"),
            seen(egr__vacuum_hoses="sound"),
        ],
        leads="egr.vacuum_hose",
        calls=frozenset({VACUUM_HOSE}),
    ),
    "little supply because the engine itself makes little": Visit(
        fitted=VACUUM,
        steps=[
            codes("P0401"),
            seen(egr__vacuum_hoses="sound"),
            read(IDLE, supply_vacuum="9 inHg", manifold_shut="70 kPa"),
        ],
        leads="outside",
    ),
    "an open coil and its code": Visit(
        fitted=VACUUM,
        steps=[codes("P0403"), seen(egr__coil_path="reads open")],
        leads="egr.regulator_coil",
        calls=frozenset({REGULATOR}),
        least=0.86,
    ),
    "the code of the control circuit, a regulator in vain, and no command at the plug": Visit(
        fitted=VACUUM,
        steps=[
            *in_vain("regulator"),
            codes("P0403"),
            read({"coil_temperature": "25 °C"}, coil="32 Ω"),
            read(duty="0 %", commanded="45 %"),
        ],
        leads="egr.wiring",
        calls=frozenset({WIRING}),
        least=0.7,
    ),
    "a signal at the rail, a sensor in vain, and no ground": Visit(
        fitted=VACUUM,
        steps=[
            *in_vain("sensor"),
            codes("P0406"),
            read(FED, signal_zero="4.97 V", sensor_supply="5.0 V", sensor_ground="4.6 V"),
        ],
        leads="egr.wiring",
        calls=frozenset({WIRING}),
        least=0.86,
    ),
    "what the plug shows does not reach the ECU": Visit(
        fitted=VACUUM,
        steps=[
            codes("P0409"),
            read(
                FED, signal_zero="1.0 V", signal_seen="0.02 V", sensor_supply="5.0 V", sensor_ground="0.01 V"
            ),
        ],
        leads="egr.wiring",
        calls=frozenset({WIRING}),
        least=0.7,
    ),
    "a cracked hose renewed in vain, and an engine that ignores a valve that moves": Visit(
        fitted=VACUUM,
        steps=[
            codes("P0401"),
            seen(egr__sensing_hoses="cracked"),
            repaired(HOSES),
            codes("P0401"),
            {"complaint_again": {"is": "stayed"}},
            seen(egr__stem="moves", egr__reaction="no change"),
        ],
        leads="egr.passage",
        calls=frozenset({CLEAN}),
        least=0.7,
    ),
    "hoses swapped at the last work: the signal falls where it should rise": Visit(
        fitted=VACUUM,
        steps=[
            *in_vain("sensor"),
            codes("P0401"),
            seen(egr__reaction="stalls"),
            read(FED, signal_zero="1.0 V", signal_open="0.5 V"),
        ],
        leads="egr.downstream_hose",
        also=("egr.upstream_hose",),
        calls=frozenset({HOSES}),
    ),
    "rough at idle only, and even once its vacuum is plugged; the filter is blocked": Visit(
        told=("idles_roughly", "engine_lamp"),
        fitted=VACUUM,
        steps=[
            codes("P0402"),
            seen(egr__rough="rough at idle, runs well at speed", egr__idle_plugged="idles evenly then"),
            read(vacuum_off="6 inHg"),
            seen(egr__vent_filter="blocked"),
        ],
        leads="egr.regulator_open",
        also=("egr.vent_filter",),
        calls=frozenset({FILTER}),
    ),
    "the same with a clean filter": Visit(
        told=("idles_roughly", "engine_lamp"),
        fitted=VACUUM,
        steps=[
            codes("P0402"),
            seen(egr__rough="rough at idle, runs well at speed", egr__idle_plugged="idles evenly then"),
            read(vacuum_off="6 inHg"),
            seen(egr__vent_filter="clean"),
        ],
        leads="egr.regulator_open",
        calls=frozenset({REGULATOR}),
        least=0.86,
    ),
    "a seat that leaks is cleaned before a valve is renewed": Visit(
        told=("dies_at_the_lights", "idles_roughly"),
        fitted=VACUUM,
        steps=[
            codes("P0402"),
            seen(egr__rough="idles roughly", egr__idle_plugged="idles roughly all the same"),
            read(vacuum_off="0 inHg"),
            seen(egr__seat="leaks"),
        ],
        leads="egr.valve_seat",
        calls=frozenset({CLEAN}),
    ),
    "what leaves the regulator does not arrive, and the valve holds": Visit(
        told=("pings",),
        fitted=NO_FEEDBACK,
        steps=[
            codes(),
            read(IDLE, supply_vacuum="19 inHg"),
            read(ASKED, duty="90 %", vacuum_on="0.4 inHg", vacuum_outlet="7 inHg"),
            read(hold_loss="0.2 inHg"),
        ],
        leads="egr.valve_hose",
        calls=frozenset({VACUUM_HOSE}),
    ),
    "the same, and the valve does not hold": Visit(
        told=("pings",),
        fitted=NO_FEEDBACK,
        steps=[
            codes(),
            read(IDLE, supply_vacuum="19 inHg"),
            read(ASKED, duty="90 %", vacuum_on="0.4 inHg", vacuum_outlet="7 inHg"),
            read(hold_loss="9.5 inHg"),
        ],
        leads="egr.diaphragm",
        calls=frozenset({VALVE}),
        least=0.86,
    ),
    "pings uphill, a choked passage, cleaned and gone": Visit(
        told=("engine_lamp", "pings"),
        fitted=NO_FEEDBACK,
        steps=[
            codes("P0401"),
            seen(egr__stem="moves", egr__reaction="changes slightly", egr__deposits="choked"),
            repaired(CLEAN),
            read({"engine_speed": "750 rpm"}, manifold_shut="34 kPa", manifold_open="42 kPa"),
            seen(egr__monitor="has run since clearing, and passed"),
            GONE,
        ],
        leads="none",
        least=0.8,
    ),
    # ---- a back-pressure valve
    "a back-pressure valve that neither holds nor opens at idle": Visit(
        told=("failed_emission_test",),
        fitted=BACK_PRESSURE,
        steps=[
            read(hold_loss="10 inHg"),
            seen(egr__reaction="no change", egr__stem="does not move"),
        ],
        leads="ignition.worn_plugs",
        also=("none", "outside", "egr.passage"),
    ),
    "a back-pressure valve that lets go at speed, on an exhaust that was opened up": Visit(
        fitted=BACK_PRESSURE,
        steps=[
            codes("P0401"),
            seen(egr__raised="does not hold", egr__exhaust="leaks, or opened up"),
        ],
        leads="egr.diaphragm",
        also=("outside",),
    ),
    # ---- a valve that a motor or a solenoid opens
    "a crumb under the valve: stalls at the lights": Visit(
        told=("engine_lamp", "dies_at_the_lights"),
        fitted=SOLENOID,
        steps=[
            codes("P0404"),
            read(position_closed="14 %", position_learned="2 %"),
            seen(egr__rough="rough at idle, runs well at speed", egr__flap="jams with soot"),
        ],
        leads="egr.soot_seat",
        calls=frozenset({CLEAN}),
    ),
    "washed under the bonnet, and no supply at the valve": Visit(
        fitted=SOLENOID,
        steps=[codes("P0405"), read(sensor_supply="0.1 V"), seen(egr__fed="bad")],
        leads="egr.motor_wiring",
        calls=frozenset({WIRING}),
        least=0.86,
    ),
    "a valve in vain, the control circuit low, and a bad feed": Visit(
        fitted=DIESEL,
        steps=[
            *in_vain("valve"),
            codes("P0489"),
            seen(egr__sweep="does not follow", egr__motor_current="no current", egr__fed="bad"),
        ],
        leads="egr.motor_wiring",
        calls=frozenset({WIRING}),
        least=0.86,
    ),
    "well fed, and it takes no current and does not move": Visit(
        fitted=MOTOR,
        steps=[
            codes("P0404"),
            read({"commanded": "40 %"}, position="0 %"),
            read(drive_current="0.0 A"),
            seen(egr__fed="good under load"),
        ],
        leads="egr.valve_motor",
        calls=frozenset({VALVE}),
        least=0.86,
    ),
    "a position that jumps under the hand": Visit(
        told=("jerks_at_steady_speed", "engine_lamp"),
        fitted=DIESEL,
        steps=[
            codes("P0404", "P0406"),
            seen(
                egr__sweep="slow or short of the ends",
                egr__fed="good under load",
                egr__position_by_hand="jumps",
            ),
        ],
        leads="egr.valve_position",
        calls=frozenset({VALVE}),
        least=0.8,
    ),
    "stuck open by its code, closed off its learned place": Visit(
        told=("idles_roughly", "engine_lamp"),
        fitted=SOLENOID,
        steps=[codes("P042E"), seen(egr__rough="idles roughly", egr__learned="off the learned value")],
        leads="egr.soot_valve",
        also=("egr.soot_seat",),
    ),
    # ---- diesel: cooler, throttle, air mass, intake
    "white smoke, and coolant that nobody sees leave": Visit(
        told=("white_smoke_coolant_lost", "engine_lamp"),
        fitted=DIESEL,
        steps=[codes("P2413"), seen(egr__coolant="lost, and no leak seen outside", egr__sweep="follows")],
        leads="egr.cooler_leak",
    ),
    "black smoke, a valve in vain, and an intake that leaks": Visit(
        told=("no_power", "black_smoke", "engine_lamp"),
        fitted=DIESEL,
        steps=[
            *in_vain("valve"),
            codes("P0402"),
            seen(egr__sweep="follows", egr__air_mass="off by more", egr__intake_smoke="leaks"),
        ],
        leads="egr.intake_leak",
        least=0.8,
    ),
    "little flow through a valve that follows: the cooler is clogged": Visit(
        told=("uses_more_fuel",),
        fitted=DIESEL,
        steps=[
            {"codes": {"stored": [], "pending": ["P0401"]}},
            read({"commanded": "40 %"}, error="-90 %"),
            read({"engine_speed": "800 rpm"}, air_shut="12.0 g/s", air_open="11.5 g/s"),
            seen(
                egr__sweep="follows",
                egr__flap="thin soot, moves",
                egr__deposits="light deposits",
                egr__cooler_drop="high",
            ),
        ],
        leads="egr.cooler_clogged",
        least=0.86,
    ),
    "the throttle's code, and a throttle that does not follow": Visit(
        fitted=DIESEL,
        steps=[codes("P0488"), seen(egr__throttle="does not follow")],
        leads="egr.throttle",
        least=0.86,
    ),
    "an air mass that such an engine cannot draw, and a tight intake": Visit(
        told=("uses_more_fuel", "engine_lamp"),
        fitted={**DIESEL, "egr.displacement": "2.0 L"},
        steps=[
            codes("P0402"),
            seen(egr__sweep="follows", egr__intake_smoke="tight"),
            read(
                {"engine_speed": "2500 rpm", "intake_air": "25 °C"},
                air_shut="22 g/s",
                manifold_shut="101 kPa",
            ),
        ],
        leads="egr.air_mass_meter",
        least=0.7,
    ),
    "soot under the flap, cleaned, taught, gone": Visit(
        told=("no_power", "black_smoke"),
        fitted=DIESEL,
        steps=[
            codes("P0402"),
            seen(
                egr__sweep="slow or short of the ends",
                egr__learned="off the learned value",
                egr__fed="good under load",
                egr__flap="jams with soot",
            ),
            repaired(CLEAN),
            {**seen(egr__sweep="follows", egr__learned="as learned"), **codes()},
            GONE,
        ],
        leads="none",
        least=0.8,
    ),
    # ---- nothing wrong, and elsewhere
    "a check-up in thin air": Visit(
        told=("check_up",),
        fitted={**VACUUM, "egr.sensor": "differential pressure, earlier type"},
        steps=[
            codes(),
            read({"barometer": "78 kPa"}, supply_vacuum="13.2 inHg"),
            read({"sensor_supply": "5.02 V"}, signal_zero="0.46 V", sensor_supply="5.02 V"),
            read(vacuum_off="0.2 inHg", hold_loss="0.3 inHg"),
            seen(egr__reaction="stalls", egr__sensing_hoses="sound", egr__vacuum_hoses="sound"),
        ],
        leads="none",
        least=0.8,
    ),
    "rough, lean, tight at its seat, and an intake that smokes": Visit(
        told=("idles_roughly", "engine_lamp"),
        fitted=VACUUM,
        steps=[
            codes("P0171"),
            seen(
                egr__rough="idles roughly",
                egr__idle_plugged="idles roughly all the same",
                egr__seat="tight",
                egr__intake_smoke="leaks",
            ),
            read(vacuum_off="0 inHg"),
        ],
        leads="outside",
        least=0.6,
    ),
    "a blocked exhaust is put right before the valve is judged": Visit(
        told=("no_power", "engine_lamp"),
        fitted=VACUUM,
        steps=[codes("P0402"), seen(egr__exhaust="blocked")],
        leads="outside",
    ),
    "everything is as it should be, and the code comes back": Visit(
        fitted=VACUUM,
        steps=[
            *in_vain("sensor", "valve"),
            codes("P0401"),
            seen(
                egr__reaction="stalls",
                egr__stem="moves",
                egr__sensing_hoses="sound",
                egr__vacuum_hoses="sound",
                egr__deposits="light deposits",
                egr__ports="free",
                egr__pulses="felt at both",
                egr__vent_filter="clean",
            ),
            read(IDLE, supply_vacuum="19 inHg"),
            read({"duty": "85 %"}, vacuum_on="6 inHg", duty="85 %"),
            read(vacuum_off="0 inHg", hold_loss="0 inHg"),
            read(FED, signal_zero="1.0 V", sensor_supply="5.0 V", sensor_ground="0.01 V"),
            read({**FED, "engine_speed": "800 rpm"}, signal_open="3.0 V"),
            read({**FED, "hand_vacuum": "5 inHg"}, signal_pumped="3.0 V"),
        ],
        leads="none",
        also=("outside",),
    ),
}


@pytest.mark.parametrize("visit", list(VISITS.values()), ids=list(VISITS))
def test_a_visit_leads_to_what_the_trade_would_say_and_sells_nothing_else(visit: Visit) -> None:
    made = assessed(visit.steps, *visit.told, fitted=visit.fitted)
    found: dict[str, Any] = chances(made)
    first = leads(made)
    assert first in {visit.leads, *visit.also}, sorted(found.items(), key=lambda one: -one[1])[:4]
    assert found[first] >= visit.least, found[first]
    now = {call.operation for call in made.calls_at(made.job.stage) if call.met}
    assert now == visit.calls


def test_the_visits_hold_every_kind_of_system_and_every_group_of_codes() -> None:
    fitted = {(visit.fitted["egr.valve"], visit.fitted["egr.engine"]) for visit in VISITS.values()}
    assert len(fitted) == 5
    asked = {
        code for visit in VISITS.values() for code in str(visit.steps).split("'") if code[:2] in ("P0", "P2")
    }
    groups = (
        "P0401",
        "P0402",
        "P0403",
        "P0404",
        "P0405",
        "P0406",
        "P0409",
        "P0488",
        "P0489",
        "P042E",
        "P2413",
    )
    assert asked >= set(groups)


def test_no_visit_ever_calls_for_a_part_on_its_code_alone() -> None:
    for code in ("P0400", "P0401", "P0402", "P0403", "P0404", "P0405", "P0486", "P0489", "P2413"):
        for fitted in (VACUUM, NO_FEEDBACK, BACK_PRESSURE, SOLENOID, DIESEL):
            assert not called(assessed([codes(code)], "engine_lamp", fitted=fitted)), (code, fitted)
