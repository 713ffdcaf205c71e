"""Readings that lead to an outcome are derived from the limits that a check compares with."""

from __future__ import annotations

import sys
import types
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

import corekit as ck
from corekit.testing import Bench
from corekit.testing.kit.said import codes_in, said_by
from corekit.testing.kit.whole import nonconforming_table

SOURCE = """
from collections.abc import Iterator
from typing import Annotated

import corekit as ck

wheel = ck.System("wheel", "Wheel")
rim = wheel.part("rim", "Rim")
runout = wheel.measurand(
    "runout", "V", "Signal", possible=(0, 1000), usual=(0, 100), accuracy="0.01 V", how="Read it.", part=rim
)
beside = wheel.measurand(
    "beside", "V", "Another", possible=(0, 1000), usual=(0, 100), accuracy="0.01 V", how="Read it."
)
renew = wheel.operation("renew", "Renew the rim", shown_by=runout)
SAYS = ck.Says(passes="{value} fits.", fails="{value} does not fit.", undecided="{value} is near {limit}.")


@wheel.check("Signal")
def signal(
    case: ck.Case, read: Annotated[ck.Reading, runout], more: Annotated[ck.Reading | None, beside]
) -> Iterator[ck.Finding | ck.Gap]:
    BODY


@wheel.check("Nothing")
def nothing(case: ck.Case, read: Annotated[ck.Reading, runout]) -> Iterator[ck.Finding | ck.Gap]:
    yield case.gap(runout, "Nothing is said of it.")
"""
SOURCES = '[[source]]\nkey = "book"\ntitle = "A book"\nbasis = "handbook"\nstatus = "read"\n'
LIMITS = """
[[limit]]
key    = "wheel.signal"
low    = 37.3
high   = 37.9
unit   = "V"
source = "book"
width  = 0.02
why    = "as printed"
"""
TABLE = """
[faults]
bent = { per_1000 = 5, name = "Bent", part = "rim", calls_for = "wheel.renew", why = "kerbs" }

[test.signal]
FROM
question  = "Does the signal fit?"
wants     = "wheel.runout"
minutes   = 1
outcomes  = OUTCOMES
sound     = "fits"
none      = ROW
otherwise = ROW
outside   = ROW
given.bent = { p = ROW, why = "it is bent" }
"""
NARROW = 'yield case.judge(read, case.limit("wheel.signal"), ck.Claim("wheel.signal"), SAYS)'


@pytest.fixture
def made(tmp_path: Path) -> Iterator[Callable[..., ck.System]]:
    name = f"corekit_wheel_{tmp_path.name}"

    def write(body: str, of: str, *outcomes: str) -> ck.System:
        row = [round(1 / len(outcomes), 3)] * (len(outcomes) - 1)
        table = TABLE.replace("FROM", of).replace("OUTCOMES", repr(list(outcomes)).replace("'", '"'))
        table = table.replace("ROW", repr([*row, round(1 - sum(row), 3)]))
        for file, text in (("sources", SOURCES), ("limits", LIMITS), ("faults", table)):
            (tmp_path / f"{file}.toml").write_text(text, "utf-8")
        module = types.ModuleType(name)
        module.__file__ = str(tmp_path / "__init__.py")
        sys.modules[name] = module
        exec(compile(SOURCE.replace("BODY", body), module.__file__, "exec"), vars(module))
        system: ck.System = module.wheel
        return system

    yield write
    sys.modules.pop(name, None)


#: What a check compares with, where its outcomes come from, and which there are.
SOUGHT = {
    "a limit of half a volt among a thousand": (NARROW, 'check = "wheel.signal"', ("fits", "outside")),
    "grades of how far beyond it lies": (
        NARROW,
        'check = "wheel.signal"\nbeyond = ["0 V", "0.3 V"]',
        ("fits", "beyond", "far beyond"),
    ),
    "a difference that is a hundredth of what each of the two may be": (
        'if more is not None:\n        yield case.advise(ck.Claim("wheel.signal", unit="V"), "{value}.",'
        " ck.propagate(lambda a, b: abs(a - b), [read.value, more.value], 'voltage'))",
        'bins = { check = "wheel.signal", at = ["11 V", "11.4 V"] }',
        ("fits", "beyond", "far beyond"),
    ),
    "a grade of the check's own": (
        'sort = "fits" if case.side(read, case.limit("wheel.signal")) is ck.Side.INSIDE else "off"\n    '
        'yield case.judge(read, case.limit("wheel.signal"), ck.Claim("wheel.signal", grade=sort), SAYS)',
        'grade = { check = "wheel.signal", answers = ["fits", "off"] }',
        ("fits", "off"),
    ),
    "the vehicle's own figure": (
        "if case.is_specified(runout):\n        yield case.judge(read, case.limit(runout),"
        ' ck.Claim("wheel.signal"), SAYS)',
        'check = "wheel.signal"',
        ("fits", "outside"),
    ),
    "a test that means something after a repair alone": (
        NARROW,
        'check = "wheel.signal"\nsince = ["wheel.renew"]',
        ("fits", "outside"),
    ),
}


@pytest.mark.parametrize("kind", SOUGHT)
def test_a_reading_is_reckoned_that_leads_to_each_outcome(kind: str, made: Callable[..., ck.System]) -> None:
    body, of, outcomes = SOUGHT[kind]
    system = made(body, of, *outcomes)
    assert [str(one) for one in nonconforming_table(system, said_by(system, 4, {}))] == []


def test_an_outcome_that_nothing_can_lead_to_is_told(made: Callable[..., ck.System]) -> None:
    system = made(NARROW, 'bins = { check = "wheel.signal", at = ["-5 V"] }', "below", "fits")
    (told,) = nonconforming_table(system, said_by(system, 4, {}))
    assert "no bench led to its outcome 'below'" in str(told)


def test_a_check_that_cannot_yield_the_code_is_not_asked_for_it(made: Callable[..., ck.System]) -> None:
    system = made(NARROW, 'check = "wheel.signal"', "fits", "outside")
    assert "wheel.signal" in codes_in(system.checks["signal"].function)
    assert "wheel.signal" not in codes_in(system.checks["nothing"].function)


#: Two grades, one of them only where two unlikely things come together.
RARE = (
    "rare = more is not None and 411.20 < read.number < 411.22 and 88.40 < more.number < 88.42\n    "
    'yield case.advise(ck.Claim("wheel.signal", grade="both" if rare else "usual"), "{value}.", read)'
)
GRADES = 'grade = { check = "wheel.signal", answers = ["usual", "both"] }'


def test_readings_laid_by_hand_lead_where_chance_does_not(made: Callable[..., ck.System]) -> None:
    system = made(RARE, GRADES, "fits", "both")
    (told,) = nonconforming_table(system, said_by(system, 4, {}))
    assert "no bench led to its outcome 'both'" in str(told)
    laid = Bench(system).read("runout", "411.21 V").read("beside", "88.41 V")
    assert list(nonconforming_table(system, said_by(system, 4, {}, [laid]))) == []


def test_an_outcome_that_no_finding_says_by_its_own_table_is_not_sought(
    made: Callable[..., ck.System],
) -> None:
    body = 'yield case.advise(ck.Claim("wheel.signal", grade="off"), "{value}.", read)'
    system = made(
        body, 'grade = { check = "wheel.signal", answers = ["off"], unsaid = "fits" }', "fits", "off"
    )
    assert system.faults is not None
    assert system.faults.tests["signal"].answers == ((), ("off",))
    assert list(nonconforming_table(system, said_by(system, 4, {}))) == []
