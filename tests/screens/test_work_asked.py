"""What is asked with a piece of work: of a new part its label, of a charge how it was done."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from corekit.plugin.host import load

from .pages import Visit, begun


@pytest.fixture
def visit(empty_shop: Path) -> Iterator[Visit]:
    for visit in begun(empty_shop, load()):
        visit.rows(traits={"battery.capacity": "60 Ah", "battery.type": "flooded"})
        yield visit


FROM = 'step[0].repaired."battery.charged_from"'


def test_a_charge_asks_from_what_for_how_long_and_by_which_charger(visit: Visit) -> None:
    page = visit.get("act/battery.charge")
    assert "How it was done" in page.text and "The new part" not in page.text
    form = page.form_of("step[0].repaired.operation")
    said = {
        FROM: "11.9",
        f"{FROM}|unit": "V",
        'step[0].repaired."battery.charged_for"': "1 h",
        'step[0].repaired."battery.charger"': "5 A",
    }
    assert set(said) <= form.names
    visit.send(form, said)
    history = visit.get("record").text
    assert "11.9 V" in history and "5 A" in history


def test_what_was_not_said_of_a_charge_costs_nothing(visit: Visit) -> None:
    visit.send(visit.get("act/battery.charge").form_of("step[0].repaired.operation"))
    assert visit.shop.store.job(visit.id).stage == 1


def test_a_fault_in_what_was_said_comes_back_beside_its_field(visit: Visit) -> None:
    form = visit.get("act/battery.charge").form_of("step[0].repaired.operation")
    page = visit.send(form, {FROM: "119 V"}, status=422)
    assert "119 V" in page.text and visit.shop.store.job(visit.id).stage == 0
