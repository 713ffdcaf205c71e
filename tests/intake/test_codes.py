"""Trouble codes in a visit file: by list, an empty list being a reading too, each fault with its place."""

from __future__ import annotations

from typing import Any

import pytest

from corekit.desk.in_memory import scratch_job
from corekit.intake.declared import Declared
from corekit.intake.visit import VisitError, VisitFile, read_visit
from corekit.model.job import Job
from corekit.plugin.host import load
from corekit.report.statements import code_sentences

HEAD = 'job = "a-job"\nreason = "The lamp is on."\nvehicle = { plate = "DEMO-1" }\n'
DECLARED = Declared(currency="EUR")


def read(*steps: str) -> VisitFile:
    return read_visit((HEAD + "".join(f"[[step]]\n{step}\n" for step in steps)).encode(), DECLARED)


def job_of(*steps: str) -> Job:
    job, _ = scratch_job(read(*steps))
    return job


def faults_of(step: str) -> list[str]:
    with pytest.raises(VisitError) as caught:
        read(step)
    return [str(fault) for fault in caught.value.faults]


def lists_of(job: Job, stage: int = 0) -> dict[str, Any]:
    return {state: list(codes) for state, codes in job.codes_by_list(stage).items()}


def test_codes_are_kept_by_the_list_that_held_them_in_their_own_spelling() -> None:
    job = job_of('codes = { stored = ["p0401", "0xC100"], pending = ["03 00"] }')
    assert lists_of(job) == {"stored": ["P0401", "U0100"], "pending": ["P0300"]}


def test_an_empty_list_is_a_reading_and_a_list_left_away_is_none() -> None:
    job = job_of("codes = { stored = [] }")
    assert lists_of(job) == {"stored": []}
    assert code_sentences(job) == ["Arrival: stored none."]


def test_rows_of_one_list_at_one_stage_add_up() -> None:
    steps = ('codes = { stored = ["P0401"], pending = [] }', 'codes = { stored = ["P0300", "P0401"] }')
    job = job_of(*steps)
    assert lists_of(job) == {"stored": ["P0401", "P0300"], "pending": []}
    (sentence,) = code_sentences(job)
    assert "P0401 (" in sentence and "P0300 (" in sentence and sentence.count("stored") == 1
    assert read(*steps).remarks == ()


def test_a_code_that_a_list_no_longer_holds_stays_and_is_asked_about() -> None:
    steps = ('codes = { stored = ["P0401"], pending = [] }', "codes = { stored = [] }")
    assert lists_of(job_of(*steps)) == {"stored": ["P0401"], "pending": []}
    (remark,) = read(*steps).remarks
    assert remark.startswith("step[1].codes.stored: the stored list held P0401 when it was read before")
    withdrawn = 'codes = { stored = ["P0401"], withdrawn = "read on the wrong vehicle" }'
    assert read(withdrawn, steps[1]).remarks == ()
    assert lists_of(job_of(withdrawn, steps[1])) == {"stored": []}


def test_a_list_read_after_a_repair_is_another_one() -> None:
    steps = (
        'codes = { stored = ["P0401"] }',
        'repaired = { operation = "egr.clean" }',
        "codes = { stored = [] }",
    )
    declared = Declared.of(load(), currency="EUR")
    content = (HEAD + "".join(f"[[step]]\n{step}\n" for step in steps)).encode()
    visit = read_visit(content, declared)
    job, _ = scratch_job(visit)
    assert (lists_of(job), lists_of(job, 1), visit.remarks) == ({"stored": ["P0401"]}, {"stored": []}, ())


def test_codes_that_could_not_be_read_say_why_until_they_were() -> None:
    step = 'codes = { cannot = "no answer at the connector" }'
    assert code_sentences(job_of(step)) == ["Arrival: could not be read, no answer at the connector."]
    assert lists_of(job_of(step, "codes = { stored = [] }")) == {"stored": []}


def test_paper_names_what_a_code_means_and_leaves_a_makers_own_to_the_maker() -> None:
    (sentence,) = code_sentences(job_of('codes = { stored = ["P0401", "P1401"], pending = [] }'))
    assert (
        sentence == "Arrival: stored P0401 (exhaust gas recirculation: less flow found than expected), "
        "P1401 (a code of the vehicle maker's own; its meaning is the maker's to say); pending none."
    )


@pytest.mark.parametrize(
    ("step", "place", "says"),
    [
        ('codes = { stored = ["PO401"] }', "step[0].codes.stored[0]", 'write "P0401"'),
        (
            'codes = { stored = ["P0401", "401"] }',
            "step[0].codes.stored[1]",
            "characters, not five|does not begin",
        ),
        ("codes = { pending = [401] }", "step[0].codes.pending[0]", 'write "401"'),
        ('codes = { stored = "P0401" }', "step[0].codes.stored", "a list"),
        ('codes = { stord = ["P0401"] }', "step[0].codes.stord", "one of stored, pending, permanent"),
        ('codes = { stored = ["0000"] }', "step[0].codes.stored[0]", "no letter"),
        ('codes = { stored = ["00 00"] }', "step[0].codes.stored[0]", "fills up a message"),
        ('codes = { stored = ["P0401", "04 01"] }', "step[0].codes.stored", "is given twice"),
        ("codes = { }", "step[0].codes", "says nothing"),
        ('codes = { stored = [], cannot = "why" }', "step[0].codes.cannot", "was read beside it"),
        ('codes = { cannot = " " }', "step[0].codes.cannot", "is empty"),
        ('codes = { stored = [], taken = "yesterday" }', "step[0].codes.taken", "date, time and offset"),
    ],
)
def test_every_slip_is_one_fault_with_its_place(step: str, place: str, says: str) -> None:
    (fault,) = faults_of(step)
    assert fault.startswith(f"{place}: ")
    assert any(part in fault for part in says.split("|")), fault


def test_codes_beside_a_repair_do_not_say_whether_they_came_before_or_after() -> None:
    assert any(
        "before or after the repair" in fault
        for fault in faults_of('codes = { stored = [] }\nrepaired = { operation = "cell.replace" }')
    )


def test_withdrawn_codes_no_longer_stand() -> None:
    assert lists_of(job_of('codes = { stored = ["P0401"], withdrawn = "read on the wrong vehicle" }')) == {}
