"""A visit with exhaust gas recirculation on the screens, from the codes to the paid invoice: smoke from the
unpowered regulator and a cracked hose both lead to work, and nothing that was seen is missing on the paper.
"""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path

import pytest
from pypdf import PdfReader

from corekit.desk.assessing import assessment_of
from corekit.plugin.host import load

from .pages import Page, Visit, begun

HOSES, REGULATOR = "egr.replace_sensing_hoses", "egr.replace_regulator"
READING, SEEN = "step[0].readings[0]", "step[0].seen[0]"
PRICES = """
[operations."egr.replace_sensing_hoses"]
hours = "0.4"
parts = [ { name = "Hose for the exhaust sensor", price = "6.00", quantity = "2", condition = "new" } ]

[operations."egr.replace_regulator"]
hours = "0.5"
parts = [ { name = "Vacuum regulator", price = "48.00", quantity = "1", condition = "new" } ]
"""


@pytest.fixture
def visit(empty_shop: Path) -> Iterator[Visit]:
    """A shop whose book prices every operation of this visit."""
    book = empty_shop / "prices.toml"
    book.write_text(f"{book.read_text('utf-8')}{PRICES}", "utf-8")
    yield from begun(empty_shop, load())


def seen(visit: Visit, key: str, answer: str) -> Page:
    return visit.send(visit.get(f"test/{key}").form_of(f"{SEEN}.is"), {f"{SEEN}.is": answer})


def read(visit: Visit, key: str, text: str, **under: str) -> Page:
    form = visit.get(f"test/{key}").form_of(f"{READING}.is")
    beside = {f'step[0].setup."egr.{name}".is': value for name, value in under.items()}
    return visit.send(form, {f"{READING}.is": text, **beside})


SEEN_THERE = {
    "egr.sensing_hoses": ("cracked", "A hose of the pressure sensor is cracked"),
    "egr.vacuum_smoke": (
        "from the regulator's valve port, unpowered",
        "Smoke comes out of the regulator's valve port while it is unpowered",
    ),
    "egr.reaction": ("stalls", "With the valve opened by hand at idle the engine stalls"),
}


def looked_at(visit: Visit) -> None:
    """Come, agree on the price of looking, read the codes, say what is fitted, and look."""
    visit.rows(complaint={"symptoms": ["engine_lamp", "idles_roughly"]})
    visit.send(visit.get("diagnosis").forms[0])
    approve(visit, "diagnosis")
    codes = visit.get("codes").form_of("step[0].codes.stored|list")
    visit.send(codes, {"step[0].codes.stored|list": "P0401", "step[0].codes.pending|none": "yes"})
    fitted = visit.get("fitted/egr").forms[0]
    visit.send(
        fitted,
        {
            'traits."egr.engine"': "petrol",
            'traits."egr.valve"': "vacuum, with regulator",
            'traits."egr.sensor"': "differential pressure, later type",
            'traits."egr.cooler"': "not fitted",
        },
    )
    for key, (answer, _) in SEEN_THERE.items():
        seen(visit, key, answer)
    read(visit, "egr.sensor_supply", "5.00")
    read(visit, "egr.signal_zero", "1.00", sensor_supply="5.00")
    read(visit, "egr.signal_open", "1.05", sensor_supply="5.00", engine_speed="780")
    read(visit, "egr.vacuum_off", "6")


def approve(visit: Visit, screen: str) -> None:
    form = next(form for form in visit.get(screen).forms if "/approve" in form.action)
    given: dict[str, list[str]] = {"how": ["in person"]}
    for name, value in form.fields:
        given.setdefault(name, []).append(value)
    assert visit.client.post(form.action, data=given).status_code == 303


def done(visit: Visit, operation: str) -> None:
    """Say on the screen of the repair that this work is done."""
    page = visit.get("repair")
    form = next(
        form for form in page.forms if dict(form.fields).get("step[0].repaired.operation") == operation
    )
    visit.send(form)


def test_smoke_from_the_unpowered_regulator_and_a_cracked_hose_both_lead_to_work_and_to_the_paper(
    visit: Visit,
) -> None:
    looked_at(visit)
    page = visit.get("estimate")
    # by hand: (0.5 h × 62.50 + 48.00 + 0.4 h × 62.50 + 2 × 6.00) × 1.20 = 116.25 × 1.20
    assert "139.50 EUR" in page.text and "Needs a price" not in page.text
    visit.send(next(form for form in page.forms if "estimate-of" in form.action))
    assert {line["operation"] for line in visit.job.estimates[-1].record.lines} == {HOSES, REGULATOR}
    approve(visit, "estimate")

    done(visit, REGULATOR)
    assert "Vacuum at the valve, regulator unplugged" in visit.get("retest").text
    read(visit, "egr.vacuum_off", "0.1")
    assert proofs(visit) == {REGULATOR: "shown to work"}

    done(visit, HOSES)
    lacks = read(visit, "egr.signal_open", "3.10", sensor_supply="5.00", engine_speed="780")
    assert "valve closed, engine off: not measured" in visit.get("retest").text, lacks.text[:400]
    read(visit, "egr.signal_zero", "1.00", sensor_supply="5.00")
    assert proofs(visit) == {HOSES: "shown to work", REGULATOR: "shown to work"}, (
        "what the engine did before the hoses still stands"
    )

    again = next(
        form for form in visit.get("retest").forms if "step[0].complaint_again.is" in dict(form.buttons)
    )
    visit.send(again, {"step[0].complaint_again.is": "gone"})
    codes = visit.get("codes").form_of("step[0].codes.stored|list")
    visit.send(codes, {"step[0].codes.stored|none": "yes", "step[0].codes.pending|none": "yes"})

    issued = visit.shop.issue(visit.id)
    # 139.50 and, by hand, (20.00 + 30.00) × 1.20 of call-out and diagnosis
    assert issued.due.amount == Decimal("199.50")
    paper = PdfReader(str(issued.pdf))
    words = " ".join(" ".join(page.extract_text() for page in paper.pages).split())
    for _, sentence in SEEN_THERE.values():
        assert sentence in words, sentence
    assert "P0401" in words and "6.0 inHg" in words and "0.10 inHg" in words
    assert "Nothing looked at explains" not in words


def proofs(visit: Visit) -> dict[str, str]:
    made = assessment_of(visit.shop.context, visit.job)
    return {repair.operation: str(repair.proof) for repair in made.repairs}
