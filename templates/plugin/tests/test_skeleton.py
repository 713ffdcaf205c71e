"""Tests of the skeleton: the conformance kit, worked examples, and what each check says."""

from pathlib import Path

import corekit as ck
import pytest
from corekit.testing import Bench, Examples, assessed, conformance, expected, outcome

from corekit_skeleton import system

EXAMPLES = Examples.beside(__file__)

test_conformance = conformance(system)


@pytest.mark.parametrize(
    ("row", "source"), [pytest.param(row, source, id=key) for key, row, source in EXAMPLES.rows]
)
def test_a_worked_example_comes_out_as_its_source_says(row, source):
    number, within = expected(system, row)
    assert outcome(system, row) == pytest.approx(number, abs=within, rel=0), source


def bench(supply, arriving, working="works weakly"):
    made = Bench(system).see("working", working)
    return made.read("supply_voltage", supply).read("arriving_voltage", arriving)


def test_a_volt_lost_on_the_way_speaks_for_the_connector():
    found = bench("12.6 V", "11.4 V").finding("skeleton.lost")
    assert (found.verdict, found.calls_for) == (ck.Verdict.FAIL, "skeleton.clean_connector")


def test_half_a_volt_is_too_close_to_call():
    assert bench("12.6 V", "12.1 V").finding("skeleton.lost").verdict is ck.Verdict.UNDECIDED


def test_what_does_not_work_with_full_voltage_is_replaced():
    made = bench("12.6 V", "12.5 V", "does not work")
    assert made.finding("skeleton.working").verdict is ck.Verdict.FAIL
    assert made.shown().calls_for("replace_device")


def test_a_reading_that_is_missing_is_named():
    gaps = Bench(system).read("supply_voltage", "12.6 V").gaps("way")
    assert [gap.wants for gap in gaps] == ["skeleton.arriving_voltage"]


def test_the_visit_to_try_finds_the_poor_connection():
    made = assessed((Path(__file__).parent / "visit.toml").read_text("utf-8"))
    assert made.suspects[0].fault == "bad_contact"
