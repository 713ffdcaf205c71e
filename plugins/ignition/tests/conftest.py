"""The ignition's bench."""

from __future__ import annotations

import pytest
from corekit_ignition import ignition

from corekit.testing import Bench


@pytest.fixture
def bench() -> Bench:
    return Bench(ignition).meter()


@pytest.fixture
def four(bench: Bench) -> Bench:
    """Four cylinders, a coil on each plug, coils switched by a control unit."""
    return (
        bench.fit("cylinders", "4")
        .fit("kind", "coil on plug")
        .fit("coil_type", "electronic")
        .fit("ballast", "not fitted")
    )
