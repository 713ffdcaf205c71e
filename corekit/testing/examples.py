"""Worked examples from outside: rows of an `examples.toml` that each call one registered calculation by its name.

A row has `calculation`, `inputs` and `result` as people write them, and `within` in the result's own unit. An input may itself be a row
without a result: the outcome of another calculation.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from .. import units
from ..plugin.system import System


def outcome(system: System, row: Mapping[str, Any]) -> float:
    """What the registered calculation makes of the row's inputs, in the coherent unit.

    Errors:
        AssertionError: the inputs are not those declared, or lie outside the declared range.
    """
    calculation = system.calculations[f"{system.key}.{row['calculation']}"]
    declared = {entry.name: entry for entry in calculation.inputs}
    assert set(declared) == set(row["inputs"]), f"{calculation.key} takes {', '.join(declared)}"
    given = {}
    for name, typed in row["inputs"].items():
        number = outcome(system, typed) if isinstance(typed, Mapping) else units.read_quantity(typed, [declared[name].unit]).number
        assert not declared[name].within.fault(number), f"{name} lies outside the declared range"
        given[name] = number
    return calculation.si(**given)


def expected(system: System, row: Mapping[str, Any]) -> tuple[float, float]:
    """What the source says, and how far from it the outcome may lie, both in the coherent unit."""
    typed = units.read_quantity(row["result"], [system.calculations[f"{system.key}.{row['calculation']}"].unit])
    step = abs(units.to_coherent(row["within"], typed.unit) - units.to_coherent(0.0, typed.unit))
    return typed.number, step
