"""What many tests would tell, worked out at once: for a process that stays, where numpy is installed.

The same sums as in `ranking`, in another order. numpy comes with the extra `columns`; nothing imports this
but `ranking.use_columns`, and a command that ends at once never does.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import attrs
import numpy as np

from .branches import Layout, Rows

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Numbers = NDArray[np.float64]
    Places = NDArray[np.intp]


FEW = 4  # tests whose stack is not worth keeping


@attrs.frozen(eq=False)
class Stack:
    """The rows of some tests side by side.

    Attributes:
        tests: The rows of each test. rows: For each kind the chance p of each outcome of each test.
        logs: p log₂ p of each. begins: Where in `rows` each test begins.
    """

    tests: Sequence[Rows]
    rows: Numbers
    logs: Numbers
    begins: Places

    @classmethod
    def of(cls, tests: Sequence[Rows]) -> Stack:
        numbers = [rows.all_numbered() for rows in tests]
        columns = [np.array(rows.each)[np.array(ids)] for rows, ids in zip(tests, numbers, strict=True)]
        ends = np.cumsum([column.shape[1] for column in columns])
        rows = np.concatenate(columns, axis=1)
        return cls(tests, rows, _p_log_p(rows), np.concatenate(([0], ends[:-1])))


def picked(chances: Sequence[float], left_out: float) -> tuple[Places, Numbers]:
    """The places of the branches that count, and their chances; the least likely that together have less than
    `left_out` do not.
    """
    every = np.array(chances)
    ranked = np.argsort(every, kind="stable")
    places = ranked[np.count_nonzero(np.cumsum(every[ranked]) < left_out) :]
    return places, every[places]


class SeenColumns:
    """The likely states as the tests of one system see them: an entry for each kind within each work, and
    works that come with one kind only taken together.
    """

    def __init__(self, layout: Layout, places: Places, likely: Numbers, system: str) -> None:
        count = len(layout.kinds(system).own)
        work, kind, of = _pairs(layout, system)
        chances = np.bincount(of[places], likely, len(work)).astype(np.float64, copy=False)
        there = np.flatnonzero(chances)
        work, kind, chances = work[there], kind[there], chances[there]
        begins = np.flatnonzero(np.diff(work, prepend=-1))
        sizes = np.diff(begins, append=len(work))
        mixed = np.repeat(sizes > 1, sizes)
        alone = np.bincount(kind[~mixed], chances[~mixed], count).astype(np.float64, copy=False)
        self._alone_kinds = np.flatnonzero(alone)
        self._alone = alone[self._alone_kinds][:, None]
        self._kinds, self._chances = kind[mixed], chances[mixed][:, None]
        self._begins = np.cumsum(sizes[sizes > 1]) - sizes[sizes > 1]  # of the mixed works
        self._layout, self._system = layout, system
        self._told: dict[Rows, float] = {}

    def bits(self, tests: Sequence[Rows]) -> Sequence[float]:
        """Mutual information between the work called for and the outcome of each of these tests."""
        asked = [rows for rows in tests if rows not in self._told]
        if asked:
            self._told |= self._bits(self._stack(asked))
        return [self._told[rows] for rows in tests]

    def _stack(self, tests: Sequence[Rows]) -> Stack:
        """These tests side by side, or the stack that was kept where it holds them and not many others: with
        the next answer most of them are asked about again.
        """
        columns, wanted = self._layout.columns, frozenset(tests)
        kept: Stack | None = columns.get(("stack", self._system))
        if kept is not None and wanted.issubset(kept.tests) and 2 * len(wanted) > len(kept.tests):
            return kept
        stack = Stack.of(tests)
        if len(tests) > FEW:
            columns["stack", self._system] = stack
        return stack

    def _bits(self, stack: Stack) -> dict[Rows, float]:
        begins = stack.begins
        results = _weighed(stack.rows, self._alone_kinds, self._alone).sum(0)
        told = _weighed(stack.logs, self._alone_kinds, self._alone).sum(0)
        held = np.zeros(len(begins))
        if len(self._begins):
            joint = np.add.reduceat(_weighed(stack.rows, self._kinds, self._chances), self._begins)
            results += joint.sum(0)
            told += _p_log_p(joint).sum(0)
            held = _p_log_p(np.add.reduceat(joint, begins, axis=1)).sum(0)
        whole = np.add.reduceat(results, begins)
        told = np.add.reduceat(told - _p_log_p(results), begins) - held + _p_log_p(whole)
        return dict(zip(stack.tests, map(float, told / whole), strict=True))


def _works(layout: Layout) -> Places:
    """A number for what each branch calls for; kept with the branches."""
    if "works" not in layout.columns:
        numbers: dict[frozenset[str], int] = {}
        layout.columns["works"] = np.array([numbers.setdefault(work, len(numbers)) for work in layout.works])
    kept: Places = layout.columns["works"]
    return kept


def _pairs(layout: Layout, system: str) -> tuple[Places, Places, Places]:
    """The pairs of work and kind that there are, by work, and the number of each branch's; kept with them."""
    key = "pairs", system
    if key not in layout.columns:
        kinds = layout.kinds(system)
        pairs, of = np.unique(_works(layout) * len(kinds.own) + np.array(kinds.of), return_inverse=True)
        layout.columns[key] = (*np.divmod(pairs, len(kinds.own)), of)
    kept: tuple[Places, Places, Places] = layout.columns[key]
    return kept


def _weighed(rows: Numbers, kinds: Places, chances: Numbers) -> Numbers:
    """The rows of these kinds, each times its chance."""
    found: Numbers = rows[kinds]
    found *= chances  # a second array of this size would cost as much as the work
    return found


def _p_log_p(chances: Numbers) -> Numbers:
    logs: Numbers = np.log2(chances, out=np.zeros_like(chances), where=chances > 0.0)
    logs *= chances
    return logs
