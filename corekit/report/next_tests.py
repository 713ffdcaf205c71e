"""Which of the next tests are said: those that name something, and are not made already."""

from __future__ import annotations

from collections.abc import Iterable

from ..assess.suspect import NextTest
from ..plugin.host import Plugins


def named_tests(tests: Iterable[NextTest]) -> list[NextTest]:
    """The tests without those that name nothing to be read: a finding that is decided asks for no test, even
    where another of its code does.
    """
    return [test for test in tests if test.key and test.question.strip()]


def asks_for_codes(test: NextTest, plugins: Plugins) -> bool:
    """True for a test that asks for the list of trouble codes."""
    system = plugins.systems.get(test.system)
    row = system.faults.tests.get(test.key) if system is not None and system.faults is not None else None
    return row is not None and bool(row.codes) and not row.wants
