"""Practice cars: what they answer, what work does to them, and what a visit to one comes to."""

from __future__ import annotations

import random

import attrs
import pytest

from corekit.intake.declared import Declared
from corekit.intake.visit import read_visit
from corekit.model.measurand import answers_of
from corekit.plugin.host import load
from corekit.practice import At, Practice, PracticeError, invented, practices
from corekit.practice.car import typed
from corekit.practice.driving import counts, drive, repaired_as_needed, visited

PLUGINS = load()
PARTS = practices(PLUGINS)
SYSTEMS = tuple(PARTS)


def test_the_three_systems_that_ship_first_can_be_practised() -> None:
    assert {"battery", "egr", "ignition"} <= set(SYSTEMS)


@pytest.mark.parametrize("system", SYSTEMS)
def test_a_practice_vehicle_answers_or_refuses_with_a_reason_whatever_its_system_declares(
    system: str,
) -> None:
    assert PARTS[system].unanswered() == {}
    assert all(PARTS[system].refused.values())


@pytest.mark.parametrize("system", SYSTEMS)
def test_the_same_seed_makes_the_same_car_and_another_seed_another(system: str) -> None:
    one, again = (invented(PARTS, 11, system=system) for _ in range(2))
    assert (one.states, [str(each) for each in one.hidden]) == (
        again.states,
        [str(each) for each in again.hidden],
    )
    assert len({str(invented(PARTS, seed, system=system).states) for seed in range(8)}) == 8


@pytest.mark.parametrize("system", SYSTEMS)
def test_every_answer_of_a_practice_car_is_one_that_its_system_knows(system: str) -> None:
    for seed in range(60):
        car = invented(PARTS, seed, system=system)
        for key in PARTS[system].sight:
            declared = PLUGINS.observations[key]
            for place in declared.places or ("",):
                assert car.seen(key, At(place)) in (None, *answers_of(declared.answers)), (seed, key, place)
        for key in PARTS[system].fitting:
            answers = PLUGINS.traits[key].answers
            assert answers is None or car.fitted(key) in (None, *answers_of(answers)), (seed, key)


@pytest.mark.parametrize("faults", [1, 2])
@pytest.mark.parametrize("system", SYSTEMS)
def test_doing_all_the_work_that_is_needed_ends_the_complaint(system: str, faults: int) -> None:
    for seed in range(150):
        car = invented(PARTS, seed, faults=faults, system=system)
        assert car.complaints
        done = repaired_as_needed(car)
        own = [one for one in car.hidden if one.defect.mends]
        if len(own) == len(car.hidden):  # what is somebody else's work stays
            assert (seed, done.complaints, done.needed) == (seed, (), ())


def test_a_sound_car_complains_of_nothing_and_needs_nothing() -> None:
    for seed in range(100):
        car = invented(PARTS, seed, faults=0)
        assert (seed, car.complaints, car.needed, car.codes) == (seed, (), (), ())


def test_repairs_of_what_is_sound_leave_the_fault_there() -> None:
    parts = practices(PLUGINS, ["battery"])
    car = next(
        car for car in (invented(parts, seed) for seed in range(99)) if car.hidden[0].defect.key == "draw"
    )
    assert car.after("battery.replace").after("battery.clean_contacts").needs("battery.trace_draw")
    assert car.after("battery.trace_draw").needs("battery.trace_draw") is False


# ---- physics, against what stands outside


def _supply(**sizes: object) -> object:
    """A battery car with a sound supply of these sizes."""
    car = invented(practices(PLUGINS, ["battery"]), 3, faults=0)
    return attrs.evolve(car, states={"battery": attrs.evolve(car.states["battery"], **sizes)})


def test_a_joint_loses_its_resistance_times_the_current() -> None:
    """Ohm's law: 12 mΩ at the starter's own current."""
    car = _supply(posts=0.012, cables=0.0)
    current = car.number(PLUGINS.measurands["battery.starter_current"])  # type: ignore[attr-defined]
    drop = PLUGINS.measurands["battery.voltage_drop"]
    lost = car.number(drop, At("positive post to clamp"))  # type: ignore[attr-defined]
    assert lost == pytest.approx(0.012 * current)
    posts, clamps = (
        car.number(PLUGINS.measurands["battery.cranking_voltage"], At(place))  # type: ignore[attr-defined]
        for place in ("posts", "clamps")
    )
    assert posts - clamps == pytest.approx(2 * 0.012 * current)


@pytest.mark.parametrize(
    ("charge", "volts"), [(1.0, 12.65), (0.75, 12.45), (0.5, 12.24), (0.25, 12.06), (0.0, 11.89)]
)
def test_a_flooded_battery_at_rest_stands_where_the_printed_scale_has_it(charge: float, volts: float) -> None:
    """The scale of state of charge that battery handbooks print, 25 °C (from memory)."""
    car = _supply(kind="flooded", charge=charge)
    shown = car.number(PLUGINS.measurands["battery.open_circuit_voltage"])  # type: ignore[attr-defined]
    assert shown == pytest.approx(volts, abs=0.005)


def test_a_sound_battery_gives_its_rated_current_in_the_cold_at_seven_volts_or_more() -> None:
    """SAE J537: at −18 °C and its rated current 7.2 V or more; ours may lie a third to either side."""
    car = _supply(kind="flooded", charge=1.0, left=1.0, warmth=-18.0, rating=680.0)
    load = PLUGINS.measurands["battery.load_voltage"]
    volts = car.number(load, At(setup={"battery.load_current": 680.0}))  # type: ignore[attr-defined]
    assert 7.2 * 2 / 3 < volts < 7.2 * 4 / 3


def test_pressure_across_the_orifice_falls_with_the_square_of_what_the_passage_leaves() -> None:
    """ISO 5167-2: the differential pressure goes with the square of the flow."""
    car = invented(practices(PLUGINS, ["egr"]), 1, faults=0)
    state = attrs.evolve(car.states["egr"], valve="vacuum, with regulator", passage=1.0)
    pressure = PLUGINS.measurands["egr.pressure_open"]
    whole, half = (
        attrs.evolve(car, states={"egr": attrs.evolve(state, passage=share)}).number(pressure)
        for share in (1.0, 0.5)
    )
    assert whole is not None and half is not None
    assert half / whole == pytest.approx(0.25)


# ---- what a meter shows


@pytest.mark.parametrize(
    ("number", "unit", "step", "text"),
    [
        (12.3456, "V", 0.01, "12.35 V"),
        (12.3456, "V", 0.05, "12.35 V"),
        (-0.001, "V", 0.01, "0 V"),
        (1234.0, "A", 100.0, "1200 A"),
        (1.0, "1", 0.1, "1"),
        (0.5, "mm", 0.0, "0.5 mm"),
    ],
)
def test_a_number_is_typed_as_a_meter_would_show_it(number: float, unit: str, step: float, text: str) -> None:
    assert typed(number, unit, step) == text


def test_a_meter_is_wrong_by_no_more_than_its_sheet_allows_and_not_always_the_same() -> None:
    car = invented(practices(PLUGINS, ["battery"]), 3, faults=0)
    volts = PLUGINS.measurands["battery.open_circuit_voltage"]
    true = car.number(volts)
    assert true is not None
    draw = random.Random(1)
    shown = [float(car.shown(volts, At(), draw).split()[0]) for _ in range(200)]
    allowed = 0.005 * true + 0.02 + 0.01  # its worst ordinary meter is declared as 0.5 % + 0.02 V; and a step
    assert all(abs(one - true) <= 1.2 * allowed for one in shown)
    assert len(set(shown)) > 3


# ---- visits


@pytest.mark.parametrize("system", SYSTEMS)
def test_a_visit_is_a_file_that_reads_and_ends_the_same_again(system: str) -> None:
    parts = practices(PLUGINS, [system])
    first, again = (visited(invented(parts, 7), PLUGINS) for _ in range(2))
    assert first == again
    assert read_visit(first.visit.encode(), Declared.of(PLUGINS, currency="EUR")).steps


@pytest.mark.parametrize("system", SYSTEMS)
def test_few_visits_exchange_a_sound_part(system: str) -> None:
    made = drive(12, 100, PLUGINS, systems=[system])
    found = counts(made)
    assert sum(found[how] for how in ("right", "in vain", "left over", "wrong", "undecided")) == 12
    assert found["wrong part"] == 0, [(one.seed, one.wrong_parts) for one in made if one.wrong_parts]


def test_work_on_what_is_sound_is_seen_and_named() -> None:
    """A car whose model says that nothing is worn: whatever is exchanged then was exchanged in vain."""
    part = practices(PLUGINS, ["battery"])["battery"]
    told = Practice(part.system, part.sound)
    for name in ("defects", "reading", "setting", "sight", "recording", "fitting", "deed"):
        getattr(told, name).update(getattr(part, name))
    told.need.update(dict.fromkeys(part.need, lambda _: False))
    told.complaint = part.complaint
    cars = [invented({"battery": part}, seed) for seed in range(40)]
    worn = next(car for car in cars if car.hidden[0].defect.key == "joint")
    driven = visited(attrs.evolve(worn, practices={"battery": told}), PLUGINS)
    assert driven.in_vain == ("battery.clean_contacts",)
    assert any("not needed" in str(one) for one in driven.untrue)


# ---- declarations


def test_a_fault_that_names_what_nobody_declared_is_refused_with_its_name() -> None:
    part = Practice(PLUGINS.systems["battery"], lambda draw: None)
    with pytest.raises(PracticeError, match="polish"):
        part.fault("dull", "Dull.", mends="polish")
    with pytest.raises(PracticeError, match="shine"):
        part.fault("dull", "Dull.", named="shine")


def test_a_key_that_nobody_declared_or_that_is_answered_twice_is_refused() -> None:
    part = Practice(PLUGINS.systems["battery"], lambda draw: None)
    part.reads("temperature")(lambda car, at: 1.0)
    with pytest.raises(PracticeError, match="answered twice"):
        part.reads("temperature")(lambda car, at: 2.0)
    with pytest.raises(PracticeError, match=r"battery\.shine is not declared"):
        part.sees("shine")(lambda car, at: "bright")


def test_a_system_without_a_practice_vehicle_is_named_with_those_that_have_one() -> None:
    with pytest.raises(PracticeError, match=r"brooms: has no practice vehicle; .*battery"):
        practices(PLUGINS, ["brooms"])
