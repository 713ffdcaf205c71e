"""The complaint on the screens: symptom and circumstances beside the customer's words, hazards first, what no
system speaks to, what was tried, and the complaint as it is after a repair.
"""

from __future__ import annotations

import re
from typing import Any

import pytest

from corekit.complaints import symptoms, trials
from corekit.model.records import Complained, Retold, Tried

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


# ---- what was tried


def tried(visit: Visit) -> list[Tried]:
    return [noted.record for noted in visit.job.tried]


def test_every_testing_screen_leads_to_what_was_tried(visit: Visit) -> None:
    visit.rows(traits={"clutch.bore": "20 mm"})
    for path in ("test", "test/clutch.play", "tests", "systems", "codes"):
        assert any(link.startswith(f"/job/{visit.id}/tried") for link in visit.get(path).links), path


def test_a_trial_is_a_part_a_way_and_what_came_of_it(visit: Visit) -> None:
    page = visit.get("tried")
    path = f"/job/{visit.id}/tried/clutch.cylinder"
    assert path in page.links
    page = visit.get(path)
    assert {f"{path}/{way}" for way in trials().ways} <= set(page.links)
    page = visit.get(f"{path}/known_good")
    form = page.form_of("step[0].tried.part")
    results = [value for name, value in form.buttons if name == "step[0].tried.result"]
    assert results == [*(key for key in trials().ways["known_good"].results if key != "other"), "other"]
    visit.send(form, {"step[0].tried.result": "back"})
    assert tried(visit) == [Tried(part="clutch.cylinder", how="known_good", result="back")]
    assert "known good part put in: gone, and back with the old part" in visit.get("tried").text


@pytest.mark.parametrize("way", trials().ways)
def test_what_makes_a_way_tell_something_else_stands_beside_it(visit: Visit, way: str) -> None:
    assert trials().ways[way].trap in visit.get(f"tried/clutch.cylinder/{way}").text


def test_a_trial_before_this_visit_says_so(visit: Visit) -> None:
    form = visit.get("tried/clutch.cylinder/renewed").form_of("step[0].tried.part")
    visit.send(form, {"step[0].tried.before|yes": "yes", "step[0].tried.result": "stayed"})
    assert tried(visit) == [Tried(part="clutch.cylinder", how="renewed", result="stayed", before=True)]


def test_something_else_wants_words_and_keeps_what_was_said_beside_it(visit: Visit) -> None:
    form = visit.get("tried/clutch.cylinder/renewed").form_of("step[0].tried.part")
    given = {"step[0].tried.result": "other", "step[0].tried.before|yes": "yes"}
    page = visit.send(form, given, status=422)
    again = page.form_of("step[0].tried.part")
    assert ("step[0].tried.before|yes", "yes") in again.fields and "what came of it, in words" in page.text
    visit.send(again, {"step[0].tried.result": "other", "step[0].tried.words": "It whistles now."})
    assert "It whistles now." in visit.get("tried").text


def test_a_swap_names_the_place_it_came_from_and_where_it_went(real: Visit) -> None:
    path = "tried/ignition.coil/swapped?place=coil+2"
    form = real.get(path).form_of("step[0].tried.with")
    real.send(form, {"step[0].tried.with": "coil 3", "step[0].tried.result": "moved"})
    expected = Tried(
        part="ignition.coil", how="swapped", result="moved", place="coil 2", swapped_with="coil 3"
    )
    assert tried(real) == [expected]


def test_what_a_part_was_swapped_with_in_own_words_is_kept_with_the_persons(real: Visit) -> None:
    form = real.get("tried/battery.battery/swapped").form_of("step[0].tried.with")
    real.send(form, {"step[0].tried.with": "that of Cleo Example", "step[0].tried.result": "gone"})
    (noted,) = [entry for entry in real.shop.store.journal(real.id) if entry.kind == "tried"]
    assert "Cleo" not in repr(noted.body)
    assert "that of Cleo Example" in real.get("tried").text, "the shop's own screen"
    real.shop.forget(real.id, because="asked to")
    assert "Cleo" not in real.get("tried").text


@pytest.mark.parametrize("said", ["another vehicle", "Another  vehicle", "a spare"])
def test_what_a_part_was_swapped_with_is_printed_where_it_is_of_the_closed_list(
    real: Visit, said: str
) -> None:
    form = real.get("tried/battery.battery/swapped").form_of("step[0].tried.with")
    real.send(form, {"step[0].tried.with": said, "step[0].tried.result": "gone"})
    assert tried(real)[0].swapped_with == said


def test_a_swap_without_its_other_place_comes_back(real: Visit) -> None:
    form = real.get("tried/ignition.coil/swapped?place=coil+2").form_of("step[0].tried.with")
    page = real.send(form, {"step[0].tried.result": "moved"}, status=422)
    assert "what it was exchanged with" in page.text and not tried(real)


@pytest.mark.parametrize(
    "path", ["tried/no.part", "tried/clutch.cylinder/prayed_over", "tried/no.part/renewed"]
)
def test_a_part_or_a_way_that_is_not_there_is_said_to_be_none(visit: Visit, path: str) -> None:
    visit.get(path, status=404)


# ---- the complaint after a repair


def repaired(visit: Visit, **complaint: Any) -> None:
    visit.rows(complaint={"symptoms": ["squeals"]} | complaint)
    visit.rows(step=[{"repaired": {"operation": "clutch.replace"}}])


def test_before_a_repair_nobody_asks_how_the_complaint_is_now(visit: Visit) -> None:
    assert "The complaint now" not in visit.get("retest").text


def test_after_a_repair_the_complaint_is_gone_less_stayed_or_worse(visit: Visit) -> None:
    repaired(visit)
    form = visit.get("retest").form_of("step[0].complaint_again.is")
    said = [value for name, value in form.buttons if name == "step[0].complaint_again.is"]
    assert said == ["gone", "less", "stayed", "worse"]
    visit.send(form, {"step[0].complaint_again.is": "less"})
    page = visit.get("retest")
    assert "Got less." in page.text
    visit.send(page.form_of("step[0].complaint_again.is"), {"step[0].complaint_again.is": "gone"})
    assert [noted.record for noted in visit.job.retold] == [Retold(result="gone", stage=1)]


def test_what_shows_now_and_then_may_only_be_away(visit: Visit) -> None:
    repaired(visit, shows="now_and_then")
    assert "It shows now and then: gone says little" in visit.get("retest").text


def test_what_shows_always_is_gone_when_it_is_gone(visit: Visit) -> None:
    repaired(visit, shows="always")
    assert "gone says little" not in visit.get("retest").text
