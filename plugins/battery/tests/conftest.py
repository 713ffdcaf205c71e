"""The battery's bench, and a worn battery laid on it."""

from __future__ import annotations

import pytest
from corekit_battery import battery

from corekit.testing import Bench


@pytest.fixture
def bench() -> Bench:
    return Bench(battery)


@pytest.fixture
def worn(bench: Bench) -> Bench:
    """A charged AGM battery that falls to 8.4 V at 4 °C under half its rating (the shape of a visit file)."""
    bench.meter()
    rest = {"rest_time": "9 h", "temperature": "4 °C"}
    load = {"load_current": "340 A", "load_time": "15 s", "temperature": "4 °C"}
    bench.fit("type", "AGM").fit("rating", "680 A SAE").fit("capacity", "70 Ah")
    bench.read("open_circuit_voltage", "12.78 V", using="meter", setup=rest).read(
        "load_voltage", "8.4 V", using="meter", setup=load
    )
    return bench.see("case", "sound")
