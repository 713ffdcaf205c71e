"""Plants small defects and asks whether a test notices: a mutation run over the middle of the house.

    python tests/mutants.py map  OUT.json [PATH …]     which test reaches which line (runs these tests once)
    python tests/mutants.py draw OUT.json --seed 7 --count 300 [--skip 0] [--jobs 2]

`draw` prints its seed, then one line for every defect that no test noticed, with the place and what was
changed. A defect is tried in a copy of the tree against the tests that reach its line, quickest first, until
one fails. A run that takes too long counts as noticed: the defect hangs. `--skip` leaves out the first of
those drawn, which were tried before.
"""

from __future__ import annotations

import argparse
import ast
import json
import os
import random
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from queue import Queue
from typing import Any

import attrs

ROOT = Path(__file__).resolve().parents[1]
#: Where defects are planted: the record, the plugin view, verdicts, judgement and money.
PLACES = (
    "corekit/store", "corekit/plugin", "corekit/judge.py", "corekit/assess", "corekit/billing",
)  # fmt: skip
QUICK = 40.0  # s of tests that are tried first on a defect
SLOW = 150.0  # s of tests at most, before a defect counts as unnoticed
HANGS = 240.0  # s that one try may take

_COMPARISONS: Mapping[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.In: ast.NotIn, ast.NotIn: ast.In,
}  # fmt: skip
_OPERATORS: Mapping[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.Mod: ast.Mult,
}  # fmt: skip


@attrs.frozen
class Mutant:
    """One defect: the file, the line, what the source says there, and what it would say."""

    path: str
    line: int
    before: str
    after: str
    source: str


def _swapped(node: ast.AST) -> Iterator[tuple[str, Any, Any]]:
    """The ways to change one node: (attribute, value now, value with the defect)."""
    match node:
        case ast.Compare(ops=[only]) if type(only) in _COMPARISONS:
            yield "ops", node.ops, [_COMPARISONS[type(only)]()]
        case ast.BinOp(op=op) if type(op) in _OPERATORS and not _is_text(node):
            yield "op", node.op, _OPERATORS[type(op)]()
        case ast.BoolOp(op=op):
            yield "op", node.op, ast.Or() if isinstance(op, ast.And) else ast.And()
            yield "values", node.values, node.values[1:]
        case ast.If() | ast.IfExp():
            yield "test", node.test, ast.UnaryOp(ast.Not(), node.test)
        case ast.UnaryOp(op=ast.Not()):
            yield "operand", node.operand, ast.UnaryOp(ast.Not(), node.operand)
        case ast.Constant(value=bool() as value):
            yield "value", value, not value
        case ast.Constant(value=int() | float() as value):
            yield "value", value, value + 1 if isinstance(value, int) else value * 1.5 + 0.1


def _is_text(node: ast.BinOp) -> bool:
    return any(
        isinstance(part, (ast.JoinedStr, ast.Constant))
        and not isinstance(getattr(part, "value", 0), (int, float))
        for part in (node.left, node.right)
    )


def _words(node: ast.AST) -> str:
    """What stands at a node, on one line; of an `if` its condition."""
    return " ".join(ast.unparse(node.test if isinstance(node, ast.If) else node).split())


def mutants(path: Path) -> Iterator[Mutant]:
    """Every defect that can be planted in one module."""
    source = path.read_text("utf-8")
    tree = ast.parse(source)
    skipped = set()
    for node in ast.walk(tree):
        annotations = [getattr(node, "annotation", None), getattr(node, "returns", None)]
        skipped |= {id(part) for one in annotations if one is not None for part in ast.walk(one)}
        if isinstance(node, ast.FormattedValue):
            skipped |= {id(part) for part in ast.walk(node)}
    for node in ast.walk(tree):
        if id(node) in skipped or not hasattr(node, "lineno"):
            continue
        for name, now, defect in list(_swapped(node)):
            before = _words(node)
            setattr(node, name, defect)
            after, changed = _words(node), ast.unparse(ast.fix_missing_locations(tree))
            setattr(node, name, now)
            if after != before:
                yield Mutant(str(path.relative_to(ROOT)), node.lineno, before, after, changed)


# ── which test reaches which line ──────────────────────────────────────────────────────────────────────────


class _Reached:
    """A pytest plugin: each test is a context of its own for coverage, and its time is kept."""

    def __init__(self) -> None:
        import coverage

        self.coverage = coverage.Coverage(
            data_file=None,
            include=[f"{ROOT}/{place}" if place.endswith(".py") else f"{ROOT}/{place}/*" for place in PLACES],
            messages=False,
        )
        self.seconds: dict[str, float] = {}

    def pytest_collection_modifyitems(self, items: list[Any]) -> None:
        """Modules that begin threads are left out: a traced thread that another one stops may never end."""
        items[:] = [item for item in items if "threading" not in vars(item.module)]

    def pytest_runtest_logstart(self, nodeid: str) -> None:
        self.coverage.switch_context(nodeid)

    def pytest_runtest_logfinish(self) -> None:
        self.coverage.switch_context("between")

    def pytest_runtest_logreport(self, report: Any) -> None:
        self.seconds[report.nodeid] = self.seconds.get(report.nodeid, 0.0) + report.duration


def write_map(out: Path, paths: Sequence[str]) -> int:
    """Run these tests once, else the whole suite, and write, for each file and line, which tests reach it."""
    import pytest

    reached = _Reached()
    reached.coverage.start()
    code = pytest.main(
        ["-q", "-p", "no:cacheprovider", "-m", "not browser", *(paths or [str(ROOT)])], plugins=[reached]
    )
    reached.coverage.stop()
    data = reached.coverage.get_data()
    lines: dict[str, dict[str, list[str]]] = {}
    for file in data.measured_files():
        contexts = data.contexts_by_lineno(file)
        lines[str(Path(file).relative_to(ROOT))] = {
            str(line): [name for name in names if name in reached.seconds] for line, names in contexts.items()
        }
    out.write_text(json.dumps({"seconds": reached.seconds, "lines": lines}), "utf-8")
    return int(code)


# ── trying them ────────────────────────────────────────────────────────────────────────────────────────────


@attrs.frozen
class Reach:
    """Which tests reach which line, and how long each takes, [s]."""

    seconds: Mapping[str, float]
    lines: Mapping[str, Mapping[str, Sequence[str]]]

    def tests(self, mutant: Mutant) -> list[str]:
        """The tests that reach a defect, quickest first; for a line that runs at import, all that reach its
        module.
        """
        lines = self.lines.get(mutant.path, {})
        names = set(lines.get(str(mutant.line), ()))
        if not names:
            names = {name for reached in lines.values() for name in reached}
        return sorted(names, key=lambda name: (self.seconds[name], name))


def _noticed(mutant: Mutant, reach: Reach, tree: Path) -> bool:
    """Does a test fail with the defect in place?"""
    target = tree / mutant.path
    source = target.read_text("utf-8")
    target.write_text(mutant.source, "utf-8")
    try:
        tests, total, batch, done = reach.tests(mutant), 0.0, list[str](), 0.0
        for name in tests:
            batch.append(name)
            total += reach.seconds[name]
            if total - done > QUICK:
                if _fails(batch, tree):
                    return True
                batch, done = [], total
            if total > SLOW:
                return False
        return bool(batch) and _fails(batch, tree)
    finally:
        target.write_text(source, "utf-8")


def _fails(tests: Sequence[str], tree: Path) -> bool:
    plugins = [str(folder) for folder in sorted((tree / "plugins").iterdir())]
    env = {**os.environ, "PYTHONPATH": os.pathsep.join([str(tree), *plugins]), "PYTHONDONTWRITEBYTECODE": "1"}
    command = [sys.executable, "-m", "pytest", "-x", "-q", "-p", "no:cacheprovider", "--no-header", *tests]
    try:
        ended = subprocess.run(command, cwd=tree, env=env, capture_output=True, timeout=HANGS, check=False)
    except subprocess.TimeoutExpired:
        return True
    return ended.returncode != 0


def draw(reach: Reach, *, seed: int, count: int, skip: int, jobs: int) -> int:
    """Plant `count` defects drawn at random, but for the first `skip`; print those that nobody noticed."""
    files = sorted(
        file
        for place in PLACES
        for file in ([ROOT / place] if place.endswith(".py") else (ROOT / place).rglob("*.py"))
    )
    every = [mutant for file in files for mutant in mutants(file)]
    chosen = random.Random(seed).sample(every, min(count, len(every)))[skip:]
    print(
        f"seed {seed}: {skip + 1} to {skip + len(chosen)} of {len(every)} defects in {len(files)} modules",
        flush=True,
    )
    trees: Queue[Path] = Queue()
    with tempfile.TemporaryDirectory() as folder, ThreadPoolExecutor(jobs) as pool:
        for number in range(jobs):
            tree = Path(folder) / f"tree{number}"
            shutil.copytree(
                ROOT,
                tree,
                ignore=shutil.ignore_patterns(".git", ".venv", "__pycache__", ".hypothesis", ".mypy_cache"),
            )
            trees.put(tree)

        def tried(mutant: Mutant) -> tuple[Mutant, bool]:
            tree = trees.get()
            try:
                return mutant, _noticed(mutant, reach, tree)
            finally:
                trees.put(tree)

        survived = 0
        for number, (mutant, noticed) in enumerate(pool.map(tried, chosen), skip + 1):
            if not noticed:
                survived += 1
                print(f"{mutant.path}:{mutant.line}: {mutant.before}  →  {mutant.after}", flush=True)
            if number % 25 == 0:
                print(f"… {number} tried, {survived} unnoticed", flush=True)
    print(f"{len(chosen) - survived} of {len(chosen)} noticed")
    return 0


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("verb", choices=("map", "draw"))
    parser.add_argument("map", type=Path)
    parser.add_argument("paths", nargs="*")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--count", type=int, default=300)
    parser.add_argument("--skip", type=int, default=0)
    parser.add_argument("--jobs", type=int, default=2)
    chosen = parser.parse_args()
    if chosen.verb == "map":
        return write_map(chosen.map, chosen.paths)
    return draw(
        Reach(**json.loads(chosen.map.read_text("utf-8"))),
        seed=chosen.seed,
        count=chosen.count,
        skip=chosen.skip,
        jobs=chosen.jobs,
    )


if __name__ == "__main__":
    sys.exit(main())
