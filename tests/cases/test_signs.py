"""Every sign of an ignition case is seen to fail on the same visit without what it rests on."""

from __future__ import annotations

import copy
from typing import Any

import pytest

from .claims import said
from .loader import cases, table, tried

CASES = {case.id: case for case in cases("ign-")}
UNTOLD = "complaint"  # the same visit where the customer told nothing
#: Case, claim, and the keys of what it rests on: readings, observations, trials' parts, printed limits.
RESTS = [
    ("ign-01", "measurement.over_range", ["ignition.secondary_path"]),
    ("ign-01", "ign.coil_type_mismatch_suspect", ["ignition.primary_resistance"]),
    ("ign-03", "measurement.over_range", ["ignition.lead_path"]),
    ("ign-03", "measurement.unit_suspect", ["ignition.condenser"]),
    ("ign-03", "ign.cap_or_rotor_suspect", ["ignition.spark_at_coil"]),
    ("ign-04", "measurement.unstable", ["ignition.primary_resistance"]),
    ("ign-04", "fault.heat_dependent", ["ignition.heat"]),
    ("ign-05", "ign.coil_fault", ["ignition.coil_swap"]),
    ("ign-06", "ign.secondary_leak", ["ignition.cap_look"]),
    ("ign-06", "ign.cap_or_rotor_suspect", ["ignition.cap_look"]),
    ("ign-08", "fault.stays_with_cylinder", ["ignition.coil_swap"]),
    ("ign-08", "misfire.non_ignition_suspect", [UNTOLD, "ignition.coil_swap", "ignition.where", "codes"]),
    ("ign-09", "measurement.of_removed_part", ["ignition.removed_gap"]),
    ("ign-09", "ign.coil_weak_suspect", [UNTOLD]),
    ("ign-11", "ign.primary_not_switching_suspect", ["ignition.switching", UNTOLD]),
    ("ign-11", "measurement.unit_suspect", ["ignition.secondary_resistance"]),
    ("ign-12", "measurement.implausible", ["ignition.pickup_resistance"]),
    ("ign-12", "misfire.non_ignition_suspect", [UNTOLD]),
    ("ign-14", "ign.spark_reserve_suspect", ["ignition.plug_gap"]),
    ("ign-15", "ign.dwell_limit_suspect", ["ignition.engine_speed"]),
    ("ign-15", "charging.check_needed", ["ignition.engine_speed"]),
    ("ign-17", "ign.resistance_not_proof", ["ignition.primary_resistance"]),
    ("ign-17", "ign.wire_suspect", ["ignition.lead_look", UNTOLD]),
    ("ign-18", "ign.secondary_leak_suspect", ["ignition.tower_gap"]),
    ("ign-18", "ign.cap_or_rotor_suspect", ["ignition.tower_gap"]),
    ("ign-21", "measurement.missing_unit", ["ignition.primary_resistance"]),
    ("ign-21", "ign.secondary_leak_suspect", ["ignition.boot_look", UNTOLD]),
    ("ign-21", "fault.common_cause_suspect", ["ignition.ohms_compared"]),
    ("ign-22", "measurement.limit_implausible", ["ignition.secondary_resistance"]),
    ("ign-24", "ign.resistance_not_proof", ["ignition.pickup_resistance"]),
    ("ign-24", "charging.check_needed", ["ignition.engine_speed"]),
    ("ign-25", "measurement.resolution_insufficient", ["ignition.primary_resistance"]),
    ("ign-27", "misfire.non_ignition_suspect", [UNTOLD, "ignition.where", "codes"]),
    ("syn-ign-1", "measurement.unit_suspect", ["ignition.lead_resistance"]),
    ("syn-ign-3", "ign.energy_by_speed", ["ignition.engine_speed"]),
    ("syn-ign-3", "ign.dwell_limit_suspect", ["ignition.engine_speed"]),
    ("syn-ign-5", "ign.coil_primary_ok", ["ignition.primary_resistance"]),
    ("syn-ign-5", "ign.secondary_diode_suspect", ["ignition.secondary_path"]),
    ("syn-ign-6", "ign.supply_voltage_low", ["ignition.supply_running"]),
]


def without(visit: dict[str, Any], keys: list[str]) -> dict[str, Any]:
    """The visit without every row about these things."""
    left = copy.deepcopy(visit)
    if UNTOLD in keys:
        left.pop("complaint", None)
    for step in left["step"]:
        for name in ("readings", "seen"):
            kept = [row for row in step.pop(name, []) if row["of"] not in keys]
            step |= {name: kept} if kept else {}
        if step.get("tried", {}).get("part") in keys:
            del step["tried"]
        if "codes" in keys:
            step.pop("codes", None)
        setup = {key: one for key, one in step.pop("setup", {}).items() if key not in keys}
        step |= {"setup": setup} if setup and "readings" in step else {}
    left["step"] = [step for step in left["step"] if step]
    if "specification" in left:
        left["specification"] = [row for row in left["specification"] if row["of"] not in keys]
    return left


@pytest.mark.parametrize(
    ("case", "claim", "keys"), [pytest.param(*row, id="-".join(row[:2])) for row in RESTS]
)
def test_a_sign_fails_without_what_it_rests_on(case: str, claim: str, keys: list[str]) -> None:
    one = CASES[case]
    assert said(claim, tried(one))
    assert not said(claim, tried(one, without(one.visit, keys)))


def test_every_claim_that_a_case_of_ignition_must_make_is_tried_so() -> None:
    tested = {(case, claim) for case, claim, _ in RESTS}
    for case in CASES.values():
        assert {(case.id, claim) for claim in case.expected["must_appear"]} <= tested
        for choices in case.expected.get("any_of", ()):
            assert {(case.id, claim) for claim in choices} & tested


def test_every_claim_that_a_case_of_ignition_must_or_must_not_make_is_known() -> None:
    known = table("claims.toml")
    for case in CASES.values():
        asked = [*case.expected["must_appear"], *case.expected["must_not_appear"]]
        assert set(asked) <= set(known), case.id
