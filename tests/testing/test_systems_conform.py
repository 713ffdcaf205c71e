"""The systems that come with corekit under the conformance kit; what stays has its reason here."""

from __future__ import annotations

import pytest

from corekit.plugin.host import load
from corekit.testing import nonconformities
from corekit.testing.kit.practice import nonconforming_practice

#: How often each check and each calculation is attacked: enough for what the kit has found so far.
EXAMPLES = 12

_RARE = "several things have to come together, which benches drawn by chance seldom do"
_NO_CODE = "that no code names a cylinder shows nothing: codes are cleared; and the rest is rare"
_TOLD_ELSEWHERE = "a winding whose resistance was read is told by the test secondary"

_TESTS_WANTED = "its table still wants tests: tests/benchmarks/bench_reasoning.py says what that costs"
_FEW_VISITS = (
    "12 of 240 visits under other seeds, 5 %, and 3.7 % of 1000 before its table last changed: at its aim"
)
#: So many visits are simulated here, and so many driven to a practice car; the benchmarks take a thousand.
VISITS, DRIVEN = 40, 10

#: System → the beginning of a line of the kit → why it stays.
KNOWN: dict[str, dict[str, str]] = {
    "battery": {
        "test load: no bench": _RARE,
        "test take: no bench": _RARE,
    },
    "cooling": {},
    "egr": {
        "fault table of egr: with every test made": _TESTS_WANTED,
        "fault table of egr: 12% (5% to 26%) of 40 simulated visits end with work without need": _FEW_VISITS,
    },
    "ignition": {
        "test where: no bench led to its outcome 'two on one coil'. ": _RARE,
        "test where_code: no bench led to its outcome 'none seen', ": _NO_CODE,
        "test secondary_path: no bench led to its outcome 'continuous'. ": _TOLD_ELSEWHERE,
    },
}


@pytest.mark.parametrize("key", KNOWN)
def test_a_system_that_comes_with_corekit_conforms(key: str) -> None:
    system = load().systems[key]
    # The words have a test of their own over all systems.
    found = nonconformities(system, examples=EXAMPLES, visits=VISITS, without=("words", "practice car"))
    lines = [*(str(one) for _, one in found), *map(str, nonconforming_practice(system, DRIVEN))]
    assert [line for line in lines if not line.startswith(tuple(KNOWN[key]) or ("-",))] == []


def test_every_installed_system_is_held_to_the_kit() -> None:
    assert load().systems.keys() <= KNOWN.keys()
