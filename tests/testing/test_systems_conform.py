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
_NO_CODE = "that no code names a cylinder shows nothing: codes are cleared; and the rest is rare"
_TOLD_ELSEWHERE = "a winding whose resistance was read is told by the test secondary"

_TESTS_WANTED = "its table still wants tests: tests/benchmarks/bench_reasoning.py says what that costs"
_FEW_VISITS = (
    "12 of 240 visits under other seeds, 5 %, and 3.7 % of 1000 before its table last changed: at its aim"
)
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
        "test take: no bench": _RARE,
    },
    "cooling": {},
    "egr": {
        "fault table of egr: with every test made": _TESTS_WANTED,
        "fault table of egr: as its tests are offered": _TESTS_WANTED,
        "fault table of egr: 12% (5% to 26%) of 40 simulated visits end with work without need": _FEW_VISITS,
        "calculation discharge_coefficient (orifice.py": _COMBINATION,
        "calculation orifice_flow (orifice.py": _COMBINATION,
        "calculation pressure_for_flow (orifice.py": _COMBINATION,
    },
    "ignition": {
        "fault table of ignition: with every test made": _TESTS_WANTED,
        "fault table of ignition: as its tests are offered": _TESTS_WANTED,
        "calculation inductance_of_trace (current.py": _COMBINATION,
        "test where: no bench led to its outcome 'two on one coil'. ": _RARE,
        "test where_code: no bench led to its outcome 'none seen', ": _NO_CODE,
        "test secondary_path: no bench led to its outcome 'continuous'. ": _TOLD_ELSEWHERE,
    },
}


@pytest.mark.parametrize("key", KNOWN)
def test_a_system_that_comes_with_corekit_conforms(key: str) -> None:
    system = load().systems[key]
    # The words have a test of their own over all systems.
    found = nonconformities(system, examples=EXAMPLES, visits=VISITS, without=("words",))
    lines = [str(one) for _, one in found]
    assert [line for line in lines if not line.startswith(tuple(KNOWN[key]) or ("-",))] == []


def test_every_installed_system_is_held_to_the_kit() -> None:
    assert load().systems.keys() <= KNOWN.keys()
