"""Named thresholds of the EGR system's checks, just inside and just outside."""

from __future__ import annotations

from typing import Any

import pytest

import corekit as ck

# ---- a regulator that is hardly commanded gives next to nothing on purpose: below 20 % (source: regulator)


@pytest.mark.parametrize("duty", ["5 %", "19 %"])
def test_below_a_fifth_of_duty_the_regulator_is_excused(car: Any, duty: str) -> None:
    found = car.read("vacuum_on", "0.6 inHg", setup={"duty": duty}).finding("egr.vacuum_on")
    assert (found.verdict, found.probability, found.calls_for) == (ck.Verdict.UNDECIDED, None, "")
    assert found.next_test == "egr.vacuum_on"


@pytest.mark.parametrize("duty", ["20 %", "21 %", "35 %", "90 %"])
def test_from_a_fifth_of_duty_the_regulator_answers_for_its_vacuum(car: Any, duty: str) -> None:
    found = car.read("vacuum_on", "0.6 inHg", setup={"duty": duty}).finding("egr.vacuum_on")
    assert found.probability is not None and found.probability < 0.05
    assert found.calls_for == "egr.replace_regulator"


@pytest.mark.parametrize("duty", ["19 %", "21 %"])
def test_enough_vacuum_passes_on_either_side_of_a_fifth_of_duty(car: Any, duty: str) -> None:
    found = car.read("vacuum_on", "12 inHg", setup={"duty": duty}).finding("egr.vacuum_on")
    assert found.probability is not None and found.probability > 0.95
