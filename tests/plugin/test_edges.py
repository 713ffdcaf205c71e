"""Which reading a check gets where several of one quantity are there: what its own readings were taken with,
then the stage's own, then what any other reading of the stage was taken with, then an earlier one.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated

import attrs
import pytest

import corekit as ck
from corekit.plugin.case import Missing
from corekit.plugin.check import Check
from corekit.testing import Bench

kiln = ck.System("kiln", "Kiln")
air = kiln.measurand("air", "°C", "Air", possible=(-40, 60), usual=(-20, 40), accuracy="1 °C", lasting=True)
draught, glow = (
    kiln.measurand(
        name, "V", name.title(), possible=(0, 20), usual=(0, 15), accuracy="0.1 V", conditions=(air,)
    )
    for name in ("draught", "glow")
)


@kiln.check("Air alone")
def alone(case: ck.Case, warmth: Annotated[ck.Reading, air]) -> Iterator[ck.Finding | ck.Gap]:
    yield case.advise(ck.Claim("kiln.alone", evidence=[warmth]), "It is {value}.", warmth)


@kiln.check("Air beside the draught")
def beside(
    case: ck.Case, read: Annotated[ck.Reading, draught], warmth: Annotated[ck.Reading, air]
) -> Iterator[ck.Finding | ck.Gap]:
    yield case.advise(ck.Claim("kiln.beside", evidence=[read, warmth]), "It is {value}.", warmth)


@pytest.fixture
def bench() -> Bench:
    return Bench(kiln)


def warmth(bench: Bench, check: str, stage: int = 0) -> str:
    """The air that a check gets, as it was typed."""
    declared: Check = kiln.checks[check]
    case = attrs.evolve(bench.case(declared.title), stage=stage)
    return str(declared.arguments(case)["warmth"].typed)


def test_the_stage_s_own_reading_comes_before_what_another_reading_was_taken_with(bench: Bench) -> None:
    bench.read("glow", "11 V", setup={"air": "35 °C"}).read("air", "5 °C")
    assert warmth(bench, "alone") == "5 °C"


def test_the_stage_s_own_reading_comes_first_whichever_was_read_first(bench: Bench) -> None:
    bench.read("air", "5 °C").read("glow", "11 V", setup={"air": "35 °C"})
    assert warmth(bench, "alone") == "5 °C"


def test_what_the_check_s_own_reading_was_taken_with_comes_before_the_stage_s_own(bench: Bench) -> None:
    bench.read("draught", "9 V", setup={"air": "20 °C"}).read("air", "5 °C")
    bench.read("glow", "11 V", setup={"air": "35 °C"})
    assert warmth(bench, "beside") == "20 °C"


def test_a_reading_of_the_check_without_conditions_takes_the_stage_s_own_and_not_a_neighbour_s(
    bench: Bench,
) -> None:
    bench.read("glow", "11 V", setup={"air": "35 °C"}).read("draught", "9 V").read("air", "5 °C")
    assert warmth(bench, "beside") == "5 °C"


def test_without_one_of_the_stage_s_own_what_a_neighbour_was_taken_with_is_used(bench: Bench) -> None:
    bench.read("glow", "11 V", setup={"air": "35 °C"}).read("draught", "9 V")
    assert (warmth(bench, "alone"), warmth(bench, "beside")) == ("35 °C", "35 °C")


def test_an_earlier_stage_s_reading_comes_after_what_this_stage_s_readings_were_taken_with(
    bench: Bench,
) -> None:
    bench.read("air", "5 °C").read("glow", "11 V", setup={"air": "35 °C"})
    bench.readings["kiln.glow", ""] = attrs.evolve(bench.readings["kiln.glow", ""], stage=1)
    assert warmth(bench, "alone", stage=1) == "35 °C"


def test_an_earlier_stage_s_reading_comes_last_but_before_nothing(bench: Bench) -> None:
    bench.read("glow", "11 V", setup={"air": "35 °C"}).read("air", "5 °C")
    assert warmth(bench, "alone", stage=1) == "5 °C", "conditions of the stage before are not this stage's"
    del bench.readings["kiln.air", ""]
    with pytest.raises(Missing):
        warmth(bench, "alone", stage=1)
