"""What a command's own process is told before it runs."""

from __future__ import annotations

import gc
from collections.abc import Iterator

import pytest

from corekit.cli.command import VERBS
from corekit.isolation.command_process import LASTING, look_seldom


@pytest.fixture(autouse=True)
def usual() -> Iterator[int]:
    before = gc.get_threshold()
    yield before[0]
    gc.set_threshold(*before)


@pytest.mark.parametrize("words", [["check", "visit.toml"], ["invoice", "JOB"], []], ids=str)
def test_a_short_command_looks_seldom_for_unreachable_objects(words: list[str], usual: int) -> None:
    look_seldom(words)
    assert gc.get_threshold()[0] > 10 * usual
    assert gc.isenabled()


@pytest.mark.parametrize("verb", LASTING)
def test_a_server_looks_for_them_as_often_as_python_does(verb: str, usual: int) -> None:
    assert verb in VERBS
    look_seldom([verb])
    assert gc.get_threshold()[0] == usual
