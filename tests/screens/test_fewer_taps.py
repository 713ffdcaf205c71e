"""What saves taps: places on one screen, an estimate in one tap, the way on without a screen that asks
nothing, the last question before the invoice.
"""

from __future__ import annotations

from typing import Any

import pytest

from corekit.model.records import Measured
from corekit.screens.forms import taken_readings

from .pages import Form, Visit

GAP, POSTS = "ignition.plug_gap", "battery.cranking_voltage"


def row(n: int, what: str = "is") -> str:
    return f"step[0].readings[{n}].{what}"


def read(visit: Visit) -> list[tuple[str, str, str]]:
    return [(one.record.of, one.record.place, one.record.typed) for one in visit.job.all(Measured)]


# ---- several places on one screen


def test_up_to_four_places_stand_on_one_screen_and_what_was_left_empty_comes_next(real: Visit) -> None:
    real.rows(traits={"ignition.kind": "coil on plug", "ignition.cylinders": "6"})
    form = real.get(f"test/{GAP}").form_of(row(0))
    assert {row(n) for n in range(4)} <= form.names and row(4) not in form.names
    page = real.send(form, {row(0): "0.8", row(2): "0.9", row(0, "is|unit"): "mm"})
    assert read(real) == [(GAP, "cylinder 1", "0.8 mm"), (GAP, "cylinder 3", "0.9 mm")]
    assert real.at.endswith("place=cylinder+2")
    real.send(page.form_of(row(0)), {row(0): "0.8", row(1): "0.8", row(2): "0.8", row(3): "0.8"})
    assert len(read(real)) == 6 and "plug_gap" not in real.at


def test_the_unit_and_the_instrument_are_said_once_for_all_places(real: Visit) -> None:
    form = real.get(f"test/{POSTS}").form_of(row(0))
    said = {row(0): "9", row(1): "8900", row(0, "is|unit"): "mV", row(0, "with"): "meter"}
    said = {**said, row(0): "9000"}
    real.send(form, said)
    records = [one.record for one in real.job.all(Measured)]
    assert [(one.place, one.typed, one.instrument) for one in records] == [
        ("posts", "9000 mV", "meter"),
        ("clamps", "8900 mV", "meter"),
    ]


def test_a_fault_stands_beside_the_place_it_was_typed_at_and_nothing_of_the_form_is_kept(real: Visit) -> None:
    form = real.get(f"test/{POSTS}").form_of(row(0))
    page = real.send(form, {row(0): "", row(1): "9000"}, status=422)
    assert read(real) == []
    beside = page.html.index(f'data-faults="{row(1)}"')
    assert "outside what is possible" in page.html[beside : beside + 400]
    assert dict(page.form_of(row(1)).fields)[row(1)] == "9000"


def test_a_form_in_which_nothing_was_read_says_so_at_its_first_place(real: Visit) -> None:
    form = real.get(f"test/{POSTS}").form_of(row(0))
    page = real.send(form, {}, status=422)
    assert read(real) == [] and 'class="fault"' in page.html


def test_what_takes_time_between_its_places_is_read_one_by_one(real: Visit) -> None:
    form = real.get("test/battery.charge_current").form_of(row(0))
    assert row(1) not in form.names


@pytest.mark.parametrize(
    ("values", "taken"), [(["1"], []), (["", ""], []), (["1", ""], [0]), (["", "2", "3"], [1, 2])]
)
def test_only_the_rows_in_which_something_stands_are_taken(values: list[str], taken: list[int]) -> None:
    assert taken_readings([(row(n), value) for n, value in enumerate(values)]) == taken


def test_the_place_that_a_code_names_comes_first_from_the_list_of_tests_too(real: Visit) -> None:
    real.rows(
        traits={"ignition.kind": "coil on plug", "ignition.cylinders": "4"},
        step=[{"codes": {"stored": ["P0302"]}}],
    )
    (link,) = [one for one in real.get("tests").links if GAP in one]
    assert "place=cylinder+2" in link


# ---- an estimate in one tap


def shown_form(visit: Visit) -> Form:
    page = visit.get("diagnosis")
    return next(form for form in page.forms if form.action.endswith("/approve-shown"))


def test_call_out_and_diagnosis_are_approved_in_one_tap_bound_to_a_paper_of_that_total(real: Visit) -> None:
    form = shown_form(real)
    real.send(form)
    (estimated,), (approved,) = real.job.estimates, real.job.approvals
    assert approved.record.document_hash == estimated.record.document_hash
    assert (approved.record.by, approved.record.how) == ("customer", "in person")
    reply = real.client.post(form.action, data=dict(form.fields))  # the same form, sent twice
    assert reply.status_code == 303 and len(real.job.approvals) == 1


def test_another_total_than_the_one_that_was_shown_approves_nothing_and_makes_no_estimate(
    real: Visit,
) -> None:
    form = shown_form(real)
    page = real.send(form, {"total": "1.00"}, status=422)
    assert "The price has changed" in page.text
    assert not real.job.approvals and not real.job.estimates


def test_an_estimate_that_waits_can_be_changed_before_it_is_answered(real: Visit) -> None:
    real.rows(step=[{"requested": {"operation": "battery.replace", "ground": "customer"}}])
    real.shop.estimate(real.id, "repair")
    assert "Approved in person" in real.get("estimate").text
    page = real.get("estimate?change=1")
    assert "Show the estimate" in page.text and "Change its price" in page.text


def test_work_that_lacks_a_price_is_asked_for_its_price_by_the_tap_that_offers_it(real: Visit) -> None:
    real.rows(step=[{"requested": {"operation": "egr.replace_valve", "ground": "customer"}}])
    reply = real.client.post(f"/job/{real.id}/offer", data={"answer": "an-offer-that-lacks-a-price"})
    assert reply.status_code == 303
    assert "Needs a price" in real.get(reply.headers["Location"]).text


# ---- paid and issued in one tap


def test_money_in_the_hand_and_the_invoice_are_one_tap_that_sent_twice_pays_once(real: Visit) -> None:
    real.send(shown_form(real))
    page = real.get("hand")
    form = next(form for form in page.forms if form.action.endswith("/issue"))
    said = {**dict(form.fields), "paid": "card"}
    for _ in range(2):
        assert real.client.post(form.action, data=said).status_code == 303
    assert [one.record.how for one in real.job.payments] == ["card"] and len(real.job.issued) == 1
    assert "Everything is paid" in real.get("hand").text
    assert real.shop.store.verify() == []


# ---- before the vehicle is left


def replaced(visit: Visit) -> None:
    visit.rows(traits={"battery.type": "AGM", "battery.charging_control": "smart charging"})
    visit.rows(step=[{"requested": {"operation": "battery.replace", "ground": "customer"}}])
    visit.shop.approve(visit.shop.estimate(visit.id, "repair"), by="customer", how="in person")
    visit.rows(step=[{"repaired": {"operation": "battery.replace"}}])


def test_what_a_new_battery_leaves_to_be_done_is_asked_before_the_invoice_and_then_no_more(
    real: Visit,
) -> None:
    replaced(real)
    real.rows(step=[{"seen": [{"of": "battery.terminals", "is": "clean and tight"}]}])
    page = real.get("hand")
    assert "Before you leave" in page.text
    form = page.form_of("step[0].seen[0].is")
    assert ("step[0].seen[0].is", "done") in form.buttons
    after = real.send(form, {"step[0].seen[0].is": "done"})
    assert "Before you leave" not in after.text and real.at.endswith("/hand")


def test_nothing_is_to_be_done_for_a_car_whose_charging_is_fixed(real: Visit) -> None:
    real.rows(traits={"battery.charging_control": "fixed"})
    visit = real
    visit.rows(step=[{"requested": {"operation": "battery.replace", "ground": "customer"}}])
    visit.shop.approve(visit.shop.estimate(visit.id, "repair"), by="customer", how="in person")
    visit.rows(step=[{"repaired": {"operation": "battery.replace"}}])
    visit.rows(step=[{"seen": [{"of": "battery.terminals", "is": "clean and tight"}]}])
    assert "Before you leave" not in real.get("hand").text


def test_a_tool_that_is_not_here_is_not_asked_for_again_after_the_repair(real: Visit) -> None:
    no_tool: dict[str, Any] = {"of": "battery.load_voltage", "cannot": "no tool for it here"}
    real.rows(step=[{"seen": [no_tool]}])
    replaced(real)
    page = real.get(f"/job/{real.id}")
    assert real.at.endswith("/hand"), "and handing over says that it was not shown"
    assert "not shown" in page.text
    assert not any(row(0) in form.names for form in real.get("retest").forms)


def test_another_reason_than_the_tool_is_asked_again(real: Visit) -> None:
    real.rows(step=[{"seen": [{"of": "battery.load_voltage", "cannot": "too dangerous here"}]}])
    replaced(real)
    real.get(f"/job/{real.id}")
    assert real.at.endswith("/retest")


# ---- what the customer says may be tapped


def test_a_job_begins_with_what_was_tapped_alone(real: Visit) -> None:
    page = real.get("/new")
    form = page.form_of("vehicle.plate")
    real.client.post(
        form.action,
        data={**dict(form.fields), "vehicle.plate": "DEMO-9", "complaint.symptoms|list": "cranks_slowly"},
    )
    job = next(job for job in real.shop.store.jobs() if job != real.id)
    assert real.shop.store.job(job).complained.symptoms == ["cranks_slowly"]
