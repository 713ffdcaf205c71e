"""The next steps of whole visits: what a trial has answered, what cannot be made, where one begins.

Each was seen as a dead end or a useless step in a field case typed as it would be at the car.
"""

from __future__ import annotations

import json
from typing import Any

import pytest

from corekit.testing import Assessment, assessed, begins_at, next_steps

COP = {"ignition.kind": "coil on plug", "ignition.cylinders": "4", "ignition.coil_type": "electronic"}


def visit(symptom: str, *steps: dict[str, Any], traits: dict[str, str] | None = None) -> Assessment:
    data = {
        "job": "a",
        "reason": "as told",
        "vehicle": {"description": "a car", "no_vin": "not told"},
        "complaint": {"symptoms": [symptom]},
        "traits": traits or COP,
        "step": list(steps),
    }
    return assessed(json.dumps(data))


def steps(made: Assessment) -> list[str]:
    return [test.key for test in next_steps(made) if test.system == "ignition"]


def swapped(part: str, place: str, other: str, result: str) -> dict[str, Any]:
    return {
        "tried": {
            "part": f"ignition.{part}",
            "place": place,
            "how": "swapped",
            "with": other,
            "result": result,
        }
    }


CODE = {"codes": {"stored": ["P0302"]}}


@pytest.mark.parametrize(("result", "again"), [("stayed", False), ("moved", False), ("gone", True)])
def test_a_swap_that_was_tried_is_no_step_any_more_unless_it_may_have_been_a_pin(
    result: str, again: bool
) -> None:
    made = visit("engine_lamp_flashes", CODE, swapped("coil", "coil 2", "coil 3", result))
    assert ("coil_swap" in steps(made)) is again


def test_a_swap_in_vain_clears_its_part_alone_and_the_next_part_is_swapped() -> None:
    made = visit("engine_lamp_flashes", CODE, swapped("coil", "coil 2", "coil 3", "stayed"))
    held = {one.fault: one.probability for one in made.suspects}
    assert held["worn_plugs"] > held["bad_coil"] and "plug_swap" in steps(made)


def test_what_moved_with_the_coil_calls_for_the_coil_and_for_nothing_else() -> None:
    made = visit("engine_lamp_flashes", CODE, swapped("coil", "coil 2", "coil 3", "moved"))
    assert [call.operation for call in made.calls if call.met] == ["ignition.replace_coil"]


@pytest.mark.parametrize("test", ["where", "where_seen", "mist", "plug_swap", "trims", "inject", "balance"])
def test_nothing_is_asked_of_a_running_engine_that_does_not_run(test: str) -> None:
    made = visit("cranks_no_start", {"seen": [{"of": "ignition.spark", "place": "cylinder 1", "is": "none"}]})
    assert test not in steps(made)


def test_no_engine_speed_comes_before_supply_and_coil() -> None:
    made = visit(
        "cranks_no_start",
        {"codes": {"stored": ["P0335"]}},
        {
            "seen": [
                {"of": "ignition.rpm", "is": "none"},
                {"of": "ignition.spark", "place": "cylinder 1", "is": "none"},
            ]
        },
    )
    assert made.suspects[0].fault == "no_crank_signal" and made.suspects[0].probability > 0.9
    assert "ignition.feed_drop" not in [test.wants for test in made.next_tests[:2]]
    assert not [call for call in made.calls if call.met]


@pytest.mark.parametrize("code", ["P0335", "P0340"])
def test_a_code_for_crank_or_cam_signal_speaks_for_it(code: str) -> None:
    without = visit("cranks_no_start", {"codes": {"stored": []}})
    with_code = visit("cranks_no_start", {"codes": {"stored": [code]}})
    of = (
        {one.fault: one.probability for one in without.suspects},
        {one.fault: one.probability for one in with_code.suspects},
    )
    assert of[1]["no_crank_signal"] > 2 * of[0]["no_crank_signal"]


def test_p0300_asks_one_some_or_all_before_any_swap() -> None:
    asked = steps(visit("idles_roughly", {"codes": {"stored": ["P0300"]}}))
    assert asked.index("where") < asked.index("coil_swap")


def test_a_code_that_names_one_cylinder_makes_the_count_no_step() -> None:
    asked = steps(visit("idles_roughly", {"codes": {"stored": ["P0303"]}}))
    assert "where" not in asked and "where_seen" not in asked


@pytest.mark.parametrize(
    ("codes", "of", "place"),
    [
        (["P0303"], "ignition.plug_gap", "cylinder 3"),
        (["P0303"], "ignition.plug_swap", "cylinder 3"),
        (["P0420", "P0352", "P0304"], "ignition.peak_current", "coil 2"),
        (["P0307"], "ignition.plug_gap", ""),  # a cylinder that this engine does not have
        (["P0300"], "ignition.plug_gap", ""),
        (["P0303"], "ignition.trims", ""),
    ],
)
def test_testing_begins_at_the_place_that_a_code_names(codes: list[str], of: str, place: str) -> None:
    made = visit("idles_roughly", {"codes": {"stored": codes}})
    assert begins_at(of, made) == place


@pytest.mark.parametrize("test", ["where", "where_seen", "balance", "firing", "ripplecrank"])
def test_an_engine_of_one_cylinder_is_not_asked_which_one(test: str) -> None:
    made = visit(
        "misses_under_load", CODE | {"codes": {"stored": []}}, traits={**COP, "ignition.cylinders": "1"}
    )
    assert test not in steps(made)


def test_a_coil_on_each_plug_has_boots_and_neither_leads_nor_a_distributor() -> None:
    asked = steps(visit("misses_in_the_wet"))
    assert "boot_look" in asked and not {"lead_look", "lead", "cap_look", "spark_at_coil", "lead_swap"} & {
        *asked
    }


@pytest.mark.parametrize(
    ("symptom", "of", "seen", "fault"),
    [
        ("idles_roughly", "inject", "moves with the injector", "injector"),
        ("idles_roughly", "ripplecrank", "one low", "compression"),
        ("idles_roughly", "intake_smoke", "leaks", "air_leak"),
        ("misses_at_high_speed", "pressure", "low", "fuel"),
        ("no_power", "timing_marks", "mistimed", "valve_timing"),
    ],
)
def test_what_is_not_ignition_is_the_likely_cause_by_one_test_and_is_not_sold(
    symptom: str, of: str, seen: str, fault: str
) -> None:
    made = visit(symptom, {"seen": [{"of": f"ignition.{of}", "is": seen}]})
    first = next(one for one in made.suspects if one.fault == fault)
    assert (
        first.refer
        and not first.calls_for
        and first.probability
        == max(one.probability for one in made.suspects if one.fault not in ("none", "outside"))
    )
    assert not [call for call in made.calls if call.met]


def test_two_companions_on_one_coil_speak_for_that_coil() -> None:
    six = {
        "ignition.kind": "wasted spark",
        "ignition.cylinders": "6",
        "ignition.coil_type": "electronic",
        "ignition.coil_pairs": "1 with 4, 2 with 5, 3 with 6",
    }
    together = visit("idles_roughly", {"codes": {"stored": ["P0302", "P0305"]}}, traits=six)
    apart = visit("idles_roughly", {"codes": {"stored": ["P0302", "P0303"]}}, traits=six)
    chances = [
        next(one for one in made.suspects if one.fault == "bad_coil").probability
        for made in (together, apart)
    ]
    assert chances[0] > 2 * chances[1]
    assert not [call for call in together.calls if call.met]  # where, never why


def test_no_part_is_called_for_by_a_resistance_when_the_complaint_is_under_load() -> None:
    made = visit(
        "misses_under_load",
        {
            "setup": {"ignition.winding_temperature": "20 °C"},
            "readings": [
                {"of": "ignition.primary_resistance", "place": "coil 1", "is": "1.9 Ω"},
                {"of": "ignition.secondary_resistance", "place": "coil 1", "is": "25 kΩ"},
            ],
        },
    )
    assert not [call for call in made.calls if call.met]
