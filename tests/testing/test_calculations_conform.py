"""Calculations under the kit: what a docstring refuses is refused, and a narrow range is no fault."""

from __future__ import annotations

import sys
import types
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

import corekit as ck
from corekit.testing.kit.driving import nonconforming_calculations

SOURCE = '''
from typing import Annotated
import corekit as ck

pipe = ck.System("pipe", "Pipe")


@pipe.calculation(source="book")
def open_share(
    outer: Annotated[float, ck.Input("m", "Outer diameter", 0.01, 0.1)],
    inner: Annotated[float, ck.Input("m", "Inner diameter", 0.01, 0.1)],
) -> Annotated[float, ck.Output("1", "Share of the area that is open")]:
    """What of a pipe is open.

    >>> open_share.si(0.02, 0.01)
    0.25
    REFUSES"""
    if inner >= outer:
        raise ValueError("The inner diameter is the smaller one.")
    return (inner / outer) ** 2


@pipe.calculation(source="book")
def shifted(
    gravity: Annotated[float, ck.Input("1", "Gravity", 1.0, 1.35)],
    constant: Annotated[float, ck.Input("V", "Constant of the rule", 0.84, 0.845)],
) -> Annotated[float, ck.Output("V", "Voltage")]:
    """A rule with a constant that hardly has a range.

    >>> shifted.si(1.0, 0.84)
    1.84
    """
    return gravity + constant
'''
REFUSES = "\n    Raises:\n        ValueError: the two are exchanged.\n    "


@pytest.fixture(autouse=True)
def forgotten() -> Iterator[None]:
    yield
    sys.modules.pop("corekit_pipe_sample", None)


def told(tmp_path: Path, refuses: str) -> list[str]:
    path = tmp_path / "__init__.py"
    path.write_text(SOURCE.replace("REFUSES", refuses), "utf-8")
    module: Any = types.ModuleType("corekit_pipe_sample")
    module.__file__ = str(path)
    sys.modules[module.__name__] = module
    exec(compile(path.read_text("utf-8"), str(path), "exec"), module.__dict__)
    system: ck.System = module.pipe
    return [str(one) for one in nonconforming_calculations(system, 40)]


def test_inputs_that_a_docstring_refuses_are_no_fault_of_a_calculation_and_of_no_reading_near_them(
    tmp_path: Path,
) -> None:
    assert told(tmp_path, REFUSES) == []


def test_a_refusal_that_no_docstring_says_is_told_with_its_cure(tmp_path: Path) -> None:
    (said,) = told(tmp_path, "")
    assert said.startswith("calculation open_share")
    assert "The inner diameter is the smaller one" in said and "Raises:" in said
