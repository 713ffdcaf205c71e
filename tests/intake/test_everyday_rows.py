"""Rows of everyday visits: coming, leaving, waiting, work that is not charged, rework, and how
a job ended.
"""

from __future__ import annotations

import json
from typing import Any

import pytest

from corekit.intake.declared import Declared
from corekit.intake.visit import VisitError, read_visit
from corekit.model.entry import Draft
from corekit.model.personal import PersonalText
from corekit.model.records import Repaired
from corekit.plugin.host import load

DECLARED = Declared.of(load(), currency="EUR")
VEHICLE = {"description": "five-door, 1.4 petrol", "no_vin": "not seen yet"}


def file(*steps: dict[str, Any]) -> bytes:
    return json.dumps(
        {"job": "first", "reason": "Does not crank.", "vehicle": VEHICLE, "step": list(steps)}
    ).encode()


def read(*steps: dict[str, Any]) -> list[Draft]:
    """The drafts of the steps alone: what opens the job and names the vehicle is left out."""
    return [
        draft
        for draft in read_visit(file(*steps), DECLARED).drafts
        if draft.kind not in ("opened", "vehicle")
    ]


def faults(*steps: dict[str, Any]) -> list[str]:
    with pytest.raises(VisitError) as caught:
        read(*steps)
    return [str(fault) for fault in caught.value.faults]


def test_a_visit_that_ends_with_the_job_open_says_why_and_when_it_goes_on() -> None:
    left, came = read(
        {"left": {"because": "part missing", "back": "2026-03-05"}}, {"arrived": {"odometer": "98450 km"}}
    )
    assert (left.kind, left.body) == ("left", {"because": "part missing", "back": "2026-03-05", "stage": 0})
    assert came.kind == "arrived"
    assert came.body["odometer"] == 98_450_000  # m
    assert came.body["odometer_typed"] == "98450 km"


def test_coming_again_needs_nothing_but_to_be_said() -> None:
    (came,) = read({"arrived": {}})
    assert came.body == {"odometer": None, "odometer_typed": "", "same_trip_as": "", "stage": 0}


def test_a_reason_to_leave_is_one_of_four() -> None:
    assert faults({"left": {"because": "parts missing"}}) == [
        'step[0].left.because: "parts missing" is not a reason to leave; write "part missing",'
        ' "charging", "customer decides" or "no time left"'
    ]
    assert "step[0].left.because: is missing" in faults({"left": {}})[0]


def test_a_waiting_test_keeps_its_wait_in_seconds_and_as_typed() -> None:
    (started,) = read(
        {"started": {"of": "battery.parasitic_draw", "wait": "30 min", "taken": "2026-03-04T10:15:00+01:00"}}
    )
    assert (started.body["wait"], started.body["wait_typed"], started.taken) == (
        1800.0,
        "30 min",
        "2026-03-04T09:15:00Z",
    )
    (longer,) = read({"started": {"of": "battery.parasitic_draw", "wait": "2 h"}})
    assert longer.body["wait"] == 7200.0


@pytest.mark.parametrize("wait", ["0 min", "15 d", "-5 min", "30 V", "soon"])
def test_a_wait_that_is_none_is_refused(wait: str) -> None:
    (fault,) = faults({"started": {"of": "battery.parasitic_draw", "wait": wait}})
    assert fault.startswith("step[0].started.wait: ")


def test_what_waits_is_a_reading_that_some_system_knows() -> None:
    (fault,) = faults({"started": {"of": "battery.parasitic_drwa", "wait": "30 min"}})
    assert '"battery.parasitic_draw"' in fault


def test_work_may_be_waived_and_so_may_coming_and_looking() -> None:
    work, coming = read(
        {"waived": {"operation": "battery.replace", "because": "guarantee", "of": "2026-A0001"}},
        {"waived": {"charge": "call-out", "because": "goodwill"}},
    )
    assert work.body == {
        "because": "guarantee",
        "operation": "battery.replace",
        "charge": "",
        "invoice": "2026-A0001",
    }
    assert coming.body == {"because": "goodwill", "operation": "", "charge": "call-out", "invoice": ""}


def test_a_guarantee_names_its_invoice_and_nothing_else_does() -> None:
    assert (
        "step[0].waived.of: is missing"
        in faults({"waived": {"operation": "battery.replace", "because": "guarantee"}})[0]
    )
    (fault,) = faults({"waived": {"operation": "battery.replace", "because": "goodwill", "of": "2026-A0001"}})
    assert (
        fault
        == 'step[0].waived.of: an earlier invoice belongs to the reason "guarantee"; write the row without of'
    )


def test_coming_cannot_have_failed_to_cure_anything() -> None:
    (fault,) = faults({"waived": {"charge": "call-out", "because": "did not fix"}})
    assert fault.startswith("step[0].waived.because: only work can have done so")


def test_one_row_waives_one_thing() -> None:
    assert any(
        "operation or charge" in fault
        for fault in faults(
            {"waived": {"operation": "battery.replace", "charge": "travel", "because": "goodwill"}}
        )
    )


def test_rework_names_the_invoice_it_makes_good() -> None:
    (wanted,) = read({"requested": {"operation": "battery.replace", "ground": "rework", "of": "2026-A0001"}})
    assert wanted.body == {
        "operation": "battery.replace",
        "ground": "rework",
        "because": "",
        "invoice": "2026-A0001",
    }
    assert (
        "step[0].requested.of: is missing"
        in faults({"requested": {"operation": "battery.replace", "ground": "rework"}})[0]
    )
    (fault,) = faults(
        {"requested": {"operation": "battery.replace", "ground": "customer", "of": "2026-A0001"}}
    )
    assert 'belongs to the ground "rework"' in fault


def test_an_older_wish_has_the_body_that_it_always_had() -> None:
    (wanted,) = read({"requested": {"operation": "battery.replace", "ground": "customer"}})
    assert wanted.body == {"operation": "battery.replace", "ground": "customer", "because": ""}


def test_an_end_says_how_and_why() -> None:
    (ended,) = read({"ended": {"how": "no fault found", "because": "The fault did not show."}})
    assert ended.body == {"how": "no fault found", "because": "The fault did not show.", "stage": 0}
    assert [fault.partition(":")[0] for fault in faults({"ended": {"how": "finished"}})] == [
        "step[0].ended.how",
        "step[0].ended.because",
    ]


def test_what_was_said_can_be_withdrawn_with_a_reason() -> None:
    steps = (
        {"left": {"because": "charging", "withdrawn": "stayed after all"}},
        {"arrived": {"withdrawn": "never came"}},
        {"started": {"of": "battery.parasitic_draw", "wait": "30 min", "withdrawn": "a door was opened"}},
        {"waived": {"operation": "battery.replace", "because": "goodwill", "withdrawn": "it did cure"}},
        {"ended": {"how": "declined", "because": "too dear", "withdrawn": "approved after all"}},
    )
    for draft, step in zip(read(*steps), steps, strict=True):
        (row,) = step.values()
        assert isinstance(row, dict)
        assert (draft.withdrawn, draft.reason) == (True, row["withdrawn"])


def test_a_repair_stands_alone_in_its_step_beside_these_too() -> None:
    for row in (
        {"left": {"because": "charging"}},
        {"ended": {"how": "declined", "because": "too dear"}},
        {"arrived": {}},
    ):
        (fault,) = faults({"repaired": {"operation": "battery.replace"}, **row})
        assert fault.startswith("step[0]: does not say whether")


def test_a_remark_is_kept_apart_like_every_persons_words() -> None:
    (remarked,) = read({"remarked": {"words": "a scratch along the left door"}})
    assert remarked.body == {"words": PersonalText("note", "a scratch along the left door"), "stage": 0}
    assert remarked.row == "arrival/remarked"
    assert faults({"remarked": {"words": " "}})[0].startswith("step[0].remarked.words: ")


def test_within_one_step_coming_is_first_and_the_end_is_last() -> None:
    drafts = read(
        {"ended": {"how": "declined", "because": "too dear"}, "left": {"because": "charging"}, "arrived": {}}
    )
    assert [draft.kind for draft in drafts] == ["arrived", "left", "ended"]


def test_a_job_cannot_share_its_drive_with_itself() -> None:
    assert faults({"arrived": {"same_trip_as": "first"}})[0].startswith("step[0].arrived.same_trip_as: ")


@pytest.mark.parametrize("place", [{}, {"place": "posts"}])
def test_a_thing_with_places_may_wait_as_a_whole_or_at_one_of_them(place: dict[str, str]) -> None:
    (started,) = read({"started": {"of": "battery.cranking_voltage", "wait": "5 min", **place}})
    assert started.body["place"] == place.get("place", "")


def test_a_place_that_the_thing_does_not_have_is_refused() -> None:
    assert faults({"started": {"of": "battery.cranking_voltage", "wait": "5 min", "place": "roof"}})[
        0
    ].startswith("step[0].started.place: ")


DRAIN = {"operation": "battery.trace_draw"}


def test_a_repair_may_say_what_it_was_in_plain_words() -> None:
    (repaired,) = read({"repaired": {**DRAIN, "cause": " a lamp in the glove box  that stayed on. "}})
    assert repaired.body["cause"] == "a lamp in the glove box that stayed on"


def test_a_repair_without_a_cause_is_written_down_as_ever() -> None:
    (repaired,) = read({"repaired": DRAIN})
    assert repaired.body == {"operation": "battery.trace_draw", "stage": 1}
    assert Repaired(**repaired.body).cause == ""


@pytest.mark.parametrize(("letters", "holds"), [(80, True), (81, False)])
def test_a_cause_is_a_name_and_no_story(letters: int, holds: bool) -> None:
    step = {"repaired": {**DRAIN, "cause": "a" * letters}}
    if holds:
        assert len(read(step)[0].body["cause"]) == letters
    else:
        assert faults(step)[0].startswith("step[0].repaired.cause: has 81 characters; write")


def test_an_empty_cause_is_refused() -> None:
    assert faults({"repaired": {**DRAIN, "cause": " "}})[0].startswith("step[0].repaired.cause: ")
