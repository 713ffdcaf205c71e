"""Every sign of an EGR case is seen to fail on the same visit without what it rests on, and every sign that
must not be borne is borne by some visit.
"""

from __future__ import annotations

import copy
from typing import Any

import pytest

from .claims import said, stronger
from .loader import cases, installed, table, tried
from .test_sequences import VACUUM, seen
from .test_signs import UNTOLD, without

CASES = {case.id: case for case in [*cases("egr-"), *cases("syn-egr-")]}
#: Case, claim, and the keys of what it rests on: readings, observations, work that was done.
RESTS = [
    ("egr-01", "egr.passage_restricted", ["egr.signal_free"]),
    ("egr-01", "egr.sensor_responds", ["egr.signal_free"]),
    ("egr-01", "egr.valve_opens", ["egr.stem"]),
    ("egr-02", "egr.sensor_offset_high", ["egr.signal_zero"]),
    ("egr-02", "fault.common_cause_suspect", ["egr.signal_zero"]),
    ("egr-02", "egr.check_hoses", ["egr.signal_zero", "codes"]),
    ("egr-04", "egr.no_flow", ["egr.reaction"]),
    ("egr-04", "egr.passage_restricted_suspect", ["egr.reaction", "codes", UNTOLD]),
    ("egr-05", "egr.control_vacuum_intermittent", ["egr.vacuum_drive"]),
    ("egr-05", "egr.valve_opens", ["egr.reaction"]),
    ("egr-07", "measurement.limit_implausible", ["egr.signal_zero"]),
    ("egr-08", "measurement.connector_off", ["egr.signal_unplugged", "egr.supply_unplugged"]),
    ("egr-08", "egr.check_wiring", ["egr.signal_unplugged", "egr.supply_unplugged"]),
    ("egr-10", "egr.check_wiring", ["egr.maker_signal"]),
    ("egr-10", "measurement.missing_sensor_voltage", ["egr.maker_signal"]),
    ("egr-11", "measurement.missing_vacuum", ["codes"]),
    ("egr-11", "egr.regulator_suspect", ["codes"]),
    ("egr-12", "egr.hose_fault", ["egr.sensing_hoses"]),
    ("egr-12", "egr.sensor_responds", ["egr.signal_open"]),
    ("egr-12", "egr.valve_opens", ["egr.reaction"]),
    ("egr-14", "egr.vacuum_leak_suspect", ["egr.vacuum_hoses", "codes"]),
    ("egr-14", "egr.rerun_monitor", ["egr.monitor"]),
    ("egr-16", "measurement.missing_code", [UNTOLD]),
    ("egr-16", "environment.altitude", ["egr.altitude"]),
    ("egr-17", "egr.sensor_suspect", ["egr.maker_signal", "codes"]),
    ("egr-17", "egr.hose_suspect", ["egr.maker_hose"]),
    ("egr-17", "measurement.missing_sensor_voltage", ["egr.maker_signal", "egr.maker_hose", "codes"]),
    ("egr-19", "egr.valve_opens", ["egr.reaction"]),
    ("egr-19", "egr.control_side_suspect", ["codes"]),
    ("syn-egr-1", "environment.altitude", ["egr.supply_vacuum"]),
    ("syn-egr-1", "egr.supply_vacuum_ok", ["egr.supply_vacuum"]),
    ("syn-egr-1", "egr.valve_opens", ["egr.reaction"]),
    ("syn-egr-3", "repair.improved", ["egr.manifold_open"]),
    ("syn-egr-3", "repair.not_verified", ["egr.clean"]),
    ("syn-egr-4", "repair.not_verified", ["egr.clean"]),
    ("syn-egr-4", "egr.regulator_suspect", ["egr.vacuum_on"]),
    ("syn-egr-4", "egr.sensor_responds", ["egr.signal_open"]),
    ("syn-egr-4", "egr.valve_opens", ["egr.reaction", "egr.stem"]),
    ("syn-egr-6", "egr.valve_opens", ["egr.manifold_open"]),
]


def undone(visit: dict[str, Any], keys: list[str]) -> dict[str, Any]:
    """The visit without these, and without the work among them."""
    left = copy.deepcopy(visit)
    left["step"] = [step for step in left["step"] if step.get("repaired", {}).get("operation") not in keys]
    return without(left, keys)


@pytest.mark.parametrize(
    ("case", "claim", "keys"), [pytest.param(*row, id="-".join(row[:2])) for row in RESTS]
)
def test_a_sign_fails_without_what_it_rests_on(case: str, claim: str, keys: list[str]) -> None:
    one = CASES[case]
    assert said(claim, tried(one))
    assert not said(claim, tried(one, undone(one.visit, keys)))


def test_every_claim_that_an_egr_case_must_make_is_tried_so() -> None:
    tested = {(case, claim) for case, claim, _ in RESTS}
    for case in CASES.values():
        assert {(case.id, claim) for claim in case.expected["must_appear"]} <= tested
        for choices in case.expected.get("any_of", ()):
            assert {(case.id, claim) for claim in choices} & tested


# ---- what must not be said is said where it is so

P0401 = {"codes": {"stored": ["P0401"]}}


def read(of: str, value: str, **setup: str) -> dict[str, Any]:
    under = {"egr.sensor_supply": "5.00 V", **{f"egr.{key}": one for key, one in setup.items()}}
    return {"setup": under, "readings": [{"of": of, "is": value}]}


NO_VACUUM = read("egr.vacuum_on", "0.3 inHg", duty="90 %")
SAID_WHERE_SO = {
    "egr.control_side_suspect": [P0401, seen(egr__reaction="stalls"), NO_VACUUM],
    "egr.flow_at_idle": [seen(egr__rough="idles roughly", egr__idle_plugged="idles evenly then")],
    "egr.passage_restricted": [P0401, seen(egr__reaction="no change", egr__stem="moves")],
    "egr.regulator_replace_recommended": [
        {"codes": {"stored": ["P0403"]}},
        seen(egr__coil_path="reads open", egr__reaction="stalls"),
        NO_VACUUM,
    ],
    "egr.sensor_offset_high": [P0401, read("egr.signal_zero", "1.60 V")],
    "egr.sensor_replace_recommended": [
        P0401,
        seen(egr__reaction="stalls", egr__sensing_hoses="sound"),
        {
            "setup": {"egr.sensor_supply": "5.00 V", "egr.hand_vacuum": "5 inHg"},
            "readings": [
                {"of": "egr.sensor_supply", "is": "5.00 V"},
                {"of": "egr.sensor_ground", "is": "0.01 V"},
                {"of": "egr.signal_zero", "is": "1.00 V"},
                {"of": "egr.signal_pumped", "is": "1.00 V"},
            ],
        },
    ],
    "egr.supply_vacuum_missing": [P0401, read("egr.supply_vacuum", "3 inHg", barometer="100 kPa")],
    "egr.vacuum_leak_suspect": [P0401, read("egr.supply_vacuum", "3 inHg", barometer="100 kPa")],
    "egr.valve_diaphragm_leak_suspect": [P0401, read("egr.hold_loss", "9 inHg")],
    "egr.valve_replace_recommended": [
        P0401,
        seen(egr__reaction="no change", egr__stem="does not move"),
        read("egr.hold_loss", "9.5 inHg"),
    ],
    "egr.valve_stuck_suspect": [P0401, seen(egr__stem="does not move")],
    "repair.verified": [
        P0401,
        seen(egr__deposits="choked"),
        {"repaired": {"operation": "egr.clean"}},
        {
            "readings": [
                {"of": "egr.manifold_shut", "is": "33 kPa"},
                {"of": "egr.manifold_open", "is": "41 kPa"},
            ]
        },
    ],
}
#: No work of this name exists, so nothing can call for it.
NEVER_SOLD = {"ecu.replace_recommended"}


@pytest.mark.parametrize(("claim", "steps"), list(SAID_WHERE_SO.items()), ids=list(SAID_WHERE_SO))
def test_what_must_not_be_said_of_a_case_is_said_where_it_is_so(
    claim: str, steps: list[dict[str, Any]]
) -> None:
    one = CASES["egr-12"]
    visit = {**one.visit, "traits": {**VACUUM, "egr.cooler": "not fitted"}, "step": steps}
    assert said(claim, tried(one, visit))


def test_every_claim_that_an_egr_case_must_not_make_has_a_sign_and_is_tried_so() -> None:
    signs = table("mapping.toml")["claims"]
    asked = {claim for case in CASES.values() for claim in case.expected["must_not_appear"]}
    assert asked == {*SAID_WHERE_SO, *NEVER_SOLD}
    assert all(any(one in signs for one in stronger(claim)) for claim in asked)
    assert not [key for key in installed().operations if "ecu" in key]
