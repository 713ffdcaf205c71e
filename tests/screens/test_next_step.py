"""The next step on the screens: a trait is asked as a step like the rest, and a test that comes again says
what is different now. Causes have a screen of their own.
"""

from __future__ import annotations

import copy
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from corekit.model.records import Fitted
from corekit.plugin.host import Plugins
from corekit.visit.guidance import open_tests

from ..visit.clutch import FAULTS, clutch
from .pages import Visit, begun

COMMON = {
    "minutes": 1,
    "outcomes": ["few", "many"],
    "sound": "few",
    "none": [0.95, 0.05],
    "otherwise": [0.95, 0.05],
    "given": {"worn": {"p": [0.02, 0.98]}},
}
ASKED = {
    "drive": COMMON
    | {
        "trait": {"of": "clutch.drive", "answers": ["cable", "fluid line"]},
        "question": "How is it worked?",
    },
    "sticker": COMMON
    | {"trait": {"of": "clutch.sticker", "at": ["5 mm"]}, "question": "What does the sticker say?"},
}


@pytest.fixture
def asking(empty_shop: Path) -> Iterator[Visit]:
    """The invented clutch, whose table asks two traits before all else."""
    other = copy.copy(clutch)
    table: Any = FAULTS | {"test": ASKED | FAULTS["test"]}
    other.__dict__["faults"] = other.fault_table(table, "faults that ask")
    yield from begun(empty_shop, Plugins(systems={"clutch": other}, versions={"clutch": "1"}))


def test_a_closed_trait_is_a_step_that_one_tap_answers(asking: Visit) -> None:
    page = asking.get("test?about=clutch")
    assert asking.at.partition("?")[0].endswith("/test/clutch.drive") and "How is it worked?" in page.text
    form = page.form_of('traits."clutch.drive"')
    assert [value for _, value in form.buttons] == ["cable", "fluid line", "don't know"]
    asking.send(form, {'traits."clutch.drive"': "cable"})
    assert [noted.record.answer for noted in asking.job.all(Fitted)] == ["cable"]
    assert not asking.at.partition("?")[0].endswith("/test/clutch.drive")


def test_a_trait_with_a_value_is_a_field_and_may_be_unknown(asking: Visit) -> None:
    page = asking.get("test/clutch.sticker?about=clutch")
    form = page.form_of('traits."clutch.sticker"')
    assert 'traits."clutch.sticker"|unit' in form.names
    asking.send(form, {'traits."clutch.sticker"': "7", 'traits."clutch.sticker"|unit': "mm"})
    assert [noted.record.typed for noted in asking.job.all(Fitted)] == ["7 mm"]


def test_a_trait_that_nobody_knows_does_not_come_again_by_itself(asking: Visit) -> None:
    page = asking.get("test/clutch.sticker?about=clutch")
    form = next(form for form in page.forms if ('traits."clutch.sticker"', "don't know") in form.buttons)
    asking.send(form, {'traits."clutch.sticker"': "don't know"})
    asking.rows(traits={"clutch.drive": "don't know"})
    asking.get("test")
    assert asking.at.partition("?")[0].rpartition("/")[2] not in ("clutch.sticker", "clutch.drive")


def test_what_was_worked_on_since_comes_again_by_itself_and_says_what_was_done(visit: Visit) -> None:
    visit.rows(step=[{"seen": [{"of": "clutch.fluid", "is": "dark"}]}])
    visit.rows(step=[{"repaired": {"operation": "clutch.replace"}}])
    assessment, plugins = visit.shop.assess(visit.id), visit.shop.context.plugins
    (again,) = [test for test in open_tests(assessment, plugins) if test.wants == "clutch.fluid"]
    assert again.repeat
    assert "Again: Done since it was made: Replace the cylinder." in visit.get("test/clutch.fluid").text


# ---- work that is done to find out


def charging(real: Visit) -> Any:
    """A flat battery: the steps that begin with charging it."""
    real.rows(complaint={"symptoms": ["cranks_slowly"]}, traits={"battery.type": "flooded"})
    setup = {"battery.rest_time": "9 h", "battery.temperature": "20 °C"}
    low = {"of": "battery.open_circuit_voltage", "is": "12.0 V"}
    real.rows(step=[{"setup": setup, "readings": [low]}])
    plugins = real.shop.context.plugins
    return [test for test in open_tests(real.shop.assess(real.id), plugins) if test.operation]


def test_harmless_work_is_a_step_and_leads_to_what_is_read_after_it(real: Visit) -> None:
    (step,) = charging(real)
    page = real.get(f"act/{step.operation}")
    assert step.question in page.text and "Caution" in page.text
    real.send(page.form_of("step[0].repaired.operation"))
    assert [noted.record.operation for noted in real.job.repairs] == ["battery.charge"]
    assert f"/test/{step.wants}" in real.at


def test_harmless_work_that_nobody_approved_leads_back_to_testing(real: Visit) -> None:
    (step,) = charging(real)
    real.shop.approve(real.shop.estimate(real.id, "diagnosis"), by="customer", how="in person")
    real.rows(step=[{"repaired": {"operation": step.operation}}])
    real.get(f"/job/{real.id}")
    assert "/test" in real.at and "/retest" not in real.at


def test_work_that_is_more_than_a_test_is_no_step_of_testing(real: Visit) -> None:
    real.get("act/battery.replace", status=404)


# ---- what is not on this vehicle


def test_a_coil_on_plug_has_no_cap_to_look_at(real: Visit) -> None:
    assert any("ignition.cap_look" in link for link in real.get("tests").links)
    real.rows(traits={"ignition.kind": "coil on plug", "ignition.cylinders": "4"})
    assert not any("ignition.cap_look" in link for link in real.get("tests").links)
    page = real.get("test/ignition.plug_gap")
    assert any("cylinder+4" in link for link in page.links)
    assert not any("cylinder+5" in link for link in page.links)


# ---- causes


def test_causes_stand_on_a_screen_of_their_own_and_the_customer_s_names_none(visit: Visit) -> None:
    visit.rows(step=[{"seen": [{"of": "clutch.fluid", "is": "dark"}]}])
    page = visit.get("causes")
    assert "Worn cylinder" in page.text and "in 10" in page.text
    assert "For Is the fluid clear? dark" in page.text
    explained = visit.get("explain")
    assert f"/job/{visit.id}/causes" in explained.links
    assert "Worn cylinder" not in explained.text and "in 10" not in explained.text


def test_what_is_not_sold_says_whom_it_goes_to(real: Visit) -> None:
    real.rows(complaint={"symptoms": ["does_nothing"]})
    table = real.shop.context.plugins.systems["battery"].faults
    assert table is not None
    referred = {fault.name: fault.refer for fault in table.faults.values() if fault.refer}
    text = real.get("causes").text
    shown = [name for name in referred if name in text]
    assert shown and all(f"Goes to {referred[name]}" in text for name in shown)


def test_the_symptom_that_no_system_speaks_to_stands_beside_the_causes(visit: Visit) -> None:
    visit.rows(complaint={"symptoms": ["squeals"]})
    assert "no installed system speaks to this" in visit.get("causes").text
    assert "no installed system speaks to this" in visit.get("systems").text
