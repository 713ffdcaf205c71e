"""Rows are numbered once, also while two screens ask for them at the same moment."""

from __future__ import annotations

import sys
import threading

import pytest

from corekit.assess.branches import Rows

KINDS, THREADS, ROUNDS = 60, 4, 60


def _row(kind: int) -> list[float]:
    return [kind / KINDS, 1 - kind / KINDS]


def test_every_kind_has_its_own_row_whoever_asks_at_the_same_time() -> None:
    wrong: list[object] = []

    def ask(rows: Rows, begin: threading.Barrier, first: int) -> None:
        begin.wait()
        for n in range(KINDS):
            kind = (first + n) % KINDS
            try:
                if rows.of(kind) != tuple(_row(kind)):
                    wrong.append(kind)
                rows.logs[rows.id_of(kind)]
            except IndexError as error:  # a number was told before its row was there
                wrong.append(error)

    before = sys.getswitchinterval()
    sys.setswitchinterval(1e-6)
    try:
        for _ in range(ROUNDS):
            rows, begin = Rows(_row, KINDS), threading.Barrier(THREADS)
            threads = [threading.Thread(target=ask, args=(rows, begin, n)) for n in range(THREADS)]
            for thread in threads:
                thread.start()
            for thread in threads:
                thread.join()
            assert len(rows.each) == len(rows.logs) == KINDS
    finally:
        sys.setswitchinterval(before)
    assert wrong == []


def test_kinds_with_the_same_row_share_its_number() -> None:
    rows = Rows(lambda kind: [0.25, 0.75] if kind else [0.5, 0.5], 3)
    assert list(rows.numbered([0, 1, 2])) == [0, 1, 1]
    assert rows.logs == pytest.approx([-1.0, 0.25 * -2 + 0.75 * -0.4150374992788438])
