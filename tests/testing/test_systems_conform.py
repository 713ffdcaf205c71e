"""The systems that come with corekit under the conformance kit; what stays has its reason here."""

from __future__ import annotations

import pytest

from corekit.plugin.host import load
from corekit.testing import nonconformities

#: How often each check and each calculation is attacked: enough for what the kit has found so far.
EXAMPLES = 12

_ASKED_BY_THE_CUSTOMER = "it is asked for what the customer is told, and judged by no check"
_COMBINATION = "its range is a span of each input; some combinations lie outside, and no check led there"
_ONE_POINT = "a range of one point leaves no room for an uncertainty, and no vehicle has one"
_RARE = "several things have to come together, which benches drawn by chance seldom do"

_TESTS_WANTED = "its table still wants tests: tests/benchmarks/bench_reasoning.py says what that costs"
#: So many visits are simulated here; the benchmark simulates a thousand.
VISITS = 40

#: System → the beginning of a line of the kit → why it stays.
KNOWN: dict[str, dict[str, str]] = {
    "battery": {
        "fault table of battery: with every test made": _TESTS_WANTED,
        "fault table of battery: as its tests are offered": _TESTS_WANTED,
        "trait battery.outside_temperature: is asked for": _ASKED_BY_THE_CUSTOMER,
        "trait battery.restarts_per_trip: is asked for": _ASKED_BY_THE_CUSTOMER,
        "calculation cold_capacity_short (capacity.py": _COMBINATION,
        "calculation molality_of_gravity (acid.py": _COMBINATION,
        "calculation time_to_one_percent (charging.py": _COMBINATION,
        "calculation voltage_by_rule: called with readings": _ONE_POINT,
        "calculation voltage_to_set: called with readings": _ONE_POINT,
        "test load: no bench": _RARE,
        "test joint: no bench": _RARE,
        "test capacity: no bench": _RARE,
        "test solenoid: no bench": _RARE,
        "test take: no bench": _RARE,
        "test night: no bench": _RARE,
        "test cell_spread: no bench": _RARE,
        "test crankpair: no bench": _RARE,
        "test rise: no bench": _RARE,
        "test drain: no bench": _RARE,
    },
    "cooling": {},
    "egr": {
        "fault table of egr: with every test made": _TESTS_WANTED,
        "fault table of egr: as its tests are offered": _TESTS_WANTED,
        "calculation discharge_coefficient (orifice.py": _COMBINATION,
        "calculation orifice_flow (orifice.py": _COMBINATION,
        "calculation pressure_for_flow (orifice.py": _COMBINATION,
        "test manifold: no bench": _RARE,
        "test signal: no bench": _RARE,
        "test free_flow: no bench": _RARE,
        "test free_flow: asks for egr.free_flow, which no check yielded over any bench": _RARE,
        "test zero: no bench": _RARE,
        "test answer_upstream: no bench": _RARE,
        "test drive_current: no bench": _RARE,
    },
    "ignition": {
        "fault table of ignition: with every test made": _TESTS_WANTED,
        "fault table of ignition: as its tests are offered": _TESTS_WANTED,
        "calculation inductance_of_trace (current.py": _COMBINATION,
    },
}


#: What is not asked of a system here: `words` have a test of their own over all systems. The search for each
#: outcome of ignition's table takes minutes: `corekit plugins --check ignition` asks for them.
NOT_ASKED = {"ignition": ("words", "fault table", "figures")}


@pytest.mark.parametrize("key", KNOWN)
def test_a_system_that_comes_with_corekit_conforms(key: str) -> None:
    without = NOT_ASKED.get(key, ("words",))
    found = nonconformities(load().systems[key], examples=EXAMPLES, visits=VISITS, without=without)
    lines = [str(one) for _, one in found]
    assert [line for line in lines if not line.startswith(tuple(KNOWN[key]) or ("-",))] == []


def test_every_installed_system_is_held_to_the_kit() -> None:
    assert load().systems.keys() <= KNOWN.keys()
