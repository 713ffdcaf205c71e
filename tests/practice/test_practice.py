"""Practice cars: what they answer, what work does to them, and what a visit to one comes to."""

from __future__ import annotations

import random

import attrs
import pytest

from corekit.intake.declared import Declared
from corekit.intake.visit import read_visit
from corekit.model.measurand import answers_of
from corekit.plugin.host import load
from corekit.practice import At, Car, Practice, PracticeError, Trial, invented, practices
from corekit.practice.car import typed
from corekit.practice.declared import THIRD
from corekit.practice.driving import counts, drive, repaired_as_needed, visited

PLUGINS = load()
PARTS = practices(PLUGINS)
SYSTEMS = tuple(PARTS)


def test_every_system_that_ships_can_be_practised() -> None:
    assert set(SYSTEMS) == set(PLUGINS.systems)


@pytest.mark.parametrize(
    ("system", "kind", "least"),
    [
        ("battery", "", 12),
        ("cooling", "", 5),
        ("egr", "vacuum, with regulator", 8),
        ("egr", "electric motor", 8),
        ("ignition", "distributor", 8),
        ("ignition", "wasted spark", 8),
        ("ignition", "coil on plug", 8),
    ],
)
def test_each_kind_of_system_can_have_so_many_faults_that_a_driver_notices(
    system: str, kind: str, least: int
) -> None:
    cars = [invented({system: PARTS[system]}, seed) for seed in range(1000)]
    of = {"egr": "valve", "ignition": "kind"}.get(system, "")
    found = {car.hidden[0].defect.key for car in cars if not kind or getattr(car.states[system], of) == kind}
    assert len(found) >= least, sorted(found)


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
    for seed in range(1000):
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


@pytest.mark.parametrize("system", SYSTEMS)
def test_with_each_estimate_moved_by_a_third_a_sound_car_is_sound_and_work_ends_the_complaint(
    system: str,
) -> None:
    for name in PARTS[system].estimates:
        for factor in (THIRD, 1.0 / THIRD):
            parts = {system: PARTS[system].with_estimate_moved(name, factor)}
            for seed in range(12):
                sound = invented(parts, seed, faults=0)
                assert (name, seed, sound.complaints, sound.needed) == (name, seed, (), ())
                car = invented(parts, seed)
                if all(one.defect.mends for one in car.hidden):
                    done = repaired_as_needed(car)
                    assert (name, factor, seed, done.complaints, done.needed) == (name, factor, seed, (), ())


@pytest.mark.parametrize("system", SYSTEMS)
def test_no_estimate_that_is_moved_by_a_third_makes_a_visit_exchange_a_sound_part(system: str) -> None:
    """A few of them, with a few visits each; bench_practice.py --moved drives the whole."""
    drawn = random.Random(system)
    for name in drawn.sample(PARTS[system].estimates, 3):
        parts = {system: PARTS[system].with_estimate_moved(name, drawn.choice((THIRD, 1.0 / THIRD)))}
        made = [visited(invented(parts, seed), PLUGINS) for seed in range(1000, 1003)]
        assert [one.wrong_parts for one in made] == [(), (), ()], name


def test_an_estimate_that_nobody_declared_cannot_be_moved() -> None:
    with pytest.raises(PracticeError, match="shine is no estimate"):
        PARTS["battery"].with_estimate_moved("shine")


def test_hard_cars_have_two_faults_as_a_rule_and_some_show_now_and_then_alone() -> None:
    cars = [invented(PARTS, seed, hard=True) for seed in range(400)]
    two = sum(len(car.hidden) == 2 for car in cars)
    assert 260 <= two <= 340, "three of four; 400 draws leave four deviations of 9 to either side"
    coming = [car for car in cars if car.calm]
    assert coming and all(any(one.defect.comes_and_goes for one in car.hidden) for car in coming)


def test_what_comes_and_goes_is_there_at_some_moments_and_the_same_at_the_same_moment() -> None:
    car = next(car for seed in range(99) if (car := invented(PARTS, seed, hard=True)).calm)
    met = [car.at_moment(str(n)).states is car.states for n in range(40)]
    assert met == [car.at_moment(str(n)).states is car.states for n in range(40)]
    assert 8 < sum(met) < 32, "it shows half of the time"


def test_work_on_what_comes_and_goes_ends_it_at_every_moment() -> None:
    for seed in range(200):
        car = invented(PARTS, seed, hard=True)
        if car.calm and all(one.defect.mends for one in car.hidden):
            done = repaired_as_needed(car)
            assert [done.at_moment(str(n)).complaints for n in range(6)] == [()] * 6, seed


# ---- trials


def _coil_car() -> tuple[Car, int]:
    car = next(
        car
        for seed in range(400)
        if (car := invented({"ignition": PARTS["ignition"]}, seed)).hidden[0].defect.key == "turns"
        and car.states["ignition"].kind == "coil on plug"
    )
    return car, car.states["ignition"].it + 1


def test_a_bad_coil_takes_the_misfire_with_it_and_swapped_back_the_car_is_as_before() -> None:
    car, bad = _coil_car()
    other = bad % 4 + 1
    swap = Trial(part="ignition.coil", how="swapped", place=f"coil {bad}", other=f"coil {other}")
    after, result = car.tried(swap, PLUGINS.operations)
    assert result == "moved"
    back, again = after.tried(
        Trial(part="ignition.coil", how="swapped", place=f"coil {other}", other=f"coil {bad}"),
        PLUGINS.operations,
    )
    assert again == "moved" and back.states == car.states


def test_a_sound_plug_that_is_swapped_leaves_the_misfire_where_it_is() -> None:
    car, bad = _coil_car()
    swap = Trial(
        part="ignition.plugs", how="swapped", place=f"cylinder {bad}", other=f"cylinder {bad % 4 + 1}"
    )
    assert car.tried(swap, PLUGINS.operations)[1] == "stayed"


def test_a_known_good_part_comes_out_again_and_the_complaint_with_it() -> None:
    car, bad = _coil_car()
    after, result = car.tried(
        Trial(part="ignition.coil", how="known_good", place=f"coil {bad}"), PLUGINS.operations
    )
    assert (after, result) == (car, "back")
    renewed, gone = car.tried(Trial(part="ignition.coil", how="renewed"), PLUGINS.operations)
    assert gone == "gone" and renewed.complaints == ()


def test_a_way_of_trial_that_this_car_does_not_know_says_nothing() -> None:
    car, _ = _coil_car()
    assert car.tried(Trial(part="ignition.coil", how="heated"), PLUGINS.operations) == (car, "not_tried")
    assert car.tried(Trial(part="brooms.stick", how="renewed"), PLUGINS.operations) == (car, "not_tried")


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


def test_a_hole_lets_out_what_torricelli_says() -> None:
    """By hand: 0.6 × π/4 × (1 mm)² × √(2 × 100 000 Pa ÷ 1050 kg/m³) = 6.50 mL/s."""
    from corekit_cooling.practice import leaking

    assert leaking(1.0, 1e5) == pytest.approx(6.50e-6, rel=1e-3)


def test_the_air_above_the_coolant_gives_way_as_boyle_says() -> None:
    """By hand: 500 mL of air at 2.013 bar that grow by what 0.1 mm lets out in ten minutes, 36 to 39 mL,
    stand at 1.87 to 1.88 bar.
    """
    from corekit_cooling.practice import fallen

    car = invented(practices(PLUGINS, ["cooling"]), 1, faults=0).states["cooling"]
    assert 0.11 < fallen(attrs.evolve(car, hose=0.1), 1.0) < 0.15
    assert fallen(car, 1.0) == pytest.approx(0.0, abs=1e-12)


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
