"""Worked examples from outside, each calling a registered calculation by its name."""

from __future__ import annotations

import doctest
import importlib
from typing import Any

import corekit_ignition
import pytest
from corekit_ignition import ignition
from corekit_ignition.current import time_to_current
from corekit_ignition.gaps import breakdown_in_air

from corekit.testing import Examples, expected, failing_docstrings, outcome

EXAMPLES = Examples.beside(__file__)


@pytest.mark.parametrize(
    ("row", "source"), [pytest.param(row, source, id=key) for key, row, source in EXAMPLES.rows]
)
def test_a_worked_example_comes_out_as_its_source_says(row: dict[str, Any], source: str) -> None:
    number, within = expected(ignition, row)
    assert outcome(ignition, row) == pytest.approx(number, abs=within, rel=0), source


def test_every_example_on_file_is_tested_or_waits_with_a_reason() -> None:
    assert EXAMPLES.keys == [f"ignition-X{number:02d}" for number in range(1, 32)]


@pytest.mark.parametrize("volts", [4.5, 4.0, 1.0])
def test_a_current_that_is_never_reached_is_said_so(volts: float) -> None:
    # ignition-X04: at 4.5 V and less a coil of 0.6 Ω never takes 7.5 A
    with pytest.raises(ValueError, match=r"never reaches 7\.5 A"):
        time_to_current.si(volts, 0.6, 0.004, 7.5)


@pytest.mark.parametrize(
    ("gap", "low", "high"),
    [pytest.param(0.6, 2.0, 3.5, id="textbook-0.6mm"), pytest.param(1.0, 3.0, 5.0, id="textbook-1mm")],
)
def test_an_open_gap_asks_for_what_textbooks_print(gap: float, low: float, high: float) -> None:
    # Automobile Electrical and Electronic Systems (excerpts seen): 2 to 3 kV at 0.6 mm, 3 to 4 kV at 1 mm, 1
    # bar. An even field asks for up to a quarter more than a plug's edges, so the upper ends are widened by
    # that.
    assert low <= breakdown_in_air.si(1e5, 293.15, gap / 1000) / 1000 <= high


def test_every_calculation_has_an_example_that_runs() -> None:
    assert failing_docstrings(ignition) == []


@pytest.mark.parametrize(
    "module", [name for name in corekit_ignition.__all__ if name not in ("corekit_system", "ignition")]
)
def test_every_docstring_example_runs(module: str) -> None:
    assert doctest.testmod(importlib.import_module(f"corekit_ignition.{module}")).failed == 0
