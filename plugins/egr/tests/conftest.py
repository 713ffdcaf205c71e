"""The EGR system's bench, and a petrol car with a vacuum valve laid on it."""

from __future__ import annotations

import pytest
from corekit_egr import egr

from corekit.testing import Bench


@pytest.fixture
def bench() -> Bench:
    return Bench(egr)


@pytest.fixture
def car(bench: Bench) -> Bench:
    """Petrol, vacuum valve, differential pressure sensor of the later type, with a meter and gauges better
    than the worst.
    """
    bench.describe("meter", "0.5 % + 2 digits", **{"20 V": "0.01 V", "200 Ω": "0.1 Ω"})
    bench.describe("tester", "0.5 kPa")
    return (
        bench.fit("engine", "petrol")
        .fit("valve", "vacuum, with regulator")
        .fit("sensor", "differential pressure, later type")
    )
