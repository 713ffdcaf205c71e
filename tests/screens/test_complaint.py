"""The complaint on the screens: symptom and circumstances beside the customer's words, hazards first, what no
system speaks to, what was tried, and the complaint as it is after a repair.
"""

from __future__ import annotations

import re
from typing import Any

from corekit.complaints import symptoms
from corekit.model.records import Complained

from .pages import Page, Visit


def begin(visit: Visit, **fields: str | list[str]) -> Any:
    """Start another job from the form of a new one; the reply."""
    form = Page(visit.client.get("/new").text).form_of("reason")
    given = dict(form.fields) | {"reason": "It does something.", "vehicle.plate": "DEMO-2"} | fields
    visit.id = form.action.split("/")[2]
    return visit.client.post(form.action, data=given)


def test_a_symptom_lies_below_one_heading_and_is_two_taps_away(real: Visit) -> None:
    """A heading, then the symptom; what needs no heading is one tap away."""
    html = real.client.get("/new").text
    for key, symptom in symptoms().symptoms.items():
        assert html.count(f'name="complaint.symptoms|list" value="{key}"') == 1, symptom.words
    folded = re.findall(r"<details>\s*<summary>([^<]*)</summary>\s*<fieldset", html)
    assert folded == [group.words for group in symptoms().groups[:-1]]
    for key in ("check_up", "something_else"):
        before = html.partition(f'value="{key}"')[0]
        assert before.count("<details") == before.count("</details>")


def test_symptoms_circumstances_and_how_often_become_one_complaint(real: Visit) -> None:
    begin(
        real,
        **{
            "complaint.symptoms|list": ["cranks_slowly", "squeals"],
            "complaint.when|list": ["cold", "stood"],
            "complaint.shows": "now_and_then",
        },
    )
    assert real.job.complained == Complained(
        symptoms=["cranks_slowly", "squeals"], circumstances=["cold", "stood"], shows="now_and_then"
    )


def test_the_hazards_of_the_symptom_come_first_with_what_to_do_now(real: Visit) -> None:
    reply = begin(real, **{"complaint.symptoms|list": "overheats"})
    assert "/hazards" in reply.headers["Location"]
    page = real.get(reply.headers["Location"])
    own = [hazard for hazard in symptoms().hazards if "overheats" in hazard.symptoms]
    every = [hazard for hazard in symptoms().hazards if not hazard.symptoms]
    places = [page.text.index(text) for hazard in (*own, *every) for text in (hazard.words, hazard.do)]
    assert own and every and places == sorted(places)
    others = set(symptoms().hazards) - {*own, *every}
    assert others and not any(hazard.do in page.text for hazard in others)
    assert f"/job/{real.id}" in page.links


def test_words_alone_and_a_check_up_lead_straight_on(real: Visit) -> None:
    assert begin(real).headers["Location"] == f"/job/{real.id}"
    assert real.job.complained is None
    reply = begin(real, **{"complaint.symptoms|list": "check_up"})
    assert reply.headers["Location"] == f"/job/{real.id}"
    assert real.job.complained is not None


def test_where_no_system_speaks_to_a_symptom_that_is_said_with_its_one_first_step(visit: Visit) -> None:
    """The invented clutch has no row for any symptom."""
    page = visit.get(begin(visit, **{"complaint.symptoms|list": "squeals"}).headers["Location"])
    squeals = symptoms().symptoms["squeals"]
    assert f"“{squeals.words}”: no installed system speaks to this." in page.text
    assert f"First step: {squeals.first_step}" in page.text


def test_a_symptom_that_a_system_speaks_to_is_not_called_uncovered(real: Visit) -> None:
    page = real.get(begin(real, **{"complaint.symptoms|list": "cranks_slowly"}).headers["Location"])
    assert "no installed system" not in page.text


def test_a_circumstance_without_a_symptom_comes_back_with_all_that_was_ticked(real: Visit) -> None:
    reply = begin(real, **{"complaint.when|list": ["cold", "wet"], "complaint.shows": "often"})
    assert reply.status_code == 422
    form = Page(reply.text).form_of("reason")
    ticked = [value for name, value in form.fields if name == "complaint.when|list"]
    assert ticked == ["cold", "wet"]
    assert "is missing" in reply.text


def test_a_complaint_said_again_takes_the_place_of_the_first(real: Visit) -> None:
    begin(real, **{"complaint.symptoms|list": "squeals", "complaint.when|list": "cold"})
    form = real.get("arrive").form_of("complaint.symptoms|list")
    assert ("complaint.symptoms|list", "squeals") in form.fields
    real.send(form, {"complaint.symptoms|list": "battery_lamp"})
    assert [noted.record.symptoms for noted in real.job.all(Complained)] == [["battery_lamp"]]
