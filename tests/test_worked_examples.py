"""Every worked example of the core is held by a test that carries its key, or waits with a reason."""

from __future__ import annotations

import ast
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

HERE = Path(__file__).parent
WAITING: dict[str, str] = tomllib.loads((HERE / "waiting-core.toml").read_text("utf-8"))["waiting"]

#: Group of examples → how many there are.
GROUPS = {
    "vin": 8,
    "unit": 9,
    "unc": 8,
    "conf": 5,
    "inv": 9,
    "law": 2,
    "qr": 3,
    "sig": 4,
    "jcs": 3,
    "uuid": 1,
    "pdf": 1,
}
EXAMPLES = {
    f"core-{group}-{number:02d}" for group, several in GROUPS.items() for number in range(1, several + 1)
}

_KEY = re.compile(r"core-[a-z]+-[0-9]{2}(?![0-9])")


def keys_of(source: str) -> Iterator[str]:
    """Keys that tests carry: in the ids of their parameters, at the end of a test's name, or at the beginning
    of its docstring.

    A key in a comment or in the running text of a test is none: it may say that something waits.
    """
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.keyword) and node.arg in ("id", "ids"):
            texts = [
                part.value
                for part in ast.walk(node.value)
                if isinstance(part, ast.Constant) and isinstance(part.value, str)
            ]
            yield from (match[0] for match in map(_KEY.match, texts) if match)
        elif isinstance(node, ast.FunctionDef) and node.name.startswith("test_"):
            named = re.search(r"_core_([a-z]+)_([0-9]{2})$", node.name)
            if named:
                yield f"core-{named[1]}-{named[2]}"
            told = _KEY.match(ast.get_docstring(node) or "")
            if told:
                yield told[0]


def held_keys() -> set[str]:
    return {key for path in HERE.rglob("test_*.py") for key in keys_of(path.read_text("utf-8"))}


def test_every_worked_example_is_tested_or_waits_with_a_reason() -> None:
    held = held_keys()
    assert sorted(held | set(WAITING)) == sorted(EXAMPLES)
    assert sorted(held & set(WAITING)) == []
    assert all(len(reason) > 20 for reason in WAITING.values())


@pytest.mark.parametrize(
    ("source", "keys"),
    [
        ('pytest.param(1, id="core-unc-01-above")', ["core-unc-01"]),
        ('@p(ids=["core-unc-02", f"core-unc-03-{n}"])\ndef test_x(): ...', ["core-unc-02", "core-unc-03"]),
        ("def test_pressure_core_unit_01(): ...", ["core-unit-01"]),
        ('def test_x():\n    """core-pdf-01: from a table."""', ["core-pdf-01"]),
        (
            (
                'def test_x():\n    """Not core-pdf-01, which waits."""\n    # core-unc-01 waits\n   '
                ' say("core-unc-02")'
            ),
            [],
        ),
        ('def helper_core_unit_01():\n    """core-pdf-01"""', []),
    ],
    ids=["parameter", "list", "name", "docstring", "running text", "no test"],
)
def test_a_key_counts_where_a_test_carries_it(source: str, keys: list[str]) -> None:
    assert list(keys_of(source)) == keys
