"""The same numbers on every Python: since 3.12 `sum()` of floats is compensated, and before it is not."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
#: What reckons with floats; elsewhere money, lengths and rows are counted, which are whole numbers.
RECKONING = (
    *sorted((ROOT / "corekit" / "assess").glob("*.py")),
    *sorted((ROOT / "corekit" / "plugin").glob("*.py")),
    *sorted((ROOT / "corekit").glob("judge*.py")),
    ROOT / "corekit" / "model" / "value.py",
    *sorted(ROOT.glob("plugins/*/corekit_[!e]*/*.py")),
    *sorted(ROOT.glob("plugins/egr/corekit_egr/*.py")),  # the plugin for invoices adds Decimals alone
)


def counts_only(argument: ast.expr) -> bool:
    """True for a sum of comparisons, of lengths, or of ones: whole numbers on every Python."""
    element = argument.elt if isinstance(argument, (ast.GeneratorExp, ast.ListComp)) else argument
    if isinstance(element, ast.Call) and isinstance(element.func, ast.Name):
        return element.func.id in ("len", "bool", "int", "isinstance") or (
            element.func.id == "map" and ast.unparse(element.args[0]) in ("len", "bool", "int")
        )
    is_one = isinstance(element, ast.Constant) and isinstance(element.value, int)
    return is_one or isinstance(element, (ast.Compare, ast.BoolOp))


def bare_sums(source: str) -> Iterator[int]:
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Name) and node.id == "sum" and isinstance(node.ctx, ast.Load):
            yield node.lineno
        is_sum = isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "sum"
        if is_sum and counts_only(node.args[0]):
            yield -node.lineno


@pytest.mark.parametrize("path", RECKONING, ids=lambda path: path.relative_to(ROOT).as_posix())
def test_floats_are_added_by_fsum(path: Path) -> None:
    lines = list(bare_sums(path.read_text("utf-8")))
    assert [line for line in lines if line > 0 and -line not in lines] == [], "use math.fsum"


def test_the_look_finds_a_bare_sum_and_lets_a_count_be() -> None:
    assert list(bare_sums("x = sum(a * b for a, b in c)")) == [1]
    assert sorted(bare_sums("x = sum(a > 1 for a in c)")) == [-1, 1]
