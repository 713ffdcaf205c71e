"""A misfire from its codes to its invoice on the screens: one begins at the cylinder that the code names,
nothing is asked for that this car does not have, and the invoice says no more of plugs that lie in the bin.
"""

from __future__ import annotations

from typing import Any

from corekit.model.records import Measured, Tried

from .pages import Page, Visit

GAP = "ignition.plug_gap"
COUNTS = {1: "2", 2: "141", 3: "1", 4: "0"}


def wording(document: Any) -> str:
    """All that a document prints."""
    from corekit.model.document import to_data

    found: list[str] = []

    def walk(value: Any) -> None:
        if isinstance(value, dict):
            for one in value.values():
                walk(one)
        elif isinstance(value, (list, tuple)):
            for one in value:
                walk(one)
        elif isinstance(value, str):
            found.append(value)

    walk(to_data(document))
    return "\n".join(found)


def count(visit: Visit, counts: dict[int, str]) -> None:
    visit.rows(
        step=[
            {
                "setup": {"ignition.revolutions": "1000", "ignition.engine_speed": "2000 rpm"},
                "readings": [
                    {"of": "ignition.misfires", "place": f"cylinder {n}", "is": text}
                    for n, text in counts.items()
                ],
            }
        ]
    )


def gap(visit: Visit, number: int, text: str) -> Page:
    """Read one gap on its screen."""
    page = visit.get(f"test/{GAP}?place=cylinder {number}&about=ignition")
    form = page.form_of("step[0].readings[0].is")
    return visit.send(form, {"step[0].readings[0].is": text, "step[0].readings[0].is|unit": "mm"})


def test_a_misfire_goes_from_its_code_to_an_invoice_without_the_old_plugs(real: Visit) -> None:
    real.rows(
        complaint={"symptoms": ["misses_under_load", "engine_lamp_flashes"]},
        traits={
            "ignition.kind": "coil on plug",
            "ignition.cylinders": "4",
            "ignition.coil_type": "electronic",
        },
        specification=[{"of": GAP, "low": "0.8 mm", "high": "0.9 mm", "from": "plate under the bonnet"}],
        step=[{"codes": {"stored": ["P0302"]}}],
    )
    # nothing of a distributor or of leads, and no fifth cylinder
    causes = real.get("explain").text
    assert "Distributor cap" not in causes and "plug lead" not in causes.lower()
    # the cylinder that the code names comes first, whatever is asked of cylinders
    page = real.get(f"test/{GAP}?about=ignition")
    assert "cylinder 2" in page.text and "cylinder 5" not in page.text
    form = page.form_of("step[0].readings[0].is")
    assert dict(form.fields)["step[0].readings[0].place"] == "cylinder 2"

    count(real, COUNTS)
    real.rows(
        step=[
            {
                "tried": {
                    "part": "ignition.coil",
                    "place": "coil 2",
                    "how": "swapped",
                    "with": "coil 3",
                    "result": "stayed",
                }
            }
        ]
    )
    assert real.job.all(Tried)
    assert "ignition.coil_swap" not in " ".join(real.get("tests?about=ignition&minutes=400").ahead)

    after = gap(real, 2, "1.35")
    assert "1.35" in after.text  # the failing cylinder is on the next screen, whatever comes after it
    for number, text in ((1, "0.85"), (3, "1.20"), (4, "1.25")):
        gap(real, number, text)
    assert {one.record.place for one in real.job.all(Measured) if one.record.of == GAP} == {
        f"cylinder {n}" for n in range(1, 5)
    }
    made = real.shop.assess(real.id)
    assert [call.operation for call in made.calls if call.met] == ["ignition.replace_plugs"]

    estimate = real.shop.estimate(real.id)
    real.shop.approve(estimate, by="customer", how="in person")
    real.rows(step=[{"repaired": {"operation": "ignition.replace_plugs"}}])
    count(real, {1: "0", 2: "1", 3: "0", 4: "0"})
    real.rows(step=[{"complaint_again": {"is": "Gone"}}])
    issued = real.shop.issue(real.id)
    told = wording(issued.document)
    assert "1.35" not in told.split("Evidence")[0] or "before" in told.lower()
    assert "next test: ," not in told and "Undecided: Cylinder" not in told
    for word in ("too close to an end of", "Test again plug gaps"):
        assert word not in told


def test_after_a_cure_nothing_of_the_old_plugs_is_in_doubt_and_no_code_tells_where_to_begin(
    real: Visit,
) -> None:
    real.rows(
        complaint={"symptoms": ["misses_at_high_speed"]},
        traits={"ignition.kind": "coil on plug", "ignition.cylinders": "4"},
        specification=[{"of": GAP, "low": "0.8 mm", "high": "0.9 mm", "from": "plate on the part"}],
        step=[
            {"codes": {"stored": ["P0300", "P0302"]}},
            {"seen": [{"of": "ignition.where", "is": "one cylinder"}]},
        ],
    )
    for number, text in ((2, "1.35"), (3, "0.90"), (4, "0.85"), (1, "0.85")):
        gap(real, number, text)
    count(real, {2: "38"})
    said = " ".join(str(finding.text) for finding in real.shop.assess(real.id).findings)
    assert "testing starts at cylinder 2" in said and "too close to an end of" in said

    real.shop.approve(real.shop.estimate(real.id), by="customer", how="in person")
    real.rows(step=[{"repaired": {"operation": "ignition.replace_plugs"}}])
    count(real, {2: "0"})
    real.rows(step=[{"complaint_again": {"is": "Gone"}}])
    told = wording(real.shop.issue(real.id).document)
    assert "1.35 mm" in told, "what the work rests on stays"
    for words in ("too close to an end of", "testing starts there", "It misfires", "Required voltage of"):
        assert words not in told, words
    assert "Nothing is open" in told
