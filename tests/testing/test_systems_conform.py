"""The systems that come with corekit under the conformance kit: nothing of it stays."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from corekit.plugin.host import load
from corekit.plugin.system import System
from corekit.testing import nonconformities
from corekit.testing.bench import Bench
from corekit.testing.kit.practice import nonconforming_practice

#: How often each check and each calculation is attacked: enough for what the kit has found so far.
EXAMPLES = 12

#: So many visits are simulated here, and so many driven to a practice car; the benchmarks take a thousand.
VISITS, DRIVEN = 40, 10


def charged_battery_that_holds(system: System) -> Bench:
    """Half its rating for 15 s at 25 °C, where the handbook wants 9.6 V of a good one."""
    bench = Bench(system).meter().describe("clamp", "1 % + 1 digits", **{"400 A": "0.1 A"})
    bench.fit("type", "flooded").fit("rating", "640 A SAE").fit("capacity", "70 Ah")
    bench.read("open_circuit_voltage", "12.70 V", using="meter", setup=RESTED)
    setup = {"load_current": "320 A", "load_time": "15 s", "temperature": "25 °C"}
    return bench.read("load_voltage", "10.40 V", using="meter", setup=setup)


def empty_battery_that_takes_nothing(system: System) -> Bench:
    bench = Bench(system).describe("fine", "1 digits", **{"20 V": "0.001 V", "60 A": "0.001 A"})
    bench.fit("type", "flooded").fit("capacity", "100 Ah")
    bench.read("open_circuit_voltage", "11.9 V", using="fine", setup=RESTED)
    setup = {"accepting_voltage": "14.4 V", "accepting_time": "25 min", "temperature": "20 °C"}
    return bench.read("accepted_current", "2 A", using="fine", setup=setup)


def two_cylinders_on_one_coil(system: System) -> Bench:
    bench = Bench(system).fit("kind", "wasted spark").fit("cylinders", "6")
    bench.fit("coil_pairs", "1 with 4, 2 with 5, 3 with 6").fit("coil_type", "electronic")
    for number in range(1, 7):
        count = "90" if number in (2, 5) else "0"
        bench.read("misfires", count, place=f"cylinder {number}", setup={"revolutions": "1000"})
    return bench


def codes_of_two_on_one_coil(system: System) -> Bench:
    bench = Bench(system).fit("kind", "wasted spark").fit("cylinders", "6").fit("coil_type", "electronic")
    return bench.fit("coil_pairs", "1 with 4, 2 with 5, 3 with 6").store("P0302", "P0305")


def codes_of_one_bank(system: System) -> Bench:
    bench = Bench(system).fit("cylinders", "6").fit("coil_type", "electronic")
    return bench.fit("banks", "first half and second half").store("P0301", "P0302", "P0303")


def codes_of_all(system: System) -> Bench:
    bench = Bench(system).fit("cylinders", "4").fit("coil_type", "electronic")
    return bench.store("P0301", "P0302", "P0303", "P0304")


RESTED = {"rest_time": "9 h", "temperature": "25 °C"}
#: What takes several things at once, which benches drawn by chance seldom have together.
LAID: dict[str, tuple[Callable[[System], Bench], ...]] = {
    "battery": (charged_battery_that_holds, empty_battery_that_takes_nothing),
    "cooling": (),
    "egr": (),
    "ignition": (
        two_cylinders_on_one_coil,
        codes_of_two_on_one_coil,
        codes_of_one_bank,
        codes_of_all,
    ),
}


@pytest.mark.parametrize("key", LAID)
def test_a_system_that_comes_with_corekit_conforms(key: str) -> None:
    system = load().systems[key]
    # The words have a test of their own over all systems.
    benches = [lay(system) for lay in LAID[key]]
    found = nonconformities(
        system, examples=EXAMPLES, visits=VISITS, without=("words", "practice car"), benches=benches
    )
    assert [*(str(one) for _, one in found), *map(str, nonconforming_practice(system, DRIVEN))] == []


def test_every_installed_system_is_held_to_the_kit() -> None:
    assert load().systems.keys() <= LAID.keys()
