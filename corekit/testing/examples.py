"""Worked examples from outside: rows of an `examples.toml` that each call one registered calculation by its
name; and docstring examples.

A row has `calculation`, `inputs` and `result` as people write them, and `within` in the result's own unit. An
input may itself be a row without a result: the outcome of another calculation.
"""

from __future__ import annotations

import doctest
import inspect
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import attrs

from .. import units
from ..datafile import read_toml
from ..plugin.system import System


@attrs.frozen
class Examples:
    """A plugin's worked examples: `examples.toml` (tested) and `waiting.toml` (why not yet) in the folder of
    its tests.
    """

    tested: tuple[Mapping[str, Any], ...]
    waiting: Mapping[str, str]

    @classmethod
    def beside(cls, test: str) -> Examples:
        """Those in the folder of a test module; give it `__file__`.

        Raises:
            AssertionError: an example has no source or no row, or a reason to wait says nothing.
        """
        folder = Path(test).parent
        read = cls(
            tuple(read_toml(folder / "examples.toml")["example"]),
            read_toml(folder / "waiting.toml")["waiting"],
        )
        assert all(example["source"] and example["rows"] for example in read.tested), (
            "every example names its source and has a row"
        )
        assert all(len(reason) > 20 for reason in read.waiting.values()), "whatever waits says why"
        return read

    @property
    def rows(self) -> list[tuple[str, Mapping[str, Any], str]]:
        """(test id, row, source) of every row; the id begins with the example's key."""
        return [
            (f"{example['key']}-{place}", row, example["source"])
            for example in self.tested
            for place, row in enumerate(example["rows"], 1)
        ]

    @property
    def keys(self) -> list[str]:
        """Keys of all that are tested or wait, sorted."""
        return sorted([*(example["key"] for example in self.tested), *self.waiting])


def failing_docstrings(system: System) -> list[str]:
    """Keys of the calculations whose docstring has no example, or one that does not come out.

    doctest's own search does not look inside a decorated calculation, so each is run here.
    """
    failing = []
    for key, calculation in system.calculations.items():
        space = {**vars(inspect.getmodule(calculation.si)), calculation.__name__: calculation}
        test = doctest.DocTestParser().get_doctest(calculation.__doc__ or "", space, key, None, 0)
        if not test.examples or doctest.DocTestRunner(verbose=False).run(test).failed:
            failing.append(key)
    return failing


def outcome(system: System, row: Mapping[str, Any]) -> float:
    """What the registered calculation makes of the row's inputs, in the coherent unit.

    Raises:
        AssertionError: the inputs are not those declared, or lie outside the declared range.
    """
    calculation = system.calculations[f"{system.key}.{row['calculation']}"]
    declared = calculation.inputs
    assert set(declared) == set(row["inputs"]), f"{calculation.key} takes {', '.join(declared)}"
    given = {}
    for name, typed in row["inputs"].items():
        number = (
            outcome(system, typed)
            if isinstance(typed, Mapping)
            else units.read_quantity(typed, [declared[name].unit]).number
        )
        assert not declared[name].fault(number), f"{name} lies outside the declared range"
        given[name] = number
    return calculation.si(**given)


def expected(system: System, row: Mapping[str, Any]) -> tuple[float, float]:
    """What the source says, and how far from it the outcome may lie, both in the coherent unit."""
    typed = units.read_quantity(
        row["result"], [system.calculations[f"{system.key}.{row['calculation']}"].output.unit]
    )
    step = abs(units.to_coherent(row["within"], typed.unit) - units.to_coherent(0.0, typed.unit))
    return typed.number, step
